package readback

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const srecEnd = "S9030000FC\n"

// srecLine makes a record of a type whose address has as many bytes as given.
func srecLine(kind int, wide int, address uint32, data ...byte) string {
	raw := []byte{byte(wide + len(data) + 1)}
	for i := wide - 1; i >= 0; i-- {
		raw = append(raw, byte(address>>(8*i)))
	}
	raw = append(raw, data...)
	sum := byte(0)
	for _, b := range raw {
		sum += b
	}
	return fmt.Sprintf("S%d%X%02X\n", kind, raw, ^sum)
}

func TestSrecRefuses(t *testing.T) {
	good := srecLine(1, 2, 0, 1, 2, 3)
	tests := []struct {
		name, file string
		line       int
		reason     string
	}{
		{"empty", "", 1, "no end record"},
		{"no end", good, 2, "no end record"},
		{"a bad sum", "S107FEDC210080CFAF\n" + srecEnd, 1, "bad checksum AF, should be AE"},
		{"a bad sum at the end", good + "S9030000FB\n", 2, "bad checksum FB, should be FC"},
		{"a digit short", good[:len(good)-2] + "\n" + srecEnd, 1, "short record: a count of 06 needs 14 hex digits, here are 13"},
		{"cut off", good + "S1", 2, "short record"},
		{"only an S", "S", 1, "short record: it ends before its type"},
		{"a byte too many", good[:len(good)-1] + "00\n" + srecEnd, 1, "long record"},
		{"a count too small for the address", "S102FD\n" + srecEnd, 1, "short record: a count of 02 leaves no room"},
		{"a count of 0", "S300\n", 1, "short record: a count of 00 leaves no room"},
		{"no digit", "S107FEDC21008%CFAE\n" + srecEnd, 1, "column 14: '%' is no hex digit"},
		{"no digit in the address", "S107FE-C210080CFAE\n" + srecEnd, 1, "column 7: '-' is no hex digit"},
		{"S4", srecLine(4, 3, 0), 1, "S4 is reserved"},
		{"SA", "SA030000FC\n", 1, "unknown record type S'A'"},
		{"data in an end record", srecLine(9, 2, 0, 1), 1, "an S9 record has a count of 03, not 04"},
		{"data in a count", srecLine(5, 2, 0, 1) + srecEnd, 1, "an S5 record has a count of 03, not 04"},
		{"a wrong count", good + srecLine(5, 2, 2) + srecEnd, 2, "2 data records announced, the file has 1"},
		{"a wrong S6 count", good + good + srecLine(6, 3, 1) + srecEnd, 3, "1 data records announced, the file has 2"},
		{"a wrong count at the end of the file", good + srecLine(5, 2, 2), 2, "2 data records announced, the file has 1"},
		{"two counts", good + srecLine(5, 2, 1) + good + srecLine(5, 2, 2) + srecEnd, 4, "2 data records announced here, 1 at line 2"},
		{"a count, then data, no end", srecLine(5, 2, 1) + good, 3, "no end record"},
		{"data after the end", srecEnd + good, 2, "text after the end record"},
		{"a byte-order mark", "\xEF\xBB\xBF" + good + srecEnd, 1, "byte-order mark"},
		{"text before the S", " " + good + srecEnd, 1, "begins with an S, not with ' '"},
		{"an Intel record", good + hexEnd, 2, "begins with an S, not with ':'"},
		{"two that disagree", good + srecLine(3, 4, 1, 9) + srecEnd, 2, "the byte at 0x1 is 09 here and 02 at line 1"},
		{"past the last address", srecLine(3, 4, 0xFFFFFFFF, 1, 2) + srecEnd, 1, "runs past the last address FFFFFFFF"},
		{"two headers", srecLine(0, 2, 0, 'a') + srecLine(0, 2, 0, 'b') + srecEnd, 2, "a second header"},
	}
	for _, test := range tests {
		_, err := Srec(strings.NewReader(test.file))
		refused(t, test.name, err, test.line, test.reason)
	}
}

func TestSrecAccepts(t *testing.T) {
	segment := func(address uint32, data ...byte) Segment { return Segment{address, data} }
	starts := []Start{{"S9", 0}}
	tests := []struct {
		name, file string
		want       Memory
	}{
		{"nothing", srecEnd, Memory{Starts: starts}},
		{"lower case, CRLF, blank lines", strings.ReplaceAll(strings.ToLower("\n"+srecLine(1, 2, 0xAB, 0xCD)+"\n"+srecEnd), "\n", "\r\n"), Memory{Segments: []Segment{segment(0xAB, 0xCD)}, Starts: starts}},
		{"any order and width", srecLine(3, 4, 4, 5) + srecLine(5, 2, 3) + srecLine(2, 3, 2, 3, 4) + srecLine(1, 2, 0, 1, 2) + srecEnd, Memory{Segments: []Segment{segment(0, 1, 2, 3, 4, 5)}, Starts: starts}},
		{"two that agree", srecLine(1, 2, 0, 1, 2) + srecLine(1, 2, 1, 2) + srecEnd, Memory{Segments: []Segment{segment(0, 1, 2)}, Starts: starts}},
		{"an S1 record that passes FFFF", srecLine(1, 2, 0xFFFF, 1, 2) + srecEnd, Memory{Segments: []Segment{segment(0xFFFF, 1, 2)}, Starts: starts}},
		{"the last byte there is", srecLine(3, 4, 0xFFFFFFFF, 1) + srecLine(7, 4, 0xCAFE0100), Memory{Segments: []Segment{segment(0xFFFFFFFF, 1)}, Starts: []Start{{"S7", 0xCAFE0100}}}},
		{"S8", srecLine(8, 3, 0x123456), Memory{Starts: []Start{{"S8", 0x123456}}}},
		{"a count instead of an end, as srec_cat does", srecLine(1, 2, 0, 1) + srecLine(5, 2, 1), Memory{Segments: []Segment{segment(0, 1)}}},
		{"the same header twice", srecLine(0, 2, 0, 'a') + srecLine(0, 2, 0, 'a') + srecEnd, Memory{Header: []byte("a"), Starts: starts}},
		{"the longest record", srecLine(1, 2, 0, make([]byte, 252)...) + srecEnd, Memory{Segments: []Segment{segment(0, make([]byte, 252)...)}, Starts: starts}},
	}
	for _, test := range tests {
		m, err := Srec(strings.NewReader(test.file))
		if err != nil {
			t.Errorf("%s: %v", test.name, err)
		} else if diff := cmp.Diff(&test.want, m); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.name, diff)
		}
	}
}
