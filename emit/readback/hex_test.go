package readback

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

const hexEnd = ":00000001FF\n"

// hexLine makes a record, so that a test can have one fault at a time.
func hexLine(offset, kind int, data ...byte) string {
	raw := append([]byte{byte(len(data)), byte(offset >> 8), byte(offset), byte(kind)}, data...)
	sum := byte(0)
	for _, b := range raw {
		sum -= b
	}
	return fmt.Sprintf(":%X%02X\n", raw, sum)
}

// refused checks that a file is refused at a line, for a reason.
func refused(t *testing.T, name string, err error, line int, reason string) {
	t.Helper()
	var place *LineError
	if !errors.As(err, &place) || place.Line != line || !strings.Contains(place.Text, reason) {
		t.Errorf("%s: %v, want line %d: %s", name, err, line, reason)
	}
}

func TestHexRefuses(t *testing.T) {
	good := hexLine(0, 0, 1, 2, 3)
	tests := []struct {
		name, file string
		line       int
		reason     string
	}{
		// checks.md 1.1: printed as good in a stored page
		// (cnblogs.com/shangdawei/p/3050286) [F], wrong [D].
		{"printed with a wrong sum", ":0D011C0000000000C3E0FF0000000000C30F\n" + hexEnd, 1, "bad checksum 0F, should be 71"},
		{"an end printed with a wrong sum", good + ":00000001FE\n", 2, "bad checksum FE, should be FF"},

		{"empty", "", 1, "no end record"},
		{"only blank lines", "\n\r\n\n", 4, "no end record"},
		{"no end", good, 2, "no end record"},
		{"no end, no line end", strings.TrimSpace(good), 2, "no end record"},
		{"a sum that is off by one", ":03000000010203F6\n" + hexEnd, 1, "bad checksum F6, should be F7"},
		{"one digit short", good[:len(good)-2] + "\n" + hexEnd, 1, "short record: a count of 03 needs 16 hex digits, here are 15"},
		{"cut off within a record", good + ":0300", 2, "short record"},
		{"only a colon", ":\n" + hexEnd, 1, "short record: it ends before its count"},
		{"a colon and a digit", ":0", 1, "short record"},
		{"a byte too many", good[:len(good)-1] + "00\n" + hexEnd, 1, "long record: a count of 03 needs 16 hex digits"},
		{"a blank behind", good[:len(good)-1] + " \n" + hexEnd, 1, "long record"},
		{"two records on a line", good[:len(good)-1] + good + hexEnd, 1, "long record"},
		{"a long line", ":" + strings.Repeat("0", 100000), 1, "long record"},
		{"no digit", ":03000000010g03F7\n" + hexEnd, 1, "column 13: 'g' is no hex digit"},
		{"no digit in the count", ":0x000000010203F7\n" + hexEnd, 1, "column 3: 'x' is no hex digit"},
		{"no digit in the sum", ":03000000010203F_\n" + hexEnd, 1, "column 17: '_' is no hex digit"},
		{"a NUL", ":0300000001\x000203F7\n" + hexEnd, 1, "column 12: the byte 00 is no hex digit"},
		{"type 06", hexLine(0, 6), 1, "unknown record type 06"},
		{"type FF", good + hexLine(0, 0xFF, 1), 2, "unknown record type FF"},
		{"a base of three bytes", hexLine(0, 4, 0, 0, 0), 1, "type 04 has 2 data bytes, not 3"},
		{"a segment of one byte", hexLine(0, 2, 0), 1, "type 02 has 2 data bytes, not 1"},
		{"a start of two bytes", hexLine(0, 3, 0, 0), 1, "type 03 has 4 data bytes, not 2"},
		{"a linear start without bytes", hexLine(0, 5), 1, "type 05 has 4 data bytes, not 0"},
		{"an end with data", hexLine(0, 1, 7), 1, "type 01 has 0 data bytes, not 1"},
		{"an end with an offset", hexLine(1, 1), 1, "type 01 has offset 0000, not 0001"},
		{"a base with an offset", hexLine(0x100, 4, 0, 0), 1, "type 04 has offset 0000, not 0100"},
		{"data after the end", hexEnd + good, 2, "text after the end record"},
		{"a second end", hexEnd + hexEnd, 2, "text after the end record"},
		{"a blank after the end", hexEnd + "\n ", 3, "text after the end record"},
		{"a byte-order mark", "\xEF\xBB\xBF" + good + hexEnd, 1, "byte-order mark"},
		{"UTF-16", "\xFF\xFE:\x000\x00", 1, "UTF-16"},
		{"UTF-16, high byte first", "\xFE\xFF\x00:\x000", 1, "UTF-16"},
		{"text before the colon", "x" + good + hexEnd, 1, "begins with a colon, not with 'x'"},
		{"a blank before the colon", good + " " + good + hexEnd, 2, "begins with a colon, not with ' '"},
		{"an S-record", good + "S9030000FC\n", 2, "begins with a colon, not with 'S'"},
		{"two that disagree", good + hexLine(2, 0, 4) + hexEnd, 2, "the byte at 0x2 is 04 here and 03 at line 1"},
		{"two that disagree, the lower one last", hexLine(4, 0, 9, 9, 9) + "\n" + hexLine(0, 0, 1, 2, 3, 4, 9, 8) + hexEnd, 3, "the byte at 0x5 is 08 here and 09 at line 1"},
		{"two that disagree, far into a run", hexLine(0, 0, 1, 2) + hexLine(2, 0, 3, 4) + hexLine(4, 0, 5) + hexLine(3, 0, 0xEE) + hexEnd, 4, "the byte at 0x3 is EE here and 04 at line 2"},
		{"two that disagree, by segments", hexLine(0, 2, 0x10, 0) + good + hexLine(0, 2, 0x0F, 0xFF) + hexLine(0x12, 0, 0xFF) + hexEnd, 4, "the byte at 0x10002 is FF here and 03 at line 2"},
		{"a record that disagrees with itself", hexLine(0, 2, 0, 0) + hexLine(0xFF80, 0, make([]byte, 255)...) + hexLine(5, 0, 1) + hexEnd, 3, "the byte at 0x5 is 01 here and 00 at line 2"},
		{"two starts", hexLine(0, 5, 0, 0, 0, 1) + hexLine(0, 5, 0, 0, 0, 2) + hexEnd, 2, "the start address is 00000002 here and 00000001 before"},
	}
	for _, test := range tests {
		m, err := Hex(strings.NewReader(test.file))
		refused(t, test.name, err, test.line, test.reason)
		if err != nil && m != nil && len(m.Segments) > 0 {
			t.Errorf("%s: memory beside an error", test.name)
		}
	}
}

