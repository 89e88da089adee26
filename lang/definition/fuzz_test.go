package definition

import (
	"bytes"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode/utf8"

	"coilwright/lang/diag"
)

func seed(f *testing.F) {
	f.Add(page(f))
	for _, c := range valid {
		f.Add(c.text)
	}
	for _, text := range []string{
		"fetch {\nwhen z {\n}\nbus a 8", "cost\nrelay 3\nrelay {", "cost{A\ndiode 0", "cost\nrelay 3\n}\nrelay 12", "a\n}\n{", "\"\n;\r\r\n_", "0x_?1_.5V", "field f 1 { a = 0\nbus b", "\ufeff\ufeff",
		"instruction a = 0\n step b\n}\n", "line a : b ->\nline", "x\x00", "line c:r->p,\nline", "\"\r\"", "\"\x1b[31m\"", "\xff", "u\u00fc\u2192\u00a0",
	} {
		f.Add(text)
	}
}

// spent is the processor time of this process: the clock on the wall also
// counts what else a busy machine does.
func spent(t *testing.T) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// Whatever is read, Parse comes back within a second; each error lies within
// the file, none repeats a declaration, and there is one Broken for each.
func FuzzParse(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, text string) {
		began := spent(t)
		file, list := Parse("m.coil", text)
		if d := spent(t) - began; d > time.Second {
			t.Errorf("took %v", d)
		}
		if len(list) != len(file.Broken) {
			t.Errorf("%d errors, %d broken declarations", len(list), len(file.Broken))
		}
		lines := strings.Split(strings.TrimPrefix(text, bom), "\n")
		within := func(p diag.Place) {
			if p.File != "m.coil" || p.Line < 1 || p.Column < 1 || p.Width < 1 || p.Line > len(lines) {
				t.Errorf("%+v lies outside", p)
				return
			}
			if n := utf8.RuneCountInString(lines[p.Line-1]); p.Column+p.Width-1 > n+1 {
				t.Errorf("%+v lies outside a line of %d", p, n)
			}
		}
		last := diag.Place{}
		for _, d := range list {
			within(d.At)
			for _, n := range d.Notes {
				within(n.At)
			}
			if d.At.Line < last.Line || d.At.Line == last.Line && d.At.Column <= last.Column {
				t.Errorf("%v does not come after %v", d.At, last)
			}
			last = d.At
			if d.Text == "" || strings.ContainsAny(d.Text+d.Hint, "\n\r\x00") || !utf8.ValidString(d.Text) {
				t.Errorf("odd text %q, %q", d.Text, d.Hint)
			}
		}
		for _, b := range file.Broken {
			within(b.At)
		}
		for _, d := range file.Decls {
			within(d.Place())
		}
		var out bytes.Buffer
		if err := (diag.Printer{Sources: diag.Sources{"m.coil": text}}).Print(&out, list); err != nil {
			t.Error(err)
		}
	})
}

func FuzzFormat(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, text string) {
		keeps(t, text)
		before, list := Parse("m.coil", text)
		if len(list) > 0 {
			return
		}
		out, _ := Format("m.coil", text)
		after, _ := Parse("m.coil", out)
		if dump(before.Decls) != dump(after.Decls) {
			t.Errorf("the tree changed: %q became %q", text, out)
		}
	})
}
