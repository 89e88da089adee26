package program

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestIncludes(t *testing.T) {
	files := map[string]string{
		"a.prog":     "nop\ninclude \"d/b.prog\"\nhalt\ninclude \"d/b.prog\" ; read once\n",
		"d/b.prog":   "b: nop\ninclude \"../c.prog\"\nadd",
		"c.prog":     "c: nop\n",
		"other.prog": "x",
	}
	s, list := load(files)
	if len(list) > 0 {
		t.Fatal(list)
	}
	var got []string
	for i := range s.Lines {
		l := &s.Lines[i]
		got = append(got, fmt.Sprintf("%s:%d %s", s.Files[l.File].Path, l.Number, s.Files[l.File].Text[l.From:l.To]))
	}
	want := []string{"a.prog:1 nop", `a.prog:2 include "d/b.prog"`, "d/b.prog:1 b: nop", `d/b.prog:2 include "../c.prog"`, "c.prog:1 c: nop",
		"d/b.prog:3 add", "a.prog:3 halt", `a.prog:4 include "d/b.prog" ; read once`}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"a.prog", "d/b.prog", "c.prog"}, s.Paths()); diff != "" {
		t.Error(diff)
	}
	sum := sha256.Sum256([]byte(files["a.prog"] + files["d/b.prog"] + files["c.prog"]))
	if s.Hash != hex.EncodeToString(sum[:]) {
		t.Errorf("the hash is %s", s.Hash)
	}
}

func TestIncludeProblems(t *testing.T) {
	deep := map[string]string{"a.prog": `include "1.prog"`}
	for i := 1; i <= 40; i++ {
		deep[fmt.Sprintf("%d.prog", i)] = fmt.Sprintf("include \"%d.prog\"\n", i+1)
	}
	many := map[string]string{}
	for i := range 300 {
		many["a.prog"] += fmt.Sprintf("include \"%d.prog\"\n", i)
		many[fmt.Sprintf("%d.prog", i)] = "nop\n"
	}
	for _, c := range []struct {
		title      string
		files      map[string]string
		want       []string
		incomplete bool
	}{
		{"no root", map[string]string{}, []string{"a.prog file-unreadable: cannot read the program: file does not exist"}, false},
		{"unreadable", map[string]string{"a.prog": `include "b.prog"`}, []string{"a.prog:1:9 include-unreadable: cannot read b.prog: file does not exist"}, true},
		{"no name", map[string]string{"a.prog": `include ""`}, []string{"a.prog:1:9 include-unreadable: this include names no file"}, true},
		{"itself", map[string]string{"a.prog": `include "a.prog"`}, []string{"a.prog:1:9 include-cycle: files include each other in a circle: a.prog -> a.prog"}, false},
		{"a circle", map[string]string{"a.prog": "nop\ninclude \"b.prog\"", "b.prog": `include "a.prog"`},
			[]string{"b.prog:1:9 include-cycle: files include each other in a circle: a.prog -> b.prog -> a.prog"}, false},
		{"depth", deep, []string{"32.prog:1:9 include-depth: this include is more than 32 files deep"}, true},
		{"count", many, []string{"a.prog:256:9 include-count: a program has at most 256 files; this is one more"}, true},
		{"a refused part", map[string]string{"a.prog": `include "b.prog"`, "b.prog": "a\xff"}, []string{"b.prog:1:2 file-encoding: the file is not UTF-8: byte 0xFF cannot stand here"}, true},
	} {
		t.Run(c.title, func(t *testing.T) {
			s, list := load(c.files)
			var got []string
			for _, d := range list {
				got = append(got, fmt.Sprintf("%s %s: %s", d.At, d.Name, d.Text))
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Error(diff)
			}
			if (s == nil) != (c.title == "no root") || s != nil && s.Incomplete != c.incomplete {
				t.Errorf("source %v", s)
			}
		})
	}
}

