package image

import (
	"encoding/binary"
	"fmt"
	"io"
)

// Intel HEX record types: Intel, "Hexadecimal Object File Format
// Specification", Revision A, January 6, 1988.
const (
	hexData          = 0
	hexEnd           = 1
	hexSegmentBase   = 2
	hexLinearBase    = 4
	hexLargestRecord = 255
)

// Hex writes data as Intel HEX from a base address on.
// Upper case, line feeds, a base record (type 04, or 02 when segmented) only
// where the upper half of the address changes, no record across a 64 KiB
// boundary: what a reader does there is not settled by the specification.
func Hex(w io.Writer, data []byte, base uint32, o Options) error {
	return HexSegments(w, []Segment{{base, data}}, o)
}

// HexSegments writes scattered bytes as Intel HEX, in address order. It fails
// before it writes if two segments define the same byte, if one reaches past
// 4 GiB (1 MiB when segmented), or if a record can't be so long.
func HexSegments(w io.Writer, segments []Segment, o Options) error {
	record, err := o.record(hexLargestRecord, "Intel HEX")
	if err != nil {
		return err
	}
	segments, err = ordered(segments)
	if err != nil {
		return err
	}
	if n := len(segments); n > 0 && o.Addressing == Segmented && segments[n-1].last() >= 1<<20 {
		return fmt.Errorf("the last byte is at 0x%X: segment addressing ends at 0xFFFFF (1 MiB); linear addressing goes on", segments[n-1].last())
	}
	buf := make([]byte, bufferSize)
	at := 0
	upper := uint64(0)
	for _, s := range segments {
		address, data := uint64(s.Address), s.Data
		for len(data) > 0 {
			if at+2*longestRecord > len(buf) {
				if _, err := w.Write(buf[:at]); err != nil {
					return err
				}
				at = 0
			}
			if address>>16 != upper {
				upper = address >> 16
				if o.Addressing == Segmented {
					at += putHex(buf[at:], 0, hexSegmentBase, []byte{byte(upper << 4), 0})
				} else {
					at += putHex(buf[at:], 0, hexLinearBase, []byte{byte(upper >> 8), byte(upper)})
				}
			}
			block := min(len(data), 0x10000-int(address&0xFFFF))
			if record == 16 {
				from := at
				for block >= 16 && at+len(hex16{}) <= len(buf) {
					putHex16((*hex16)(buf[at:]), uint16(address), (*[16]byte)(data))
					at += len(hex16{})
					address += 16
					data = data[16:]
					block -= 16
				}
				if at > from {
					continue
				}
			}
			n := min(record, block)
			at += putHex(buf[at:], uint16(address), hexData, data[:n])
			address += uint64(n)
			data = data[n:]
		}
	}
	at += putHex(buf[at:], 0, hexEnd, nil)
	_, err = w.Write(buf[:at])
	return err
}

// putHex writes a record and returns its length in characters.
func putHex(dst []byte, offset uint16, kind byte, data []byte) int {
	n := len(data)
	head := uint32(n) | uint32(offset>>8)<<8 | uint32(offset&0xFF)<<16 | uint32(kind)<<24
	dst[0] = ':'
	binary.LittleEndian.PutUint64(dst[1:], spread(head))
	sum := putDigits(dst[9:9+2*n], data)
	sum += byte(n) + byte(offset>>8) + byte(offset) + kind
	sum = -sum
	tail := dst[9+2*n : 12+2*n]
	tail[0], tail[1], tail[2] = digits[sum>>4], digits[sum&15], '\n'
	return 12 + 2*n
}

// hex16 is the record of the usual length, with its line feed.
type hex16 [44]byte

// putHex16 is putHex for 16 bytes of data: nearly every record of an image.
func putHex16(dst *hex16, offset uint16, data *[16]byte) {
	head := 16 | uint32(offset>>8)<<8 | uint32(offset&0xFF)<<16
	a, b := binary.LittleEndian.Uint64(data[:]), binary.LittleEndian.Uint64(data[8:])
	dst[0] = ':'
	binary.LittleEndian.PutUint64(dst[1:], spread(head))
	binary.LittleEndian.PutUint64(dst[9:], spread(uint32(a)))
	binary.LittleEndian.PutUint64(dst[17:], spread(uint32(a>>32)))
	binary.LittleEndian.PutUint64(dst[25:], spread(uint32(b)))
	binary.LittleEndian.PutUint64(dst[33:], spread(uint32(b>>32)))
	sum := -(16 + byte(offset>>8) + byte(offset) + byteSum(a&evens+a>>8&evens+b&evens+b>>8&evens))
	dst[41], dst[42], dst[43] = digits[sum>>4], digits[sum&15], '\n'
}
