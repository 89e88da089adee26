package definition

import (
	"strings"
	"testing"

	"coilwright/lang/diag"
)

func TestRefused(t *testing.T) {
	long := "; " + strings.Repeat("\u00fc", maxLine-2)
	for _, c := range []struct {
		title, text, name string
		line, column      int
	}{
		{"NUL", "bus d 8\nbus \x00", "file-nul", 2, 5},
		{"NUL in a comment", "; \x00", "file-nul", 1, 3},
		{"not UTF-8", "bus d 8 ; \u00fc\xff", "file-encoding", 1, 12},
		{"not UTF-8 after a byte-order mark", "\ufeffbus \xc3(", "file-encoding", 1, 5},
		{"the first of two", "\xff\x00", "file-encoding", 1, 1},
		{"a character cut off at the end", "bus d 8 ; \xc3", "file-encoding", 1, 11},
		{"a file that is too large", strings.Repeat("\n", maxFile+1), "file-too-large", 1, 1},
		{"three million brackets", strings.Repeat("(", 3_000_000), "file-too-large", 1, 1},
		{"a line of 10 MB", strings.Repeat("a", 10_000_000), "file-too-large", 1, 1},
		{"a line that is too long", "\n" + long + "x", "line-too-long", 2, maxLine + 1},
		{"a long line that ends in CR LF", long + "x\r\n", "line-too-long", 1, maxLine + 1},
		{"brackets on one line", "unit u 8 = " + strings.Repeat("(", 101), "nesting-too-deep", 1, 112},
		{"braces over lines", strings.Repeat("{\n", 101), "nesting-too-deep", 101, 1},
		{"mixed brackets with gaps", strings.Repeat("([ {", 34), "nesting-too-deep", 1, 134},
	} {
		t.Run(c.title, func(t *testing.T) {
			f, list := Parse("m.coil", c.text)
			want := diag.Place{File: "m.coil", Line: c.line, Column: c.column, Width: 1}
			if len(list) != 1 || list[0].Name != c.name || list[0].At != want {
				t.Errorf("got %v, want %s at %v", list, c.name, want)
			}
			if len(f.Decls) != 0 || len(f.Broken) != 1 || f.Broken[0].Keyword != "" || f.Broken[0].Names != nil {
				t.Errorf("got %+v, want one Broken that stands for the file", f)
			}
			if out, list := Format("m.coil", c.text); out != c.text || len(list) != 1 {
				t.Errorf("formatted in spite of %v", list)
			}
		})
	}
}

// What stands exactly at a limit is accepted.
func TestNotRefused(t *testing.T) {
	for title, text := range map[string]string{
		"a file of 1 MiB":                    strings.Repeat(strings.Repeat(" ", 1023)+"\n", 1024),
		"a line of 4,096 characters":         "; " + strings.Repeat("\u20ac", maxLine-2) + "\r\n",
		"100 brackets":                       "unit u 8 = " + strings.Repeat("(", 100) + "a" + strings.Repeat(")", 100),
		"brackets in comments":               "; " + strings.Repeat("(", 200),
		"brackets in strings":                `machine m "` + strings.Repeat("[", 200) + `"`,
		"200 brackets, 100 open at any time": "unit u 8 = " + strings.Repeat("(", 100) + "a" + strings.Repeat(")", 100) + " + (b)",
	} {
		if _, list := Parse("m.coil", text); len(list) > 0 {
			t.Errorf("%s: %v", title, list)
		}
	}
}

// An else when opens no bracket inside another, so the parser counts it.
func TestLongElseWhenChain(t *testing.T) {
	chain := func(n int) string {
		return "fetch {\nwhen z { }" + strings.Repeat(" else when z { }", n) + "\n}"
	}
	if _, list := Parse("m.coil", chain(98)); len(list) > 0 {
		t.Errorf("98: %v", list)
	}
	_, list := Parse("m.coil", chain(200))
	if len(list) != 1 || list[0].Name != "nesting-too-deep" || list[0].At.Line != 2 {
		t.Errorf("200: %v", list)
	}
}
