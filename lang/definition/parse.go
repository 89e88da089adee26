package definition

import (
	"sort"
	"strings"

	"coilwright/lang/diag"
)

// Parse reads one file. It returns the declarations that parsed, those that
// did not as File.Broken, and one error for each of the latter. A file that
// passes no limit of language.md N.5 gives one error and a Broken without a
// keyword, which stands for everything that may have been in it.
func Parse(path, text string) (*File, diag.List) {
	f, list, _ := parse(path, text)
	return f, list
}

func parse(path, text string) (f *File, list diag.List, refused bool) {
	p := parser{file: &File{Path: path}}
	if !refuse(path, text, &p.list) {
		p.file.Broken = []Broken{{At: p.list[0].At}}
		return p.file, p.list, true
	}
	p.toks = lex(path, tidy(text), false)
	p.declarations()
	return p.file, p.list, false
}

// parser is a recursive-descent parser with one token of look-ahead (two
// where a name may be a keyword or not). A syntax error is recorded and then
// thrown as bailout up to declaration, which skips what is left of the
// declaration: so there is one error each.
type parser struct {
	toks *tokens
	at   int // index of the current token
	file *File
	list diag.List

	start   int   // index of the current declaration's first token
	nested  int   // blocks open, each else when counted
	suspect token // the { of this declaration whose } seems to be missing; tokEOF: none
	started []int // index of the first token of each declaration in file.Decls
}

type bailout struct{}

func (p *parser) cur() token  { return p.toks.list[p.at] }
func (p *parser) peek() token { return p.ahead(1) }

// ahead returns the token n after the current one; past the end, tokEOF.
func (p *parser) ahead(n int) token { return p.toks.list[min(p.at+n, len(p.toks.list)-1)] }

func (p *parser) here() diag.Place {
	return p.toks.place(p.cur())
}

func (p *parser) next() token {
	t := p.cur()
	if t.kind != tokEOF {
		p.at++
	}
	return t
}

func (t token) is(symbol string) bool { return t.kind == tokSymbol && t.text == symbol }

func (t token) word(text string) bool { return t.kind == tokName && t.text == text }

// ends reports whether t ends a line.
func (t token) ends() bool { return t.kind == tokEOL || t.kind == tokEOF }

func (p *parser) skipEOL() {
	for p.cur().kind == tokEOL {
		p.at++
	}
}

// fail records that the grammar wants something else than the current token
// and ends the declaration. hint may be empty.
func (p *parser) fail(hint, expected string) {
	p.failAt(hint, expected).throw()
}

// failure is an error to which notes may be added before it is thrown.
type failure struct{ *diag.Diagnostic }

func (f failure) throw() { panic(bailout{}) }

func (p *parser) failAt(hint, expected string) failure {
	if b, ok := p.problem(); ok {
		return b
	}
	t := p.cur()
	switch {
	case t.is(".") && (p.peek().kind == tokNumber || p.at > 0 && p.toks.list[p.at-1].kind == tokNumber):
		hint = "a number has digits on both sides of its point: 0.5"
	case t.is("#") || t.is("/") && p.peek().is("/") || t.is("/") && p.peek().is("*"):
		hint = "comments begin with ;"
	}
	d := p.list.Errorf("syntax-unexpected", p.here(), "expected %s, found %s", expected, found(t))
	d.Hint = hint
	return failure{d}
}

// problem reports what is wrong with the current token itself, if anything.
func (p *parser) problem() (failure, bool) {
	b, ok := p.toks.problems[p.at]
	if !ok {
		return failure{}, false
	}
	d := p.list.Errorf(b.name, p.here(), "%s", b.text)
	d.Hint = b.hint
	return failure{d}, true
}

// unclosed reports a bracket whose partner is missing where the current token stands.
func (p *parser) unclosed(open token, what string) {
	if b, ok := p.problem(); ok {
		b.throw()
	}
	closing := map[string]string{"{": "}", "(": ")", "[": "]"}[open.text]
	seen := found(p.cur())
	if p.cur().kind == tokEOF && open.is("{") {
		seen = "the end of the file" // only braces may close on a later line
	}
	d := p.list.Errorf("syntax-unclosed", p.here(), "expected %s to close %s, found %s", closing, what, seen)
	d.Note(p.toks.place(open), "the %s is here", open.text)
	if open.is("{") && p.suspect.kind != tokEOF {
		d.Note(p.toks.place(p.suspect), "the indentation says that it is this { which has no }")
	}
	panic(bailout{})
}

