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
		fmt.Fprintf(&b, "broken at %d:%d: keyword %q, name %q, names %v\n", k.At.Line, k.At.Column, k.Keyword, k.Name, k.Names)
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
