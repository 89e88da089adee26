package definition

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
	"coilwright/lang/include"
)

type files map[string]string

var errAbsent = errors.New("no such file")

func (f files) read(path string) ([]byte, error) {
	text, ok := f[path]
	if !ok {
		return nil, errAbsent
	}
	return []byte(text), nil
}

func names(decls []Decl) string {
	var out []string
	for _, d := range decls {
		switch d := d.(type) {
		case *Bus:
			out = append(out, d.Name.Text)
		default:
			out = append(out, fmt.Sprintf("%T", d))
		}
	}
	return strings.Join(out, " ")
}

func brief(list diag.List) []string {
	var out []string
	for _, d := range list {
		out = append(out, fmt.Sprintf("%s %s: %s", d.At, d.Name, d.Text))
	}
	return out
}

func TestLoad(t *testing.T) {
	for _, c := range []struct {
		title      string
		root       string
		files      files
		decls      string
		paths      []string
		list       []string
		incomplete bool
	}{
		{
			title: "one file", root: "m.coil",
			files: files{"m.coil": "bus a 8"},
			decls: "a", paths: []string{"m.coil"},
		},
		{
			title: "includes are pasted where they stand, relative to their file", root: "mill/m.coil",
			files: files{
				"mill/m.coil":         "bus a 8\ninclude \"parts/b.coil\"\nbus e 8",
				"mill/parts/b.coil":   "bus b 8\ninclude \"../c.coil\"\nbus d 8",
				"mill/c.coil":         "include \"./parts/x/y.coil\"\nbus c 8",
				"mill/parts/x/y.coil": "bus y 8",
			},
			decls: "a b y c d e",
			paths: []string{"mill/m.coil", "mill/parts/b.coil", "mill/c.coil", "mill/parts/x/y.coil"},
		},
		{
			title: "a file reached twice is read once", root: "m.coil",
			files: files{
				"m.coil": "include \"a.coil\"\ninclude \"b.coil\"\ninclude \"x/../a.coil\"\nbus m 8",
				"a.coil": "bus a 8", "b.coil": "include \"a.coil\"\nbus b 8",
			},
			decls: "a b m", paths: []string{"m.coil", "a.coil", "b.coil"},
		},
		{
			title: "a cycle prints its chain", root: "./m.coil",
			files: files{
				"./m.coil": "bus m 8\ninclude \"a.coil\"\nbus n 8",
				"a.coil":   "bus a 8\ninclude \"b.coil\"",
				"b.coil":   "bus b 8\n\ninclude \"m.coil\"\ninclude \"b.coil\"\nbus c 8",
			},
			decls: "m a b c n", paths: []string{"./m.coil", "a.coil", "b.coil"},
			list: []string{
				"b.coil:3:9 include-cycle: files include each other in a circle: ./m.coil -> a.coil -> b.coil -> ./m.coil",
				"b.coil:4:9 include-cycle: files include each other in a circle: b.coil -> b.coil",
			},
		},
		{
			title: "an include that cannot be read", root: "m.coil",
			files: files{"m.coil": "bus a 8\ninclude \"x.coil\"\nbus b 8\ninclude \"\""},
			decls: "a b", paths: []string{"m.coil"},
			list: []string{
				"m.coil:2:9 include-unreadable: cannot read x.coil: no such file",
				"m.coil:4:9 include-unreadable: this include names no file",
			},
			incomplete: true,
		},
		{
			title: "an include that does not parse", root: "m.coil",
			files: files{"m.coil": "include x\nbus b 8"},
			decls: "b", paths: []string{"m.coil"},
			list:       []string{"m.coil:1:9 syntax-unexpected: expected the name of the file to include, in quotes, found x"},
			incomplete: true,
		},
		{
			title: "errors of several files", root: "m.coil",
			files: files{"m.coil": "bus\ninclude \"a.coil\"\nbus c 8", "a.coil": "bus a 8\n\nflag 3"},
			decls: "a c", paths: []string{"m.coil", "a.coil"},
			list: []string{
				"m.coil:1:4 syntax-unexpected: expected the name of the bus, found the end of the line",
				"a.coil:3:6 syntax-unexpected: expected the name of the flag, found 3",
			},
		},
		{
			title: "a file that is refused", root: "m.coil",
			files: files{"m.coil": "bus a 8\ninclude \"a.coil\"", "a.coil": "\x00"},
			decls: "a", paths: []string{"m.coil", "a.coil"},
			list:       []string{"a.coil:1:1 file-nul: the file has a NUL byte: it is not text"},
			incomplete: true,
		},
		{
			title: "standard input includes from here", root: "-",
			files: files{"-": "include \"a.coil\"", "a.coil": "bus a 8"},
			decls: "a", paths: []string{"-", "a.coil"},
		},
	} {
		t.Run(c.title, func(t *testing.T) {
			src, list := Load(c.root, c.files.read)
			if diff := cmp.Diff(c.list, brief(list)); diff != "" {
				t.Error(diff)
			}
			if got := names(src.Decls); got != c.decls {
				t.Errorf("declarations %s, want %s", got, c.decls)
			}
			if diff := cmp.Diff(c.paths, src.Paths()); diff != "" {
				t.Error(diff)
			}
			if src.Incomplete != c.incomplete {
				t.Errorf("incomplete: %v", src.Incomplete)
			}
			h := sha256.New()
			for _, p := range c.paths {
				h.Write([]byte(c.files[p]))
				if src.Text[p] != c.files[p] {
					t.Errorf("%s: text %q", p, src.Text[p])
				}
			}
			if want := hex.EncodeToString(h.Sum(nil)); src.Hash != want {
				t.Errorf("hash %s, want %s", src.Hash, want)
			}
			any := false
			for _, f := range src.Files {
				for _, b := range f.Broken {
					any = any || b.Keyword == "" && b.Names == nil
				}
			}
			if any != c.incomplete {
				t.Errorf("a Broken that stands for a file: %v", any)
			}
		})
	}
}