func found(t token) string {
	switch t.kind {
	case tokEOF, tokEOL:
		return "the end of the line"
	case tokString:
		return "the string " + shorten(t.text)
	}
	return shorten(t.text)
}

// declarations reads until the end of the file.
func (p *parser) declarations() {
	for {
		p.skipEOL()
		if p.cur().kind == tokEOF {
			return
		}
		p.start = p.at
		if !p.declaration() {
			p.recover()
		}
	}
}

// declaration reads one and the end of its line; false if it is broken.
func (p *parser) declaration() (ok bool) {
	defer func() {
		switch r := recover(); r.(type) {
		case nil:
		case bailout:
			ok = false
		default:
			panic(r)
		}
	}()
	p.nested = 0
	p.suspect = token{}
	t := p.cur()
	read := p.reader(t)
	if read == nil {
		p.stray()
	}
	p.next()
	d := read(t)
	if !p.cur().ends() {
		p.tail(t, d)
	}
	p.file.Decls = append(p.file.Decls, d)
	p.started = append(p.started, p.start)
	return true
}

// reader returns what reads a declaration that begins with t, after t.
func (p *parser) reader(t token) func(token) Decl {
	if t.kind != tokName {
		return nil
	}
	switch t.text {
	case "include":
		return p.include
	case "machine":
		return p.machine
	case "bus":
		return p.bus
	case "register":
		return p.register
	case "flag":
		return p.flag
	case "memory":
		return p.memory
	case "unit":
		return p.unit
	case "line":
		return p.line
	case "field":
		return p.field
	case "sequence":
		return p.sequence
	case "fetch":
		return p.fetch
	case "instruction":
		return p.instruction
	case "undefined":
		return p.undefined
	case "supply":
		return p.supply
	case "sequencer", "relay", "diode", "card", "connector", "store", "cost":
		return p.settings
	}
	return nil
}

// keywords begin a declaration.
func keywords() []string {
	return []string{"include", "machine", "bus", "register", "flag", "memory", "unit", "line", "field",
		"sequence", "fetch", "instruction", "undefined", "supply",
		"sequencer", "relay", "diode", "card", "connector", "store", "cost"}
}

func isKeyword(t token) bool {
	switch t.text {
	case "include", "machine", "bus", "register", "flag", "memory", "unit", "line", "field",
		"sequence", "fetch", "instruction", "undefined", "supply",
		"sequencer", "relay", "diode", "card", "connector", "store", "cost":
		return t.kind == tokName
	}
	return false
}

// name, number and want take one token of that kind or fail.
func (p *parser) name(expected, hint string) Name {
	if p.cur().kind != tokName {
		p.fail(hint, expected)
	}
	t := p.next()
	return Name{Text: t.text, At: p.toks.place(t)}
}

func (p *parser) number(expected, hint string) Number {
	if p.cur().kind != tokNumber {
		p.fail(hint, expected)
	}
	n := p.measure()
	if t := p.cur(); t.kind == tokName && t.glued {
		p.at--
		p.list.Errorf("syntax-number", p.here().To(p.toks.place(t)), "the number %s touches %s", shorten(n.Text), shorten(t.text)).
			Hintf("put a blank between them")
		panic(bailout{})
	}
	return n
}

// measure takes a number that a unit may touch.
func (p *parser) measure() Number {
	t := p.next()
	return Number{Text: t.text, At: p.toks.place(t)}
}

func (p *parser) want(symbol, expected, hint string) token {
	if !p.cur().is(symbol) {
		p.fail(hint, expected)
	}
	return p.next()
}

