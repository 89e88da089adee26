package readback

import (
	"encoding/binary"
	"fmt"
	"io"
	"sync"
)

// pairs gives the byte that two characters, the first in the low half of the
// index, stand for; notDigits for everything that is no pair of hex digits.
// Text comes in two characters at a time, and the 484 pairs that are valid
// fill few enough cache lines to stay close.
type pairs [1 << 16]int16

// notDigits is -1, so that its bits above the byte stay set wherever it is
// shifted to: one look at the upper half of a sum of shifted bytes tells
// whether all were valid.
const notDigits = -1

var hexPairs = sync.OnceValue(func() *pairs {
	const upper, lower = "0123456789ABCDEF", "0123456789abcdef"
	t := new(pairs)
	for i := range t {
		t[i] = notDigits
	}
	for high := range 16 {
		for low := range 16 {
			for _, h := range []byte{upper[high], lower[high]} {
				for _, l := range []byte{upper[low], lower[low]} {
					t[int(h)|int(l)<<8] = int16(high<<4 | low)
				}
			}
		}
	}
	return t
})

// at returns the byte of the two characters at the start of text, or notDigits.
func (t *pairs) at(text []byte) int { return int(t[binary.LittleEndian.Uint16(text)]) }

// four returns the bytes of eight characters, the first of each in the low
// byte. It is above 32 bits if a character is no digit.
func (t *pairs) four(x uint64) uint64 {
	a, b := uint64(t[uint16(x)]), uint64(t[uint16(x>>16)])
	c, d := uint64(t[uint16(x>>32)]), uint64(t[uint16(x>>48)])
	return a | b<<8 | c<<16 | d<<24
}

// decode reads len(dst) bytes from twice as many characters. It returns the
// sum of the bytes modulo 256; ok is false if a character is no digit.
func (t *pairs) decode(dst, text []byte) (sum byte, ok bool) {
	var lanes, bad uint64 // four 16-bit sums; a record has at most 32 words of 8 bytes
	for len(dst) >= 8 && len(text) >= 16 {
		low, high := t.four(binary.LittleEndian.Uint64(text)), t.four(binary.LittleEndian.Uint64(text[8:]))
		bad |= low | high
		v := low | high<<32
		lanes += v&evens + v>>8&evens
		binary.LittleEndian.PutUint64(dst, v)
		dst, text = dst[8:], text[16:]
	}
	sum = laneSum(lanes)
	rest := 0
	for i := range dst {
		v := t.at(text[2*i:])
		rest |= v
		sum += byte(v)
		dst[i] = byte(v)
	}
	return sum, bad>>32 == 0 && rest >= 0
}

// decode16 is decode for the data of nearly every record.
func (t *pairs) decode16(dst *[16]byte, text *[32]byte) (sum byte, ok bool) {
	a, b := t.four(binary.LittleEndian.Uint64(text[0:])), t.four(binary.LittleEndian.Uint64(text[8:]))
	c, d := t.four(binary.LittleEndian.Uint64(text[16:])), t.four(binary.LittleEndian.Uint64(text[24:]))
	v, w := a|b<<32, c|d<<32
	binary.LittleEndian.PutUint64(dst[0:], v)
	binary.LittleEndian.PutUint64(dst[8:], w)
	return laneSum(v&evens + v>>8&evens + w&evens + w>>8&evens), (a|b|c|d)>>32 == 0
}

// evens picks every other byte: x&evens + x>>8&evens adds the bytes of x up in
// four lanes of 16 bits, which laneSum adds up modulo 256.
const evens = 0x00FF00FF00FF00FF

func laneSum(lanes uint64) byte { return byte(lanes * 0x0001000100010001 >> 48) }

// lookahead is more than the longest record of either format with its line
// end: ':' or "Sn", a count of at most 255 and what it does not count.
const lookahead = 640

// lines walks through a file record by record, holding one buffer of it.
type lines struct {
	r        io.Reader
	buf      []byte
	pos, end int
	line     int // of what begins at pos, from 1
	whole    bool
}

func newLines(r io.Reader) *lines {
	return &lines{r: r, buf: make([]byte, 256<<10), line: 1}
}

