package definition

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
)

func TestFormat(t *testing.T) {
	for _, c := range []struct{ title, in, out string }{
		{"nothing", "", ""},
		{"only blank lines", "\n \n\t\n", ""},
		{"line ends", "\ufeffbus a 8  \r\n\r\n \r\n\r\nbus b 8", "bus a 8\n\nbus b 8\n"},
		{"no blank line at the ends", "\n\n; top\n\n\nbus a 8 ;  x \n\n", "; top\n\nbus a 8  ;  x\n"},
		{"columns of neighbours", "bus data 8\nbus addr 16 or\nregister a 8\nregister link  16 latching\nflag z\nflag carry input\nmemory ram 256 x 8\nmemory rom 65536 x 8 program",
			"bus      data 8\nbus      addr 16 or\nregister a    8\nregister link 16 latching\nflag     z\nflag     carry input\nmemory   ram 256 x 8\nmemory   rom 65536 x 8 program\n"},
		{"a blank line and a comment part neighbours", "bus data 8\n\nbus a 8\n; of the panel\nregister sw 8", "bus data 8\n\nbus a 8\n; of the panel\nregister sw 8\n"},
		{"lines", "line acc_g:acc->data coils 2\nline x\nline long_name : restart low lead 3\nline bell pulse 3;out",
			"line acc_g     : acc -> data  coils 2\nline x\nline long_name : restart      low lead 3\nline bell      pulse 3  ;out\n"},
		{"transfers over lines", "line a : x -> y,\n z->ram [ 3:0 ] ,\n\n; why\n0 -> w set\nline bcd : q -> r",
			"line a   : x -> y,\n    z -> ram[3:0],\n\n    ; why\n    0 -> w set\nline bcd : q -> r\n"},
		{"expressions", "unit u 8=( a+~b )&join ( c[7 :4],0xF0 )\nunit inc 16 settle 2 = ~ ( x ) - 1",
			"unit u   8  = (a + ~b) & join(c[7:4], 0xF0)\nunit inc 16 settle 2 = ~(x) - 1\n"},
		{"cases", "unit u 8 by a b {\n00 = x\n0b01 = y ; why\n10=x,11=y\n}", "unit u 8 by a b {\n    00   = x\n    0b01 = y  ; why\n    10 = x, 11 = y\n}\n"},
		{"fields", "field from 2 {acc=00:acc_g,res=01}\nfield f 12 {\na=0:b c,\n\nlong = 1 : d ; e\nline=0x1}",
			"field from 2  { acc = 00 : acc_g, res = 01 }\nfield f    12 {\n    a = 0 : b c,\n\n    long = 1 : d  ; e\n    line = 0x1 }\n"},
		{"instructions", "instruction nop=0000_0000\ninstruction ldi value : 8 relative=0001_????,value {step a\n; then\n  do s}\ninstruction a = 1 x[7 : 4]\ninstruction mv d:to,\n s:from = d s",
			"instruction nop                  = 0000_0000\ninstruction ldi value:8 relative = 0001_????, value { step a\n    ; then\n    do s }\ninstruction a                    = 1 x[7:4]\ninstruction mv d:to,\n    s:from = d s\n"},
		{"blocks", "fetch {\nwhen  not z {step a\nhold b c {\npack { step d\n} }\n} else when y {\n\n\nwait 2 ; so\nexcept a=b ; and so\n} else { }\n}",
			"fetch {\n    when not z { step a\n        hold b c {\n            pack { step d\n        } }\n    } else when y {\n\n        wait 2        ; so\n        except a = b  ; and so\n    } else { }\n}\n"},
		{"settings", "relay {coil 12V 720ohm,poles 4\npickup 75%\n contact   2 A 50 mohm }\nsupply 12V\ncost{\nrelay 3\ndiode 0.05;x\n}\nconnector c {\n1=a\n64 = ground\n}",
			"relay { coil 12 V 720 ohm, poles 4\n    pickup  75 %\n    contact 2 A 50 mohm }\nsupply 12 V\ncost {\n    relay 3\n    diode 0.05  ;x\n}\nconnector c {\n    1  = a\n    64 = ground\n}\n"},
		{"the rest", "machine  m  \"a;  b\"\ninclude   \"x\"\nundefined   restart\nsequence s{do t}", "machine m \"a;  b\"\ninclude \"x\"\nundefined restart\nsequence s { do t }\n"},
		{"comments keep their words", "bus a 8;1\nbus bcd 8 ;  2 \nregister r 8\nflag z ;; 3", "bus      a   8  ;1\nbus      bcd 8  ;  2\nregister r 8\nflag     z      ;; 3\n"},
		{"a long cell is not waited for", "line a : " + strings.Repeat("x", 41) + " -> y low\nline b : c -> d set", "line a : " + strings.Repeat("x", 41) + " -> y  low\nline b : c -> d  set\n"},
	} {
		t.Run(c.title, func(t *testing.T) {
			got, list := Format("m.coil", c.in)
			if len(list) > 0 {
				t.Fatal(list)
			}
			if diff := cmp.Diff(c.out, got); diff != "" {
				t.Error(diff)
			}
			keeps(t, c.in)
		})
	}
}

