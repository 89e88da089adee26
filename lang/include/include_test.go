package include

import (
	"errors"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
)

// disk has files by name; several names may be of one file.
type disk map[string]string // name to the first name of the file

// reader reads each file once and names it afterwards, as a file system tells
// files apart.
func (d disk) reader() func(string) ([]byte, error) {
	seen := map[string]string{}
	return func(path string) ([]byte, error) {
		file, ok := d[path]
		if !ok {
			return nil, errors.New("no such file")
		}
		if as, ok := seen[file]; ok {
			return nil, fmt.Errorf("open: %w", &Same{As: as})
		}
		seen[file] = path
		return []byte(file), nil
	}
}

func TestFollow(t *testing.T) {
	root, err := filepath.Abs("/mill")
	if err != nil {
		t.Fatal(err)
	}
	in := func(name string) string { return filepath.Join(root, name) }
	d := disk{"m.coil": "m", "a.coil": "a", "link.coil": "a", "again.coil": "m", in("a.coil"): "b", in("b.coil"): "b"}
	type step struct {
		name, path string
		outcome    Outcome
	}
	for _, test := range []struct {
		title string
		steps []step
		list  []string
	}{
		{"by another name", []step{{"a.coil", "a.coil", Opened}, {"link.coil", "link.coil", Passed}, {"link.coil", "link.coil", Passed}}, nil},
		{"the other way round", []step{{"link.coil", "link.coil", Opened}, {"a.coil", "a.coil", Passed}}, nil},
		{"from the root on", []step{{in("x/../a.coil"), in("a.coil"), Opened}, {in("b.coil"), in("b.coil"), Passed}, {"a.coil", "a.coil", Opened}}, nil},
		{"no such file", []step{{in("c.coil"), in("c.coil"), Lost}}, []string{"include-unreadable: cannot read " + in("c.coil") + ": no such file"}},
		{"a circle by another name", []step{{"again.coil", "again.coil", Passed}}, []string{"include-cycle: files include each other in a circle: ./m.coil -> ./m.coil"}},
	} {
		t.Run(test.title, func(t *testing.T) {
			read := d.reader()
			if _, err := read("m.coil"); err != nil {
				t.Fatal(err)
			}
			trail := Start("./m.coil", "definition", read)
			trail.Enter("./m.coil")
			var list diag.List
			for _, s := range test.steps {
				path, raw, outcome := trail.Follow(s.name, diag.Place{File: "./m.coil", Line: 1, Column: 1}, 1, &list)
				if path != s.path || outcome != s.outcome || (raw != nil) != (s.outcome == Opened) {
					t.Errorf("%s: %s, outcome %d, %q", s.name, path, outcome, raw)
				}
			}
			var got []string
			for _, d := range list {
				got = append(got, d.Name+": "+d.Text)
			}
			if diff := cmp.Diff(test.list, got); diff != "" {
				t.Error(diff)
			}
		})
	}
}
