package readback

import (
	"bufio"
	"fmt"
	"io"
	"math/bits"
	"slices"

	"coilwright/encode/assemble"
)

// Spread says how an image of a program lies in a file.
type Spread struct {
	Base uint32 // added to every byte address
	Size int64  // bytes from address 0 on, each with a value; 0: only what the program defines
	Fill byte   // of those the program does not define
}

// Program reads an image of one memory of a program in a form (hex, srec, bin
// or header) and compares it, byte by byte, with the program: everything that
// it defines is there, and nothing else, or fill. An error is a *LineError or
// says in words what does not fit.
func Program(r io.Reader, form string, p *assemble.Program, memory int, o Spread) error {
	var found *Memory
	var err error
	switch form {
	case "hex":
		found, err = Hex(r)
	case "srec":
		found, err = Srec(r)
	case "bin":
		found, err = Bin(r)
	case "header":
		found, err = HeaderSegments(r)
	default:
		err = fmt.Errorf("no reader for form %q", form)
	}
	if err != nil {
		return err
	}
	m := p.Memories[memory]
	if m.Bytes != max((m.Width+7)/8, 1) {
		return fmt.Errorf("%d bytes for a word of %d bits", m.Bytes, m.Width)
	}
	// due counts the bytes that have to be there: those of the program, then fill.
	due := int64(0)
	value := func(w uint64, i int) byte {
		if m.Little {
			return byte(w >> (8 * i))
		}
		return byte(w >> (8 * (m.Bytes - 1 - i)))
	}
	next := int64(0) // the first byte that nothing has been said about
	filled := func(to int64) error {
		if o.Size == 0 {
			return nil
		}
		for next < to {
			n := min(to-next, 1<<16)
			data, err := found.Bytes(o.Base+uint32(next), int(n))
			if err != nil {
				return err
			}
			for i, b := range data {
				if b != o.Fill {
					return fmt.Errorf("the byte at 0x%X is %02X, not the fill %02X", next+int64(i), b, o.Fill)
				}
			}
			due, next = due+n, next+n
		}
		return nil
	}
	for _, seg := range m.Segments {
		high, low := bits.Mul64(seg.Address, uint64(m.Bytes))
		from := uint64(o.Base) + low
		n := len(seg.Words) * m.Bytes
		if high != 0 || from+uint64(n) > 1<<32 || from < low {
			return fmt.Errorf("word %X lies past 4 GiB", seg.Address)
		}
		if err := filled(int64(low)); err != nil {
			return err
		}
		data, err := found.Bytes(uint32(from), n)
		if err != nil {
			return err
		}
		for i, w := range seg.Words {
			for k, b := range data[i*m.Bytes:][:m.Bytes] {
				if want := value(w, k); b != want {
					return fmt.Errorf("%s, word %X: the byte at 0x%X is %02X, not %02X", m.Name, seg.Address+uint64(i), from+uint64(i*m.Bytes+k), b, want)
				}
			}
		}
		due += int64(n)
		next = int64(low) + int64(n)
	}
	if err := filled(o.Size); err != nil {
		return err
	}
	if int64(found.Size()) != due {
		return fmt.Errorf("%d bytes, %d are due", found.Size(), due)
	}
	return nil
}

// HeaderSegments reads a C header with two arrays: pairs of byte address and
// number of bytes, and the bytes, one segment behind the other. The macros
// that end in _BASE, _SIZE and _SEGMENTS have to agree with them.
func HeaderSegments(r io.Reader) (*Memory, error) {
	s := &cScanner{in: bufio.NewReaderSize(r, 64<<10), line: 1, begins: true}
	macros := map[string]uint64{}
	var pairs []uint64
	var data []byte
	read, size := 0, 0
	for {
		token, err := s.next()
		if err != nil {
			return nil, err
		}
		switch {
		case token == "":
			if read < 2 {
				return nil, refuse(s.line, "no segments and bytes")
			}
			return placedSegments(pairs, data, macros, s.line)
		case token == "#":
			if err := s.directive(macros); err != nil {
				return nil, err
			}
		case cSizes[token] != 0 && size == 0:
			if size = cSizes[token]; read == 0 && size != 4 || read == 1 && size != 1 || read > 1 {
				return nil, refuse(s.line, "an array of %s is not due", token)
			}
		case token == "{" && read == 0 && size > 0:
			if pairs, err = s.pairs(); err != nil {
				return nil, err
			}
			read, size = 1, 0
		case token == "{" && read == 1 && size > 0:
			if data, err = s.values(size); err != nil {
				return nil, err
			}
			read, size = 2, 0
		case token == "{":
			return nil, refuse(s.line, "a brace that begins no array")
		}
	}
}

