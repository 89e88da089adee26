package table

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"coilwright/emit/readback"
	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

const folder = "../../testdata/table"

var machines = []string{"millrace", "hoist", "quern", "gong", "bellows"}

func load(t testing.TB, name string) Facts {
	t.Helper()
	return loadStyle(t, name, "plain")
}

func loadStyle(t testing.TB, name, style string) Facts {
	t.Helper()
	path := filepath.Join(folder, name+".coil")
	if example, ok := strings.CutPrefix(name, "examples/"); ok {
		path = filepath.Join("..", "..", name, example+".coil")
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return loadText(t, name, string(text), style)
}

func loadText(t testing.TB, name, text, style string) Facts {
	t.Helper()
	src, list := definition.Load(name+".coil", func(string) ([]byte, error) { return []byte(text), nil })
	m, more := machine.Resolve(src)
	list = append(list, more...)
	p, more := schedule.Encode(m)
	list = append(list, more...)
	if list.Errors() > 0 {
		t.Fatalf("%s: %v", name, list)
	}
	s := schedule.Weave(m, p)
	c, err := network.Build(s, schedule.Changes(m, p), m.Hardware, style)
	if err != nil {
		t.Fatal(err)
	}
	n, list := network.Place(c, s, m.Hardware)
	if len(list) > 0 {
		t.Fatalf("%s: %v", name, list)
	}
	return Facts{m, p, s, n.Matrix, n}
}

// artefact is a page, how it is written and how it is read back.
type artefact struct {
	name  string
	write func(w io.Writer, f Facts) error
	read  func(r io.Reader, f Facts) error
}

// byStore is a reader that knows the store alone.
func byStore(read func(io.Reader, *store.Store) error) func(io.Reader, Facts) error {
	return func(r io.Reader, f Facts) error { return read(r, f.Store) }
}

// beside is a reader that knows the list of wires too.
func beside(read func(io.Reader, *store.Store, *wiring.List) error) func(io.Reader, Facts) error {
	return func(r io.Reader, f Facts) error { return read(r, f.Store, f.Network.List) }
}

func readSummary(r io.Reader, f Facts) error {
	return readback.Summary(r, f.Machine, f.Store, f.Network)
}

func chartAt(width int) func(io.Writer, Facts) error {
	return func(w io.Writer, f Facts) error { return Chart(w, f.Machine, f.Plan, ChartOptions{Width: width}) }
}

func matrixAt(width int) func(io.Writer, Facts) error {
	return func(w io.Writer, f Facts) error { return MatrixText(w, f.Matrix, width) }
}

var artefacts = []artefact{
	{"phases.txt", chartAt(0), byStore(readback.Chart)},
	{"phases-44.txt", chartAt(44), byStore(readback.Chart)},
	{"matrix.txt", matrixAt(0), beside(readback.MatrixText)},
	{"matrix-44.txt", matrixAt(44), beside(readback.MatrixText)},
	{"matrix.csv", func(w io.Writer, f Facts) error { return MatrixCSV(w, f.Matrix) }, beside(readback.MatrixCSV)},
	{"diodes.txt", func(w io.Writer, f Facts) error { return DiodesText(w, f.Matrix) }, beside(readback.DiodesText)},
	{"diodes.csv", func(w io.Writer, f Facts) error { return DiodesCSV(w, f.Matrix) }, beside(readback.DiodesCSV)},
	{"wires.txt", func(w io.Writer, f Facts) error { return WiresText(w, f.Network) }, func(r io.Reader, f Facts) error { return readback.WiresText(r, f.Network.List) }},
	{"wires.csv", func(w io.Writer, f Facts) error { return WiresCSV(w, f.Network) }, func(r io.Reader, f Facts) error { return readback.WiresCSVOf(r, f.Network.List) }},
	{"summary.txt", Summary, readSummary},
}

func written(t testing.TB, a artefact, f Facts) string {
	t.Helper()
	var b bytes.Buffer
	if err := a.write(&b, f); err != nil {
		t.Fatalf("%s: %v", a.name, err)
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	for _, name := range machines {
		f := load(t, name)
		for _, a := range artefacts {
			got := written(t, a, f)
			if err := a.read(strings.NewReader(got), f); err != nil {
				t.Errorf("%s %s: read back: %v", name, a.name, err)
			}
			path := filepath.Join(folder, name, a.name)
			if *update {
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), got); d != "" {
				t.Errorf("%s %s:\n%s", name, a.name, d)
			}
		}
	}
}

// TestWiresOfExamples pins down what is soldered for the machines that come
// with the program: a change of these pages is a change at somebody's bench.
func TestWiresOfExamples(t *testing.T) {
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		f := load(t, "examples/"+name)
		for _, a := range artefacts {
			if !strings.HasPrefix(a.name, "wires") && a.name != "matrix.txt" {
				continue
			}
			got := written(t, a, f)
			if err := a.read(strings.NewReader(got), f); err != nil {
				t.Errorf("%s %s: read back: %v", name, a.name, err)
			}
			path := filepath.Join(folder, "examples", name+"-"+a.name)
			if *update {
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(string(want), got); d != "" {
				t.Errorf("%s %s:\n%s", name, a.name, d)
			}
		}
	}
}

// TestStyles reads the pages of the other styles back: rows of several owners,
// of opcodes with flags, on no opcode at all, and what is free.
func TestStyles(t *testing.T) {
	seen := map[string]bool{}
	for _, name := range []string{"hoist", "gong", "quern", "bellows"} {
		for _, style := range network.Styles[1:] {
			f := loadStyle(t, name, style)
			for _, a := range artefacts {
				text := written(t, a, f)
				if err := a.read(strings.NewReader(text), f); err != nil {
					t.Errorf("%s %s in %s style: read back: %v", name, a.name, style, err)
				}
				if strings.HasPrefix(a.name, "matrix.") && style == "minimal" {
					g := f
					list := *f.Network.List
					list.Style = "plain"
					g.Network = &network.Network{List: &list}
					if a.read(strings.NewReader(text), g) != nil {
						seen["free"] = true
					}
				}
			}
			for _, r := range f.Matrix.Rows {
				seen[r.Kind] = true
				seen["direct"] = seen["direct"] || r.Direct
				seen["stroke"] = seen["stroke"] || strings.Contains(belongs(f.Matrix, r), "/")
			}
		}
	}
	for _, what := range []string{"free", "shared", "fetch", "direct", "stroke"} {
		if !seen[what] {
			t.Errorf("nothing of kind %q in these pages: they are worth little", what)
		}
	}
}

// TestFitsPaper holds what a terminal and a printer need of every text.
func TestFitsPaper(t *testing.T) {
	for _, name := range machines {
		f := load(t, name)
		for _, a := range artefacts {
			if !strings.HasSuffix(a.name, ".txt") {
				continue
			}
			text := written(t, a, f)
			width := Width
			if strings.Contains(a.name, "-44") {
				width = 44
			}
			for i, line := range strings.Split(text, "\n") {
				line = strings.TrimPrefix(line, "\f")
				if len(line) > width && width == Width {
					t.Errorf("%s %s, line %d: %d characters: %s", name, a.name, i+1, len(line), line)
				}
				if strings.TrimRight(line, " ") != line || strings.ContainsFunc(line, func(r rune) bool { return r < ' ' || r > '~' }) {
					t.Errorf("%s %s, line %d: blanks at its end or no ASCII: %q", name, a.name, i+1, line)
				}
			}
			if !strings.HasPrefix(text, f.Machine.Name) || !strings.Contains(text, f.Store.Hash[:12]) {
				t.Errorf("%s %s carries no name or no hash", name, a.name)
			}
		}
		if n := strings.Count(written(t, artefact{"summary", Summary, nil}, f), "\n"); n > 24 {
			t.Errorf("%s: a summary of %d lines", name, n)
		}
	}
}

func TestDiodePages(t *testing.T) {
	f := load(t, "millrace")
	text := written(t, artefact{"diodes", func(w io.Writer, f Facts) error { return DiodesText(w, f.Matrix) }, nil}, f)
	pages := strings.Split(text, "\f")
	if len(pages) < 4 {
		t.Fatalf("%d pages", len(pages))
	}
	for i, p := range pages {
		lines := strings.Split(strings.TrimSuffix(p, "\n"), "\n")
		if len(lines) > pageLines {
			t.Errorf("page %d has %d lines", i+1, len(lines))
		}
		if want := "page " + strconv.Itoa(i+1) + " of " + strconv.Itoa(len(pages)); !strings.HasSuffix(lines[1], want) {
			t.Errorf("page %d says %q", i+1, lines[1])
		}
		// The first diode of a page stands under the title of its row.
		for k, line := range lines {
			if strings.HasPrefix(line, "[ ] D") {
				above := lines[k-1]
				if !strings.Contains(above, "pulse wire of") && !strings.HasPrefix(above, "    ") && !strings.HasPrefix(above, "For coils, ") {
					t.Errorf("page %d begins within a row: %q under %q", i+1, line, above)
				}
				break
			}
		}
	}
	for _, word := range []string{"Supply off", "Eye protection", "fumes", "Leaded", "Fuse", "limit its current", "suppression diode", "short across", "licensed", "local code", "design aid", "measure before power"} {
		if !strings.Contains(strings.Join(strings.Fields(pages[0]), " "), word) {
			t.Errorf("the cautions on page 1 do not say %q", word)
		}
	}
	all := len(f.Network.List.Diodes)
	if got := strings.Count(text, "\n[ ] D"); got != all || !strings.Contains(pages[0], fmt.Sprintf(": %d diodes on", all)) {
		t.Errorf("%d boxes for %d diodes", got, all)
	}
}

// TestLongRow: a row longer than a page gets pages of its own and is not cut.
func TestLongRow(t *testing.T) {
	blocks := []block{{"head", []string{"short"}}, {"head", make([]string, 100)}, {"head", []string{"after"}}, {"", make([]string, 55)}}
	pages := paginate([]string{"caution"}, blocks)
	var got [][2]int
	for _, p := range pages {
		heads := 0
		for _, l := range p {
			if l == "head" {
				heads++
			}
		}
		got = append(got, [2]int{len(p), heads})
	}
	if d := cmp.Diff([][2]int{{6, 1}, {103, 1}, {4, 1}, {56, 0}}, got); d != "" {
		t.Error(d)
	}
}

func TestChartOfOne(t *testing.T) {
	f := load(t, "hoist")
	if d := cmp.Diff([]string{"stop", "lift", "both", "sort"}, Instructions(f.Machine)); d != "" {
		t.Error(d)
	}
	for name, want := range map[string][]string{
		"lift": {"lift s=slow"}, "sort": {"sort"}, "fetch": {"fetch"}, "undefined": {"undefined opcodes"}, "sorting": nil,
	} {
		text := written(t, artefact{"chart", func(w io.Writer, f Facts) error {
			return Chart(w, f.Machine, f.Plan, ChartOptions{Instruction: name})
		}, nil}, f)
		var got []string
		for _, line := range strings.Split(text, "\n") {
			if rest, ok := strings.CutPrefix(line, "-- "); ok {
				title, _, _ := strings.Cut(rest, " --")
				got = append(got, title)
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%s: %s", name, d)
		}
		// The reader wants what was asked for, all of it and nothing else.
		for _, asked := range []string{"lift", "sort", "fetch", "undefined"} {
			err := readback.ChartOf(asked)(strings.NewReader(text), f.Store)
			if (err == nil) != (asked == name) {
				t.Errorf("a chart of %s, read as one of %s: %v", name, asked, err)
			}
		}
	}
	text := written(t, artefact{"chart", func(w io.Writer, f Facts) error {
		return Chart(w, f.Machine, f.Plan, ChartOptions{Instruction: "lift"})
	}, nil}, f)
	for from, want := range map[string]string{"|##|": "should be on", "s=half 0101, ": "not drawn for opcode 0101"} {
		edited := strings.Replace(text, from, strings.Repeat(" ", len(from)%2)+strings.ReplaceAll(strings.ReplaceAll(from, "#", " "), "s=half 0101, ", ""), 1)
		if err := readback.ChartOf("lift")(strings.NewReader(edited), f.Store); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("without %q: %v; want %q", from, err, want)
		}
	}
}

// TestSpreadsheet: no cell but a plain number may look like one, for a
// spreadsheet would drop the zeros of a pattern and take 1e9 of a hash for a power.
func TestSpreadsheet(t *testing.T) {
	f := load(t, "millrace")
	f.Matrix.Hash = "12e456789012" + f.Matrix.Hash[12:]
	for _, a := range artefacts {
		if !strings.HasSuffix(a.name, ".csv") {
			continue
		}
		for _, line := range strings.Split(written(t, a, f), "\n") {
			for _, cell := range strings.Split(line, ",") {
				v, err := strconv.ParseFloat(cell, 64)
				if err == nil && strconv.FormatFloat(v, 'f', -1, 64) != cell {
					t.Errorf("%s: %q would be changed", a.name, cell)
				}
				if cell != "" && strings.ContainsAny(cell[:1], "=+-@") {
					t.Errorf("%s: %q would be a formula", a.name, cell)
				}
			}
		}
	}
}

type broken struct{}

var errFull = errors.New("full")

func (broken) Write([]byte) (int, error) { return 0, errFull }

func TestWriterErrors(t *testing.T) {
	f := load(t, "quern")
	for _, a := range artefacts {
		if err := a.write(broken{}, f); !errors.Is(err, errFull) {
			t.Errorf("%s: %v", a.name, err)
		}
	}
}

func TestWrap(t *testing.T) {
	for _, tt := range []struct {
		text  string
		width int
		want  []string
	}{
		{"", 10, []string{">"}},
		{"one two three", 10, []string{"> one two", "  three"}},
		{"one immeasurable two", 8, []string{"> one", "  immeasurable", "  two"}},
	} {
		if d := cmp.Diff(tt.want, wrap("> ", "  ", tt.text, tt.width)); d != "" {
			t.Errorf("%q: %s", tt.text, d)
		}
	}
}

func TestDuration(t *testing.T) {
	for _, tt := range []struct {
		seconds float64
		want    string
	}{{0, "0 ms"}, {0.02, "20 ms"}, {0.0125, "12.5 ms"}, {1.28, "1.28 s"}, {0.38, "380 ms"}, {19 * 0.02, "380 ms"}, {5e-5, "50 us"}, {9999, "9999 s"}, {86400, "86400 s"}} {
		if got := duration(tt.seconds); got != tt.want {
			t.Errorf("duration(%g) = %q, want %q", tt.seconds, got, tt.want)
		}
	}
}

// TestWiresFitPaper: cells of every width fill lines that fit, and a net's wires
// all come.
func TestWiresFitPaper(t *testing.T) {
	for length := 1; length < 30; length++ {
		var c network.NetCard
		for range 9 {
			c.Wires = append(c.Wires, wiring.Wire{From: wiring.Terminal(strings.Repeat("K", length)), To: "D"})
		}
		s := &sheet{n: &network.Network{Nets: []network.Net{{Name: "feed", Cards: []network.NetCard{c}}}}, width: Width}
		wires := 0
		for _, item := range s.nets(0) {
			for _, line := range item {
				wires += strings.Count(line, "[ ]")
				if len(line) > Width {
					t.Errorf("%d characters: %s", len(line), line)
				}
			}
		}
		if wires != 9 {
			t.Errorf("%d of 9 wires", wires)
		}
	}
}

// TestHeads: the names of fields stand over the lines that have these fields, and
// not over counts and totals alone.
func TestHeads(t *testing.T) {
	pages := 0
	for _, name := range machines {
		f := load(t, name)
		text := written(t, artefact{"diodes", func(w io.Writer, f Facts) error { return DiodesText(w, f.Matrix) }, nil}, f)
		for _, page := range strings.Split(text, "\f") {
			pages++
			head, boxes := "", 0
			for _, line := range append(strings.Split(page, "\n"), "box") {
				switch {
				case strings.HasPrefix(line, "box"):
					if head != "" && boxes == 0 && !strings.Contains(page, ", no diode") {
						t.Errorf("%s: nothing under %q:\n%s", name, head, page)
					}
					head, boxes = line, 0
				case strings.HasPrefix(line, "[ ] D") || strings.HasPrefix(line, "[ ] Z"):
					boxes++
					if strings.HasSuffix(line, " coil") != strings.Contains(head, "relay") && !strings.HasSuffix(line, " card") {
						t.Errorf("%s: %q under %q", name, line, head)
					}
				}
			}
		}
	}
	if pages < 20 {
		t.Errorf("only %d pages", pages)
	}
}

// TestSmallCards reads the pages back of cards with relays and no diode, and of a
// `low` line that is never on, whose inverter has no wire at its coil.
func TestSmallCards(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(folder, "bellows.coil"))
	if err != nil {
		t.Fatal(err)
	}
	edited := strings.NewReplacer("poles 2, suppression zener", "poles 1, suppression none", "relays 9", "relays 3",
		"line damper", "line damper\nline spare low").Replace(string(text))
	for _, style := range network.Styles {
		f := loadText(t, "bellows", edited, style)
		alone, still := 0, len(f.Matrix.Inverters)
		for card := range f.Matrix.Cards {
			if boards(f.Matrix)[card].diodes == nil {
				alone++
			}
		}
		for _, d := range f.Matrix.Diodes {
			if d.Line >= 0 && f.Matrix.Columns[d.Line].Name == "spare" {
				t.Errorf("%s leads to a line that nothing asks for", d.Name)
			}
		}
		if style == "plain" && (alone == 0 || still < 4) {
			t.Errorf("%d cards without diodes, %d inverters: the pages are worth little", alone, still)
		}
		for _, a := range artefacts {
			text := written(t, a, f)
			if err := a.read(strings.NewReader(text), f); err != nil {
				t.Errorf("%s in %s style: %v", a.name, style, err)
			}
			// The readers number the cards by their rules.
			if n := strings.Count(text, "\n-- card "); a.name == "diodes.txt" && n != len(f.Matrix.Cards) {
				t.Errorf("%d of %d cards on the placement list", n, len(f.Matrix.Cards))
			}
		}
	}
}
