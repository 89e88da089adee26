// Package image writes the control store as memory images for chips, loaders and C programs.
package image

import (
	"errors"
	"fmt"

	"coilwright/encode/store"
)

// LargestWords is the most words an image may have (language.md S.6).
const LargestWords = 1 << 24

// ErrTooLarge is wrapped by the error for a store of more than LargestWords
// words or LargestSize bytes.
var ErrTooLarge = errors.New("too large for a memory image")

// ErrEmpty is the error for a store whose control word has no bits.
var ErrEmpty = errors.New("the control word has no bits, for other hardware drives every line")

// Image is one memory: the whole control word, or the share of one chip.
// Word w is at Data[w*BytesPerWord:][:BytesPerWord]; pad bits are 0.
type Image struct {
	Machine      string
	Hash         string // SHA-256 of the definition, 64 hex digits
	Chip         int    // from 1; 0 = the whole word
	Chips        int    // how many chips the word is split over; 1 = not split
	Exercise     bool   // lights one line at a time instead of running instructions
	Words        int
	Bits         int // data bits a word
	BytesPerWord int
	Little       bool // low byte of a word first
	Fill         byte // for what lies past the last word
	Data         []byte
}

// Chips returns how many chips share the control word; 1 if it is not split.
func Chips(s *store.Store) int {
	if s.Word.Split <= 0 {
		return 1
	}
	return (len(s.Word.Bits) + s.Word.Split - 1) / s.Word.Split
}

// Possible returns nil if a store can be a memory image, or says why not.
func Possible(s *store.Store) error {
	width, bytes := s.AddressBits(), (len(s.Word.Bits)+7)/8
	switch {
	case bytes == 0:
		return ErrEmpty
	case width > 24:
		return fmt.Errorf("%w: %s words (%d address bits), at most %s (24 address bits)",
			ErrTooLarge, grouped(uint64(1)<<width), width, grouped(LargestWords))
	case bytes > LargestSize>>width:
		return fmt.Errorf("%w: %s words of %d bytes, at most %s bytes", ErrTooLarge, grouped(uint64(1)<<width), bytes, grouped(LargestSize))
	}
	return nil
}

// Whole returns the memory with all bits of the word in one piece.
func Whole(s *store.Store) (*Image, error) {
	im, bits, err := blank(s, 0)
	if err != nil {
		return nil, err
	}
	im.fill(s, bits)
	return im, nil
}

// Chip returns the memory of chip n, from 1. It fails if the word is not split
// or has no such chip. Every chip is Split bits wide, the last one too: its
// data pins beyond the word's last bit hold 0.
func Chip(s *store.Store, n int) (*Image, error) {
	if err := checkChip(s, n); err != nil {
		return nil, err
	}
	im, bits, err := blank(s, n)
	if err != nil {
		return nil, err
	}
	im.fill(s, bits)
	return im, nil
}

// Exercise returns a memory whose word at (opcode o, phase p) lights the one
// line (o x phases + p - 1) mod n of the n lines that are neither restart nor
// halt (language.md S.5): stepping through the ring lights each lamp in turn.
// A turn that falls to a line the word omits holds the idle word. Chip is as
// for Chip, 0 for the whole word.
func Exercise(s *store.Store, chip int) (*Image, error) {
	if chip != 0 {
		if err := checkChip(s, chip); err != nil {
			return nil, err
		}
	}
	im, bits, err := blank(s, chip)
	if err != nil {
		return nil, err
	}
	im.Exercise = true
	im.exercise(s, bits)
	return im, nil
}

func checkChip(s *store.Store, n int) error {
	if len(s.Word.Bits) == 0 {
		return ErrEmpty
	}
	if s.Word.Split <= 0 {
		return fmt.Errorf("no chip %d: the word is not split over chips (store { split N } does it)", n)
	}
	if last := Chips(s); n < 1 || n > last {
		return fmt.Errorf("no chip %d: the word of %d bits is split over chips 1 to %d", n, len(s.Word.Bits), last)
	}
	return nil
}

