package readback

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/schedule"
	"coilwright/lang/definition"
	"coilwright/lang/program"
)

// recorded is the rehearsal of testdata/lamps/tally, one golden record of it,
// and the plan its listing speaks of.
func recorded(t testing.TB, name string) (run func() Rehearsed, plan *schedule.Plan, text string) {
	t.Helper()
	root := filepath.Join("..", "..")
	src, list := definition.Load(filepath.Join(root, "examples", "millrace", "millrace.coil"), os.ReadFile)
	m, more := machine.Resolve(src)
	list = append(list, more...)
	plan, more = schedule.Encode(m)
	list = append(list, more...)
	prog, more := program.Load(filepath.Join(root, "testdata", "lamps", "tally.prog"), os.ReadFile)
	list = append(list, more...)
	p, more := assemble.Assemble(m, prog)
	if list = append(list, more...); list.Errors() > 0 {
		t.Fatal(list)
	}
	s := schedule.Weave(m, plan)
	setup := rehearse.Setup{Memories: map[int]map[uint64]uint64{p.Memories[0].Signal: {}}, Inputs: map[int][]uint64{}}
	for _, seg := range p.Memories[0].Segments {
		for i, w := range seg.Words {
			setup.Memories[p.Memories[0].Signal][seg.Address+uint64(i)] = w
		}
	}
	for i, x := range m.Signals {
		if x.Name == "sw" {
			setup.Inputs[i] = []uint64{42}
		}
	}
	var views []*rehearse.View
	final := rehearse.New(m, s, rehearse.FromStore(s), setup).Run(rehearse.Stop{}, func(v *rehearse.View) { views = append(views, v) })
	content, err := os.ReadFile(filepath.Join(root, "testdata", "lamps", "tally", name))
	if err != nil {
		t.Fatal(err)
	}
	return func() Rehearsed {
		left := views
		return Rehearsed{m, s, p, func() *rehearse.View {
			if len(left) == 0 {
				return nil
			}
			v := left[0]
			left = left[1:]
			return v
		}, func() rehearse.Final { return final }}
	}, plan, string(content)
}

// fuzzRecord looks for text that makes a reader panic, and for a record that
// passes although it is not the golden one, blanks aside.
func fuzzRecord(f *testing.F, name string, read func(io.Reader, Rehearsed) error, same func(a, b string) bool) {
	run, _, text := recorded(f, name)
	if err := read(strings.NewReader(text), run()); err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(strings.Replace(text, "1", "0", 1))
	f.Add(text[:len(text)/2])
	f.Fuzz(func(t *testing.T, edited string) {
		if read(strings.NewReader(edited), run()) == nil && !same(edited, text) {
			t.Errorf("passes:\n%s", edited)
		}
	})
}

// kept is what a page has to keep to pass.
func kept(edited, text string) bool {
	for _, part := range []string{"sha256 ecfd0c89bdf6", "halt"} {
		if strings.Contains(text, part) && !strings.Contains(edited, part) {
			return false
		}
	}
	return len(edited) > len(text)/3
}

func FuzzLampsText(f *testing.F) { fuzzRecord(f, "lamps.txt", LampsText, kept) }
func FuzzFinalText(f *testing.F) { fuzzRecord(f, "final.txt", FinalText, kept) }
func FuzzLampsVCD(f *testing.F)  { fuzzRecord(f, "lamps.vcd", LampsVCD, kept) }
func FuzzLampsCSV(f *testing.F) {
	fuzzRecord(f, "lamps.csv", LampsCSV, func(edited, text string) bool { return len(edited) > len(text)/3 })
}

// fuzzPaper does the same for pages of a program.
func fuzzPaper(f *testing.F, seed string, read func(io.Reader, *assemble.Program, *schedule.Plan, *machine.Machine) error) {
	run, plan, _ := recorded(f, "final.txt")
	x := run()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "listing", "tally", seed))
	if err != nil {
		f.Fatal(err)
	}
	ours := strings.NewReplacer("0123456789ab", x.Program.Source[:12]).Replace(string(text))
	f.Add(ours)
	f.Add(string(text))
	f.Fuzz(func(t *testing.T, edited string) {
		if read(strings.NewReader(edited), x.Program, plan, x.Machine) == nil && !strings.Contains(edited, x.Program.Source[:12]) {
			t.Errorf("passes without the program's hash:\n%s", edited)
		}
	})
}