func (p *parser) include(t token) Decl {
	if p.cur().kind != tokString {
		hint := ""
		if !p.cur().ends() {
			hint = `a file's name stands between quotes: include "parts.coil"`
		}
		p.fail(hint, "the name of the file to include, in quotes")
	}
	s := p.next()
	return &Include{At: p.toks.place(t), Path: unquote(s), PathAt: p.toks.place(s)}
}

func unquote(t token) string { return strings.Trim(t.text, `"`) }

func (p *parser) machine(t token) Decl {
	d := &Machine{At: p.toks.place(t)}
	d.Name = p.name("the name of the machine", "")
	if p.cur().kind == tokString {
		d.Title = unquote(p.next())
	}
	return d
}

func (p *parser) bus(t token) Decl {
	d := &Bus{At: p.toks.place(t)}
	d.Name = p.name("the name of the bus", "")
	d.Width = p.width("bus", d.Name)
	d.Traits = p.traits()
	return d
}

func (p *parser) register(t token) Decl {
	d := &Register{At: p.toks.place(t)}
	d.Name = p.name("the name of the register", "")
	d.Width = p.width("register", d.Name)
	d.Traits = p.traits()
	return d
}

func (p *parser) width(what string, n Name) Number {
	return p.number("the width of "+what+" "+shorten(n.Text)+" in bits", "for example: "+what+" "+shorten(n.Text)+" 8")
}

func (p *parser) flag(t token) Decl {
	d := &Flag{At: p.toks.place(t)}
	d.Name = p.name("the name of the flag", "")
	if p.cur().kind == tokNumber {
		p.fail("a flag is one bit and has no width; a wider one is a register", "a trait or the end of the line")
	}
	d.Traits = p.traits()
	return d
}

func (p *parser) memory(t token) Decl {
	d := &Memory{At: p.toks.place(t)}
	d.Name = p.name("the name of the memory", "")
	hint := "for example: memory " + shorten(d.Name.Text) + " 256 x 8"
	d.Words = p.number("the number of words of memory "+shorten(d.Name.Text), hint)
	if !p.cur().word("x") {
		p.fail(hint, "x between the number of words and their width")
	}
	p.next()
	d.Width = p.number("the width of a word in bits", hint)
	d.Traits = p.traits()
	return d
}

func (p *parser) traits() []Trait {
	var out []Trait
	for p.cur().kind == tokName {
		p.separate()
		var t Trait
		t.Name = p.name("", "")
		if p.cur().kind == tokNumber {
			n := p.number("", "")
			t.Hi = &n
			if p.cur().is(":") {
				p.next()
				n := p.number("the lowest bit after :", "for example: "+shorten(t.Name.Text)+" 15:12")
				t.Lo = &n
			}
		}
		out = append(out, t)
	}
	return out
}

// separate catches two declarations on one line where the second would be
// taken for traits: no trait is named like a keyword.
func (p *parser) separate() {
	if isKeyword(p.cur()) && p.peek().kind == tokName {
		p.fail("each declaration begins on a line of its own", "the end of the line")
	}
}

func (p *parser) unit(t token) Decl {
	d := &Unit{At: p.toks.place(t)}
	d.Name = p.name("the name of the unit", "")
	d.Width = p.width("unit", d.Name)
	if p.cur().word("settle") {
		p.next()
		n := p.number("the phases that unit "+shorten(d.Name.Text)+" needs to settle", "for example: settle 2")
		d.Settle = &n
	}
	switch {
	case p.cur().is("="):
		p.next()
		d.Value = p.expr("= of unit " + shorten(d.Name.Text))
	case p.cur().word("by"):
		p.next()
		for ok := true; ok; ok = p.cur().kind == tokName {
			d.By = append(d.By, p.name("the select lines that pick the case", "for example: by sub { 0 = a + b, 1 = a - b }"))
		}
		p.items("the cases of unit "+shorten(d.Name.Text), func() {
			if p.cur().kind == tokName && p.peek().is("=") {
				p.fail("a case begins with the bits of its select lines: 0 = a + b", "the bits of the select lines")
			}
			c := Case{Bits: p.number("the bits of the select lines", "for example: 0 = a + b")}
			hint := ""
			if p.cur().is(":") {
				hint = "a case is written with =: " + shorten(c.Bits.Text) + " = a + b"
			}
			p.want("=", "= and an expression after case "+shorten(c.Bits.Text), hint)
			c.Value = p.expr("= of case " + shorten(c.Bits.Text))
			d.Cases = append(d.Cases, c)
		})
	default:
		hint := ""
		switch {
		case p.cur().is(":"):
			hint = "what a unit computes comes after =: unit inc 8 = addr + 1"
		case p.cur().is("{"):
			hint = "name the select lines first: by sub {"
		}
		p.fail(hint, "= or by and what unit "+shorten(d.Name.Text)+" computes")
	}
	return d
}

