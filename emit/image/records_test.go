package image_test

import (
	"bytes"
	"encoding/hex"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/image"
	"coilwright/emit/readback"
)

// Every worked record of checks.md section 1. Marks: [F] found in a stored
// text, [M] from memory, not seen, [D] derived here. All were summed again
// there [D].

// hexRecords are data and base records of Intel HEX with the bytes they put
// into memory. Base is a record that has to be in force; if written, Hex writes
// just this record for these bytes.
var hexRecords = []struct {
	source  string
	base    string
	record  string
	address uint32
	data    string
	written bool
}{
	{"[F] a Microchip page, Wikipedia and others", "", ":0300300002337A1E", 0x30, "02337A", true},
	{"[M] Wikipedia, Intel HEX", "", ":10010000214601360121470136007EFE09D2190140", 0x100, "214601360121470136007EFE09D21901", true},
	{"[M] Wikipedia, Intel HEX", "", ":100110002146017E17C20001FF5F16002148011928", 0x110, "2146017E17C20001FF5F160021480119", true},
	{"[M] Wikipedia, Intel HEX", "", ":10012000194E79234623965778239EDA3F01B2CAA7", 0x120, "194E79234623965778239EDA3F01B2CA", true},
	{"[M] Wikipedia, Intel HEX", "", ":100130003F0156702B5E712B722B732146013421C7", 0x130, "3F0156702B5E712B722B732146013421", true},
	{"[F] asem51 manual, appendix E", "", ":10E0000002E003E4F588758910F58DF58BD28E302A", 0xE000, "02E003E4F588758910F58DF58BD28E30", true},
	{"[F] C Users Journal disk CUJ0704, V7N4028A.TXT", "", ":04FEDC00210080CFB2", 0xFEDC, "210080CF", true},
	{"[F] Emerson PmT1/PmE1 manual p. 8-24; its prose says address 40: an 02 record of 0001 before it is inferred", ":020000020001FB", ":04003000902BB4FD60", 0x40, "902BB4FD", false},
	{"[F] the same record without a base", "", ":04003000902BB4FD60", 0x30, "902BB4FD", true},
	{"[F] Renesas CC-RH manual", "", ":040100003C58E01B6C", 0x100, "3C58E01B", true},
}

func TestHexRecords(t *testing.T) {
	const end = ":00000001FF" // [F] asem51 manual, appendix E, and others
	for _, test := range hexRecords {
		data, err := hex.DecodeString(test.data)
		if err != nil {
			t.Fatal(err)
		}
		want := []readback.Segment{{Address: test.address, Data: data}}
		file := strings.TrimLeft(test.base+"\n"+test.record+"\n"+end+"\n", "\n")
		for _, text := range []string{file, strings.ToLower(file), strings.ReplaceAll(file, "\n", "\r\n"), strings.TrimRight(file, "\n")} {
			m, err := readback.Hex(strings.NewReader(text))
			if err != nil {
				t.Errorf("%s: %q: %v", test.source, text, err)
			} else if diff := cmp.Diff(want, m.Segments); diff != "" {
				t.Errorf("%s: %q (-want +got):\n%s", test.source, text, diff)
			}
		}
		if !test.written {
			continue
		}
		var b bytes.Buffer
		if err := image.Hex(&b, data, test.address, image.Options{}); err != nil {
			t.Error(err)
		} else if b.String() != file {
			t.Errorf("%s: written as %q, want %q", test.source, b.String(), file)
		}
	}
}