func FuzzListing(f *testing.F) {
	fuzzPaper(f, "listing.txt", func(r io.Reader, p *assemble.Program, plan *schedule.Plan, m *machine.Machine) error {
		return Listing(r, m, plan, p)
	})
}

func FuzzToggles(f *testing.F) {
	fuzzPaper(f, "toggles-ram.txt", func(r io.Reader, p *assemble.Program, _ *schedule.Plan, _ *machine.Machine) error {
		return Toggles(r, p, 0)
	})
}

const smallHeader = `/* two segments */
#define X_BASE 0x10UL
#define X_SIZE 3UL
#define X_SEGMENTS 2
static const uint32_t x_segments[X_SEGMENTS][2] = { {0x10UL, 2UL}, {0x20UL, 1UL}, };
static const uint8_t x[X_SIZE] = { 0x01, 0x02, /* 10 */ 0x03, };
`

func TestHeaderSegments(t *testing.T) {
	m, err := HeaderSegments(strings.NewReader(smallHeader))
	if err != nil || len(m.Segments) != 2 || m.Segments[1].Address != 0x20 || m.Segments[0].Data[1] != 2 || m.Segments[1].Data[0] != 3 {
		t.Fatalf("%v, %v", m, err)
	}
	for _, change := range [][2]string{
		{"0x10UL, 2UL", "0x11UL, 2UL"}, {"0x10UL, 2UL", "0x10UL, 1UL"}, {"0x10UL, 2UL", "0x10UL, 3UL"}, {"0x10UL, 2UL", "0x1FUL, 2UL"},
		{"0x20UL, 1UL", "0x20UL"}, {"SEGMENTS 2", "SEGMENTS 3"}, {"SIZE 3UL", "SIZE 4UL"}, {"0x03,", "0x103,"}, {"0x03,", ""}, {"uint8_t", "uint16_t"},
		{"{0x20UL", "{0x20UL, 1UL}, {0x20UL"}, {"{ 0x01", "0x01"}, {"};\nstatic", "static"},
	} {
		bad := strings.Replace(smallHeader, change[0], change[1], 1)
		if bad == smallHeader {
			t.Fatalf("%q is not there", change[0])
		}
		if m, err := HeaderSegments(strings.NewReader(bad)); err == nil {
			t.Errorf("%q for %q passes: %v", change[1], change[0], m)
		}
	}
}

func FuzzHeaderSegments(f *testing.F) {
	f.Add(smallHeader)
	f.Fuzz(func(t *testing.T, text string) {
		m, err := HeaderSegments(strings.NewReader(text))
		if err != nil {
			return
		}
		for i := 1; i < len(m.Segments); i++ {
			if a := m.Segments[i-1]; uint64(a.Address)+uint64(len(a.Data)) >= uint64(m.Segments[i].Address) {
				t.Errorf("segments out of order or touching: %v", m.Segments)
			}
		}
	})
}

const smallDump = `$date today $end
$version a test $end
$timescale
    10ms
$end
$scope module top $end
$var wire 1 ! a $end
$scope module in $end
$var reg 4 " b [3:0] $end
$upscope $end
$upscope $end
$enddefinitions $end
#0
$dumpvars
x!
bz1 "
$end
#5
1!
$comment nothing $end
#7
b1 "
`

func TestDump(t *testing.T) {
	d, err := NewDump(strings.NewReader(smallDump))
	if err != nil {
		t.Fatal(err)
	}
	if d.Scale != "10 ms" || d.Version != "a test" || d.Date != "today" || len(d.Waves) != 2 || d.Waves[1].Scope != "top.in" || d.Waves[1].Name != "b [3:0]" {
		t.Errorf("%+v", d)
	}
	// A vector is extended at the left with 0, or with its own x or z: IEEE Std
	// 1364-2005, table 18-2.
	for _, want := range []struct {
		time uint64
		a, b string
		n    int
	}{{0, "x", "zzz1", 2}, {5, "1", "zzz1", 1}, {7, "1", "0001", 1}} {
		changed, err := d.Step()
		if err != nil || d.Time != want.time || d.Waves[0].Bits != want.a || d.Waves[1].Bits != want.b || len(changed) != want.n {
			t.Errorf("at %d: %s %s, %d changes, %v", d.Time, d.Waves[0].Bits, d.Waves[1].Bits, len(changed), err)
		}
	}
	if _, err := d.Step(); err != io.EOF {
		t.Errorf("at the end: %v", err)
	}
}

