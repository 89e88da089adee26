package program

import (
	"fmt"
	"io/fs"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
)

func load(files map[string]string) (*Source, diag.List) {
	return Load("a.prog", func(path string) ([]byte, error) {
		text, ok := files[path]
		if !ok {
			return nil, fs.ErrNotExist
		}
		return []byte(text), nil
	})
}

var kinds = [...]string{"empty", "broken", "", "constant", "expect", "text", "include", "at", "byte", "word", "space", "in"}

// dump writes a line with brackets round every operation.
func dump(s *Source, l *Line) string {
	var parts []string
	if l.Label >= 0 {
		parts = append(parts, s.Names[l.Label]+":")
	}
	if k := kinds[l.Kind]; k != "" {
		parts = append(parts, k)
	}
	if l.Name >= 0 && l.Kind < At && l.Kind != Broken && l.Kind != Text && l.Kind != Include {
		parts = append(parts, s.Names[l.Name])
	}
	args := s.Of(l)
	for i := range args {
		var st []string
		pop := func() string {
			x := st[len(st)-1]
			st = st[:len(st)-1]
			return x
		}
		for _, n := range s.Nodes[args[i].First:args[i].End] {
			switch n.Op {
			case Number:
				st = append(st, fmt.Sprint(n.Value))
			case Name:
				st = append(st, s.Names[n.Value])
			case Characters:
				st = append(st, fmt.Sprintf("%q", s.Files[l.File].Text[n.From:n.To]))
			case Neg:
				st = append(st, "(-"+pop()+")")
			case Bit:
				at := pop()
				st = append(st, pop()+"["+at+"]")
			case Slice:
				lo, hi := pop(), pop()
				st = append(st, pop()+"["+hi+":"+lo+"]")
			default:
				y := pop()
				st = append(st, "("+pop()+map[Op]string{Add: "+", Sub: "-", Mul: "*", Div: "/", Run: ".."}[n.Op]+y+")")
			}
		}
		if len(st) != 1 {
			parts = append(parts, "unbalanced")
		}
		parts = append(parts, "|"+strings.Join(st, " "))
	}
	return strings.Join(parts, " ")
}