func TestHexBaseRecords(t *testing.T) {
	tests := []struct {
		source  string
		record  string
		base    uint32
		written bool
		form    image.Addressing
	}{
		{"[M] Wikipedia: SBA = 12000", ":020000021200EA", 0x12000, false, image.Segmented},
		{"[M] Wikipedia: LBA = FFFF0000", ":02000004FFFFFC", 0xFFFF0000, true, image.Linear},
		{"[F] a public bug report: LBA = 08000000", ":020000040800F2", 0x08000000, true, image.Linear},
		{"[D] written by GNU objcopy 2.40", ":020000021000EC", 0x10000, true, image.Segmented},
		{"[D] written by GNU objcopy 2.40", ":020000022000DC", 0x20000, true, image.Segmented},
		{"[D] written by srec_cat 1.64, which does so for 0 too", ":020000040000FA", 0, false, image.Linear},
	}
	for _, test := range tests {
		file := test.record + "\n:0100010055A9\n:00000001FF\n"
		m, err := readback.Hex(strings.NewReader(file))
		if err != nil {
			t.Errorf("%s: %v", test.source, err)
			continue
		}
		if diff := cmp.Diff([]readback.Segment{{Address: test.base + 1, Data: []byte{0x55}}}, m.Segments); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.source, diff)
		}
		if !test.written {
			continue
		}
		var b bytes.Buffer
		if err := image.Hex(&b, []byte{0x55}, test.base+1, image.Options{Addressing: test.form}); err != nil {
			t.Error(err)
		} else if b.String() != file {
			t.Errorf("%s: written as %q, want %q", test.source, b.String(), file)
		}
	}
}

func TestHexBaseIsWrittenHighByteFirst(t *testing.T) {
	// A real bug [F], the same public report: :020000040008F2, the low byte
	// first. Its sum is right, so only the meaning can catch it.
	m, err := readback.Hex(strings.NewReader(":020000040008F2\n:0100010055A9\n:00000001FF\n"))
	if err != nil || m.Segments[0].Address != 0x00080001 {
		t.Errorf("the swapped record: %v, %v", m, err)
	}
	var b bytes.Buffer
	if err := image.Hex(&b, []byte{0x55}, 0x08000001, image.Options{}); err != nil || !strings.HasPrefix(b.String(), ":020000040800F2\n") {
		t.Errorf("written %q, %v", b.String(), err)
	}
}

func TestHexStartRecords(t *testing.T) {
	tests := []struct {
		source, record string
		want           readback.Start
	}{
		{"[M] Wikipedia: CS:IP = 0000:3800", ":0400000300003800C1", readback.Start{Type: "03", Value: 0x3800}},
		{"[M] Wikipedia: EIP = 000000CD", ":04000005000000CD2A", readback.Start{Type: "05", Value: 0xCD}},
		{"[D] written by GNU objcopy 2.40", ":040000031000FFF8F2", readback.Start{Type: "03", Value: 0x1000FFF8}},
	}
	for _, test := range tests {
		m, err := readback.Hex(strings.NewReader(test.record + "\n:00000001FF\n"))
		if err != nil {
			t.Errorf("%s: %v", test.source, err)
			continue
		}
		if diff := cmp.Diff(&readback.Memory{Starts: []readback.Start{test.want}}, m); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.source, diff)
		}
	}
}

