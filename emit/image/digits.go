package image

import "encoding/binary"

// The writers below turn 16 MiB into records in a few hundredths of a second:
// eight characters at a time in one machine word, no allocation a record.

const digits = "0123456789ABCDEF"

// spread turns four bytes, the first in the low byte of x, into their eight
// hex characters, the first in the low byte.
func spread(x uint32) uint64 {
	y := uint64(x)
	y = (y | y<<16) & 0x0000FFFF0000FFFF
	y = (y | y<<8) & 0x00FF00FF00FF00FF
	nibbles := y>>4&0x000F000F000F000F | y<<8&0x0F000F000F000F00
	letters := (nibbles + 0x0606060606060606) >> 4 & 0x0101010101010101
	return nibbles + 0x3030303030303030 + letters*('A'-'0'-10)
}

// putDigits writes two characters a byte and returns the sum of the bytes
// modulo 256. dst holds 2 len(src) characters at least; src is a record's, so
// the four 16-bit lanes that the sum is gathered in can't overflow.
func putDigits(dst, src []byte) byte {
	var lanes uint64
	for len(src) >= 8 && len(dst) >= 16 {
		x := binary.LittleEndian.Uint64(src)
		lanes += x&evens + x>>8&evens
		binary.LittleEndian.PutUint64(dst, spread(uint32(x)))
		binary.LittleEndian.PutUint64(dst[8:], spread(uint32(x>>32)))
		src, dst = src[8:], dst[16:]
	}
	sum := byteSum(lanes)
	for i, b := range src {
		sum += b
		dst[2*i], dst[2*i+1] = digits[b>>4], digits[b&15]
	}
	return sum
}

// evens picks every other byte: x&evens + x>>8&evens adds the bytes of x up in
// four lanes of 16 bits.
const evens = 0x00FF00FF00FF00FF

// byteSum adds four lanes up, modulo 256.
func byteSum(lanes uint64) byte { return byte(lanes * 0x0001000100010001 >> 48) }

// longestRecord is the most characters a record takes, its line feed included:
// 255 counted bytes, the count itself, and what stands around them.
const longestRecord = 2*(255+6) + 4

// bufferSize is how much is gathered before it is written out.
const bufferSize = 256 << 10
