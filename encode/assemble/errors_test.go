package assemble_test

import (
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/lang/diag"
	"coilwright/lang/program"
)

var update = flag.Bool("update", os.Getenv("UPDATE_GOLDEN") == "1", "write the golden files anew")

var errorMark = regexp.MustCompile(`; ERROR "(.*)"$`)

func TestErrors(t *testing.T) {
	folder := filepath.Join("..", "..", "testdata", "assemble")
	files, err := filepath.Glob(filepath.Join(folder, "*.prog"))
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	m := resolve(t, machines["bytes"])
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			raw, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			src, p, list := run(t, m, map[string]string{"a.prog": string(raw)})
			checkShape(t, m, src, p, false)
			found := map[int][]string{}
			for _, d := range list {
				found[d.At.Line] = append(found[d.At.Line], d.Text)
			}
			for i, line := range strings.Split(string(raw), "\n") {
				mark := errorMark.FindStringSubmatch(line)
				got := found[i+1]
				switch {
				case mark == nil && len(got) > 0:
					t.Errorf("line %d: not expected: %q", i+1, got)
				case mark != nil && (len(got) != 1 || !strings.Contains(got[0], mark[1])):
					t.Errorf("line %d: got %q, want %q", i+1, got, mark[1])
				}
			}
			golden(t, strings.TrimSuffix(file, ".prog")+".golden", printed(t, src.Text, list))
		})
	}
}

func golden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Errorf("%s (-want +got):\n%s", path, diff)
	}
}

// checkShape holds a program to what its documentation promises.
func checkShape(t *testing.T, m *machine.Machine, src *program.Source, p *assemble.Program, sound bool) {
	t.Helper()
	if len(p.Lines) != len(src.Lines) {
		t.Fatalf("%d lines of %d", len(p.Lines), len(src.Lines))
	}
	for i, l := range p.Lines {
		if l.Memory >= len(p.Memories) || l.Instruction >= len(m.Instructions) || sound && (l.Instruction >= 0) != (l.Variant >= 0) {
			t.Fatalf("line %d: %+v", i, l)
		}
		if (l.Memory < 0) != (len(l.Words) == 0) {
			t.Fatalf("line %d puts %d words into memory %d", i, len(l.Words), l.Memory)
		}
		if l.Instruction >= 0 && l.Variant >= len(m.Instructions[l.Instruction].Variants) {
			t.Fatalf("line %d: variant %d", i, l.Variant)
		}
		for _, w := range l.Words {
			if width := p.Memories[l.Memory].Width; width < 64 && w>>width != 0 {
				t.Fatalf("line %d: word %X in a memory of %d bits", i, w, width)
			}
		}
		if l.At.Line < 1 || l.At.Column < 1 || l.At.Width < 1 {
			t.Fatalf("line %d is at %+v", i, l.At)
		}
	}
	for _, mem := range p.Memories {
		after := uint64(0)
		for i, s := range mem.Segments {
			if len(s.Words) == 0 || i > 0 && s.Address <= after || s.Address+uint64(len(s.Words)) > mem.Words {
				t.Fatalf("segment %d of %s: %d words at %d", i, mem.Name, len(s.Words), s.Address)
			}
			after = s.Address + uint64(len(s.Words))
		}
	}
}

func TestNoProgramMemory(t *testing.T) {
	m := resolve(t, strings.Replace(toy("8", "7:0", "256 x 8", "instruction go = 0000_0001\n"), "x 8 program", "x 8", 1))
	for _, c := range []struct{ text, want string }{
		{"go\ngo\nl: byte 1\nspace 2\nat 3\ngo l", "program-memory"},
		{"in tape\nword 1", ""},
		{"; nothing\n", ""},
	} {
		_, p, list := run(t, m, map[string]string{"a.prog": c.text})
		got := ""
		for _, d := range list {
			got += d.Name
		}
		if got != c.want {
			t.Errorf("%q: %v, want %s", c.text, list, c.want)
		}
		if p == nil {
			t.Error("no program")
		}
	}
}

