package definition

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/lang/diag"
)

// valid holds each production of the grammar (language.md) with the tree it
// stands for. It feeds the parser's test, the formatter's and the fuzzers'.
var valid = []struct{ name, text, tree string }{
	{"nothing", "", ``},
	{"blank lines and comments", "\n\n  ; only this\n\t\n", ``},
	{"no line end at the end", `bus d 8`, `(Bus d #8)`},
	{"include", `include "parts/alu.coil"`, `(Include parts/alu.coil)`},
	{"machine", `machine mill`, `(Machine mill)`},
	{"machine with a title", `machine mill "Sack tally; mill floor"`, `(Machine mill Sack tally; mill floor)`},
	{"bus", "bus data 8", `(Bus data #8)`},
	{"bus with traits", "bus data 0x8 or", `(Bus data #0x8 Traits=[(Trait or)])`},
	{"register", "register acc 8", `(Register acc #8)`},
	{"register with traits", "register ir 16 opcode 15:12 buffered x 3",
		`(Register ir #16 Traits=[(Trait opcode Hi=#15 Lo=#12) (Trait buffered) (Trait x Hi=#3)])`},
	{"flag", "flag zero", `(Flag zero)`},
	{"flag with a trait", "flag zero input", `(Flag zero Traits=[(Trait input)])`},
	{"memory", "memory ram 256 x 8", `(Memory ram #256 #8)`},
	{"memory with traits", "memory x 256 x 16 program little", `(Memory x #256 #16 Traits=[(Trait program) (Trait little)])`},
	{"unit", "unit inc 8 = addr + 1", `(Unit inc #8 (Binary + (Ref addr) (Constant #1)))`},
	{"unit that settles", "unit inc 8 settle 2 = addr", `(Unit inc #8 Settle=#2 (Ref addr))`},
	{"unit with cases", "unit alu 8 by a b { 00 = x, 01 = ~x\n\n 1? = 0 }",
		`(Unit alu #8 By=[a b] Cases=[(Case #00 (Ref x)) (Case #01 (Not (Ref x))) (Case #1? (Constant #0))])`},
	{"unit without cases", "unit alu 8 settle 3 by s {\n}", `(Unit alu #8 Settle=#3 By=[s])`},
	{"line", "line sub", `(Line sub)`},
	{"line with attributes", "line sub low lead 2 pulse 3", `(Line sub Attrs=[(Attr low) (Attr lead Number=#2) (Attr pulse Number=#3)])`},
	{"line with a transfer", "line g : acc -> data", `(Line g Effects=[(Effect (Ref acc) Target=(Ref data))])`},
	{"line with transfers over lines", "line g : a -> b,\n\n   c(x) -> d[3:0] ,e->f set",
		`(Line g Effects=[(Effect (Ref a) Target=(Ref b)) (Effect (Ref c Call=true Args=[(Ref x)]) Target=(Ref d Slices=[(Slice (Constant #3) (Constant #0))])) (Effect (Ref e) Target=(Ref f))] Attrs=[(Attr set)])`},
	{"restart and halt", "line r : restart\nline h : halt low", `(Line r Effects=[(Effect restart)])` + "\n" + `(Line h Effects=[(Effect halt)] Attrs=[(Attr low)])`},
	{"restart with a transfer", "line r : restart, 0 -> x", `(Line r Effects=[(Effect restart) (Effect (Constant #0) Target=(Ref x))])`},
	{"a register may be named restart", "line r : restart -> data, halt[1] -> x",
		`(Line r Effects=[(Effect (Ref restart) Target=(Ref data)) (Effect (Ref halt Slices=[(Slice (Constant #1))]) Target=(Ref x))])`},
	{"field", "field from 2 { acc = 00 : acc_g, none = 01\n two = 0b10 : a b\n }",
		`(Field from #2 Choices=[(Choice acc #00 Lines=[acc_g]) (Choice none #01) (Choice two #0b10 Lines=[a b])])`},
	{"field with a comma at the end", "field from 2 {\n\n a = 00,\n b = 01,\n}", `(Field from #2 Choices=[(Choice a #00) (Choice b #01)])`},
	{"values named like keywords", "field from 2 {\n line = 00\n bus = 01 : line\n}", `(Field from #2 Choices=[(Choice line #00) (Choice bus #01 Lines=[line])])`},
	{"sequence", "sequence s {\n step a b\n}", `(Sequence s {(Step Names=[a b])})`},
	{"fetch", "fetch { do s }", `(Fetch {(Do s)})`},
	{"instruction", "instruction nop = 0000_0000", `(Instruction nop Words=[(Word Parts=[(Part Bits=#0000_0000)])])`},
	{"instruction with operands", "instruction mv d:to, s:from = 01 d s ?? { step s d }",
		`(Instruction mv Operands=[(Operand d Field=to) (Operand s Field=from)] Words=[(Word Parts=[(Part Bits=#01) (Part Ref=d) (Part Ref=s) (Part Bits=#??)])] Body={(Step Names=[s d])})`},
	{"operand traits and slices", "instruction jr x:8 relative signed,\n y : 4 = 0x1? x[7:4],\n x[3:0] y[0]",
		`(Instruction jr Operands=[(Operand x Width=#8 Traits=[relative signed]) (Operand y Width=#4)] Words=[(Word Parts=[(Part Bits=#0x1?) (Part Ref=x Hi=#7 Lo=#4)]) (Word Parts=[(Part Ref=x Hi=#3 Lo=#0) (Part Ref=y Hi=#0)])])`},
	{"instruction with an empty block", "instruction nop = ? {}", `(Instruction nop Words=[(Word Parts=[(Part Bits=#?)])] Body={})`},
	{"every statement", "fetch {\n step a\n when z { }\n hold a b { step c }\n pack { step d }\n do s\n wait 3\n except d = s\n}",
		`(Fetch {(Step Names=[a]) (When z {}) (Hold Names=[a b] {(Step Names=[c])}) (Pack {(Step Names=[d])}) (Do s) (Wait #3) (Except d s)})`},
	{"when not, else, else when", "fetch {\n when not z {\n  step a\n } else when c { step b } else {\n  step d\n }\n}",
		`(Fetch {(When Not=true z {(Step Names=[a])} Else={(When c {(Step Names=[b])} Else={(Step Names=[d])})})})`},
	{"a flag named not", "fetch { when not { step a } }", `(Fetch {(When not {(Step Names=[a])})})`},
	{"lines named like statements", "fetch {\n step wait hold do\n hold step { step when }\n}", `(Fetch {(Step Names=[wait hold do]) (Hold Names=[step] {(Step Names=[when])})})`},
	{"undefined", "undefined restart", `(Undefined restart)`},
	{"supply", "supply 12V 1.5 A", `(Supply Values=[(Value Number=#12 Unit=V) (Value Number=#1.5 Unit=A)])`},
	{"settings", "relay { coil 12 V 720 ohm, poles 4\n\n pickup 75% , suppression diode\n}",
		`(Settings relay Settings=[(Setting Name=coil Values=[(Value Number=#12 Unit=V) (Value Number=#720 Unit=ohm)]) (Setting Name=poles Values=[(Value Number=#4)]) (Setting Name=pickup Values=[(Value Number=#75 Unit=%)]) (Setting Name=suppression Values=[(Value Name=diode)])])`},
	{"settings with a name", "card control { }", `(Settings card Name=control)`},
	{"pins", "connector c { 1 = acc_g, 0x2 = ground }", `(Settings connector Name=c Settings=[(Setting Pin=#1 Values=[(Value Name=acc_g)]) (Setting Pin=#0x2 Values=[(Value Name=ground)])])`},
	{"settings named like keywords", "cost {\n relay 3\ndiode 0.05\n}\nrelay { }",
		`(Settings cost Settings=[(Setting Name=relay Values=[(Value Number=#3)]) (Setting Name=diode Values=[(Value Number=#0.05)])])` + "\n" + `(Settings relay)`},
	{"settings without values", "sequencer { lead\n trail }", `(Settings sequencer Settings=[(Setting Name=lead) (Setting Name=trail)])`},
	{"names like keywords", "bus bus 8\nregister fetch 8\nline line : bus -> fetch",
		`(Bus bus #8)` + "\n" + `(Register fetch #8)` + "\n" + `(Line line Effects=[(Effect (Ref bus) Target=(Ref fetch))])`},
	{"expressions", "unit u 8 = a + b - ~(c & 0xF0 | d ^ ~e)",
		`(Unit u #8 (Binary - (Binary + (Ref a) (Ref b)) (Not (Group (Binary ^ (Binary | (Binary & (Ref c) (Constant #0xF0)) (Ref d)) (Not (Ref e)))))))`},
	{"references", "unit u 8 = join(a[7:4], rol(b))[3][x + 1:0]",
		`(Unit u #8 (Ref join Call=true Args=[(Ref a Slices=[(Slice (Constant #7) (Constant #4))]) (Ref rol Call=true Args=[(Ref b)])] Slices=[(Slice (Constant #3)) (Slice (Binary + (Ref x) (Constant #1)) (Constant #0))]))`},
	{"byte-order mark, CR LF, tabs", "\ufeffbus\td 8\r\n\r\nbus e 8\r\n", `(Bus d #8)` + "\n" + `(Bus e #8)`},
	{"units that touch", "relay { operate 7ms, coil 12V 1_0.5kohm }",
		`(Settings relay Settings=[(Setting Name=operate Values=[(Value Number=#7 Unit=ms)]) (Setting Name=coil Values=[(Value Number=#12 Unit=V) (Value Number=#1_0.5 Unit=kohm)])])`},
}