// pairs reads {a, b}, ... up to the closing brace.
func (s *cScanner) pairs() ([]uint64, error) {
	var out []uint64
	for {
		token, err := s.next()
		if err != nil {
			return nil, err
		}
		switch token {
		case "}":
			return out, nil
		case "{":
		case ",":
			if len(out) == 0 {
				return nil, refuse(s.line, "a comma before the first segment")
			}
			continue
		default:
			return nil, refuse(s.line, "a pair in braces is due")
		}
		for _, end := range []string{",", "}"} {
			number, err := s.next()
			if err != nil {
				return nil, err
			}
			value, bad := cNumber(number)
			closing, err := s.next()
			if err != nil {
				return nil, err
			}
			if bad != nil || closing != end || value > 1<<32 {
				return nil, refuse(s.line, "%s is no half of a pair", number)
			}
			out = append(out, value)
		}
	}
}

func placedSegments(pairs []uint64, data []byte, macros map[string]uint64, line int) (*Memory, error) {
	m := new(Memory)
	for name, want := range map[string]uint64{"_SEGMENTS": uint64(len(pairs) / 2), "_SIZE": uint64(len(data))} {
		if got, ok := macros[name]; ok && got != want {
			return nil, refuse(line, "%s is %d, there are %d", name, got, want)
		}
	}
	end := uint64(0)
	for i := 0; i < len(pairs); i += 2 {
		at, n := pairs[i], pairs[i+1]
		if i == 0 {
			if base, ok := macros["_BASE"]; ok && base != at {
				return nil, refuse(line, "the base is 0x%X, the first segment at 0x%X", base, at)
			}
		}
		if n == 0 || n > uint64(len(data)) || at+n > 1<<32 || i > 0 && at <= end {
			return nil, refuse(line, "a segment of %d bytes at 0x%X does not fit behind the one before", n, at)
		}
		m.Segments = append(m.Segments, Segment{uint32(at), data[:n]})
		data, end = data[n:], at+n
	}
	if len(data) > 0 {
		return nil, refuse(line, "%d bytes are in no segment", len(data))
	}
	return m, nil
}

// object reads an object file in a form: hex, srec or bin.
func object(r io.Reader, form string) (*Memory, error) {
	switch form {
	case "hex":
		return Hex(r)
	case "srec":
		return Srec(r)
	case "bin":
		return Bin(r)
	}
	return nil, fmt.Errorf("no reader for form %q", form)
}

// StoreWords reads a whole control store in a form (hex, srec, bin or memh):
// words of so many bytes from address 0 on without a hole, each in the byte
// order of the store, low byte first if little.
func StoreWords(r io.Reader, form string, bytesPerWord int, little bool) (*Words, error) {
	if form == "memh" {
		w, err := Memh(r)
		if err != nil {
			return nil, err
		}
		if w.BytesPerWord != bytesPerWord {
			return nil, fmt.Errorf("words of %d bytes, the store has %d", w.BytesPerWord, bytesPerWord)
		}
		for i := 0; little && i < w.Count; i++ {
			slices.Reverse(w.Word(i)) // the file has the most significant byte first
		}
		return w, nil
	}
	m, err := object(r, form)
	if err != nil {
		return nil, err
	}
	return m.Words(bytesPerWord, false)
}

// MemoryWords reads words for a memory of a machine from a file in a form
// (hex, srec, bin or memh): by word address, width bits each in whole bytes,
// low byte first if little. It fails if a word is cut off, wider than the
// memory's, or past its last, which is words - 1.
func MemoryWords(r io.Reader, form string, width int, words uint64, little bool) (map[uint64]uint64, error) {
	bytesPerWord := max((width+7)/8, 1)
	out := map[uint64]uint64{}
	put := func(at uint64, data []byte, little bool) error {
		value := uint64(0)
		for i := range data {
			b := data[i]
			if little {
				b = data[len(data)-1-i]
			}
			value = value<<8 | uint64(b)
		}
		if at >= words {
			return fmt.Errorf("word %X lies past the last, %X", at, words-1)
		}
		if width < 64 && value>>width != 0 {
			return fmt.Errorf("word %X is %X, wider than %d bits", at, value, width)
		}
		out[at] = value
		return nil
	}
	if form == "memh" {
		w, err := Memh(r)
		if err != nil {
			return nil, err
		}
		if w.BytesPerWord > 8 {
			return nil, fmt.Errorf("words of %d bytes, the memory's have %d", w.BytesPerWord, bytesPerWord)
		}
		for i := range w.Count {
			if err := put(uint64(i), w.Word(i), false); err != nil {
				return nil, err
			}
		}
		return out, nil
	}
	m, err := object(r, form)
	if err != nil {
		return nil, err
	}
	for _, seg := range m.Segments {
		if int(seg.Address)%bytesPerWord != 0 || len(seg.Data)%bytesPerWord != 0 {
			return nil, fmt.Errorf("the %d bytes at 0x%X are not whole words of %d bytes", len(seg.Data), seg.Address, bytesPerWord)
		}
		for i := 0; i < len(seg.Data); i += bytesPerWord {
			if err := put((uint64(seg.Address)+uint64(i))/uint64(bytesPerWord), seg.Data[i:][:bytesPerWord], little); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}