// more reports whether there is text left, and makes sure that lookahead bytes
// can be looked at: past the end of the file they are NUL, which is no digit.
func (l *lines) more() (bool, error) {
	if l.end-l.pos >= lookahead {
		return true, nil
	}
	if !l.whole {
		l.end = copy(l.buf, l.buf[l.pos:l.end])
		l.pos = 0
		for idle := 0; l.end < len(l.buf)-lookahead && !l.whole; {
			n, err := l.r.Read(l.buf[l.end : len(l.buf)-lookahead])
			l.end += n
			switch {
			case err == io.EOF:
				l.whole = true
				clear(l.buf[l.end : l.end+lookahead])
			case err != nil:
				return false, err
			case n == 0:
				if idle++; idle == 100 {
					return false, io.ErrNoProgress
				}
			default:
				idle = 0
			}
		}
	}
	return l.pos < l.end, nil
}

// blank passes over a line end where a record could begin.
func (l *lines) blank() bool {
	n := l.lineEnd(0)
	l.pos += n
	if n > 0 {
		l.line++
	}
	return n > 0
}

// lineEnd returns how long the line end n characters on is: LF, CRLF or, from
// old machines, CR; 0 if there is none.
func (l *lines) lineEnd(n int) int {
	switch l.buf[l.pos+n] {
	case '\n':
		return 1
	case '\r':
		if l.buf[l.pos+n+1] == '\n' {
			return 2
		}
		return 1
	}
	return 0
}

// pass goes on behind a record of n characters. It reports false if something
// else than a line end or the end of the file stands there.
func (l *lines) pass(n int) bool {
	end := l.lineEnd(n)
	if end == 0 && l.pos+n < l.end {
		return false
	}
	l.pos += n + end
	l.line++
	return true
}

// text returns the line at pos, cut at lookahead.
func (l *lines) text() []byte {
	text := l.buf[l.pos:min(l.pos+lookahead, l.end)]
	for i, c := range text {
		if c == '\n' || c == '\r' {
			return text[:i]
		}
	}
	return text
}

// stray says why a line that begins without a record's mark is refused. Most
// tools pass over it and lose the record without a word.
func (l *lines) stray(mark string) error {
	text := l.text()
	switch {
	case len(text) >= 3 && string(text[:3]) == "\xEF\xBB\xBF":
		return refuse(l.line, "a byte-order mark before the first record: save the file without it")
	case len(text) >= 2 && (string(text[:2]) == "\xFE\xFF" || string(text[:2]) == "\xFF\xFE"):
		return refuse(l.line, "the file is in UTF-16: save it as plain ASCII")
	}
	return refuse(l.line, "a record begins with %s, not with %s", mark, character(text[0]))
}

// character writes c for a message.
func character(c byte) string {
	if c < 0x20 || c > 0x7E {
		return fmt.Sprintf("the byte %02X", c)
	}
	return fmt.Sprintf("'%c'", c)
}

// broken says what is wrong with the line at pos, whose hex digits begin at
// column mark (from 0) and begin with a count of further bytes, plus extra
// that it does not count. total makes the sum of all bytes the checksum
// completes (0 for Intel HEX, 0xFF for S-records).
func (l *lines) broken(mark, extra, least int, total byte) error {
	text := l.text()[mark:]
	t := hexPairs()
	var raw [lookahead]byte
	n := 0
	for ; 2*n+1 < len(text); n++ {
		v := t.at(text[2*n:])
		if v == notDigits {
			break
		}
		raw[n] = byte(v)
	}
	want := 2
	if n > 0 {
		want = 2 * (1 + int(raw[0]) + extra)
	}
	for i := 2 * n; i < len(text) && i < want; i++ {
		if c := text[i]; !(c >= '0' && c <= '9' || c >= 'A' && c <= 'F' || c >= 'a' && c <= 'f') {
			return refuse(l.line, "column %d: %s is no hex digit", mark+i+1, character(c))
		}
	}
	switch {
	case n == 0:
		return refuse(l.line, "short record: it ends before its count")
	case int(raw[0])+extra < least:
		return refuse(l.line, "short record: a count of %02X leaves no room for the address and the checksum", raw[0])
	case len(text) < want:
		return refuse(l.line, "short record: a count of %02X needs %d hex digits, here are %d", raw[0], want, len(text))
	case len(text) > want:
		return refuse(l.line, "long record: a count of %02X needs %d hex digits, and more stands behind them", raw[0], want)
	}
	last := want/2 - 1
	sum := byte(0)
	for _, b := range raw[:last] {
		sum += b
	}
	return refuse(l.line, "bad checksum %02X, should be %02X", raw[last], total-sum)
}
