package listing

import (
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"coilwright/emit/readback"
	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

const folder = "../../testdata/listing"

// mill is the machine that the pages below are made for.
func mill(t testing.TB, path string) (*machine.Machine, *schedule.Plan) {
	t.Helper()
	src, list := definition.Load(path, os.ReadFile)
	m, more := machine.Resolve(src)
	list = append(list, more...)
	p, more := schedule.Encode(m)
	if list = append(list, more...); len(list) > 0 {
		t.Fatal(list)
	}
	return m, p
}

const millrace = "../../examples/millrace/millrace.coil"

// bench builds programs by hand, so that these tests need no assembler.
type bench struct {
	t    testing.TB
	m    *machine.Machine
	p    *assemble.Program
	file string
	line int
}

func newBench(t testing.TB, m *machine.Machine, memories ...assemble.Memory) *bench {
	return &bench{t: t, m: m, file: "prog/tally.prog", p: &assemble.Program{Machine: m.Name, Hash: m.Hash, Name: "tally",
		Source: strings.Repeat("0123456789abcdef", 4), Memories: memories}}
}

// puts adds a source line that comes to words of a memory, of an instruction
// if mnemonic is not empty.
func (b *bench) puts(text, mnemonic string, memory int, address uint64, words ...uint64) {
	b.t.Helper()
	b.line++
	l := assemble.Line{At: diag.Place{File: b.file, Line: b.line, Column: 1, Width: 1}, Text: text, Memory: memory, Address: address, Words: words, Instruction: -1, Variant: -1}
	if mnemonic != "" {
		for i, in := range b.m.Instructions {
			for k, v := range in.Variants {
				if v.Name == mnemonic {
					l.Instruction, l.Variant = i, k
				}
			}
		}
		if l.Instruction < 0 {
			b.t.Fatalf("no variant %q", mnemonic)
		}
	}
	b.p.Lines = append(b.p.Lines, l)
	if memory >= 0 && len(words) > 0 {
		segments := &b.p.Memories[memory].Segments
		if n := len(*segments); n > 0 && (*segments)[n-1].Address+uint64(len((*segments)[n-1].Words)) == address {
			(*segments)[n-1].Words = append((*segments)[n-1].Words, words...)
		} else {
			*segments = append(*segments, assemble.Segment{Address: address, Words: append([]uint64(nil), words...)})
		}
	}
}

func (b *bench) says(text string) { b.puts(text, "", -1, 0) }

func (b *bench) symbol(name string, value int64, memory int) {
	b.p.Symbols = append(b.p.Symbols, assemble.Symbol{Name: name, Value: value, Label: memory >= 0, Memory: memory,
		At: diag.Place{File: b.file, Line: b.line, Column: 1, Width: len(name)}})
}

// tally is a program with what a listing has to cope with: a `when`, a long
// line, a run of bytes, a hole, an included file.
func tally(t testing.TB) (*machine.Machine, *schedule.Plan, *assemble.Program) {
	m, plan := mill(t, millrace)
	ram := assemble.Memory{Name: "ram", Width: 8, Words: 256, Bytes: 1}
	for i, s := range m.Signals {
		if s.Name == "ram" {
			ram.Signal = i
		}
	}
	b := newBench(t, m, ram)
	b.says("; Adds the weights of a row of sacks and shows the tally on the board.")
	b.says("sacks = 3")
	b.symbol("sacks", 3, -1)
	b.says("")
	b.puts("start:  ldi 0            ; nothing weighed yet", "ldi", 0, 0, 0x10, 0)
	b.symbol("start", 0, 0)
	b.puts("\tmove tmp, acc", "move d=tmp s=acc", 0, 2, 0x44)
	b.puts("\tlda first        ; the first sack, which is the heaviest as a rule, for it lies lowest in the cart", "lda", 0, 3, 0x20, 0x80)
	b.puts("\tadd", "add", 0, 5, 0x80)
	b.puts("\tjz start", "jz", 0, 6, 0x31, 0)
	b.puts("\tmove brd, acc", "move d=brd s=acc", 0, 8, 0x48)
	b.puts("\thalt", "halt", 0, 9, 1)
	b.says("")
	b.says("        at 0x80")
	b.puts("first:  byte 42, 17, 99, 0 .. 15", "", 0, 0x80, 42, 17, 99, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15)
	b.symbol("first", 0x80, 0)
	b.says(`include "more/names.prog"`)
	b.file, b.line = "prog/more/names.prog", 0
	b.says("below = -3")
	b.symbol("below", -3, -1)
	b.file, b.line = "prog/tally.prog", 14
	b.says("expect acc = 42")
	return m, plan, b.p
}

// wide is a program for two memories, one of them with long words.
func wide(t testing.TB) (*machine.Machine, *schedule.Plan, *assemble.Program) {
	m, plan := mill(t, millrace)
	b := newBench(t, m, assemble.Memory{Signal: 1, Name: "ram", Width: 12, Words: 4096, Bytes: 2},
		assemble.Memory{Signal: 2, Name: "weights", Width: 33, Words: 1 << 17, Bytes: 5, Little: true})
	b.puts("word 0xABC, 1", "", 0, 0xFFE, 0xABC, 1)
	b.says("in weights")
	b.puts("word 0x1_2345_6789", "", 1, 0x1FF00, 0x123456789)
	b.says("in ram")
	b.puts("word 7", "", 0, 0, 7)
	b.p.Memories[0].Segments = []assemble.Segment{{Address: 0, Words: []uint64{7}}, {Address: 0xFFE, Words: []uint64{0xABC, 1}}}
	return m, plan, b.p
}

// long is a program of several pages.
func long(t testing.TB) (*machine.Machine, *schedule.Plan, *assemble.Program) {
	m, plan := mill(t, millrace)
	b := newBench(t, m, assemble.Memory{Name: "ram", Width: 8, Words: 256, Bytes: 1})
	run := make([]uint64, 120)
	for i := range run {
		run[i] = uint64(i * 7 % 256)
	}
	for i := range 70 {
		b.puts("    nop", "nop", 0, uint64(i))
	}
	for i := range 70 {
		b.puts("    ring", "ring", 0, uint64(i), 2)
	}
	b.puts("table:  byte 0, 7, 14", "", 0, 128, run...)
	b.symbol("table", 128, 0)
	return m, plan, b.p
}

type sample struct {
	name string
	make func(testing.TB) (*machine.Machine, *schedule.Plan, *assemble.Program)
}

var samples = []sample{{"tally", tally}, {"wide", wide}, {"long", long}}

// paper is a page, how it is written and how it is read back.
type paper struct {
	write func(io.Writer) error
	read  func(io.Reader) error
}

// papers lists the pages of a sample.
func papers(m *machine.Machine, plan *schedule.Plan, p *assemble.Program) map[string]paper {
	out := map[string]paper{"listing.txt": {
		func(w io.Writer) error { return Listing(w, m, plan, p) },
		func(r io.Reader) error { return readback.Listing(r, m, plan, p) },
	}}
	for i, memory := range p.Memories {
		out["toggles-"+memory.Name+".txt"] = paper{
			func(w io.Writer) error { return Toggles(w, m, p, i) },
			func(r io.Reader) error { return readback.Toggles(r, p, i) },
		}
	}
	return out
}

func text(t testing.TB, p paper) string {
	t.Helper()
	var b strings.Builder
	if err := p.write(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGolden(t *testing.T) {
	for _, s := range samples {
		for name, p := range papers(s.make(t)) {
			got := text(t, p)
			if err := p.read(strings.NewReader(got)); err != nil {
				t.Errorf("%s %s: read back: %v", s.name, name, err)
			}
			path := filepath.Join(folder, s.name, name)
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
				t.Errorf("%s %s:\n%s", s.name, name, d)
			}
		}
	}
}

// TestFitsPaper holds what a terminal and a printer need. 17 address and 33
// data switches are wider than the page.
func TestFitsPaper(t *testing.T) {
	for _, s := range samples {
		for name, p := range papers(s.make(t)) {
			for _, sheet := range strings.Split(text(t, p), "\f") {
				lines := strings.Split(strings.TrimSuffix(sheet, "\n"), "\n")
				if len(lines) > pageLines {
					t.Errorf("%s %s: a page of %d lines", s.name, name, len(lines))
				}
				for _, line := range lines {
					if utf8.RuneCountInString(line) > Width && name != "toggles-weights.txt" || strings.HasSuffix(line, " ") {
						t.Errorf("%s %s: %q", s.name, name, line)
					}
				}
			}
		}
	}
}

// TestFaultsAreFound plants faults that a printer or a slip could make, each
// of which the reader has to see: any digit of a word, any switch, a line lost
// or twice.
func TestFaultsAreFound(t *testing.T) {
	for _, s := range samples {
		for name, p := range papers(s.make(t)) {
			good := text(t, p)
			lines := strings.SplitAfter(good, "\n")
			for i, line := range lines {
				if strings.HasPrefix(line, "-- file") || strings.HasPrefix(line, "-- in") || strings.HasPrefix(line, "-- go to") || !strings.ContainsAny(line, "0123456789") || strings.HasPrefix(line, "box") || strings.Trim(line, " 123\n") == "" ||
					strings.HasPrefix(name, "toggles") && !strings.HasPrefix(line, "[") {
					continue // rules and heads, which repeat what the rows say
				}
				bad := []string{strings.Join(append(append([]string{}, lines[:i]...), lines[i+1:]...), ""), strings.Join(append(append([]string{}, lines[:i+1]...), lines[i:]...), "")}
				for at, c := range line {
					swap := map[rune]string{'^': ".", '.': "^", '0': "1", '1': "0", '2': "3", 'A': "B", 'F': "E"}[c]
					if swap == "" || (c == '^' || c == '.') && !strings.HasPrefix(name, "toggles") || strings.HasPrefix(name, "toggles") && at > 50 || strings.HasPrefix(line, "[") && at > 42 {
						continue
					}
					bad = append(bad, strings.Join(lines[:i], "")+line[:at]+swap+line[at+1:]+strings.Join(lines[i+1:], ""))
				}
				for _, b := range bad {
					if b != good && p.read(strings.NewReader(b)) == nil {
						t.Fatalf("%s %s: not found:\n%s", s.name, name, cmp.Diff(good, b))
					}
				}
			}
		}
	}
}