// An include that cannot be read is the only error: what it would have
// declared, and where things are, is unknown.
func TestMissingInclude(t *testing.T) {
	m := resolve(t, machines["bytes"])
	_, _, list := run(t, m, map[string]string{"a.prog": "go 1\ninclude \"b.prog\"\ngo there\nback there+9\nat 0\ngo 5\nhere: near here + 99\nbyte 0 .. 255\n"})
	if len(list) != 1 || list[0].Name != "include-unreadable" {
		t.Error(list)
	}
}

var slipToken = regexp.MustCompile(`[A-Za-z]\w*|[0-9]\w*|"[^"]*"|'.'|\.\.|[^\s;]`)

// Each token of a program is left out, doubled and replaced: each time there is
// one error, or none where the program still means something.
func TestOneSlip(t *testing.T) {
	const text = `size = 4
start:  go 12
loop:   go aa, size + 1
        back loop
        near next
next:   wide table * (2 + size) - 'A'
        low table[3:0]
        go cc
        at 0x40
table:  byte 0 .. 15, size, -1
        word 200
        text "sack"
        space 2
last:   go last
        in tape
        word start, last
        in ram
        go
expect pc = 9
expect tape[1] = last
`
	m := resolve(t, machines["bytes"])
	if _, _, list := run(t, m, map[string]string{"a.prog": text}); len(list) > 0 {
		t.Fatal(list)
	}
	wrong := 0
	for _, at := range slipToken.FindAllStringIndex(text, -1) {
		old := text[at[0]:at[1]]
		for _, put := range []string{"", old + " " + old, "xyzzy", "7", "at", "go", "(", ")", ",", ":", "=", "?", "§", `"`, "'", "0x", "..", "-", "99999", "bb", "table"} {
			if put == old {
				continue // an address that is wrong for all that comes after
			}
			_, _, list := run(t, m, map[string]string{"a.prog": text[:at[0]] + put + text[at[1]:]})
			if n := len(list); n > 1 {
				wrong++
				line := 1 + strings.Count(text[:at[0]], "\n")
				var said []string
				for _, d := range list {
					said = append(said, fmt.Sprintf("%d:%d %s [%s]", d.At.Line, d.At.Column, d.Text, d.Name))
				}
				t.Errorf("%s for %s in line %d gives %d errors:\n\t%s", put, old, line, n, strings.Join(said, "\n\t"))
			}
		}
	}
}

// A program for another machine is one error, with the instructions that are
// nowhere as its notes.
func TestAnotherMachine(t *testing.T) {
	m := resolve(t, machines["bytes"])
	const strange = "load 1\nadd\nstop\nload 2\nsub\nl: load 3\n"
	for _, c := range []struct {
		text string
		want int // errors
		hint string
	}{
		{strange, 1, "6 of 6 instructions are not among those of"},
		{strange + "expect abc = 1\nexpect def = 1\n", 1, "6 of 6"},
		{"expect abc = 1\ngo 1\nexpect abc = 2\n", 1, ""},
		{strange + "go 1\n", 1, "6 of 7 instructions"},
		{strange + "go l\ngo 2\n", 4, ""},
		{"load 1\nadd\nstop\n", 3, ""},
	} {
		_, _, list := run(t, m, map[string]string{"a.prog": c.text})
		if len(list) != c.want || !strings.Contains(list[0].Hint, c.hint) {
			t.Errorf("%q: %d errors, want %d: %v", c.text, len(list), c.want, list)
		}
	}
}