func (p *parser) line(t token) Decl {
	d := &Line{At: p.toks.place(t)}
	d.Name = p.name("the name of the line", "")
	if p.cur().is(":") {
		p.next()
		for {
			d.Effects = append(d.Effects, p.effect(d.Name))
			if !p.cur().is(",") {
				break
			}
			p.next()
			p.skipEOL()
		}
	}
	for p.cur().kind == tokName {
		p.separate()
		a := Attr{Name: p.name("", "")}
		if p.cur().kind == tokNumber {
			n := p.number("", "")
			a.Number = &n
		}
		d.Attrs = append(d.Attrs, a)
	}
	return d
}

func (p *parser) effect(of Name) Effect {
	t := p.cur()
	if t.word("restart") || t.word("halt") {
		if n := p.peek(); n.ends() || n.is(",") || n.kind == tokName || n.kind == tokBad {
			p.next()
			return Effect{At: p.toks.place(t), Word: t.text}
		}
	}
	what := "what line " + shorten(of.Text) + " does (a transfer, restart or halt)"
	if p.begins() {
		p.fail("the comma at the end of the line above asks for one more transfer", what)
	}
	if !beginsTerm(t) {
		p.fail("for example: line "+shorten(of.Text)+" : acc -> data", what)
	}
	e := Effect{Source: p.expr("the line")}
	if !p.cur().is("->") {
		hint := "for example: acc -> data"
		switch c := p.cur(); {
		case c.is("=") || c.is(">") || c.is("<") || c.is(":"):
			hint = "write -> from the source to the destination: acc -> data"
		case c.is(","):
			hint = "each transfer has a source and a destination: acc -> data, alu -> res"
		}
		p.fail(hint, "-> and a destination")
	}
	p.next()
	if p.cur().kind != tokName {
		hint := ""
		if p.cur().kind == tokNumber {
			hint = "a number can only be a source: 0 -> acc"
		}
		p.fail(hint, "the destination of the transfer")
	}
	e.Target = p.ref()
	e.At = e.Source.Place().To(e.Target.At)
	return e
}

func (p *parser) field(t token) Decl {
	d := &Field{At: p.toks.place(t)}
	d.Name = p.name("the name of the field", "")
	d.Width = p.width("field", d.Name)
	p.items("the values of field "+shorten(d.Name.Text), func() {
		c := Choice{Name: p.name("the name of a value", "for example: acc = 00 : acc_g")}
		hint := "for example: " + shorten(c.Name.Text) + " = 00 : acc_g"
		p.want("=", "= and the bits of value "+shorten(c.Name.Text), hint)
		c.Bits = p.number("the bits of value "+shorten(c.Name.Text), hint)
		if p.cur().is(":") {
			p.next()
			for ok := true; ok; ok = p.cur().kind == tokName {
				c.Lines = append(c.Lines, p.name("the lines that value "+shorten(c.Name.Text)+" picks", "leave the : out if it picks none"))
			}
		} else if p.cur().kind == tokName {
			p.fail("a : stands before the lines that a value picks: "+hint[len("for example: "):], ":, a comma, a new line or }")
		}
		d.Choices = append(d.Choices, c)
	})
	return d
}

func (p *parser) sequence(t token) Decl {
	d := &Sequence{At: p.toks.place(t)}
	d.Name = p.name("the name of the sequence", "")
	d.Body = p.block("sequence " + shorten(d.Name.Text))
	return d
}

func (p *parser) fetch(t token) Decl {
	return &Fetch{At: p.toks.place(t), Body: p.block("fetch")}
}

