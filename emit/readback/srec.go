package readback

import "io"

// Srec reads Motorola S-records.
//
// Source: Motorola, M68000 Family Programmer's Reference Manual, appendix C.
// Data records of different address widths may mix and come in any order, in
// either case, with LF, CRLF or CR; any of S7, S8 and S9 ends the file, as
// general tools choose the type by each address. The checksum does not cover
// the type, so no reader can tell a damaged one. A record whose bytes pass the
// highest address of its type carries on; past 4 GiB it is refused. An S5 or
// S6 count must be the number of data records of the whole file. Refused, with
// the line: a wrong checksum or length, unknown types and the reserved S4, two
// records that disagree on a byte, a wrong count, anything but blank lines
// behind the end record, no end record, anything before an S. A count that
// comes last stands for an end record, for srec_cat 1.64 writes none where
// there is no start address: what is cut off shows all the same.
//
// The memory it takes is at most a small multiple of the file's length.
func Srec(r io.Reader) (*Memory, error) {
	l := newLines(r)
	g := gatherer{arena: make([]byte, 0, min(lengthOf(r), 1<<28)*2/5)}
	t := hexPairs()
	m := new(Memory)
	ended, counted, headed := false, false, false
	records := 0
	type claim struct {
		count uint32
		line  int
	}
	var claims []claim
	for {
		if more, err := l.more(); err != nil {
			return nil, err
		} else if !more {
			break
		}
		text := l.buf[l.pos : l.pos+lookahead]
		if text[0] != 'S' && text[0] != 's' || ended {
			if l.blank() {
				continue
			}
			if ended {
				return nil, refuse(l.line, "text after the end record")
			}
			return nil, l.stray("an S")
		}
		kind := int(text[1]) - '0'
		if kind < 0 || kind > 9 {
			if len(l.text()) < 2 {
				return nil, refuse(l.line, "short record: it ends before its type")
			}
			return nil, refuse(l.line, "unknown record type S%s", character(text[1]))
		}
		wide := srecAddresses[kind]
		if wide == 0 {
			return nil, refuse(l.line, "record type S4 is reserved")
		}
		count := t.at(text[2:])
		if count < wide+1 {
			return nil, l.broken(2, 0, wide+1, 0xFF)
		}
		var address uint32
		sum, digits := byte(count), 0
		for i := range wide {
			v := t.at(text[4+2*i:])
			digits |= v
			sum += byte(v)
			address = address<<8 | uint32(v&0xFF)
		}
		n := count - wide - 1
		if cap(g.arena)-len(g.arena) < 256 {
			g.room()
		}
		data := g.arena[len(g.arena) : len(g.arena)+n]
		at := 4 + 2*wide
		var dataSum byte
		var ok bool
		if n == 16 {
			dataSum, ok = t.decode16((*[16]byte)(data), (*[32]byte)(text[at:]))
		} else {
			dataSum, ok = t.decode(data, text[at:at+2*n])
		}
		check := t.at(text[at+2*n:])
		if !ok || digits < 0 || check < 0 || sum+dataSum+byte(check) != 0xFF {
			return nil, l.broken(2, 0, wide+1, 0xFF)
		}
		line := l.line
		if !l.pass(at + 2*n + 2) {
			return nil, l.broken(2, 0, wide+1, 0xFF)
		}
		counted = kind == 5 || kind == 6
		switch kind {
		case 0:
			if headed && string(m.Header) != string(data) {
				return nil, refuse(line, "a second header that says something else")
			}
			m.Header, headed = append([]byte(nil), data...), true
		case 1, 2, 3:
			if uint64(address)+uint64(n) > 1<<32 {
				return nil, refuse(line, "the record runs past the last address FFFFFFFF")
			}
			records++
			g.add(address, n, line)
		default:
			if n != 0 {
				return nil, refuse(line, "an S%d record has a count of %02X, not %02X", kind, wide+1, count)
			}
			if kind >= 7 {
				ended = true
				m.Starts = []Start{{"S" + string(rune('0'+kind)), address}}
			} else if k := len(claims); k > 0 && claims[k-1].count != address {
				return nil, refuse(line, "%d data records announced here, %d at line %d", address, claims[k-1].count, claims[k-1].line)
			} else {
				claims = append(claims[:0], claim{address, line})
			}
		}
	}
	if !ended && !counted {
		return nil, refuse(l.line, "no end record: the file is cut off")
	}
	for _, c := range claims {
		if int64(c.count) != int64(records) {
			return nil, refuse(c.line, "%d data records announced, the file has %d", c.count, records)
		}
	}
	var err error
	m.Segments, err = g.segments()
	return m, err
}

// srecAddresses is the number of address bytes of each type; S5 and S6 hold a
// count there.
var srecAddresses = [...]int{0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
