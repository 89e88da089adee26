package lamps

import (
	"flag"
	"io"
	"iter"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/readback"
	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/program"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

const folder = "../../testdata/lamps"

// scene is a rehearsal that can be run any number of times.
type scene struct {
	Subject
	setup   rehearse.Setup
	stop    rehearse.Stop
	control rehearse.Control
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
	c.control = rehearse.FromStore(c.Store)
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
	return rehearse.New(c.Machine, c.Store, c.control, c.setup).Run(c.stop, r)
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

func beam(t testing.TB) scene {
	c := load(t, folder+"/beam.coil", folder+"/beam.prog")
	c.stop.Phases = 5*26 + 3 // and within an instruction
	return c
}

func hoist(t testing.TB) scene {
	c := load(t, "../../testdata/table/hoist.coil", folder+"/hoist.prog")
	c.setup.Values[c.signal("acc")] = 9
	return c
}

// faulty is a control store that has lines on where they should be off.
type faulty struct {
	rehearse.Control
	r uint64
}

func (f faulty) Lines(opcode, flags uint64, phase int) store.Set {
	out := slices.Clone(f.Control.Lines(opcode, flags, phase))
	x := (opcode+1)*0x9E3779B97F4A7C15 ^ (flags+f.r)*0xC2B2AE3D27D4EB4F ^ uint64(phase)*0x165667B19E3779F9
	x ^= x >> 29
	x *= 0xBF58476D1CE4E5B9
	if x>>60 < 5 {
		out[0] ^= 1 << (x >> 20 % 19)
	}
	return out
}

// broken is the first program on a chip with faults: races, conflicts, what
// is latched without a source.
func broken(t testing.TB) scene {
	c := tally(t)
	c.control = faulty{c.control, 7}
	c.stop.Phases = 150
	return c
}

var scenes = []struct {
	name string
	make func(testing.TB) scene
}{{"tally", tally}, {"beam", beam}, {"hoist", hoist}, {"broken", broken}}

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

// TestFaultsAreFound plants faults that a slip could make, each of which the
// reader has to see: any lamp, any digit, any line lost or twice.
func TestFaultsAreFound(t *testing.T) {
	for _, s := range scenes {
		c := s.make(t)
		c.stop.Phases = min(max(c.stop.Phases, 45), 60) // each fault takes a rehearsal
		for _, a := range artefacts {
			good := written(t, c, a)
			lines := strings.SplitAfter(good, "\n")
			lines = lines[:len(lines)-1]
			for i, line := range lines {
				if a.name != "lamps.csv" && !matters(line) {
					continue
				}
				around := func(text string) string { return strings.Join(lines[:i], "") + text + strings.Join(lines[i+1:], "") }
				bad := []string{around(""), around(line + line)}
				if n := strings.IndexAny(line, "#.0123456789ABCDEFz"); n >= 0 && i%3 == 0 {
					for at := n; at < len(line); at += 1 + len(line)/40 {
						swap := map[byte]string{'#': ".", '.': "#", '0': "1", '1': "0", '2': "3", 'A': "B", 'F': "E", 'z': "0"}[line[at]]
						if swap != "" {
							bad = append(bad, around(line[:at]+swap+line[at+1:]))
						}
					}
				}
				for _, b := range bad {
					if b != good && a.read(strings.NewReader(b), c.rehearsed(t)) == nil {
						t.Fatalf("%s %s, line %d: not found:\n%s", s.name, a.name, i+1, cmp.Diff(good, b))
					}
				}
			}
		}
	}
}

// matters leaves out what says nothing of the rehearsal: the legend, rows to
// tick, blank lines, and what a dump says for people.
func matters(line string) bool {
	for _, free := range []string{"# lit", "A line is", "dark in the", "shows what", "holds once", "tick", "\n", "$version", "$upscope", "$scope", "$end"} {
		if strings.HasPrefix(line, free) {
			return false
		}
	}
	return true
}

// TestStreams: a recorder and its reader hold one instruction, however long
// the rehearsal is.
func TestStreams(t *testing.T) {
	c := tally(t)
	c.stop.Phases = 60_000
	c.setup.Memories[c.signal("ram")] = map[uint64]uint64{0: 0x30} // jump 0
	for _, a := range artefacts {
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		most := uint64(0)
		n := 0
		sample := func() {
			if n++; n%20_000 == 0 {
				runtime.GC()
				runtime.ReadMemStats(&after)
				most = max(most, after.HeapAlloc)
			}
		}
		in, out := io.Pipe()
		done := make(chan error, 1)
		x := c.rehearsed(t)
		go func() {
			err := a.read(in, x)
			in.CloseWithError(err)
			done <- err
		}()
		r := a.make(out, c.Subject)
		f := c.run(func(v *rehearse.View) { sample(); r.View(v) })
		if err := r.Close(f); err != nil {
			t.Errorf("%s: %v", a.name, err)
		}
		out.Close()
		if err := <-done; err != nil {
			t.Errorf("%s: %v", a.name, err)
		}
		if f.Phases != 60_000 || n < f.Phases {
			t.Errorf("%s: %d phases of %d", a.name, n, f.Phases)
		}
		if grown := int64(most) - int64(before.HeapAlloc); grown > 24<<20 {
			t.Errorf("%s: the heap has grown by %d bytes over 60,000 phases", a.name, grown)
		}
	}
}