// statements are lines and what they are read as; an error is where it stands,
// its name and its text.
var statements = []struct{ line, want string }{
	{"", "empty"},
	{"  \t ", "empty"},
	{"; a comment: with = and \"", "empty"},
	{"loop:", "loop: empty"},
	{"loop : ; here", "loop: empty"},
	{"nop", "nop"},
	{"  a_1: nop;x", "a_1: nop"},
	{"ldi 12", "ldi |12"},
	{"move acc,tmp", "move |acc |tmp"},
	{"move acc , tmp ; on", "move |acc |tmp"},
	{"x 0x1F, 0b101, 1_000, 'A', ' ', ''', ';', 'ü'", "x |31 |5 |1000 |65 |32 |39 |59 |252"},
	{"x 0xFFFF_FFFF_FFFF_FFFF, 18446744073709551615", "x |18446744073709551615 |18446744073709551615"},
	{"x 1+2*3, (1+2)*3, 1-2-3, 8/4/2", "x |(1+(2*3)) |((1+2)*3) |((1-2)-3) |((8/4)/2)"},
	{"x -1, - -1, -a*b, a - -b, -(a)[3:0]", "x |(-1) |(-(-1)) |((-a)*b) |(a-(-b)) |(-a[3:0])"},
	{"x a[15:8], (a+1)[7:0], a[7], a[b+1:c], a[7:0][3:2]", "x |a[15:8] |(a+1)[7:0] |a[7] |a[(b+1):c] |a[7:0][3:2]"},
	{"byte 0 .. 15, 1, a..b-1, 15..0", "byte |(0..15) |1 |(a..(b-1)) |(15..0)"},
	{"word 1", "word |1"},
	{"byte", "byte"},
	{"at 0x20", "at |32"},
	{"l: space 4", "l: space |4"},
	{"in ram", "in |ram"},
	{`text "sack; 'a' ü"`, `text |"sack; 'a' ü"`},
	{`text ""`, `text |""`},
	{"size = end - start", "constant size |(end-start)"},
	{"l: size=4", "l: constant size |4"},
	{"expect acc = 12", "expect acc |12"},
	{"expect ram[20+1] = -7", "expect ram |(20+1) |(-7)"},
	{"in port, 1", "in |port |1"},

	{"1loop: nop", `1: syntax-unexpected: expected a label, a mnemonic or a directive, found 1loop`},
	{": nop", `1: syntax-unexpected: expected a label, a mnemonic or a directive, found :`},
	{"a: b: nop", `5: syntax-unexpected: expected a mnemonic or a directive, found :`},
	{"a: 1", `4: syntax-unexpected: expected a mnemonic or a directive, found 1`},
	{"_a nop", `1: syntax-name: a name begins with a letter and a number with a digit, _a with neither`},
	{"# note", `1: syntax-unexpected: expected a label, a mnemonic or a directive, found #`},
	{"// note", `1: syntax-unexpected: expected a label, a mnemonic or a directive, found /`},
	{".byte 1", `1: syntax-unexpected: expected a label, a mnemonic or a directive, found .`},
	{"move acc tmp", `10: syntax-unexpected: expected a comma or the end of the line, found tmp`},
	{"move acc,", `10: syntax-unexpected: expected an operand, found the end of the line`},
	{"move acc,   ; tmp", `10: syntax-unexpected: expected an operand, found the end of the line`},
	{"move ,tmp", `6: syntax-unexpected: expected an operand, found ,`},
	{"ldi $1F", `5: syntax-unexpected: expected an operand, found $`},
	{"ldi #1", `5: syntax-unexpected: expected an operand, found #`},
	{"ldi +1", `5: syntax-unexpected: expected an operand, found +`},
	{"ldi 1 +", `8: syntax-unexpected: expected an operand, found the end of the line`},
	{"ldi (1", `7: syntax-unclosed: expected ), found the end of the line`},
	{"ldi (1]", `7: syntax-unclosed: expected ), found ]`},
	{"ldi a[1", `8: syntax-unclosed: expected ], found the end of the line`},
	{"ldi 1)", `6: syntax-unexpected: expected a comma or the end of the line, found )`},
	{"ldi 1 // two", `7: syntax-unexpected: expected a comma or the end of the line, found /`},
	{"ldi 1 & 2", `7: syntax-unexpected: expected a comma or the end of the line, found &`},
	{"ldi 1Fh", `5: syntax-number: the number 1 touches Fh`},
	{"ldi 1F", `5: syntax-number: the number 1 touches F`},
	{"ldi 0x", `5: syntax-number: there are no digits after 0x`},
	{"ldi 0xG", `5: syntax-number: the number 0x touches G`},
	{"ldi 0X12", `5: syntax-number: the number 0 touches X12`},
	{"ldi 0b12", `5: syntax-number: 0b12 is not a binary number: 2 is no digit of it`},
	{"ldi 1__0", `5: syntax-number: 1__0 has a _ that is not between two digits`},
	{"ldi 1_", `5: syntax-number: 1_ has a _ that is not between two digits`},
	{"ldi 1.5", `5: syntax-number: 1.5 is not a whole number`},
	{"ldi 18446744073709551616", `5: syntax-number: 18446744073709551616 does not fit in 64 bits`},
	{"ldi 'ab'", `5: program-character: one character stands between single quotes, as in 'A'`},
	{"ldi ''", `5: program-character: one character stands between single quotes, as in 'A'`},
	{"ldi 'a", `5: program-character: one character stands between single quotes, as in 'A'`},
	{`ldi "a"`, `5: syntax-unexpected: expected an operand, found "a"`},
	{`ldi "a`, `5: syntax-string: the string that begins here has no closing quote on its line`},
	{"ldi 0 .. 15", `7: syntax-unexpected: expected a comma or the end of the line, found ..`},
	{"x = 0 .. 15", `7: syntax-unexpected: expected an operator or the end of the line, found ..`},
	{"byte 0 .. ", `10: syntax-unexpected: expected a value, found the end of the line`},
	{"byte .. 3", `6: syntax-unexpected: expected a value, found ..`},
	{"byte 0 .. 1 .. 2", `13: syntax-unexpected: expected a comma or the end of the line, found ..`},
	{"byte 0 \u2026 3", "8: syntax-character: unexpected character \u2026"},
	{"ldi \u00a01", "5: syntax-character: unexpected a no-break blank"},
	{"ldi \x01", "5: syntax-character: unexpected character with the code U+0001"},
	{"ldi a\rb", "6: syntax-character: unexpected a carriage return in the middle of a line"},
	{"text sack", `6: syntax-unexpected: expected a string between quotes, found sack`},
	{`text "a`, `6: syntax-string: the string that begins here has no closing quote on its line`},
	{`text "a", "b"`, `9: syntax-unexpected: expected the end of the line, found ,`},
	{"include a.prog", `9: syntax-unexpected: expected a file name between quotes, found a`},
	{"include", `8: syntax-unexpected: expected a file name between quotes, found the end of the line`},
	{"size =", `7: syntax-unexpected: expected a value, found the end of the line`},
	{"size = 1, 2", `9: syntax-unexpected: expected an operator or the end of the line, found ,`},
	{"in = 4", `4: syntax-unexpected: expected a memory, found =`},
	{"expect", `7: syntax-unexpected: expected a register, flag or memory, found the end of the line`},
	{"expect acc 12", `12: syntax-unexpected: expected = and a value, found 12`},
	{"expect acc = ", `13: syntax-unexpected: expected a value, found the end of the line`},
	{"expect ram[1 = 2", `14: syntax-unclosed: expected ], found =`},
	{"expect acc = 1, 2", `15: syntax-unexpected: expected an operator or the end of the line, found ,`},
	{"ldi " + strings.Repeat("(", 101), `105: nesting-too-deep: more than 100 brackets and signs are open here`},
	{"ldi " + strings.Repeat("-", 101), `105: nesting-too-deep: more than 100 brackets and signs are open here`},
	{"ldi " + strings.Repeat("a[", 101), `206: nesting-too-deep: more than 100 brackets and signs are open here`},
}

