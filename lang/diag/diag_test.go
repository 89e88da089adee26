package diag

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func at(line, column, width int) Place { return Place{"m.coil", line, column, width} }

func TestPlace(t *testing.T) {
	for _, c := range []struct {
		title     string
		got, want any
	}{
		{"to the end of another", at(2, 3, 4).To(at(2, 9, 2)), at(2, 3, 8)},
		{"to one that ends before", at(2, 9, 2).To(at(2, 3, 4)), at(2, 9, 2)},
		{"to itself", at(2, 9, 2).To(at(2, 9, 2)), at(2, 9, 2)},
		{"to another line", at(2, 9, 2).To(at(3, 1, 4)), at(2, 9, 2)},
		{"to another file", at(2, 9, 2).To(Place{"n.coil", 2, 12, 4}), at(2, 9, 2)},
		{"as text", at(2, 9, 2).String(), "m.coil:2:9"},
		{"a file alone", Place{File: "m.coil"}.String(), "m.coil"},
		{"none", Place{}.String(), ""},
		{"a file alone is no place", Place{File: "m.coil"}.IsZero(), true},
		{"a place is one", at(1, 1, 1).IsZero(), false},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", c.title, c.got, c.want)
		}
	}
}

func TestBuilding(t *testing.T) {
	var l List
	l.Errorf("bus-two-sources", at(1, 2, 3), "%s and %s", "a", "b").
		Note(at(4, 5, 6), "first %d", 1).Note(Place{}, "second").Hintf("try %q", "x").Because("bus %s", "data")
	l.Warnf("unused", at(7, 8, 9), "100 %%")
	want := List{
		{Name: "bus-two-sources", Severity: Error, At: at(1, 2, 3), Text: "a and b",
			Notes: []Note{{at(4, 5, 6), "first 1"}, {Place{}, "second"}}, Hint: `try "x"`, Root: "bus data"},
		{Name: "unused", Severity: Warning, At: at(7, 8, 9), Text: "100 %"},
	}
	if diff := cmp.Diff(want, l); diff != "" {
		t.Error(diff)
	}
	if l.Errors() != 1 || l.Warnings() != 1 {
		t.Errorf("%d errors, %d warnings", l.Errors(), l.Warnings())
	}
}

func TestSettleOrder(t *testing.T) {
	d := func(file string, line, column int, s Severity, text string) Diagnostic {
		return Diagnostic{Name: "n", Severity: s, At: Place{file, line, column, 1}, Text: text}
	}
	want := List{
		d("b", 1, 1, Error, "first file"),
		d("b", 1, 9, Error, "an error before a warning"),
		d("b", 1, 9, Warning, "a warning"),
		d("b", 2, 1, Error, "one"),
		d("b", 2, 1, Error, "another at its place keeps its turn"),
		d("a", 1, 1, Error, "second file"),
	}
	files := []string{"b", "a", "b"}
	for i, order := range [][]int{{5, 4, 3, 2, 1, 0}, {3, 4, 0, 1, 2, 5}, {2, 5, 3, 0, 4, 1}} {
		var in List
		for _, k := range order {
			in = append(in, want[k])
		}
		if order[0] == 5 { // keeps the turn of 3 and 4
			in[1], in[2] = in[2], in[1]
		}
		before := slices.Clone(in)
		if diff := cmp.Diff(want, in.Settle(files)); diff != "" {
			t.Errorf("order %d: %s", i, diff)
		}
		if diff := cmp.Diff(before, in); diff != "" {
			t.Errorf("order %d: the list itself changed: %s", i, diff)
		}
	}
}

func TestSettleMerges(t *testing.T) {
	caused := func(line int) Diagnostic {
		return Diagnostic{Name: "n", At: at(line, 1, 1), Text: fmt.Sprintf("line %d", line), Root: "one cause"}
	}
	also := func(lines ...int) []Note {
		out := []Note{{at(9, 9, 9), "its own"}}
		for _, l := range lines {
			out = append(out, Note{at(l, 1, 1), fmt.Sprintf("also: line %d", l)})
		}
		return out
	}
	for _, c := range []struct {
		title string
		lines []int
		notes []Note
	}{
		{"one", []int{1}, also()},
		{"two, in source order", []int{2, 1}, also(2)},
		{"up to three notes", []int{4, 1, 3, 2}, also(2, 3, 4)},
		{"one more", []int{1, 2, 3, 4, 5}, append(also(2, 3, 4), Note{Text: "and 1 more place with the same cause"})},
		{"many", []int{1, 2, 3, 4, 5, 6, 7, 8}, append(also(2, 3, 4), Note{Text: "and 4 more places with the same cause"})},
		{"the same place again is nothing new", []int{1, 1, 1, 2}, also(2)},
	} {
		t.Run(c.title, func(t *testing.T) {
			var in List
			for _, l := range c.lines {
				d := caused(l)
				if l == 1 {
					d.Notes = []Note{{at(9, 9, 9), "its own"}}
				}
				in = append(in, d)
			}
			want := caused(1)
			want.Notes = c.notes
			if diff := cmp.Diff(List{want}, in.Settle([]string{"m.coil"})); diff != "" {
				t.Error(diff)
			}
			for _, d := range in {
				if len(d.Notes) > 1 {
					t.Errorf("the notes of the input grew: %v", d.Notes)
				}
			}
		})
	}
}