func (p *parser) instruction(t token) Decl {
	d := &Instruction{At: p.toks.place(t)}
	d.Name = p.name("the mnemonic of the instruction", "")
	mnemonic := shorten(d.Name.Text)
	if p.cur().kind == tokName || p.cur().is(",") {
		for {
			d.Operands = append(d.Operands, p.operand(mnemonic))
			if !p.cur().is(",") {
				break
			}
			p.next()
			p.skipEOL()
		}
	}
	if !p.cur().is("=") {
		hint := "for example: instruction " + mnemonic + " = 0000_0001"
		expected := "= and the encoding of instruction " + mnemonic
		if p.cur().is(":") {
			hint = "the encoding comes after =; a : stands in operands only: value:8"
			if len(d.Operands) > 0 {
				hint = "operands are separated by commas: d:to, s:from"
				expected = "a comma or = after the operand"
			}
		} else if len(d.Operands) > 0 {
			hint = "for example: instruction " + mnemonic + " value:8 = 0001_0000, value"
		}
		p.fail(hint, expected)
	}
	p.next()
	for {
		d.Words = append(d.Words, p.encoding(mnemonic))
		if !p.cur().is(",") {
			break
		}
		p.next()
		p.skipEOL()
	}
	if p.cur().is("{") {
		b := p.block("instruction " + mnemonic)
		d.Body = &b
	}
	return d
}

func (p *parser) operand(mnemonic string) Operand {
	if p.begins() {
		p.fail("the comma at the end of the line above asks for one more operand", "an operand of instruction "+mnemonic)
	}
	o := Operand{Name: p.name("an operand of instruction "+mnemonic, "for example: value:8")}
	n := shorten(o.Name.Text)
	hint := "for example: " + n + ":8"
	switch c := p.cur(); {
	case c.is("="):
		hint = "write the operand with its width or its field: " + n + ":8"
	case c.kind == tokNumber:
		hint = "write the operand with a colon: " + n + ":" + shorten(c.text)
	case c.kind == tokName:
		hint = "write the operand with a colon: " + n + ":" + shorten(c.text)
	}
	p.want(":", ": and the width or field of operand "+n, hint)
	switch p.cur().kind {
	case tokNumber:
		w := p.number("", "")
		o.Width = &w
	case tokName:
		f := p.name("", "")
		o.Field = &f
	default:
		p.fail("for example: "+n+":8", "the width in bits or the field of operand "+n)
	}
	for p.cur().kind == tokName {
		o.Traits = append(o.Traits, p.name("", ""))
	}
	return o
}

func (p *parser) encoding(mnemonic string) Word {
	var w Word
	if p.begins() && p.cur().column <= p.toks.list[p.start].column {
		p.fail("the comma at the end of the line above asks for one more word", "a word of the encoding of instruction "+mnemonic)
	}
	for {
		switch p.cur().kind {
		case tokNumber:
			n := p.number("", "")
			w.Parts = append(w.Parts, Part{Bits: &n})
			w.At = cover(w.At, n.At)
			continue
		case tokName:
			n := p.name("", "")
			part := Part{Ref: &n}
			w.At = cover(w.At, n.At)
			if p.cur().is("[") {
				open := p.next()
				hint := "for example: " + shorten(n.Text) + "[7:0]"
				hi := p.number("a bit number after [", hint)
				part.Hi = &hi
				if p.cur().is(":") {
					p.next()
					lo := p.number("the lowest bit after :", hint)
					part.Lo = &lo
				}
				if !p.cur().is("]") {
					p.unclosed(open, "the slice of "+shorten(n.Text))
				}
				w.At = cover(w.At, p.toks.place(p.next()))
			}
			w.Parts = append(w.Parts, part)
			continue
		}
		if len(w.Parts) == 0 {
			p.fail("for example: 0001_0000, value", "bits, ? or an operand in the encoding of instruction "+mnemonic)
		}
		return w
	}
}

// cover extends a place, which may still be none, to the end of another.
func cover(a, b diag.Place) diag.Place {
	if a.IsZero() {
		return b
	}
	return a.To(b)
}

