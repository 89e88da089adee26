package definition

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/lang/diag"
)

// page is the example of the language's own page.
func page(t testing.TB) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("..", "..", "testdata", "definition", "millrace-page.coil"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// offsets returns where each token but the last begins and ends in text.
func offsets(text string, list []token) [][2]int {
	var out [][2]int
	at := 0
	for _, t := range list {
		if t.kind == tokEOF {
			break
		}
		at += strings.Index(text[at:], t.text)
		out = append(out, [2]int{at, at + len(t.text)})
		at += len(t.text)
	}
	return out
}

// replacements is one of each kind of token, and those that people slip in.
var replacements = []string{
	"", "zork", "7", "0?", "12V", "=", ":", ",", "->", ">", "{", "}", "(", ")", "[", "]", "~", "+", "\n",
	`"s"`, `"`, "\u00a7", "_x", "3q", "step", "else", "when", "not", ";", "by", "settle", "restart",
}

// Replacing or deleting one token of a valid file gives one error, whatever
// else then stands where it does not belong.
func TestOneWrongTokenIsOneError(t *testing.T) {
	text := page(t)
	list := lex("m.coil", text, true).list
	tried, wrong := 0, 0
	for i, o := range offsets(text, list) {
		if list[i].kind == tokComment {
			continue
		}
		for _, r := range append(keywords(), replacements...) {
			if r == list[i].text {
				continue
			}
			if r != "" && r != "\n" {
				r = " " + r + " "
			}
			changed := text[:o[0]] + r + text[o[1]:]
			f, errs := Parse("m.coil", changed)
			tried++
			if len(errs) > 0 {
				wrong++
			}
			if len(errs) > 1 || len(errs) != len(f.Broken) {
				var b strings.Builder
				diag.Printer{Sources: diag.Sources{"m.coil": changed}}.Print(&b, errs)
				t.Errorf("line %d: %q replaced by %q: %d errors, %d broken\n%s", list[i].line, list[i].text, r, len(errs), len(f.Broken), b.String())
			}
		}
	}
	if wrong < tried/2 {
		t.Errorf("only %d of %d changes were errors: the test shows little", wrong, tried)
	}
}