// The fewest suspects are to blame, and what is alone stays alone.
func TestSettleSuspects(t *testing.T) {
	for _, c := range []struct {
		title    string
		suspects []string // by diagnostic, one letter a suspect
		want     []string // by diagnostic that is left, the lines of those put to it
	}{
		{"none", []string{"", ""}, []string{"1", "2"}},
		{"nothing shared", []string{"ab", "cd"}, []string{"1", "2"}},
		{"one shared", []string{"ab", "cb"}, []string{"12"}},
		{"the one that explains most", []string{"ab", "ac", "ad", "b", "b"}, []string{"123", "45"}},
		{"what is explained counts no more", []string{"ab", "ab", "ac", "bd", "d"}, []string{"123", "45"}},
		{"of two the one named first", []string{"ab", "ac", "bc"}, []string{"12", "3"}},
		{"a suspect twice", []string{"aa", "ba", "b"}, []string{"12", "3"}},
		{"a root is kept", []string{"R", "a", "a"}, []string{"1", "23"}},
	} {
		t.Run(c.title, func(t *testing.T) {
			var in List
			for i, letters := range c.suspects {
				d := Diagnostic{Name: "n", At: at(i+1, 1, 1), Text: fmt.Sprint(i + 1)}
				if letters == "R" {
					d.Root, letters = "a root", "a"
				}
				for _, s := range letters {
					d.Suspect(Cause{Key: string(s), Note: Note{at(99, 1, 1), "it may be " + string(s)}})
				}
				in = append(in, d)
			}
			var got []string
			for _, d := range in.Settle([]string{"m.coil"}) {
				text := d.Text
				for i, n := range d.Notes {
					also, isAlso := strings.CutPrefix(n.Text, "also: ")
					if isAlso != (i > 0) {
						t.Errorf("note %d of %q is %q", i, d.Text, n.Text)
					}
					text += also[len(also)-min(1, len(also)):]
					if i == 0 {
						text = d.Text
					}
				}
				got = append(got, text)
			}
			if diff := cmp.Diff(c.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
			for i, d := range in {
				if d.Root != "" && c.suspects[i] != "R" {
					t.Errorf("the list itself changed: %+v", d)
				}
			}
		})
	}
}

func TestSettleWithoutCause(t *testing.T) {
	one := Diagnostic{Name: "n", At: at(1, 1, 1), Text: "t"}
	other := func(change func(*Diagnostic)) Diagnostic { d := one; change(&d); return d }
	in := List{
		one, one,
		other(func(d *Diagnostic) { d.Name = "m" }),
		other(func(d *Diagnostic) { d.Text = "u" }),
		other(func(d *Diagnostic) { d.At.Line = 2 }),
		other(func(d *Diagnostic) { d.Root = "a"; d.At.Line = 3 }),
		other(func(d *Diagnostic) { d.Root = "b"; d.At.Line = 3 }),
	}
	if diff := cmp.Diff(in[1:], in.Settle([]string{"m.coil"})); diff != "" {
		t.Errorf("only the repeated one goes: %s", diff)
	}
	if got := List(nil).Settle(nil); len(got) != 0 {
		t.Errorf("nothing settles to %v", got)
	}
}

func TestNearest(t *testing.T) {
	words := []string{"step", "when", "hold", "pack", "do", "wait", "except", "register", "restart", "acc_g", "acc_l"}
	for _, c := range []struct{ name, want string }{
		{"stpe", "step"},         // swapped
		{"stp", "step"},          // one missing
		{"steep", "step"},        // one too many
		{"stop", "step"},         // one wrong
		{"regsiter", "register"}, // swapped
		{"rgister", "register"},
		{"regster_", "register"},
		{"reigsetr", "register"},
		{"acc_x", "acc_g"}, // a tie goes to the one that sorts first
		{"ACC_G", ""},      // case matters, so it is three away
		{"Step", "step"},
		{"od", "do"}, // swapped
		{"xx", ""},   // as far as it is long
		{"d", ""},    // a single letter says nothing
		{"x", ""},
		{"", ""},
		{"step", ""}, // itself is no suggestion
		{"entirely", ""},
	} {
		if got := Nearest(c.name, words); got != c.want {
			t.Errorf("Nearest(%q) = %q, want %q", c.name, got, c.want)
		}
		backwards := slices.Clone(words)
		slices.Reverse(backwards)
		if got := Nearest(c.name, backwards); got != c.want {
			t.Errorf("Nearest(%q) depends on the order: %q", c.name, got)
		}
		if backwards[0] != "acc_l" {
			t.Fatal("the candidates were sorted in place")
		}
	}
	if got := Nearest("step", nil); got != "" {
		t.Errorf("no candidates, yet %q", got)
	}
}

func TestDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"abc", "abc", 0},
		{"abc", "abd", 1}, {"abc", "acb", 1}, {"abc", "ab", 1}, {"abc", "xabc", 1},
		{"ca", "abc", 3}, // restricted: a pair that was swapped is not edited again
		{"kitten", "sitting", 3}, {"abcd", "badc", 2},
	} {
		if got := distance(c.a, c.b); got != c.want {
			t.Errorf("distance(%q, %q) = %d, want %d", c.a, c.b, got, c.want)
		}
		if got := distance(c.b, c.a); got != c.want {
			t.Errorf("distance(%q, %q) = %d, want %d", c.b, c.a, got, c.want)
		}
	}
}

