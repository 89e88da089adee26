package lamps

import (
	"flag"
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/readback"
	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/schedule"
	"coilwright/lang/definition"
	"coilwright/lang/program"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

const folder = "../../testdata/lamps"

// scene is a rehearsal that can be run any number of times.
type scene struct {
	Subject
	setup rehearse.Setup
	stop  rehearse.Stop
}

func load(t testing.TB, definitionPath, programPath string) scene {
	t.Helper()
	src, list := definition.Load(definitionPath, os.ReadFile)
	m, more := machine.Resolve(src)
	list = append(list, more...)
	plan, more := schedule.Encode(m)
	list = append(list, more...)
	text, more := program.Load(programPath, os.ReadFile)
	list = append(list, more...)
	p, more := assemble.Assemble(m, text)
	if list = append(list, more...); list.Errors() > 0 {
		t.Fatal(list)
	}
	c := scene{Subject: Subject{m, schedule.Weave(m, plan), p}}
	c.setup = rehearse.Setup{Values: map[int]uint64{}, Memories: map[int]map[uint64]uint64{}, Inputs: map[int][]uint64{}}
	for _, memory := range p.Memories {
		words := map[uint64]uint64{}
		for _, seg := range memory.Segments {
			for i, w := range seg.Words {
				words[seg.Address+uint64(i)] = w
			}
		}
		c.setup.Memories[memory.Signal] = words
	}
	return c
}

func (c scene) run(r func(*rehearse.View)) rehearse.Final {
	return rehearse.New(c.Machine, c.Store, rehearse.FromStore(c.Store), c.setup).Run(c.stop, r)
}

func (c scene) signal(name string) int {
	for i, s := range c.Machine.Signals {
		if s.Name == name {
			return i
		}
	}
	return -1
}

func tally(t testing.TB) scene {
	c := load(t, "../../examples/millrace/millrace.coil", folder+"/tally.prog")
	c.setup.Inputs[c.signal("sw")] = []uint64{42}
	return c
}

var scenes = []struct {
	name string
	make func(testing.TB) scene
}{{"tally", tally}}

// rehearsed goes through the rehearsal once more.
func (c scene) rehearsed(t testing.TB) readback.Rehearsed {
	var final rehearse.Final
	next, stop := iter.Pull(func(yield func(*rehearse.View) bool) {
		on := true
		final = c.run(func(v *rehearse.View) { on = on && yield(v) })
	})
	t.Cleanup(stop)
	return readback.Rehearsed{Machine: c.Machine, Store: c.Store, Program: c.Program,
		Next:  func() *rehearse.View { v, _ := next(); return v },
		Final: func() rehearse.Final { return final }}
}

// ending is FinalText as a recorder.
type ending struct {
	w io.Writer
	Subject
}

func (e ending) View(*rehearse.View)          {}
func (e ending) Close(f rehearse.Final) error { return FinalText(e.w, e.Subject, f) }

type artefact struct {
	name string
	make func(io.Writer, Subject) Recorder
	read func(io.Reader, readback.Rehearsed) error
}

var artefacts = []artefact{{"lamps.txt", NewText, readback.LampsText}, {"lamps.csv", NewCSV, readback.LampsCSV}, {"lamps.vcd", NewVCD, readback.LampsVCD},
	{"final.txt", func(w io.Writer, s Subject) Recorder { return ending{w, s} }, func(r io.Reader, x readback.Rehearsed) error {
		for x.Next() != nil {
		}
		return readback.FinalText(r, x)
	}}}

func written(t testing.TB, c scene, a artefact) string {
	t.Helper()
	var b strings.Builder
	r := a.make(&b, c.Subject)
	if err := r.Close(c.run(r.View)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	for _, s := range scenes {
		c := s.make(t)
		for _, a := range artefacts {
			got := written(t, c, a)
			if err := a.read(strings.NewReader(got), c.rehearsed(t)); err != nil {
				t.Errorf("%s %s: read back: %v", s.name, a.name, err)
			}
			path := filepath.Join(folder, s.name, a.name)
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
				t.Errorf("%s %s:\n%s", s.name, a.name, d)
			}
		}
	}
}

// TestFitsPaper holds what a terminal and a printer need.
func TestFitsPaper(t *testing.T) {
	for _, s := range scenes {
		for _, sheet := range strings.Split(written(t, s.make(t), artefacts[0]), "\f") {
			lines := strings.Split(strings.TrimSuffix(sheet, "\n"), "\n")
			if len(lines) > pageLines {
				t.Errorf("%s: a page of %d lines", s.name, len(lines))
			}
			for _, line := range lines {
				if utf8.RuneCountInString(line) > Width || strings.HasSuffix(line, " ") {
					t.Errorf("%s: %q", s.name, line)
				}
			}
		}
	}
}

// TestTimescale: the longest unit that the period is a whole number of.
func TestTimescale(t *testing.T) {
	for _, test := range []struct {
		period float64
		unit   string
		ticks  uint64
	}{{20e-3, "10 ms", 2}, {1, "1 s", 1}, {25e-3, "1 ms", 25}, {100, "100 s", 1}, {0.1, "100 ms", 1}, {7e-6, "1 us", 7},
		{1.5e-9, "100 ps", 15}, {3e-15, "1 fs", 3}, {0.123456, "1 us", 123456}} {
		unit, ticks := timescale(test.period)
		if unit != test.unit || ticks != test.ticks {
			t.Errorf("%g s: %d of %s, not %d of %s", test.period, ticks, unit, test.ticks, test.unit)
		}
	}
}