func TestGrammar(t *testing.T) {
	for _, c := range valid {
		t.Run(c.name, func(t *testing.T) {
			f, list := Parse("m.coil", c.text)
			if len(list) > 0 {
				t.Fatalf("unexpected: %v", list)
			}
			if len(f.Broken) > 0 {
				t.Errorf("broken: %v", f.Broken)
			}
			var got []string
			for _, d := range f.Decls {
				got = append(got, dump(d))
			}
			if diff := cmp.Diff(c.tree, strings.Join(got, "\n")); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// A tree's places are where a person would point.
func TestPlaces(t *testing.T) {
	const text = "\ufeff\t; \u00fc\nline g : join(a, b)[3] -> \tm[x + 1] low\n" +
		"unit u 8 = ~(a + b) & c\n" +
		"instruction i x:8 = 01 x[7:0], x {\n  when z { step a } else when y {\n } else {\n  } }\n" +
		"relay { coil 12 V }\n"
	f, list := Parse("p.coil", text)
	if len(list) > 0 {
		t.Fatal(list)
	}
	at := func(line, column, width int) diag.Place {
		return diag.Place{File: "p.coil", Line: line, Column: column, Width: width}
	}
	l := f.Decls[0].(*Line)
	u := f.Decls[1].(*Unit)
	i := f.Decls[2].(*Instruction)
	s := f.Decls[3].(*Settings)
	w := i.Body.Stmts[0].(*When)
	chain := w.Else.Stmts[0].(*When)
	and := u.Value.(*Binary)
	for _, c := range []struct {
		what      string
		got, want diag.Place
	}{
		{"line", l.At, at(2, 1, 4)},
		{"its name", l.Name.At, at(2, 6, 1)},
		{"its effect", l.Effects[0].At, at(2, 10, 26)},
		{"the source", l.Effects[0].Source.Place(), at(2, 10, 13)},
		{"the target", l.Effects[0].Target.At, at(2, 28, 8)},
		{"the name of the target", l.Effects[0].Target.Name.At, at(2, 28, 1)},
		{"the index", l.Effects[0].Target.Slices[0].At, at(2, 29, 7)},
		{"the expression in it", l.Effects[0].Target.Slices[0].Hi.Place(), at(2, 30, 5)},
		{"the attribute", l.Attrs[0].Name.At, at(2, 37, 3)},
		{"a unit's value", and.Place(), at(3, 12, 12)},
		{"its operator", and.OpAt, at(3, 21, 1)},
		{"a negation", and.Left.Place(), at(3, 12, 8)},
		{"a group", and.Left.(*Not).Of.Place(), at(3, 13, 7)},
		{"a word", i.Words[0].At, at(4, 21, 9)},
		{"the next word", i.Words[1].At, at(4, 32, 1)},
		{"a block's start", i.Body.Open, at(4, 34, 1)},
		{"a block's end", i.Body.Close, at(7, 5, 1)},
		{"when", w.Place(), at(5, 3, 4)},
		{"else when", chain.Place(), at(5, 26, 4)},
		{"the end of an else when", w.Else.Close, at(7, 3, 1)},
		{"a unit of measure", s.Settings[0].Values[0].Unit.At, at(8, 17, 1)},
	} {
		if c.got != c.want {
			t.Errorf("%s: %+v, want %+v", c.what, c.got, c.want)
		}
	}
}

func TestPlaceOfEveryDeclaration(t *testing.T) {
	for _, c := range valid {
		f, _ := Parse("m.coil", c.text)
		for _, d := range f.Decls {
			lines := strings.Split(tidy(c.text), "\n")
			p := d.Place()
			if word := lines[p.Line-1][p.Column-1:][:p.Width]; !isKeyword(token{kind: tokName, text: word}) {
				t.Errorf("%s: declaration placed at %q", c.name, word)
			}
		}
	}
}

// The keywords are spelt out where they are looked up and where they are listed.
func TestKeywordsAgree(t *testing.T) {
	var p parser
	for _, k := range keywords() {
		tok := token{kind: tokName, text: k}
		if !isKeyword(tok) || p.reader(tok) == nil {
			t.Errorf("%s is listed but does not begin a declaration", k)
		}
	}
	for _, s := range statements() {
		tok := token{kind: tokName, text: s}
		if !isStatement(tok) || isKeyword(tok) || p.reader(tok) != nil {
			t.Errorf("%s is a statement and nothing else", s)
		}
	}
	for _, c := range valid {
		f, _ := Parse("m.coil", c.text)
		for _, d := range f.Decls {
			word := strings.Fields(strings.Split(tidy(c.text), "\n")[d.Place().Line-1][d.Place().Column-1:])[0]
			if !slices.Contains(keywords(), word) {
				t.Errorf("%s begins a declaration but is not listed", word)
			}
		}
	}
}