// srecRecords are data records with what they put into memory.
var srecRecords = []struct {
	source, record string
	address        uint32
	data           string
}{
	{"[F] Emerson manual p. 8-24 ff.; sum 19E, FF-9E = 61", "S1137AF00A0A0D0000000000000000000000000061", 0x7AF0, "0A0A0D00000000000000000000000000"},
	{"[M] Wikipedia, SREC", "S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026", 0, "7C0802A6900100049421FFF07C6C1B787C8C23783C60000038630000"},
	{"[M] Wikipedia, SREC", "S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9", 0x1C, "4BFFFFE5398000007D83637880010014382100107C0803A64E800020"},
	{"[M] Wikipedia, SREC", "S111003848656C6C6F20776F726C642E0A0042", 0x38, "48656C6C6F20776F726C642E0A00"},
	{"[M] Motorola manual example", "S1130000285F245F2212226A000424290008237C2A", 0, "285F245F2212226A000424290008237C"},
	{"[M] Motorola manual example", "S11300100002000800082629001853812341001813", 0x10, "00020008000826290018538123410018"},
	{"[M] Motorola manual example", "S113002041E900084E42234300182342000824A952", 0x20, "41E900084E42234300182342000824A9"},
	{"[M] Motorola manual example", "S107003000144ED492", 0x30, "00144ED4"},
	{"[F] C Users Journal disk CUJ0704", "S107FEDC210080CFAE", 0xFEDC, "210080CF"},
	{"[F] DTS-Insight article 10010861897359", "S315CAFE010055AA55AA55AA55AA55AA55AA55AA55AA29", 0xCAFE0100, "55AA55AA55AA55AA55AA55AA55AA55AA"},
	{"[D] checks.md 1.3, the textbook's ROM", "S113000005E30BE3026301A302C303E301A302E1DB", 0, "05E30BE3026301A302C303E301A302E1"},
	{"[D] checks.md 1.3, the textbook's ROM", "S113001003C701A302E103CF03F203E303E303E312", 0x10, "03C701A302E103CF03F203E303E303E3"},
}

func TestSrecRecords(t *testing.T) {
	for _, test := range srecRecords {
		data, err := hex.DecodeString(test.data)
		if err != nil {
			t.Fatal(err)
		}
		end := "S9030000FC" // [M] Wikipedia
		if test.record[1] == '3' {
			end = "S70500000000FA" // [F] DTS-Insight
		}
		file := test.record + "\n" + end + "\n"
		for _, text := range []string{file, strings.ToLower(file), strings.ReplaceAll(file, "\n", "\r\n"), strings.TrimRight(file, "\n")} {
			m, err := readback.Srec(strings.NewReader(text))
			if err != nil {
				t.Errorf("%s: %q: %v", test.source, text, err)
			} else if diff := cmp.Diff([]readback.Segment{{Address: test.address, Data: data}}, m.Segments); diff != "" {
				t.Errorf("%s (-want +got):\n%s", test.source, diff)
			}
		}
		var b bytes.Buffer
		if err := image.Srec(&b, "HDR", data, test.address, image.Options{Record: len(data)}); err != nil {
			t.Error(err)
			continue
		}
		// S0 is [F] in the Emerson manual; a count of one record sums to 3 + 1 = 04, FB.
		want := "S00600004844521B\n" + test.record + "\nS5030001FB\n" + end + "\n"
		if diff := cmp.Diff(want, b.String()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", test.source, diff)
		}
	}
}

func TestSrecHeaders(t *testing.T) {
	tests := []struct{ source, record, text string }{
		{"[M] Wikipedia and [F]", "S00F000068656C6C6F202020202000003C", "hello     \x00\x00"},
		{"[F] Emerson manual", "S00600004844521B", "HDR"},
		{"[F] DTS-Insight", "S00C000054455354312E4845586F", "TEST1.HEX"},
	}
	for _, test := range tests {
		m, err := readback.Srec(strings.NewReader(test.record + "\nS9030000FC\n"))
		if err != nil || string(m.Header) != test.text {
			t.Errorf("%s: %v, %v", test.source, m, err)
		}
		var b bytes.Buffer
		if err := image.Srec(&b, test.text, nil, 0, image.Options{}); err != nil || !strings.HasPrefix(b.String(), test.record+"\n") {
			t.Errorf("%s: written %q, %v", test.source, b.String(), err)
		}
	}
	var b bytes.Buffer
	long := strings.Repeat("m", 31) + "é and more"
	if err := image.Srec(&b, long, nil, 0, image.Options{}); err != nil {
		t.Fatal(err)
	}
	if m, err := readback.Srec(&b); err != nil || string(m.Header) != long[:31] {
		t.Errorf("a long name is cut to %q, %v", m.Header, err)
	}
}

