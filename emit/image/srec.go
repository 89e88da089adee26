package image

import (
	"encoding/binary"
	"errors"
	"io"
	"math/bits"
	"unicode/utf8"
)

// largestHeader is the most bytes of a name that the S0 record carries (language.md S.4).
const largestHeader = 32

// Srec writes data as Motorola S-records from a base address on, under a name.
func Srec(w io.Writer, name string, data []byte, base uint32, o Options) error {
	return SrecSegments(w, name, []Segment{{base, data}}, o)
}

// SrecSegments writes scattered bytes as Motorola S-records, in address order:
// S0 with the name, S1, S2 or S3 for the whole file by its highest address, S5
// or S6 with their count, S9, S8 or S7 with start address 0. It fails before
// it writes if two segments define the same byte, if one reaches past 4 GiB,
// or if a record can't be so long.
//
// Source: Motorola, M68000 Family Programmer's Reference Manual, appendix C.
func SrecSegments(w io.Writer, name string, segments []Segment, o Options) error {
	segments, err := ordered(segments)
	if err != nil {
		return err
	}
	wide := 2
	if n := len(segments); n > 0 {
		for last := segments[n-1].last(); last>>(8*wide) != 0; {
			wide++
		}
	}
	// The count byte, at most 255, covers the address and the checksum too.
	record, err := o.record(254-wide, "S"+digits[wide-1:wide])
	if err != nil {
		return err
	}
	total := 0
	for _, s := range segments {
		total += (len(s.Data) + record - 1) / record
	}
	if total >= 1<<24 {
		return errors.New("more records than an S6 record can count (16,777,215): ask for longer ones")
	}

	buf := make([]byte, bufferSize)
	at := putSrec(buf, '0', 2, 0, []byte(header(name)))
	for _, s := range segments {
		address, data := s.Address, s.Data
		for len(data) > 0 {
			if at+2*longestRecord > len(buf) {
				if _, err := w.Write(buf[:at]); err != nil {
					return err
				}
				at = 0
			}
			if record == 16 && len(data) >= 16 {
				at += putSrec16((*[64]byte)(buf[at:]), '0'+byte(wide)-1, wide, address, (*[16]byte)(data))
				address += 16
				data = data[16:]
				continue
			}
			n := min(record, len(data))
			at += putSrec(buf[at:], '0'+byte(wide)-1, wide, address, data[:n])
			address += uint32(n)
			data = data[n:]
		}
	}
	if total <= 0xFFFF {
		at += putSrec(buf[at:], '5', 2, uint32(total), nil)
	} else {
		at += putSrec(buf[at:], '6', 3, uint32(total), nil)
	}
	at += putSrec(buf[at:], '0'+11-byte(wide), wide, 0, nil)
	_, err = w.Write(buf[:at])
	return err
}

// header cuts a name to what S0 carries, without leaving half a character.
func header(name string) string {
	if len(name) <= largestHeader {
		return name
	}
	end := largestHeader
	for end > 0 && !utf8.RuneStart(name[end]) {
		end--
	}
	return name[:end]
}

// putSrec writes a record with an address of wide bytes and returns its length
// in characters.
func putSrec(dst []byte, kind byte, wide int, address uint32, data []byte) int {
	var head [5]byte
	head[0] = byte(wide + len(data) + 1)
	for i := range wide {
		head[1+i] = byte(address >> (8 * (wide - 1 - i)))
	}
	dst[0], dst[1] = 'S', kind
	at := 2
	sum := putDigits(dst[at:], head[:1+wide])
	at += 2 * (1 + wide)
	sum += putDigits(dst[at:at+2*len(data)], data)
	at += 2 * len(data)
	sum = ^sum
	dst[at], dst[at+1], dst[at+2] = digits[sum>>4], digits[sum&15], '\n'
	return at + 3
}

// putSrec16 is putSrec for 16 bytes of data: nearly every record of an image.
// The digits of the head go out eight at a time; what is too much of them the
// data covers.
func putSrec16(dst *[64]byte, kind byte, wide int, address uint32, data *[16]byte) int {
	head := uint64(wide+17) | uint64(bits.ReverseBytes32(address)>>(32-8*wide))<<8
	a, b := binary.LittleEndian.Uint64(data[:]), binary.LittleEndian.Uint64(data[8:])
	dst[0], dst[1] = 'S', kind
	binary.LittleEndian.PutUint64(dst[2:], spread(uint32(head)))
	binary.LittleEndian.PutUint64(dst[10:], spread(uint32(head>>32)))
	body := dst[4+2*wide : 39+2*wide]
	binary.LittleEndian.PutUint64(body, spread(uint32(a)))
	binary.LittleEndian.PutUint64(body[8:], spread(uint32(a>>32)))
	binary.LittleEndian.PutUint64(body[16:], spread(uint32(b)))
	binary.LittleEndian.PutUint64(body[24:], spread(uint32(b>>32)))
	lanes := a&evens + a>>8&evens + b&evens + b>>8&evens + head&evens + head>>8&evens
	sum := ^byteSum(lanes)
	body[32], body[33], body[34] = digits[sum>>4], digits[sum&15], '\n'
	return 39 + 2*wide
}
