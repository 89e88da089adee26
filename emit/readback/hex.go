package readback

import (
	"encoding/binary"
	"fmt"
	"io"
	"slices"
)

// Hex reads Intel HEX.
//
// Source: Intel, "Hexadecimal Object File Format Specification", Revision A,
// January 6, 1988. Of what it leaves to the reader or forbids:
//
//   - Records may come in any order, in either case, with LF, CRLF or CR.
//     Type 02 and 04 records stay in force until the next one of either type.
//   - Under type 02 an offset wraps within its 64 KiB segment; under type 04 it
//     carries on, and wraps at 4 GiB only. With neither in force the text
//     settles nothing: it carries on, as general tools do.
//   - Bytes may be defined twice if both records agree.
//   - Refused, with the line: a wrong checksum or length, unknown types, an
//     offset other than 0000 where the specification has none, two records
//     that disagree, anything but blank lines behind the end record, no end
//     record, anything before a colon.
//
// The memory it takes is at most a small multiple of the file's length.
func Hex(r io.Reader) (*Memory, error) {
	l := newLines(r)
	g := gatherer{arena: make([]byte, 0, min(lengthOf(r), 1<<28)*2/5)}
	t := hexPairs()
	m := new(Memory)
	base, segmented, ended := uint32(0), false, false
	for {
		if more, err := l.more(); err != nil {
			return nil, err
		} else if !more {
			break
		}
		text := l.buf[l.pos : l.pos+lookahead]
		if text[0] != ':' || ended {
			if l.blank() {
				continue
			}
			if ended {
				return nil, refuse(l.line, "text after the end record")
			}
			return nil, l.stray("a colon")
		}
		head := t.four(binary.LittleEndian.Uint64(text[1:]))
		if head>>32 != 0 {
			return nil, l.broken(1, 4, 4, 0)
		}
		n := int(head & 0xFF)
		offset, kind := uint32(head>>8&0xFF<<8|head>>16&0xFF), int(head>>24)
		if cap(g.arena)-len(g.arena) < 256 {
			g.room()
		}
		data := g.arena[len(g.arena) : len(g.arena)+n]
		var sum byte
		var ok bool
		if n == 16 {
			sum, ok = t.decode16((*[16]byte)(data), (*[32]byte)(text[9:]))
		} else {
			sum, ok = t.decode(data, text[9:9+2*n])
		}
		check := t.at(text[9+2*n:])
		sum += byte(head) + byte(head>>8) + byte(head>>16) + byte(head>>24) + byte(check)
		if !ok || check < 0 || sum != 0 {
			return nil, l.broken(1, 4, 4, 0)
		}
		line := l.line
		if !l.pass(11 + 2*n) {
			return nil, l.broken(1, 4, 4, 0)
		}
		if kind == 0 {
			switch {
			case segmented && offset+uint32(n) > 0x10000:
				g.wrap(base+offset, base, int(0x10000-offset), n, line)
			case uint64(base)+uint64(offset)+uint64(n) > 1<<32:
				g.wrap(base+offset, 0, int(1<<32-uint64(base)-uint64(offset)), n, line)
			default:
				g.add(base+offset, n, line)
			}
			continue
		}
		if kind >= len(hexLengths) {
			return nil, refuse(line, "unknown record type %02X", kind)
		}
		if want := hexLengths[kind]; n != want {
			return nil, refuse(line, "a record of type %02X has %d data bytes, not %d", kind, want, n)
		}
		if offset != 0 {
			return nil, refuse(line, "a record of type %02X has offset 0000, not %04X", kind, offset)
		}
		var value uint32
		for _, b := range data {
			value = value<<8 | uint32(b)
		}
		switch kind {
		case 1:
			ended = true
		case 2:
			base, segmented = value<<4, true
		case 4:
			base, segmented = value<<16, false
		case 3, 5:
			if err := m.start(fmt.Sprintf("%02X", kind), value, line); err != nil {
				return nil, err
			}
		}
	}
	if !ended {
		return nil, refuse(l.line, "no end record: the file is cut off")
	}
	var err error
	m.Segments, err = g.segments()
	return m, err
}

// hexLengths is the number of data bytes that each type but data must have.
var hexLengths = [...]int{1: 0, 2: 2, 3: 4, 4: 2, 5: 4}

// wrap takes the n bytes in room as two pieces, the first of cut bytes.
func (g *gatherer) wrap(first, second uint32, cut, n, line int) {
	g.add(first, cut, line)
	g.add(second, n-cut, line)
}

// start notes a start address; two that disagree are refused.
func (m *Memory) start(kind string, value uint32, line int) error {
	i := slices.IndexFunc(m.Starts, func(s Start) bool { return s.Type == kind })
	if i < 0 {
		m.Starts = append(m.Starts, Start{kind, value})
	} else if m.Starts[i].Value != value {
		return refuse(line, "the start address is %08X here and %08X before", value, m.Starts[i].Value)
	}
	return nil
}