func (p *parser) undefined(t token) Decl {
	return &Undefined{At: p.toks.place(t), Name: p.name("what an undefined opcode does", "one of: restart, idle, halt, free")}
}

func (p *parser) supply(t token) Decl {
	d := &Supply{At: p.toks.place(t)}
	d.Values = p.values()
	if len(d.Values) == 0 {
		hint := "for example: supply 12 V"
		if p.cur().is("{") {
			hint = "supply has no braces: supply 12 V"
		}
		p.fail(hint, "the supply voltage")
	}
	return d
}

func (p *parser) settings(t token) Decl {
	d := &Settings{At: p.toks.place(t), Keyword: t.text}
	what := "the settings of " + t.text
	if p.cur().kind == tokName {
		n := p.name("", "")
		d.Name = &n
		what += " " + shorten(n.Text)
	}
	p.items(what, func() {
		var s Setting
		switch c := p.cur(); c.kind {
		case tokName:
			n := p.name("", "")
			s.Name = &n
			if p.cur().is("=") || p.cur().is(":") {
				value := "1"
				if v := p.peek(); v.kind == tokNumber || v.kind == tokName {
					value = shorten(v.text)
				}
				if t.text == "connector" {
					p.fail("the pin stands before the =: "+value+" = "+shorten(n.Text), "the number of a pin before the =")
				}
				p.fail("only a blank stands between a setting and its value: "+shorten(n.Text)+" "+value,
					"the value of setting "+shorten(n.Text))
			}
		case tokNumber:
			if t.text != "connector" && !p.peek().is("=") {
				p.fail("", "the name of a setting")
			}
			n := p.number("", "")
			s.Pin = &n
			p.want("=", "= and a line after pin "+shorten(n.Text), "for example: "+shorten(n.Text)+" = acc_g")
		default:
			p.fail("", "the name of a setting")
		}
		s.Values = p.values()
		d.Settings = append(d.Settings, s)
	})
	return d
}

func (p *parser) values() []Value {
	var out []Value
	for {
		switch p.cur().kind {
		case tokNumber:
			n := p.measure()
			v := Value{Number: &n}
			if c := p.cur(); c.kind == tokName || c.is("%") {
				p.next()
				v.Unit = &Name{Text: c.text, At: p.toks.place(c)}
			}
			out = append(out, v)
		case tokName:
			n := p.name("", "")
			out = append(out, Value{Name: &n})
		default:
			return out
		}
	}
}

// items reads a list in braces: one a line, or separated by commas.
func (p *parser) items(what string, item func()) {
	if !p.cur().is("{") {
		p.fail(p.lateBrace(), "{ and "+what)
	}
	open := p.next()
	p.nested++
	defer func() { p.nested-- }()
	for {
		p.skipEOL()
		if p.cur().is("}") {
			p.close(open)
			return
		}
		if p.cur().kind == tokEOF || p.begins() {
			p.unclosed(open, what)
		}
		item()
		switch {
		case p.cur().is(",") || p.cur().kind == tokEOL:
			p.next()
		case p.cur().is("}"):
		case p.cur().kind == tokEOF:
			p.unclosed(open, what)
		default:
			hint := ""
			if before := p.toks.list[p.at-1]; p.cur().is("=") && (before.kind == tokName || before.kind == tokNumber) {
				hint = "is a comma or a new line missing before " + shorten(before.text) + "?"
			} else if (p.cur().is("-") || p.cur().is("+")) && p.peek().kind == tokNumber {
				hint = "numbers have no sign here: none is below 0"
			}
			p.fail(hint, "a comma, a new line or } in "+what)
		}
	}
}

// close takes the } that stands for the end of what open began. If it stands
// at the front of its line, but not below the line of open, it may have been
// meant for another.
func (p *parser) close(open token) token {
	t := p.next()
	if t.first && p.suspect.kind == tokEOF && t.column < p.indentation(open) {
		p.suspect = open
	}
	return t
}

// indentation is the column where the line of t begins.
func (p *parser) indentation(t token) int32 {
	i := sort.Search(len(p.toks.list), func(i int) bool { return p.toks.list[i].line >= t.line })
	return p.toks.list[i].column
}