func TestHexAccepts(t *testing.T) {
	segment := func(address uint32, data ...byte) Segment { return Segment{address, data} }
	tests := []struct {
		name, file string
		want       Memory
	}{
		{"nothing", hexEnd, Memory{}},
		{"no data in a data record", hexLine(7, 0) + hexEnd, Memory{}},
		{"blank lines", "\n" + hexLine(0, 0, 1) + "\r\n\n" + hexEnd + "\n\n", Memory{Segments: []Segment{segment(0, 1)}}},
		{"CR alone", strings.ReplaceAll(hexLine(0, 0, 1)+hexEnd, "\n", "\r"), Memory{Segments: []Segment{segment(0, 1)}}},
		{"mixed case", ":01000000aAFf\n"[:9] + "aA55\n" + hexEnd, Memory{Segments: []Segment{segment(0, 0xAA)}}},
		{"any order", hexLine(4, 0, 5) + hexLine(2, 0, 3, 4) + hexLine(0, 0, 1, 2) + hexEnd, Memory{Segments: []Segment{segment(0, 1, 2, 3, 4, 5)}}},
		{"a hole", hexLine(8, 0, 9) + hexLine(2, 0, 3) + hexEnd, Memory{Segments: []Segment{segment(2, 3), segment(8, 9)}}},
		{"two that agree", hexLine(0, 0, 1, 2) + hexLine(1, 0, 2, 3) + hexLine(0, 0, 1, 2, 3) + hexEnd, Memory{Segments: []Segment{segment(0, 1, 2, 3)}}},
		{"both bases in one file", hexLine(0, 4, 0, 2) + hexLine(0, 0, 1) + hexLine(0, 2, 0x10, 1) + hexLine(0, 0, 2) + hexLine(0, 4, 0, 0) + hexLine(0, 0, 3) + hexEnd,
			Memory{Segments: []Segment{segment(0, 3), segment(0x10010, 2), segment(0x20000, 1)}}},
		{"starts", hexLine(0, 3, 1, 2, 3, 4) + hexLine(0, 5, 5, 6, 7, 8) + hexLine(0, 3, 1, 2, 3, 4) + hexEnd,
			Memory{Starts: []Start{{"03", 0x01020304}, {"05", 0x05060708}}}},
		{"the highest segment", hexLine(0, 2, 0xFF, 0xFF) + hexLine(0xFFFF, 0, 1, 2) + hexEnd, Memory{Segments: []Segment{segment(0xFFFF0, 2), segment(0x10FFEF, 1)}}},
	}
	for _, test := range tests {
		for _, r := range []io.Reader{strings.NewReader(test.file), iotest.OneByteReader(strings.NewReader(test.file)), iotest.DataErrReader(strings.NewReader(test.file))} {
			m, err := Hex(r)
			if err != nil {
				t.Errorf("%s: %v", test.name, err)
			} else if diff := cmp.Diff(&test.want, m); diff != "" {
				t.Errorf("%s (-want +got):\n%s", test.name, diff)
			}
		}
	}
}