// Each line is read the same alone, before and after others, and with CR LF.
func TestStatements(t *testing.T) {
	var all []string
	for _, c := range statements {
		all = append(all, c.line)
	}
	for _, end := range []string{"\n", "\r\n"} {
		together, list := load(map[string]string{"a.prog": bom + strings.Join(all, end)})
		byLine := map[int][]diag.Diagnostic{}
		for _, d := range list {
			byLine[d.At.Line] = append(byLine[d.At.Line], d)
		}
		// A last line without anything in it is none.
		if len(together.Lines) != len(statements) {
			t.Fatalf("%d lines of %d", len(together.Lines), len(statements))
		}
		for i, c := range statements {
			l := &together.Lines[i]
			got := dump(together, l)
			if errs := byLine[i+1]; len(errs) > 0 {
				if l.Kind != Broken {
					t.Errorf("%q has an error and is not broken", c.line)
				}
				got = fmt.Sprintf("%d: %s: %s", errs[0].At.Column, errs[0].Name, errs[0].Text)
				if len(errs) > 1 {
					got += fmt.Sprintf(" and %d more", len(errs)-1)
				}
			}
			if got != c.want {
				t.Errorf("%q:\n got %s\nwant %s", c.line, got, c.want)
			}
			if int(l.Number) != i+1 || together.Files[0].Text[l.From:l.To] != c.line {
				t.Errorf("%q stands at line %d as %q", c.line, l.Number, together.Files[0].Text[l.From:l.To])
			}
		}
	}
}

func TestPlaces(t *testing.T) {
	s, list := load(map[string]string{"a.prog": "\tloop: ldi 'ü' + x ; ü\n"})
	if len(list) > 0 {
		t.Fatal(list)
	}
	l := &s.Lines[0]
	arg := s.Of(l)[0]
	got := []diag.Place{
		s.Place(l, l.LabelAt, l.LabelAt+4), s.Place(l, l.NameAt, l.NameAt+3), s.Place(l, l.Code, l.End), s.Place(l, arg.From, arg.To),
		s.Place(l, s.Nodes[1].From, s.Nodes[1].To),
	}
	want := []diag.Place{{File: "a.prog", Line: 1, Column: 2, Width: 4}, {File: "a.prog", Line: 1, Column: 8, Width: 3},
		{File: "a.prog", Line: 1, Column: 2, Width: 17}, {File: "a.prog", Line: 1, Column: 12, Width: 7}, {File: "a.prog", Line: 1, Column: 18, Width: 1}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestHints(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"ldi $1F", "0x"}, {"ldi %1", "0b"}, {"ldi 1Fh", "0x1F"}, {"ldi 1F", "0x1F"}, {"ldi 0X1", "small letter"}, {"ldi #1", "as they are"},
		{"# x", "begin with ;"}, {"nop // x", "begin with ;"}, {"nop # x", "begin with ;"}, {"ldi 1 # x", "begin with ;"}, {".byte 1", "byte without the point"}, {".org 1", "directives are at, byte"},
		{"move acc tmp", "commas"}, {"loop nop ldi", "colon"}, {"ldi 0 .. 1", "only after byte and word"}, {"a: b: c", "one label"},
		{"byte 0 \u2026 3", "two dots"}, {"ldi \u2212 1", "minus"}, {"ldi 1 < 2", "+ - * /"}, {`byte "a"`, "after text"}, {"expect 1", "expect acc = 12"},
		{"byte 1,, 2", "before the comma"}, {"1: nop", "begins with a letter"}, {"ldi \u201ca\u201d", `stand between "`},
	} {
		_, list := load(map[string]string{"a.prog": c.line})
		if len(list) != 1 || c.want == "" != (list[0].Hint == "") || !strings.Contains(list[0].Hint, c.want) {
			t.Errorf("%q: %+v, want the hint %q", c.line, list, c.want)
		}
	}
}

func TestLost(t *testing.T) {
	for _, c := range []struct {
		line string
		want string
	}{
		{"loop nop 1", "loop"}, {"loop@ nop", "loop"},
		{"lo-op: nop", "lo op"},
		{"a: b = ", "b"},
		{"nop", ""},
		{"1x: nop ,", ""},
		{"move acc tmp ; x: y", "move"},
	} {
		s, _ := load(map[string]string{"a.prog": c.line})
		var got []string
		for _, id := range s.Lost {
			got = append(got, s.Names[id])
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%q: %v, want %s", c.line, got, c.want)
		}
	}
}