func TestRefuse(t *testing.T) {
	long := strings.Repeat("x", 4096)
	for _, c := range []struct{ title, text, want string }{
		{"as long as can be", ";" + long[1:] + "\n;" + long[1:] + "\r\nnop", ""},
		{"in characters", ";" + strings.Repeat("ü", 4095), ""},
		{"a character more", "nop\n;" + long, "2:4097 line-too-long"},
		{"a character more of two bytes", "nop\n;" + strings.Repeat("ü", 4096), "2:4097 line-too-long"},
		{"a byte-order mark is no character", bom + ";" + long[1:], ""},
		{"nul", "nop\n; ü\x00\n", "2:4 file-nul"},
		{"nul before a bad byte", "\x00\n\xff", "1:1 file-nul"},
		{"a bad byte before nul", "nop ; ü\xff\n\x00", "1:8 file-encoding"},
		{"half a character", "nop\nü\xc3", "2:2 file-encoding"},
		{"the first is told", ";" + long + "\n\x00", "1:4097 line-too-long"},
		{"64 MiB", strings.Repeat(";"+long[2:]+"\n", maxBytes/4096), ""},
		{"as many lines as can be", strings.Repeat("\n", maxLines-1), ""},
		{"a line more", strings.Repeat("\n", maxLines-1) + "\nx", "1:1 program-lines"},
		{"a byte more", strings.Repeat(";"+long[2:]+"\n", maxBytes/4096) + ";", "1:1 file-too-large"},
	} {
		t.Run(c.title, func(t *testing.T) {
			_, list := load(map[string]string{"a.prog": c.text})
			got := ""
			if len(list) > 0 {
				got = strings.TrimPrefix(list[0].At.String(), "a.prog:") + " " + list[0].Name
			}
			if got != c.want || len(list) > 1 {
				t.Errorf("got %q, want %q (%d errors)", got, c.want, len(list))
			}
		})
	}
}

// The limits are those of a program, not of each of its files.
func TestRefuseTogether(t *testing.T) {
	half := strings.Repeat(";"+strings.Repeat("x", 4094)+"\n", maxBytes/4096/2)
	for _, part := range []string{half, strings.Repeat("\n", maxLines/2)} {
		_, list := load(map[string]string{"a.prog": "include \"b.prog\"\ninclude \"c.prog\"\n", "b.prog": part, "c.prog": part})
		if len(list) != 1 || list[0].At.File != "c.prog" {
			t.Error(list)
		}
	}
}

// So many errors that nobody reads them are not kept.
func TestTooManyErrors(t *testing.T) {
	s, list := load(map[string]string{"a.prog": "include \"b.prog\"\n" + strings.Repeat("?\n", 2000), "b.prog": strings.Repeat("?\n", 2000)})
	if len(list) != maxErrors+1 || list[maxErrors].Name != "program-errors" || !s.Incomplete {
		t.Errorf("%d errors, the last is %v", len(list), list[len(list)-1])
	}
}

// Whatever a file holds, reading it ends and gives places inside it; each
// broken line has one error.
func FuzzParse(f *testing.F) {
	for _, c := range statements {
		f.Add(c.line)
	}
	f.Add("a: nop\ninclude \"a.prog\"\nb = a[3:0] * -(2 + 'x') / 0x1F ; end\r\n\tbyte 0 .. 15, 3\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, list := Load("a.prog", func(path string) ([]byte, error) {
			if path != "a.prog" {
				return []byte("nop\n"), nil
			}
			return []byte(text), nil
		})
		lines := strings.Split(strings.TrimPrefix(text, bom), "\n")
		wrong := map[[2]any]int{}
		for _, d := range list {
			if d.At.Line < 1 || d.At.Column < 1 || d.At.Width < 1 {
				t.Fatalf("no place: %+v", d)
			}
			if d.At.File == "a.prog" {
				if n := len([]rune(lines[d.At.Line-1])); d.At.Line > len(lines) || d.At.Column > n+1 {
					t.Fatalf("outside of the file: %+v", d)
				}
				wrong[[2]any{d.At.File, uint32(d.At.Line)}]++
			}
		}
		for i := range s.Lines {
			l := &s.Lines[i]
			if got := dump(s, l); strings.Contains(got, "unbalanced") {
				t.Fatalf("%q is read as %s", s.Files[l.File].Text[l.From:l.To], got)
			}
			n := wrong[[2]any{s.Files[l.File].Path, l.Number}]
			if (l.Kind == Broken) != (n > 0) && l.Kind != Include && n < 2 && len(list) < maxErrors {
				t.Fatalf("line %d: %d errors, and it is %s", l.Number, n, dump(s, l))
			}
			if l.Code > l.End || l.End > l.To || l.From > l.Code {
				t.Fatalf("a statement outside of its line: %+v", l)
			}
		}
	})
}
