package readback

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"
)

// records takes a list apart, for a test to change.
func records(t *testing.T, text string) [][]string {
	t.Helper()
	r, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func written(t *testing.T, records [][]string, comma rune) string {
	t.Helper()
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Comma = comma
	if err := w.WriteAll(records); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// edited applies a change to every record.
func edited(records [][]string, change func(i int, r []string) []string) [][]string {
	var out [][]string
	for i, r := range records {
		out = append(out, change(i, append([]string(nil), r...)))
	}
	return out
}

func inUTF16(text string, order binary.ByteOrder) string {
	var b bytes.Buffer
	binary.Write(&b, order, utf16.Encode([]rune("\ufeff"+text)))
	return b.String()
}

// TestWiresByTheNamesOfColumns: what a spreadsheet does to columns, cells and
// encoding does not matter, and what is left aside is told.
func TestWiresByTheNamesOfColumns(t *testing.T) {
	text := wiresPage(t, "hoist", "wires.csv")
	want := wiresOf(t, "hoist")
	all := records(t, text)
	note := edited(all, func(i int, r []string) []string {
		if i == 0 {
			return append(r, "Note")
		}
		return append(r, "done, twice")
	})
	for _, c := range []struct{ what, text, told string }{
		{"as it is", text, ""},
		{"columns in another order", written(t, edited(all, func(_ int, r []string) []string {
			for i := range len(r) / 2 {
				r[i], r[len(r)-1-i] = r[len(r)-1-i], r[i]
			}
			return r
		}), ','), ""},
		{"a column more", written(t, note, ','), "the column Note means nothing in a list of wires and is ignored"},
		{"empty columns at the end", written(t, edited(all, func(_ int, r []string) []string { return append(r, "", "") }), ','), ""},
		{"blanks round the cells", written(t, edited(all, func(_ int, r []string) []string {
			for i := range r {
				r[i] = " " + r[i] + " "
			}
			return r
		}), ','), ""},
		{"a header in capitals", strings.ToUpper(text[:strings.Index(text, "\n")]) + text[strings.Index(text, "\n"):], ""},
		{"semicolons", written(t, all, ';'), ""},
		{"tabs", written(t, all, '\t'), ""},
		{"UTF-16, the low byte first", inUTF16(text, binary.LittleEndian), ""},
		{"UTF-16, the high byte first", inUTF16(written(t, all, '\t'), binary.BigEndian), ""},
		{"a wire twice", text + "wire,,,,,,,," + string(want.Wires[0].To) + "," + string(want.Wires[0].From) + "\n",
			"the wire " + string(want.Wires[0].To) + " - " + string(want.Wires[0].From) + " is listed twice, first on line "},
	} {
		got, notes, err := WiresFile(strings.NewReader(c.text))
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		got.Wires = got.Wires[:len(want.Wires)]
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", c.what, d)
		}
		if told := strings.Join(notes, "; "); (c.told == "") != (told == "") || !strings.Contains(told, c.told) {
			t.Errorf("%s: told %q, want %q", c.what, told, c.told)
		}
	}
}

// TestWiresWithoutAHeader: what is refused says what is wanted.
func TestWiresWithoutAHeader(t *testing.T) {
	text := wiresPage(t, "hoist", "wires.csv")
	head := strings.TrimSpace(text[:strings.Index(text, "\n")])
	rest := text[strings.Index(text, "\n")+1:]
	for _, c := range []struct{ what, text, told string }{
		{"an empty file", "", "the file is empty"},
		{"blank lines", "\n \n", "the file is empty"},
		{"no header", rest, head + " is wanted"},
		{"a column is missing", written(t, edited(records(t, text), func(_ int, r []string) []string { return append(r[:4], r[5:]...) }), ','), "lacks poles: " + head + " is wanted"},
		{"a column twice", strings.Replace(text, "net", "from", 1), "the column from twice"},
		{"a field past the header", text + "wire,,,,,,,,K1:A1,K2:A1,,,,more\n", "14 fields, the header has 13"},
		{"a picture", "\x89PNG\x00\x00", "no text"},
		{"only a header", head + "\n", "no record says which list this is"},
	} {
		if _, _, err := WiresFile(strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.told) {
			t.Errorf("%s: %v, should speak of %q", c.what, err, c.told)
		}
	}
}
