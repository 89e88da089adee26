package cli_test

import (
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/examples"
)

// TestNewWritesAllOfAnExample: definition, page and programs, byte for byte.
func TestNewWritesAllOfAnExample(t *testing.T) {
	for _, name := range examples.Names() {
		dir := filepath.Join(t.TempDir(), "mill")
		must(t, filepath.Dir(dir), "new", "mill", "--example", name)
		tree, err := fs.Sub(examples.FS, name)
		if err != nil {
			t.Fatal(err)
		}
		files := 0
		err = fs.WalkDir(tree, ".", func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			files++
			want, err := fs.ReadFile(tree, path)
			if err != nil {
				return err
			}
			got, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(path)))
			if err != nil || string(got) != string(want) {
				t.Errorf("%s %s: %v, %d bytes, want %d", name, path, err, len(got), len(want))
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if programs, _ := filepath.Glob(filepath.Join(dir, "programs", "*.prog")); files < 2 || name == "millrace" && len(programs) != 4 {
			t.Errorf("%s: %d files, programs %v", name, files, programs)
		}
		// A second time nothing is written, though one file is missing.
		gone := filepath.Join(dir, "README.md")
		if err := os.Remove(gone); err != nil {
			t.Fatal(err)
		}
		if got := run(t, filepath.Dir(dir), "new", "mill", "--example", name); got.status != 3 {
			t.Errorf("%s again: status %d\n%s%s", name, got.status, got.out, got.err)
		}
		if _, err := os.Lstat(gone); err == nil {
			t.Errorf("%s again: README.md has been written", name)
		}
	}
}

// TestNewSaysWhatIsNext: the line can be given to a shell as it stands.
func TestNewSaysWhatIsNext(t *testing.T) {
	for _, folder := range []string{"mill", "the mill's", "-x/y", "水車"} {
		dir := t.TempDir()
		out := must(t, dir, "new", "--", folder)
		_, next, ok := strings.Cut(out, "\nnext: coilwright ")
		if !ok {
			t.Fatalf("nothing is said to be next:\n%s", out)
		}
		cmd := exec.Command("sh", "-c", "'"+binary+"' "+next)
		cmd.Dir = dir
		if text, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", next, err, text)
		}
	}
}
