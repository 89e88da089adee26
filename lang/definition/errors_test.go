package definition

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
)

var update = flag.Bool("update", false, "rewrite the expected parts of testdata")

func updating() bool { return *update || os.Getenv("UPDATE_GOLDEN") == "1" }

// report is what a person sees, and what later stages are told.
func report(path, text string) string {
	f, list := Parse(path, text)
	var b strings.Builder
	diag.Printer{Sources: diag.Sources{path: text}}.Print(&b, list.Settle([]string{path}))
	for _, k := range f.Broken {
		beside := ""
		if k.Beside {
			beside = ", perhaps of another kind"
		}
		fmt.Fprintf(&b, "broken at %d:%d: keyword %q, name %q, names %v%s\n", k.At.Line, k.At.Column, k.Keyword, k.Name, k.Names, beside)
	}
	if n := len(f.Decls); n > 0 {
		fmt.Fprintf(&b, "parsed: %d\n", n)
	}
	return b.String()
}

// TestErrors reads cases from testdata: a title after ##, the source, a line
// of dashes, what is expected.
func TestErrors(t *testing.T) {
	const dashes = "--------\n"
	path := filepath.Join("..", "..", "testdata", "definition", "errors.txt")
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	cases := strings.Split(string(b), "## ")
	var out strings.Builder
	out.WriteString(cases[0])
	for _, c := range cases[1:] {
		title, rest, _ := strings.Cut(c, "\n")
		source, want, _ := strings.Cut(rest, dashes)
		got := report("m.coil", strings.TrimSuffix(source, "\n"))
		fmt.Fprintf(&out, "## %s\n%s%s%s\n", title, source, dashes, got)
		if updating() {
			continue
		}
		t.Run(title, func(t *testing.T) {
			if diff := cmp.Diff(strings.TrimRight(want, "\n"), strings.TrimRight(got, "\n")); diff != "" {
				t.Error(diff)
			}
		})
	}
	if updating() {
		if err := os.WriteFile(path, []byte(out.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if len(cases) < 100 {
		t.Errorf("only %d cases", len(cases)-1)
	}
}

// What an editor would not show is spelt out; these cases cannot stand in a text file.
func TestInvisibleCharacters(t *testing.T) {
	for _, c := range []struct{ in, text, hint string }{
		{"bus d\u00a08", "unexpected no-break blank", "put an ordinary blank here"},
		{"bus d\r8", "unexpected carriage return in the middle of a line", "lines end with LF or CR LF"},
		{"bus d \ufeff8", "unexpected byte-order mark in the middle of the file", "delete it"},
		{"bus d \x1b8", "unexpected character with the code U+001B", ""},
		{"bus d \u20288", "unexpected character with the code U+2028", ""},
		{"bus d \U000e00018", "unexpected character with the code U+E0001", ""},
		{"bus \ufffd 8", "unexpected character \ufffd", ""},
		{"machine m \"a\x1bb\"", "this string has a character with the code U+001B", ""},
		{"machine m \"a\u0085b\"", "this string has a character with the code U+0085", ""},
	} {
		_, list := Parse("m.coil", c.in)
		if len(list) != 1 || list[0].Text != c.text || list[0].Hint != c.hint {
			t.Errorf("%q: %v, want %s (%s)", c.in, list, c.text, c.hint)
		}
	}
	if _, list := Parse("m.coil", "machine m \"a\tb\u00e9\""); len(list) > 0 {
		t.Errorf("a tab in a title: %v", list)
	}
}