func TestLoadNotesTheWayIntoACycle(t *testing.T) {
	_, list := Load("m.coil", files{"m.coil": "include \"a.coil\"", "a.coil": "\n include \"m.coil\""}.read)
	want := []diag.Note{{At: diag.Place{File: "m.coil", Line: 1, Column: 9, Width: 8}, Text: "m.coil goes on from here"}}
	if len(list) != 1 {
		t.Fatal(list)
	}
	if diff := cmp.Diff(want, list[0].Notes); diff != "" {
		t.Error(diff)
	}
}

func TestLoadUnreadableRoot(t *testing.T) {
	src, list := Load("m.coil", files{}.read)
	if src != nil {
		t.Errorf("got a source: %v", src)
	}
	if len(list) != 1 || list[0].Name != "file-unreadable" || list[0].At != (diag.Place{File: "m.coil"}) {
		t.Errorf("got %v", list)
	}
}

func TestLoadDepth(t *testing.T) {
	f := files{}
	for i := range 40 {
		f[fmt.Sprintf("%d.coil", i)] = fmt.Sprintf("bus b%d 8\ninclude \"%d.coil\"", i, i+1)
	}
	f["32.coil"] = "bus b32 8"
	src, list := Load("0.coil", f.read)
	if len(list) > 0 || len(src.Files) != 33 {
		t.Errorf("32 deep: %d files, %v", len(src.Files), list)
	}
	f["32.coil"] = "bus b32 8\n include \"33.coil\""
	src, list = Load("0.coil", f.read)
	want := []string{"32.coil:2:10 include-depth: this include is more than 32 files deep"}
	if diff := cmp.Diff(want, brief(list)); diff != "" || len(src.Decls) != 33 || !src.Incomplete {
		t.Errorf("33 deep: %d declarations\n%s", len(src.Decls), diff)
	}
}

func TestLoadCount(t *testing.T) {
	f := files{}
	var root strings.Builder
	reads := 0
	for i := range 1000 {
		fmt.Fprintf(&root, "include \"%d.coil\"\n", i)
		f[fmt.Sprintf("%d.coil", i)] = fmt.Sprintf("bus b%d 8\n", i)
	}
	f["m.coil"] = root.String()
	src, list := Load("m.coil", func(path string) ([]byte, error) { reads++; return f.read(path) })
	want := []string{"m.coil:256:9 include-count: a definition has at most 256 files; this is one more"}
	if diff := cmp.Diff(want, brief(list)); diff != "" {
		t.Error(diff)
	}
	if reads != include.MaxFiles || len(src.Files) != include.MaxFiles || len(src.Decls) != include.MaxFiles-1 {
		t.Errorf("%d reads, %d files, %d declarations", reads, len(src.Files), len(src.Decls))
	}
}