func TestSrecWholeFile(t *testing.T) {
	// [M] Wikipedia, SREC: one file.
	const file = "S00F000068656C6C6F202020202000003C\n" +
		"S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026\n" +
		"S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9\n" +
		"S111003848656C6C6F20776F726C642E0A0042\n" +
		"S5030003F9\nS9030000FC\n"
	m, err := readback.Srec(strings.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	_, data, ok := m.Contiguous()
	if !ok || len(data) != 70 || !bytes.HasSuffix(data, []byte("Hello world.\n\x00")) {
		t.Errorf("read as %q", data)
	}
	var b bytes.Buffer
	if err := image.Srec(&b, string(m.Header), data, 0, image.Options{Record: 28}); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(file, b.String()); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

func TestSrecTypesAndCounts(t *testing.T) {
	tests := []struct {
		name             string
		base             uint32
		bytes            int
		data, count, end string
	}{
		{"the last of 64 KiB", 0xFFF0, 16, "S113FFF0", "S5030001FB", "S9030000FC"},
		{"one byte more", 0xFFF0, 17, "S21400FFF0", "S5030002FA", "S804000000FB"},
		{"the last of 16 MiB", 0xFFFFF0, 16, "S214FFFFF0", "S5030001FB", "S804000000FB"},
		{"one byte more", 0xFFFFF0, 17, "S31500FFFFF0", "S5030002FA", "S70500000000FA"},
		{"no byte", 0, 0, "S0030000FC", "S5030000FC", "S9030000FC"},
		{"65,535 records", 0, 0xFFFF, "S104000000", "S503FFFFFE", "S9030000FC"},
		{"65,536 records", 0, 0x10000, "S104000000", "S604010000FA", "S9030000FC"},
	}
	for _, test := range tests {
		o := image.Options{}
		if test.bytes > 1000 {
			o.Record = 1
		}
		var b bytes.Buffer
		if err := image.Srec(&b, "", make([]byte, test.bytes), test.base, o); err != nil {
			t.Error(err)
			continue
		}
		lines := strings.Split(strings.TrimRight(b.String(), "\n"), "\n")
		data := lines[0]
		if test.bytes > 0 {
			data = lines[1]
		}
		if !strings.HasPrefix(data, test.data) || lines[len(lines)-2] != test.count || lines[len(lines)-1] != test.end {
			t.Errorf("%s: %s ... %q", test.name, data, lines[len(lines)-2:])
		}
		if _, err := readback.Srec(&b); err != nil {
			t.Errorf("%s: %v", test.name, err)
		}
	}
}

func TestScatteredBytes(t *testing.T) {
	backing := []byte{1, 2, 0xEE}
	segments := []image.Segment{
		{0x20, []byte{5, 6}}, {0x10, backing[:2]}, {0x12, []byte{3}}, {0x13, []byte{4}}, {0x99, nil},
	}
	var b bytes.Buffer
	if err := image.HexSegments(&b, segments, image.Options{}); err != nil {
		t.Fatal(err)
	}
	// Sums by hand: 04+10+01+02+03+04 = 1E, E2; 02+20+05+06 = 2D, D3.
	if want := ":0400100001020304E2\n:020020000506D3\n:00000001FF\n"; b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
	b.Reset()
	if err := image.SrecSegments(&b, "", segments, image.Options{}); err != nil {
		t.Fatal(err)
	}
	// 07+10+0A = 21, DE; 05+20+0B = 30, CF.
	if want := "S0030000FC\nS107001001020304DE\nS10500200506CF\nS5030002FA\nS9030000FC\n"; b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
	if backing[2] != 0xEE {
		t.Error("joining segments wrote behind the caller's slice")
	}
	b.Reset()
	twice := append(segments, image.Segment{Address: 0x13, Data: []byte{4}})
	if err := image.HexSegments(&b, twice, image.Options{}); err == nil || err.Error() != "the byte at 0x13 is defined twice" {
		t.Errorf("a byte defined twice: %v", err)
	}
}
