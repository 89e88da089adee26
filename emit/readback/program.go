package readback

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/bits"
	"strconv"
	"strings"

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

// StoreWords reads a whole control store in a form (hex, srec, bin or memh) and
// returns the bytes of the word at a word address, in the order of the file:
// for memh most significant first, else as they lie there; nil where the file
// has none. bytesPerWord is what a word takes.
func StoreWords(r io.Reader, form string, bytesPerWord int) (func(address uint64) []byte, error) {
	var m *Memory
	var err error
	switch form {
	case "memh":
		w, err := Memh(r)
		if err != nil {
			return nil, err
		}
		if w.BytesPerWord != bytesPerWord {
			return nil, errors.New("words of " + strconv.Itoa(w.BytesPerWord) + " bytes, the store has " + strconv.Itoa(bytesPerWord))
		}
		return func(address uint64) []byte {
			if address >= uint64(w.Count) {
				return nil
			}
			return w.Word(int(address))
		}, nil
	case "hex":
		m, err = Hex(r)
	case "srec":
		m, err = Srec(r)
	case "bin":
		m, err = Bin(r)
	default:
		err = fmt.Errorf("no reader for form %q", strings.TrimSpace(form))
	}
	if err != nil {
		return nil, err
	}
	return func(address uint64) []byte {
		high, at := bits.Mul64(address, uint64(bytesPerWord))
		if high != 0 || at >= 1<<32 {
			return nil
		}
		data, err := m.Bytes(uint32(at), bytesPerWord)
		if err != nil {
			return nil
		}
		return data
	}, nil
}