func TestPrint(t *testing.T) {
	long := strings.Repeat("a", 60) + strings.Repeat("b", 60) + strings.Repeat("c", 60)
	for _, c := range []struct {
		title, source string
		d             Diagnostic
		want          string
	}{
		{"a place", "bus d\nbus data\n", Diagnostic{Name: "n", At: at(2, 5, 4), Text: "no width"},
			"m.coil:2:5: error: no width [n]\n    bus data\n        ^^^^\n"},
		{"a warning with a hint", "bus data\n", Diagnostic{Name: "n", Severity: Warning, At: at(1, 1, 3), Text: "t", Hint: "h"},
			"m.coil:1:1: warning: t [n]\n    bus data\n    ^^^\nhint: h\n"},
		{"notes", "bus a\nbus b", Diagnostic{Name: "n", At: at(2, 5, 1), Text: "t", Notes: []Note{{at(1, 5, 1), "here"}, {Place{}, "alone"}, {Place{File: "x.coil"}, "a file"}}},
			"m.coil:2:5: error: t [n]\n    bus b\n        ^\nm.coil:1:5: note: here\n    bus a\n        ^\nnote: alone\nx.coil: note: a file\n"},
		{"no place", "", Diagnostic{Name: "n", Text: "t"}, "error: t [n]\n"},
		{"a file", "x", Diagnostic{Name: "n", At: Place{File: "m.coil"}, Text: "t"}, "m.coil: error: t [n]\n"},
		{"a file that is not there", "x", Diagnostic{Name: "n", At: Place{"x.coil", 1, 1, 1}, Text: "t"}, "x.coil:1:1: error: t [n]\n"},
		{"a line that is not there", "x", Diagnostic{Name: "n", At: at(2, 1, 1), Text: "t"}, "m.coil:2:1: error: t [n]\n"},
		{"tabs are repeated", "\tbus\td\n", Diagnostic{Name: "n", At: at(1, 6, 1), Text: "t"},
			"m.coil:1:6: error: t [n]\n    \tbus\td\n    \t   \t^\n"},
		{"characters are counted, not bytes", "\u00fc\u20ac d", Diagnostic{Name: "n", At: at(1, 4, 1), Text: "t"},
			"m.coil:1:4: error: t [n]\n    \u00fc\u20ac d\n       ^\n"},
		{"a byte-order mark is not counted", "\ufeffbus d\r\n", Diagnostic{Name: "n", At: at(1, 5, 1), Text: "t"},
			"m.coil:1:5: error: t [n]\n    bus d\n        ^\n"},
		{"the end of a line", "bus\r\nx", Diagnostic{Name: "n", At: at(1, 4, 1), Text: "t"},
			"m.coil:1:4: error: t [n]\n    bus\n       ^\n"},
		{"past the end", "bus\n", Diagnostic{Name: "n", At: at(1, 9, 7), Text: "t"},
			"m.coil:1:9: error: t [n]\n    bus\n       ^\n"},
		{"wider than the line", "bus\n", Diagnostic{Name: "n", At: at(1, 2, 99), Text: "t"},
			"m.coil:1:2: error: t [n]\n    bus\n     ^^\n"},
		{"no width", "bus\n", Diagnostic{Name: "n", At: at(1, 2, 0), Text: "t"},
			"m.coil:1:2: error: t [n]\n    bus\n     ^\n"},
		{"an empty line", "\n", Diagnostic{Name: "n", At: at(1, 1, 1), Text: "t"},
			"m.coil:1:1: error: t [n]\n    \n    ^\n"},
		{"control characters do not reach the terminal", "a\x1b[31m\x00b\x7f\n", Diagnostic{Name: "n", At: at(1, 8, 1), Text: "t"},
			"m.coil:1:8: error: t [n]\n    a\ufffd[31m\ufffdb\ufffd\n           ^\n"},
		{"the start of a long line", long, Diagnostic{Name: "n", At: at(1, 1, 2), Text: "t"},
			"m.coil:1:1: error: t [n]\n    " + long[:100] + "\n    ^^\n"},
		{"the middle of a long line", long, Diagnostic{Name: "n", At: at(1, 61, 60), Text: "t"},
			"m.coil:1:61: error: t [n]\n    " + long[10:110] + "\n    " + strings.Repeat(" ", 50) + strings.Repeat("^", 50) + "\n"},
		{"the end of a long line", long, Diagnostic{Name: "n", At: at(1, 180, 1), Text: "t"},
			"m.coil:1:180: error: t [n]\n    " + long[129:] + "\n    " + strings.Repeat(" ", 50) + "^\n"},
	} {
		t.Run(c.title, func(t *testing.T) {
			var b bytes.Buffer
			if err := (Printer{Sources: Sources{"m.coil": c.source}}).Print(&b, List{c.d}); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, b.String()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestPrintColour(t *testing.T) {
	l := List{{Name: "e", Text: "x", Hint: "h"}, {Name: "w", Severity: Warning, Text: "y"}}
	var b bytes.Buffer
	if err := (Printer{Colour: true}).Print(&b, l); err != nil {
		t.Fatal(err)
	}
	want := "\x1b[31m\x1b[1merror:\x1b[0m x [e]\n\x1b[1mhint:\x1b[0m h\n\x1b[33m\x1b[1mwarning:\x1b[0m y [w]\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Error(diff)
	}
}

// A place in a file of one huge line must not cost that line for each diagnostic.
func TestPrintManyInOneFile(t *testing.T) {
	var l List
	for i := range 5000 {
		l.Errorf("n", at(1, i+1, 1), "t")
	}
	var b bytes.Buffer
	if err := (Printer{Sources: Sources{"m.coil": strings.Repeat("x", 4096)}}).Print(&b, l); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "error: t [n]\n"); n != 5000 {
		t.Errorf("%d printed", n)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("disk full") }

func TestPrintReportsWriteErrors(t *testing.T) {
	l := List{{Name: "n", Text: "t"}}
	if err := (Printer{}).Print(full{}, l); err == nil || err.Error() != "disk full" {
		t.Errorf("Print: %v", err)
	}
	if err := JSON(full{}, l); err == nil {
		t.Error("JSON says nothing")
	}
}

func TestJSON(t *testing.T) {
	l := List{
		{Name: "n", At: at(1, 2, 3), Text: `a "<b>"`, Hint: "a -> b", Notes: []Note{{at(4, 5, 6), "here"}}, Root: "not for others"},
		{Name: "w", Severity: Warning, Text: "t"},
	}
	var b bytes.Buffer
	if err := JSON(&b, l); err != nil {
		t.Fatal(err)
	}
	want := `[
  {
    "name": "n",
    "severity": "error",
    "at": {
      "file": "m.coil",
      "line": 1,
      "column": 2,
      "width": 3
    },
    "text": "a \"<b>\"",
    "notes": [
      {
        "at": {
          "file": "m.coil",
          "line": 4,
          "column": 5,
          "width": 6
        },
        "text": "here"
      }
    ],
    "hint": "a -> b"
  },
  {
    "name": "w",
    "severity": "warning",
    "at": {
      "file": "",
      "line": 0,
      "column": 0,
      "width": 0
    },
    "text": "t",
    "notes": []
  }
]
`
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Error(diff)
	}
	b.Reset()
	if err := JSON(&b, nil); err != nil || b.String() != "[]\n" {
		t.Errorf("nothing is %q, %v", b.String(), err)
	}
}