// keeps checks what holds for every text: the tokens stay, line by line, and
// laying out twice changes nothing more.
func keeps(t *testing.T, in string) {
	t.Helper()
	out, list := Format("m.coil", in)
	if len(list) > 0 {
		if out != in {
			t.Errorf("a text with errors was changed to %q", out)
		}
		return
	}
	if diff := cmp.Diff(spelling(in), spelling(out)); diff != "" {
		t.Errorf("tokens changed:\n%s", diff)
	}
	if again, list := Format("m.coil", out); again != out || len(list) > 0 {
		t.Errorf("not the same when laid out twice (%v):\n%s", list, cmp.Diff(out, again))
	}
	if out == in {
		return
	}
	for _, l := range strings.Split(out, "\n") {
		if l != strings.TrimRight(l, " \t\r") {
			t.Errorf("blanks at the end of %q", l)
		}
	}
	if strings.Contains(out, "\n\n\n") || strings.HasPrefix(out, "\n") || strings.HasSuffix(out, "\n\n") ||
		out != "" && !strings.HasSuffix(out, "\n") {
		t.Errorf("wrong blank lines: %q", out)
	}
}

// spelling is the text of all tokens, comments included; empty lines are left out.
func spelling(text string) []string {
	var out []string
	for _, t := range lex("m.coil", tidy(text), true).list {
		switch {
		case t.kind == tokComment:
			out = append(out, strings.TrimRight(t.text, " \t\r"))
		case t.ends():
			if len(out) > 0 && out[len(out)-1] != "\n" {
				out = append(out, "\n")
			}
		default:
			out = append(out, t.text)
		}
	}
	return out
}

func TestFormatKeepsTheTokensOfEveryProduction(t *testing.T) {
	for _, c := range valid {
		t.Run(c.name, func(t *testing.T) {
			keeps(t, c.text)
			before, _ := Parse("m.coil", c.text)
			out, _ := Format("m.coil", c.text)
			after, _ := Parse("m.coil", out)
			if diff := cmp.Diff(dump(before.Decls), dump(after.Decls)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestFormatPage(t *testing.T) {
	in := page(t)
	out, list := Format("m.coil", in)
	if len(list) > 0 {
		t.Fatal(list)
	}
	path := filepath.Join("..", "..", "testdata", "definition", "millrace-page.formatted")
	if updating() {
		if err := os.WriteFile(path, []byte(out), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), out); diff != "" {
		t.Error(diff)
	}
	keeps(t, in)
	// Indentation and blanks are the formatter's alone.
	if got, _ := Format("m.coil", strings.ReplaceAll(in, "    ", "\t")); got != out {
		t.Error("the blanks of the input show in the output")
	}
}

// Laying out widens: a text near a limit must not be pushed over it.
func TestFormatStaysWithinLimits(t *testing.T) {
	for title, in := range map[string]string{
		"a line that would be too long":         "unit u 8 = a" + strings.Repeat("+a", 2000),
		"a comment that would be pushed out":    "fetch {\n;" + strings.Repeat("x", maxLine-1) + "\n}",
		"a trailing comment pushed out":         "bus a 8 ;" + strings.Repeat("x", maxLine-10) + "\nregister acc 8",
		"deep blocks":                           strings.Repeat("fetch {\n"+strings.Repeat("when a {\n", 95)+strings.Repeat("}", 96)+"\n", 40),
		"a file that would be too large":        strings.Repeat("bus a 1\n", 100_000) + "bus " + strings.Repeat("b", 40) + " 1 or\n",
		"one long line among a great many":      "line x : " + strings.Repeat("a+", 1000) + "a -> b low\n" + strings.Repeat("line a : b -> c low\n", 20_000),
		"a long line that keeps its odd blanks": "  unit u 8 =    a" + strings.Repeat("+a", 2000) + " \t",
	} {
		t.Run(title, func(t *testing.T) {
			if _, list := Parse("m.coil", in); len(list) > 0 {
				t.Fatal(list)
			}
			out, list := Format("m.coil", in)
			if len(list) > 0 {
				t.Fatal(list)
			}
			if _, list := Parse("m.coil", out); len(list) > 0 {
				t.Errorf("does not parse any more: %v", list)
			}
			if again, _ := Format("m.coil", out); again != out {
				t.Error("not the same when laid out twice")
			}
			if len(spelling(in)) != len(spelling(out)) {
				t.Error("tokens changed")
			}
		})
	}
}

func TestFormatLeavesBrokenFilesAlone(t *testing.T) {
	const in = "bus  a\r\n\n\nbus b   8"
	out, list := Format("m.coil", in)
	if out != in {
		t.Errorf("changed to %q", out)
	}
	if len(list) != 1 || list[0].At != (diag.Place{File: "m.coil", Line: 1, Column: 7, Width: 1}) {
		t.Errorf("got %v", list)
	}
}