// TestDumpRefuses holds the grammar: each change makes a dump that the
// standard does not know, and the line is named.
func TestDumpRefuses(t *testing.T) {
	for _, c := range []struct{ from, to, why string }{
		{"10ms", "20ms", "timescale"},
		{"10ms", "10 min", "timescale"},
		{"$timescale\n    10ms\n$end\n", "", "no timescale"},
		{"$upscope $end\n$upscope $end\n", "$upscope $end\n", "not left"},
		{"$upscope $end\n$upscope $end\n", "$upscope $end\n$upscope $end\n$upscope $end\n", "no scope"},
		{"wire 1", "cable 1", "a kind"},
		{"reg 4", "reg 5", "range"},
		{"reg 4", "reg four", "size"},
		{"reg 4 \"", "reg 4 !", "twice"},
		{"module top", "module", "a kind and a name"},
		{"$enddefinitions $end", "$enddefinitions", "holds nothing"},
		{"$version a test $end", "version a test $end", "among the declarations"},
		{"#0\n", "", "begins with a time"},
		{"$dumpvars\n", "", "before $dumpvars"},
		{"#0\n", "#0\n#3\n", "no $dumpvars"},
		{"x!\n", "", "1 variables of 2"},
		{"bz1 \"\n$end", "bz1 \"", "no $end"},
		{"#5", "#0", "time 0 after 0"},
		{"#5", "#-5", "no time"},
		{"1!", "2!", "no value"},
		{"1!", "1?", "the code"},
		{"1!", "1!\n0!", "changes twice"},
		{"b1 \"\n", "b10101 \"\n", "5 digits for the 4 bits"},
		{"b1 \"\n", "1\"\n", "one digit for the 4 bits"},
		{"b1 \"\n", "b \"\n", "no value"},
		{"b1 \"\n", "r1.5 \"\n", "no value"},
		{"#7\n", "#7\n$var wire 1 # c $end\n", "does not stand here"},
		{"$comment nothing $end", "$comment nothing", "no $end"},
	} {
		bad := strings.Replace(smallDump, c.from, c.to, 1)
		if bad == smallDump {
			t.Fatalf("%q is not there", c.from)
		}
		d, err := NewDump(strings.NewReader(bad))
		for err == nil {
			_, err = d.Step()
		}
		var at *LineError
		if !errors.As(err, &at) || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%q for %q: %v, not %q", c.to, c.from, err, c.why)
		}
	}
}

func FuzzDump(f *testing.F) {
	f.Add(smallDump)
	f.Add(strings.Replace(smallDump, "#0\n", "#0\n#3\n", 1))
	_, _, text := recorded(f, "lamps.vcd")
	f.Add(text)
	f.Fuzz(func(t *testing.T, text string) {
		d, err := NewDump(strings.NewReader(text))
		if err != nil {
			return
		}
		before, first := uint64(0), true
		for {
			if _, err := d.Step(); err != nil {
				return
			}
			if !first && d.Time <= before {
				t.Errorf("time %d after %d", d.Time, before)
			}
			before, first = d.Time, false
			for _, w := range d.Waves {
				if len(w.Bits) != w.Width {
					t.Errorf("%s has %d bits of %d", w.Name, len(w.Bits), w.Width)
				}
			}
		}
	})
}

func TestMemoryWords(t *testing.T) {
	for _, c := range []struct {
		form, text string
		width      int
		words      uint64
		little     bool
		want       map[uint64]uint64
		err        string
	}{
		{"hex", ":0400000001020304F2\n:00000001FF\n", 16, 4, false, map[uint64]uint64{0: 0x102, 1: 0x304}, ""},
		{"hex", ":0400000001020304F2\n:00000001FF\n", 16, 4, true, map[uint64]uint64{0: 0x201, 1: 0x403}, ""},
		{"hex", ":0400000001020304F2\n:00000001FF\n", 8, 3, false, nil, "past the last"},
		{"hex", ":0400000001020304F2\n:00000001FF\n", 24, 4, false, nil, "not whole words"},
		{"hex", ":0400000001020304F2\n:00000001FF\n", 9, 4, false, nil, "wider than 9 bits"},
		{"bin", "\x05\x06", 8, 2, false, map[uint64]uint64{0: 5, 1: 6}, ""},
		{"memh", "@0 12 34", 8, 2, true, map[uint64]uint64{0: 0x12, 1: 0x34}, ""},
		{"memh", "@0 112 034", 8, 2, true, nil, "wider than 8 bits"},
		{"hxe", "", 8, 2, false, nil, "no reader"},
	} {
		got, err := MemoryWords(strings.NewReader(c.text), c.form, c.width, c.words, c.little)
		if c.err != "" {
			if err == nil || !strings.Contains(err.Error(), c.err) {
				t.Errorf("%+v: %v", c, err)
			}
			continue
		}
		if err != nil || len(got) != len(c.want) {
			t.Errorf("%+v: %v, %v", c, got, err)
		}
		for at, w := range c.want {
			if got[at] != w {
				t.Errorf("%+v: word %d is %X", c, at, got[at])
			}
		}
	}
}

