package readback

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math/bits"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// Image reads a memory image in a form (bin, hex, srec, memh or header) and
// compares it with the store: chip as for Compare, or with the exercise of the
// store's lines. An error is a *LineError, a *Difference, or says in words
// what does not fit.
func Image(r io.Reader, form string, s *store.Store, chip int, exercise bool) error {
	width, err := chipBits(s, chip)
	if err != nil {
		return err
	}
	var words *Words
	var memory *Memory
	switch form {
	case "bin":
		memory, err = Bin(r)
	case "hex":
		memory, err = Hex(r)
	case "srec":
		memory, err = Srec(r)
	case "memh":
		words, err = Memh(r)
	case "header":
		words, err = Header(r)
	default:
		err = fmt.Errorf("no reader for form %q", form)
	}
	if err != nil {
		return err
	}
	if memory != nil {
		words, err = memory.Words(max(1, (width+7)/8), s.Word.Little)
		if err != nil {
			return err
		}
	}
	if exercise {
		return CompareExercise(s, chip, words)
	}
	return Compare(s, chip, words)
}

// Difference is the first word of a memory that is not the store's.
type Difference struct {
	Address         uint64
	Opcode, Flags   uint64
	Phase           int    // from 1
	Expected, Found []byte // most significant byte first
	Text            string
}

func (d *Difference) Error() string { return d.Text }

// Compare holds words against the whole control word of a store, or against
// the share of one chip (from 1). It returns nil if each word is what the
// store's rows, polarities and layout make it, and what follows the last is
// fill.
func Compare(s *store.Store, chip int, w *Words) error {
	c, err := newComparison(s, chip, w)
	if err != nil {
		return err
	}
	classes := classify(s)
	flags := uint64(1) << len(s.Flags)
	known := make([]int32, uint64(len(classes.rows))*uint64(s.Phases)*flags) // 1 + index into c.pool
	return c.run(func(opcode, flag uint64, phase int) []byte {
		here := &classes.rows[classes.of[opcode]][phase]
		// Flags that no row here cares about share the word.
		flag &= here.flags
		slot := &known[(uint64(classes.of[opcode])*uint64(s.Phases)+uint64(phase-1))*flags+flag]
		if *slot == 0 {
			on := store.NewSet(len(s.Columns))
			for _, r := range here.rows {
				if s.Rows[r].Flags.Matches(flag) {
					on.Or(s.Rows[r].Lines)
				}
			}
			*slot = c.keep(on)
		}
		return c.pool[*slot-1]
	})
}

// CompareExercise is Compare for the memory that lights line
// (opcode x phases + phase - 1) mod n of the n lines that are neither restart
// nor halt (language.md S.5).
func CompareExercise(s *store.Store, chip int, w *Words) error {
	c, err := newComparison(s, chip, w)
	if err != nil {
		return err
	}
	var turns []int32
	for i, column := range s.Columns {
		switch column.Kind {
		case store.Restart, store.Halt:
		default:
			on := store.NewSet(len(s.Columns))
			on.Add(i)
			turns = append(turns, c.keep(on))
		}
	}
	return c.run(func(opcode, _ uint64, phase int) []byte {
		if len(turns) == 0 {
			return c.idle
		}
		step := opcode*uint64(s.Phases) + uint64(phase) - 1
		return c.pool[turns[step%uint64(len(turns))]-1]
	})
}

// classes groups the opcodes that the same rows match.
type classes struct {
	of   []int32    // by opcode
	rows [][]inTime // by class, then phase
}

// inTime is the rows of one phase and the flags they care about.
type inTime struct {
	rows  []int // indices
	flags uint64
}

// classify halves the opcodes at a bit that some row left cares about, dropping
// the rows that a half rules out, until none cares any more.
func classify(s *store.Store) *classes {
	c := &classes{of: make([]int32, 1<<s.OpcodeBits)}
	all := make([]int, len(s.Rows))
	for i := range all {
		all[i] = i
	}
	seen := map[string]int32{}
	var halve func(within cube.Cube, rows []int)
	halve = func(within cube.Cube, rows []int) {
		cares := uint64(0)
		for _, r := range rows {
			cares |= s.Rows[r].Opcode.Care
		}
		cares &^= within.Care
		if cares == 0 {
			c.place(within, s.OpcodeBits-1, 0, c.class(s, seen, rows))
			return
		}
		bit := bits.Len64(cares) - 1
		for v := range uint64(2) {
			half := within.With(bit, v)
			var kept []int
			for _, r := range rows {
				if s.Rows[r].Opcode.Meets(half) {
					kept = append(kept, r)
				}
			}
			halve(half, kept)
		}
	}
	halve(cube.Cube{}, all)
	return c
}

// class returns the number of the class that just these rows match.
func (c *classes) class(s *store.Store, seen map[string]int32, rows []int) int32 {
	var key []byte
	for _, r := range rows {
		key = binary.AppendUvarint(key, uint64(r))
	}
	class, known := seen[string(key)]
	if known {
		return class
	}
	class = int32(len(c.rows))
	seen[string(key)] = class
	byPhase := make([]inTime, s.Phases+1)
	for _, r := range rows {
		if p := s.Rows[r].Phase; p >= 1 && p <= s.Phases {
			byPhase[p].rows = append(byPhase[p].rows, r)
			byPhase[p].flags |= s.Rows[r].Flags.Care
		}
	}
	c.rows = append(c.rows, byPhase)
	return class
}

// place gives every opcode of a cube its class, from a bit on down.
func (c *classes) place(within cube.Cube, bit int, opcode uint64, class int32) {
	if bit < 0 {
		c.of[opcode] = class
		return
	}
	for v := range uint64(2) {
		if within.Care>>bit&1 == 0 || within.Value>>bit&1 == v {
			c.place(within, bit-1, opcode|v<<bit, class)
		}
	}
}

