package catalogue

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestEntriesParse(t *testing.T) {
	list, err := os.ReadDir("entries")
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, f := range list {
		name, isText := strings.CutSuffix(f.Name(), ".txt")
		if !isText {
			t.Errorf("%s is no entry", f.Name())
			continue
		}
		want = append(want, name)
		text, err := os.ReadFile(filepath.Join("entries", f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := parse(name, string(text)); err != nil {
			t.Error(err)
		}
	}
	if !t.Failed() {
		if diff := cmp.Diff(want, Names()); diff != "" {
			t.Errorf("files (-) and Names (+):\n%s", diff)
		}
	}
	if _, ok := Find("no-such-name"); ok {
		t.Error("an entry was found that is not there")
	}
}

const whole = `Two bells ring at once

Bells take turns.

# base
# wrong
line bell   ; ERROR "twice"
include "b.coil"
# wrong b.coil
line bell
# right

line bell

`

func TestParse(t *testing.T) {
	e, err := parse("bells", whole)
	if err != nil {
		t.Fatal(err)
	}
	got := []any{e.Name, e.Summary, e.Text, e.Wrong, e.Right, e.Base == Base(), e.WrongFiles(), e.RightFiles()}
	wrong := "line bell   ; ERROR \"twice\"\ninclude \"b.coil\"\n"
	want := []any{"bells", "Two bells ring at once", "Bells take turns.\n", wrong + "\n; b.coil\nline bell\n", "line bell\n", true,
		map[string]string{Root: Base() + "\n" + wrong, "b.coil": "line bell\n"},
		map[string]string{Root: Base() + "\nline bell\n"}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	of, err := parse("bells", strings.Replace(whole, "# base", "# program", 1))
	if err != nil {
		t.Fatal(err)
	}
	if !of.Program || of.Base != ProgramBase() || of.WrongFiles()[RootProgram] != wrong || of.RightFiles()[RootProgram] != "line bell\n" {
		t.Errorf("a program: %+v", of)
	}
	made, err := parse("bells", strings.Replace(whole, "# base", "# generate", 1))
	if err != nil {
		t.Fatal(err)
	}
	if !made.Generated || made.WrongFiles() != nil || made.Base != "" {
		t.Errorf("a generated example: %+v", made)
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ name, from, to, want string }{
		{"no summary", "Two bells ring at once", "", "bells:1: the first line sums"},
		{"heading first", "Two bells ring at once", "# base", "bells:1: the first line sums"},
		{"full stop", "at once", "at once.", "full stop"},
		{"no text", "Bells take turns.", "", "there is no text"},
		{"no wrong", "# wrong\n", "# right x.coil\n", "there is no wrong example"},
		{"no right", "# right\n", "# right x.coil\n", "there is no right example"},
		{"twice", "# wrong b.coil", "# wrong", "example.coil is given twice"},
		{"empty", "# wrong b.coil\nline bell\n", "# wrong b.coil\n", "b.coil is empty"},
		{"unknown heading", "# base", "# basis", "bells:5: no such heading: # basis"},
		{"text under base", "# base", "# base\nline bell", "nothing belongs to it"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := parse("bells", strings.Replace(whole, c.from, c.to, 1))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want %q", err, c.want)
			}
		})
	}
}

// Whatever stands in an entry, it is an entry or an error.
func FuzzParse(f *testing.F) {
	f.Add(whole)
	f.Add(strings.Replace(whole, "# base", "# program", 1))
	f.Add("a\n# generate\n# wrong\n; x\n# right\n; y\n")
	f.Fuzz(func(t *testing.T, text string) {
		e, err := parse("bells", text)
		if err != nil {
			return
		}
		if e.Summary == "" || e.Text == "" || e.Wrong == "" || e.Right == "" || e.RightFiles()[e.Root()] == "" {
			t.Errorf("an entry with a part missing: %+v", e)
		}
	})
}