// blank returns a zeroed memory and its bits, from data bit 0 up.
func blank(s *store.Store, chip int) (*Image, []int, error) {
	if err := Possible(s); err != nil {
		return nil, nil, err
	}
	bits := s.Word.Bits
	im := &Image{
		Machine: s.Machine, Hash: s.Hash, Chip: chip, Chips: Chips(s),
		Words: 1 << s.AddressBits(), Bits: len(bits), Little: s.Word.Little, Fill: s.Word.Fill,
	}
	if chip > 0 {
		from := (chip - 1) * s.Word.Split
		bits = bits[from:min(from+s.Word.Split, len(bits))]
		im.Bits = s.Word.Split
	}
	im.BytesPerWord = (im.Bits + 7) / 8
	im.Data = make([]byte, im.Words*im.BytesPerWord)
	return im, bits, nil
}

// grouped writes n with commas between thousands.
func grouped(n uint64) string {
	text := fmt.Sprint(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// touch is a byte of a word and the bits to change in it.
type touch struct {
	offset int
	mask   byte
}

// touches gathers, from data bit 0 up, the bits for which want holds of their column.
func (im *Image) touches(bits []int, want func(column int) bool) []touch {
	var out []touch
	for i, column := range bits {
		if column < 0 || !want(column) {
			continue
		}
		offset := i / 8
		if !im.Little {
			offset = im.BytesPerWord - 1 - offset
		}
		if n := len(out); n > 0 && out[n-1].offset == offset {
			out[n-1].mask |= 1 << (i % 8)
		} else {
			out = append(out, touch{offset, 1 << (i % 8)})
		}
	}
	return out
}

// fill lays the rows down as active bits and turns the low lines over at the
// end. It walks the addresses that a row matches, not the rows at an address:
// the work is the sum of what is on, whatever the size of the table.
func (im *Image) fill(s *store.Store, bits []int) {
	for _, row := range s.Rows {
		lit := im.touches(bits, row.Lines.Has)
		fixed, free, ok := reach(s, row)
		if !ok || len(lit) == 0 {
			continue
		}
		for some := uint64(0); ; some = (some - free) & free {
			at := int(fixed|some) * im.BytesPerWord
			for _, t := range lit {
				im.Data[at+t.offset] |= t.mask
			}
			if some == free {
				break
			}
		}
	}
	im.invert(s, bits)
}

// reach returns the addresses a row matches: the fixed bits with every choice
// of the free ones. ok is false if no address can select the row.
func reach(s *store.Store, row store.Row) (fixed, free uint64, ok bool) {
	opcode, flags := row.Opcode, row.Flags
	shift := 0
	for _, part := range s.Word.Address {
		mask := uint64(1)<<part.Bits - 1
		switch part.Kind {
		case store.PhasePart:
			phase := uint64(row.Phase - 1)
			if phase > mask {
				return 0, 0, false
			}
			fixed |= phase << shift
		case store.OpcodePart:
			fixed |= opcode.Value & mask << shift
			free |= mask &^ opcode.Care << shift
		case store.FlagPart:
			if part.Flag < 0 || flags.Care>>part.Flag&1 == 0 {
				free |= mask << shift
			} else {
				fixed |= flags.Value >> part.Flag & mask << shift
			}
		}
		shift += part.Bits
	}
	return fixed, free, true
}

func (im *Image) exercise(s *store.Store, bits []int) {
	var turns [][]touch
	for i, column := range s.Columns {
		if column.Kind != store.Restart && column.Kind != store.Halt {
			turns = append(turns, im.touches(bits, func(c int) bool { return c == i }))
		}
	}
	if n := uint64(len(turns)); n > 0 {
		for address := range im.Words {
			opcode, _, phase := s.Decode(uint64(address))
			if phase > s.Phases {
				continue
			}
			turn := (opcode*uint64(s.Phases) + uint64(phase) - 1) % n
			for _, t := range turns[turn] {
				im.Data[address*im.BytesPerWord+t.offset] |= t.mask
			}
		}
	}
	im.invert(s, bits)
}

// invert gives the low lines their polarity, in every word.
func (im *Image) invert(s *store.Store, bits []int) {
	low := im.touches(bits, func(c int) bool { return s.Columns[c].Low })
	for at := 0; len(low) > 0 && at < len(im.Data); at += im.BytesPerWord {
		for _, t := range low {
			im.Data[at+t.offset] ^= t.mask
		}
	}
}

// word appends word w, most significant byte first.
func (im *Image) word(to []byte, w int) []byte {
	at := im.Data[w*im.BytesPerWord:][:im.BytesPerWord]
	if !im.Little {
		return append(to, at...)
	}
	for i := len(at) - 1; i >= 0; i-- {
		to = append(to, at[i])
	}
	return to
}