// comparison is the layout of a word and the words it expects.
type comparison struct {
	s      *store.Store
	w      *Words
	layout []int // from data bit 0 up: a column, or -1
	bytes  int   // of a word
	idle   []byte
	pool   [][]byte
}

// chipBits returns the data bits of a word of a chip; 0 is the whole word.
func chipBits(s *store.Store, chip int) (int, error) {
	all := len(s.Word.Bits)
	if chip == 0 {
		return all, nil
	}
	if s.Word.Split < 1 || chip < 0 || (chip-1)*s.Word.Split >= all {
		return 0, fmt.Errorf("the store has no chip %d", chip)
	}
	return s.Word.Split, nil
}

func newComparison(s *store.Store, chip int, w *Words) (*comparison, error) {
	width, err := chipBits(s, chip)
	if err != nil {
		return nil, err
	}
	c := &comparison{s: s, w: w, layout: s.Word.Bits, bytes: max(1, (width+7)/8)}
	if chip > 0 {
		c.layout = c.layout[(chip-1)*width:]
		c.layout = c.layout[:min(width, len(c.layout))]
	}
	address := s.AddressBits()
	switch {
	case address > 24 || s.OpcodeBits+len(s.Flags) > address || s.Phases > 1<<(address-s.OpcodeBits-len(s.Flags)):
		return nil, fmt.Errorf("%d address bits for %d opcode bits, %d flags and %d phases", address, s.OpcodeBits, len(s.Flags), s.Phases)
	case w.Count < 1<<address:
		return nil, fmt.Errorf("%d words, the store has %d", w.Count, 1<<address)
	case w.BytesPerWord < c.bytes:
		return nil, fmt.Errorf("words of %d bytes, the store's have %d bits", w.BytesPerWord, width)
	case w.Bits != 0 && w.Bits != width:
		return nil, fmt.Errorf("words of %d bits, the store's have %d", w.Bits, width)
	}
	c.keep(store.NewSet(len(s.Columns)))
	c.idle = c.pool[0]
	return c, nil
}

// keep lays a set of active lines out as a word and returns 1 + its place.
func (c *comparison) keep(on store.Set) int32 {
	if len(c.pool) > 0 && on.Empty() {
		return 1 // the idle word
	}
	word := make([]byte, c.bytes)
	for i, column := range c.layout {
		if column >= 0 && on.Has(column) != c.s.Columns[column].Low {
			word[c.bytes-1-i/8] |= 1 << (i % 8)
		}
	}
	c.pool = append(c.pool, word)
	return int32(len(c.pool))
}

// run compares every address; expect is asked for phases within the ring only.
func (c *comparison) run(expect func(opcode, flags uint64, phase int) []byte) error {
	above := c.w.BytesPerWord - c.bytes
	words := 1 << c.s.AddressBits()
	for address := range words {
		opcode, flags, phase := c.s.Decode(uint64(address))
		want := c.idle
		if phase <= c.s.Phases {
			want = expect(opcode, flags, phase)
		}
		found := c.w.Word(address)
		if !bytes.Equal(found[above:], want) || !zero(found[:above]) {
			return c.difference(uint64(address), want)
		}
	}
	for address := words; address < c.w.Count; address++ {
		found := c.w.Word(address)
		for i, b := range found[above:] {
			// A memh word has no digit for the upper half of its pad bits.
			if b != c.s.Word.Fill && (i > 0 || b != c.s.Word.Fill&0x0F) {
				return fmt.Errorf("address 0x%X, past the last word: found %X, the fill is %02X", address, found, c.s.Word.Fill)
			}
		}
	}
	for _, b := range c.w.Rest {
		if b != c.s.Word.Fill {
			return fmt.Errorf("past the last word: found %02X, the fill is %02X", b, c.s.Word.Fill)
		}
	}
	return nil
}

func zero(data []byte) bool {
	for _, b := range data {
		if b != 0 {
			return false
		}
	}
	return true
}

func (c *comparison) difference(address uint64, want []byte) *Difference {
	s := c.s
	found := c.w.Word(int(address))
	d := &Difference{Address: address, Expected: want, Found: found}
	d.Opcode, d.Flags, d.Phase = s.Decode(address)
	var b strings.Builder
	fmt.Fprintf(&b, "address 0x%X (opcode %s", address, cube.Cube{Care: 1<<s.OpcodeBits - 1, Value: d.Opcode}.Text(s.OpcodeBits))
	for i, flag := range s.Flags {
		fmt.Fprintf(&b, ", %s %d", flag, d.Flags>>i&1)
	}
	fmt.Fprintf(&b, ", phase %d", d.Phase)
	if d.Phase > s.Phases {
		b.WriteString(", past the ring")
	}
	fmt.Fprintf(&b, "): expected %X, found %X", want, found)
	last := len(found) - 1
	explained := 0
	for i, column := range c.layout {
		bit := found[last-i/8] >> (i % 8) & 1
		if bit == want[c.bytes-1-i/8]>>(i%8)&1 {
			continue
		}
		if explained++; explained > 8 {
			b.WriteString(", ...")
			break
		}
		switch {
		case column < 0:
			fmt.Fprintf(&b, "; spare bit %d is %d", i, bit)
		case bit == 1 != s.Columns[column].Low:
			fmt.Fprintf(&b, "; %s is on and should be off", s.Columns[column].Name)
		default:
			fmt.Fprintf(&b, "; %s is off and should be on", s.Columns[column].Name)
		}
	}
	if explained == 0 {
		b.WriteString("; pad bits are not 0")
	}
	d.Text = b.String()
	return d
}