// What would take much memory is refused before it does.
func TestBounded(t *testing.T) {
	m := resolve(t, strings.Replace(machines["bytes"], "256 x 8", "4294967296 x 8", 1))
	long := "byte " + strings.Repeat("0 .. 255, ", 400) + "1\n"
	for _, c := range []struct{ text, want string }{
		{"space 4000000000\ngo 1", ""},
		{"word 0 .. 1000000000", "program-too-large"},
		{"at 0\nword 0 .. 16000000\nat 0\nword 0 .. 16000000", "program-too-large"},
		{strings.Repeat(long, 400), "program-too-large"},
		{strings.Repeat("at 0\n"+long, 400), "program-too-large"},
		{"space 10000000000", "program-past-end"},
		{"a0 = 1\n" + chain(20000), ""},
		{strings.Repeat("nonsense\n", 5000), "program-errors"},
		{strings.Repeat("go 1000\n", 5000), "program-errors"},
		{strings.Repeat("byte 1000\n", 5000), "program-errors"},
		{strings.Repeat("a = 1\n", 5000), "program-errors"},
		{strings.Repeat("at 0\ngo 1\n", 5000), "program-errors"},
		{strings.Repeat("expect xyz = 1\n", 5000), "program-errors"},
		{constants(5000), "program-errors"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		src, list := program.Load("a.prog", reader(map[string]string{"a.prog": c.text}))
		p, more := assemble.Assemble(m, src)
		runtime.ReadMemStats(&after)
		list = append(list, more...)
		if len(c.text) < 100 && after.TotalAlloc-before.TotalAlloc > 400<<20 {
			t.Errorf("%.40q took %d MiB", c.text, (after.TotalAlloc-before.TotalAlloc)>>20)
		}
		names := map[string]bool{}
		for _, d := range list {
			names[d.Name] = true
		}
		if c.want == "" && len(list) > 0 || c.want != "" && !names[c.want] || len(list) > 1100 {
			t.Errorf("%.40q: %d errors, %v, want %s", c.text, len(list), slices.Sorted(maps.Keys(names)), c.want)
		}
		if len(p.Lines) != len(src.Lines) {
			t.Errorf("%.40q: lines are missing", c.text)
		}
	}
}

// chain is constants of which each needs the next, the last one first known.
func chain(n int) string {
	var b strings.Builder
	b.WriteString("go a1\n")
	for i := n; i > 0; i-- {
		fmt.Fprintf(&b, "a%d = a%d\n", i, i-1)
	}
	return b.String()
}

func constants(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "a%d = 1 / 0\n", i)
	}
	return b.String()
}

// FuzzAssemble holds any program to the shape of the result.
func FuzzAssemble(f *testing.F) {
	var ms []*machine.Machine
	var names []string
	for _, name := range slices.Sorted(maps.Keys(machines)) {
		ms = append(ms, resolve(f, machines[name]))
		names = append(names, name)
	}
	for _, c := range words {
		f.Add(uint8(slices.Index(names, c.machine)), c.program)
	}
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "assemble", "*.prog"))
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint8(slices.Index(names, "bytes")), string(raw))
	}
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		m := ms[int(which)%len(ms)]
		src, list := program.Load("a.prog", func(path string) ([]byte, error) {
			if path != "a.prog" {
				return []byte("l: go\n"), nil
			}
			return []byte(text), nil
		})
		p, more := assemble.Assemble(m, src)
		list = append(list, more...)
		checkShape(t, m, src, p, list.Errors() == 0)
		for _, d := range list {
			if d.At.Line < 1 || d.At.Column < 1 || d.At.Width < 1 || d.Text == "" || d.Name == "" {
				t.Fatalf("%+v", d)
			}
		}
		if err := (diag.Printer{Sources: src.Text}).Print(new(strings.Builder), list.Settle(src.Paths())); err != nil {
			t.Fatal(err)
		}
		// The same again is the same again.
		again, repeated := assemble.Assemble(m, src)
		if diff := cmp.Diff(more, repeated); diff != "" {
			t.Fatal(diff)
		}
		if len(p.Symbols) != len(again.Symbols) || len(p.Expects) != len(again.Expects) {
			t.Fatal("another program")
		}
	})
}