// TestEveryFlippedBitIsRefused: the sum is made so that one wrong bit in a
// record always shows.
func TestEveryFlippedBitIsRefused(t *testing.T) {
	files := map[string]func(io.Reader) (*Memory, error){
		hexLine(0x1234, 0, 0, 0xFF, 0x55, 0xAA) + hexEnd: Hex,
		"S107FEDC210080CFAE\nS5030001FB\nS9030000FC\n":   Srec,
	}
	for file, read := range files {
		clean, err := read(strings.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		for i := range file {
			if file[i] == 'S' || i > 0 && file[i-1] == 'S' {
				continue // an S-record's sum does not cover its type
			}
			for bit := range 8 {
				flipped := []byte(file)
				flipped[i] ^= 1 << bit
				m, err := read(bytes.NewReader(flipped))
				// The case of a letter is one bit, and no fault.
				if err == nil && !strings.EqualFold(string(flipped), file) {
					t.Errorf("bit %d of character %d: %q is read as %+v, like %+v", bit, i, flipped, m, clean)
				}
			}
		}
	}
}

func TestReadErrorsPass(t *testing.T) {
	broken := errors.New("the disk is gone")
	text := strings.NewReader(hexLine(0, 0, 1))
	for name, read := range map[string]func(io.Reader) error{
		"hex":    func(r io.Reader) error { _, err := Hex(r); return err },
		"srec":   func(r io.Reader) error { _, err := Srec(r); return err },
		"bin":    func(r io.Reader) error { _, err := Bin(r); return err },
		"memh":   func(r io.Reader) error { _, err := Memh(r); return err },
		"header": func(r io.Reader) error { _, err := Header(r); return err },
	} {
		if err := read(io.MultiReader(strings.NewReader(""), iotest.ErrReader(broken), text)); !errors.Is(err, broken) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Hex(silent{}); !errors.Is(err, io.ErrNoProgress) {
		t.Errorf("a reader that gives nothing: %v", err)
	}
}

type silent struct{}

func (silent) Read([]byte) (int, error) { return 0, nil }

// TestRandomRecords reads records of random lengths in random order, with
// overlaps that agree, and compares with a plain map of bytes.
func TestRandomRecords(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 300 {
		span := 1 + r.IntN(600)
		base := r.Uint32N(1 << 20)
		value := func(address uint32) byte { return byte(address*167 + address>>3) }
		want := map[uint32]byte{}
		var file strings.Builder
		upper := uint32(0)
		for range r.IntN(60) {
			address := base + r.Uint32N(uint32(span))
			if address>>16 != upper || r.IntN(9) == 0 {
				upper = address >> 16
				file.WriteString(hexLine(0, 4, byte(upper>>8), byte(upper)))
			}
			data := make([]byte, r.IntN(20))
			for i := range data {
				data[i] = value(address + uint32(i))
				want[address+uint32(i)] = data[i]
			}
			file.WriteString(hexLine(int(address&0xFFFF), 0, data...))
		}
		m, err := Hex(strings.NewReader(file.String() + hexEnd))
		if err != nil {
			t.Fatal(err)
		}
		got := map[uint32]byte{}
		end := int64(-1)
		for _, s := range m.Segments {
			if int64(s.Address) <= end || len(s.Data) == 0 {
				t.Fatalf("segments out of order, touching or empty: %+v", m.Segments)
			}
			for i, b := range s.Data {
				got[s.Address+uint32(i)] = b
			}
			end = int64(s.Address) + int64(len(s.Data))
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("-want +got:\n%s\n%s", diff, file.String())
		}
	}
}

func TestMemoryBytes(t *testing.T) {
	m := &Memory{Segments: []Segment{{0x10, []byte{1, 2, 3}}, {0x20, []byte{4}}}}
	if got, err := m.Bytes(0x11, 2); err != nil || !bytes.Equal(got, []byte{2, 3}) {
		t.Errorf("%v, %v", got, err)
	}
	for _, test := range []struct {
		address uint32
		n       int
		want    string
	}{{0x0F, 2, "no byte at 0xF"}, {0x12, 2, "no byte at 0x13"}, {0x21, 1, "no byte at 0x21"}} {
		if _, err := m.Bytes(test.address, test.n); err == nil || err.Error() != test.want {
			t.Errorf("%v, want %s", err, test.want)
		}
	}
	if m.Size() != 4 {
		t.Errorf("size %d", m.Size())
	}
	if _, _, ok := m.Contiguous(); ok {
		t.Error("contiguous with a hole")
	}
	if _, err := m.Words(1, false); err == nil || err.Error() != "no byte at 0x0: the first is at 0x10" {
		t.Error(err)
	}
	m.Segments[0].Address = 0
	if _, err := m.Words(1, false); err == nil || err.Error() != "no byte at 0x3: there is a hole before 0x20" {
		t.Error(err)
	}
}