// TestProgramImage: bytes that are missing, too many, or not the program's
// are found in every form and both byte orders.
func TestProgramImage(t *testing.T) {
	p := &assemble.Program{Memories: []assemble.Memory{{Name: "m", Width: 12, Words: 64, Bytes: 2,
		Segments: []assemble.Segment{{Address: 2, Words: []uint64{0x123, 0x456}}, {Address: 8, Words: []uint64{0xFFF}}}}}}
	for _, c := range []struct {
		text   string
		little bool
		o      Spread
		err    string
	}{
		{record(4, 0x01, 0x23, 0x04, 0x56) + record(16, 0x0F, 0xFF), false, Spread{}, ""},
		{record(4, 0x23, 0x01, 0x56, 0x04) + record(16, 0xFF, 0x0F), true, Spread{}, ""},
		{record(4, 0x01, 0x23, 0x04, 0x56) + record(16, 0x0F, 0xFF), true, Spread{}, "word 2"},
		{record(4, 0x01, 0x23, 0x04, 0x56), false, Spread{}, "no byte at 0x10"},
		{record(4, 0x01, 0x23, 0x04, 0x57) + record(16, 0x0F, 0xFF), false, Spread{}, "word 3"},
		{record(4, 0x01, 0x23, 0x04, 0x56) + record(16, 0x0F, 0xFF, 0), false, Spread{}, "7 bytes, 6 are due"},
		{record(4, 0x01, 0x23, 0x04, 0x56) + record(16, 0x0F, 0xFF), false, Spread{Base: 1}, "no byte at 0x8"},
		{record(0x104, 0x01, 0x23, 0x04, 0x56) + record(0x110, 0x0F, 0xFF), false, Spread{Base: 0x100}, ""},
		{record(0, 9, 9, 9, 9, 0x01, 0x23, 0x04, 0x56, 9, 9, 9, 9, 9, 9, 9, 9, 0x0F, 0xFF, 9), false, Spread{Size: 19, Fill: 9}, ""},
		{record(0, 9, 9, 9, 9, 0x01, 0x23, 0x04, 0x56, 9, 9, 9, 8, 9, 9, 9, 9, 0x0F, 0xFF, 9), false, Spread{Size: 19, Fill: 9}, "not the fill"},
		{record(0, 9, 9, 9, 9, 0x01, 0x23, 0x04, 0x56, 9, 9, 9, 9, 9, 9, 9, 9, 0x0F, 0xFF), false, Spread{Size: 19, Fill: 9}, "no byte"},
		{record(0, 9, 9, 9, 9, 0x01, 0x23, 0x04, 0x56, 9, 9, 9, 9, 9, 9, 9, 9, 0x0F, 0xFF, 9, 9), false, Spread{Size: 19, Fill: 9}, "20 bytes, 19 are due"},
	} {
		p.Memories[0].Little = c.little
		err := Program(strings.NewReader(c.text+":00000001FF\n"), "hex", p, 0, c.o)
		if c.err == "" && err != nil || c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)) {
			t.Errorf("%q little %v %+v: %v, not %q", c.text, c.little, c.o, err, c.err)
		}
	}
}

// record is an Intel HEX data record, worked out here.
func record(address int, data ...byte) string {
	const digits = "0123456789ABCDEF"
	all := append([]byte{byte(len(data)), byte(address >> 8), byte(address), 0}, data...)
	sum := byte(0)
	for _, b := range all {
		sum += b
	}
	var out strings.Builder
	out.WriteByte(':')
	for _, b := range append(all, -sum) {
		out.WriteByte(digits[b>>4])
		out.WriteByte(digits[b&15])
	}
	return out.String() + "\n"
}
