package definition

import (
	"slices"
	"sort"
	"strings"

	"coilwright/lang/diag"
	"coilwright/lang/number"
)

// stray reports a token that begins no declaration.
func (p *parser) stray() {
	if b, ok := p.problem(); ok {
		b.throw()
	}
	t := p.cur()
	switch {
	case t.is("}") || t.is(")") || t.is("]"):
		p.list.Errorf("syntax-unclosed", p.here(), "there is no open bracket for this %s", t.text)
	case isStatement(t) || t.word("else"):
		p.list.Errorf("syntax-keyword", p.here(), "%s stands only inside the braces of fetch, a sequence or an instruction", t.text).
			Hint = p.continued()
	case t.kind == tokName:
		d := p.list.Errorf("syntax-keyword", p.here(), "expected a declaration, found %s", shorten(t.text))
		d.Hint = p.continued()
		near := diag.Nearest(t.text, keywords())
		switch next := p.peek(); {
		case d.Hint != "":
		case next.kind == tokNumber && !next.glued && near == "":
			d.Hint = "a declaration begins with its keyword, for example: register " + shorten(t.text) + " 8"
		case next.is(":") || next.is("->"):
			d.Hint = "a control line is declared so: line acc_g : acc -> data"
		case next.is("=") && near == "":
			d.Hint = "an instruction is declared so: instruction " + shorten(t.text) + " = 0000_0001"
		case near != "":
			d.Hint = "did you mean " + near + "?"
		default:
			d.Hint = "declarations begin with: " + strings.Join(keywords(), ", ")
		}
	default:
		d := p.list.Errorf("syntax-keyword", p.here(), "expected a declaration, found %s", found(t))
		d.Hint = p.continued()
		if t.is("#") || t.is("/") {
			d.Hint = "comments begin with ;"
		}
	}
	panic(bailout{})
}

// continued says what may be wrong with the declaration above if the current
// token goes on from it.
func (p *parser) continued() string {
	if !p.continues() {
		return ""
	}
	switch d := p.file.Decls[len(p.file.Decls)-1].(type) {
	case *Bus, *Register, *Memory, *Flag:
		return "traits stand on the line of what they belong to"
	case *Line:
		if p.cur().kind == tokNumber {
			return "an attribute and its number stand on the line that they belong to"
		}
		return "if line " + shorten(d.Name.Text) + " goes on here, the line above has to end with a comma"
	case *Instruction:
		if d.Body == nil {
			if isStatement(p.cur()) {
				return "is a { missing after the encoding of instruction " + shorten(d.Name.Text) + "?"
			}
			return "if instruction " + shorten(d.Name.Text) + " goes on here, the line above has to end with a comma"
		}
	case *Supply:
		return "a number and its unit stand on one line: supply 12 V"
	case *Unit:
		if d.Value != nil {
			return ""
		}
	}
	for i := p.at - 1; i > 0 && p.toks.list[i].kind == tokEOL; i-- {
		if before := p.toks.list[i-1]; isKeyword(before) {
			return "does " + before.text + " belong to this line? It ends the one above"
		}
	}
	return "is there a } too many above?"
}

// continues reports whether the current declaration, which has no keyword,
// looks like the rest of the one before, which has such parts: it stands
// further right, or it only makes sense inside braces.
func (p *parser) continues() bool {
	n := len(p.file.Decls)
	if n == 0 {
		return false
	}
	t, last := p.toks.list[p.start], p.toks.list[p.started[n-1]]
	deeper := t.column >= last.column+2 // a keyword that was deleted leaves one blank
	d := p.file.Decls[n-1]
	if p.cutOff(d) {
		return true
	}
	switch d.(type) {
	case *Instruction, *Sequence, *Fetch:
		return deeper || isStatement(t) || t.word("else") || t.is("}")
	case *Field, *Unit, *Settings:
		return deeper || t.is("}")
	case *Line:
		return deeper
	}
	return false
}

// begins reports whether the current token begins a declaration for sure
// enough to end the one that is open.
func (p *parser) begins() bool {
	t := p.cur()
	if !t.first || !isKeyword(t) {
		return false
	}
	n := p.peek()
	if n.kind == tokSymbol && !n.is("{") {
		return false // a field value or a setting, or an expression: bus = 00, line -> acc
	}
	if n.kind == tokNumber && (t.text == "relay" || t.text == "diode") {
		return false // a setting of cost
	}
	return t.column <= p.toks.list[p.start].column || p.heads()
}

// afterWidth is what may follow a declaration's width on its line.
var afterWidth = map[string][]string{
	"bus": {"or"}, "register": {"opcode", "buffered", "input", "latching"}, "memory": {"x"},
	"unit": {"settle", "by", "="}, "field": {"{"},
}

// traitWords are the traits, as far as no declaration may begin with one.
var traitWords = []string{"opcode", "buffered", "input", "latching", "program", "little", "big"}

// heads reports whether the current token, which stands further right than
// the declaration that is open, begins what can only be another one. What is
// less clear than that is more likely a wrong word inside the open one.
func (p *parser) heads() bool {
	t, a, b, c := p.cur(), p.peek(), p.ahead(2), p.ahead(3)
	named := a.kind == tokName
	switch t.text {
	case "include":
		return a.kind == tokString
	case "machine":
		return named && b.kind == tokString
	case "bus", "register", "memory", "unit", "field":
		return named && b.kind == tokNumber && (c.ends() || slices.Contains(afterWidth[t.text], c.text))
	case "line":
		return named && b.is(":")
	case "sequence":
		return false // looks like a when with another word
	case "instruction":
		return named && (b.is("=") && c.kind == tokNumber || b.kind == tokName && c.is(":"))
	case "undefined":
		return a.word("restart") || a.word("idle") || a.word("halt") || a.word("free")
	case "supply":
		return a.kind == tokNumber && b.word("V")
	case "flag":
		return named && b.word("input")
	}
	if t.text == "card" || t.text == "connector" {
		if c.kind == tokEOL {
			c = p.ahead(4)
		}
		return named && b.is("{") && !isStatement(c)
	}
	return a.is("{")
}

// cutOff reports whether what stands where a declaration should begin can
// only be the rest of the line above, which d ends.
func (p *parser) cutOff(d Decl) bool {
	t, next := p.toks.list[p.start], p.toks.list[min(p.start+1, len(p.toks.list)-1)]
	before := p.start - 1
	for before >= 0 && p.toks.list[before].kind == tokEOL {
		before--
	}
	if before < 0 {
		return false
	}
	if isKeyword(p.toks.list[before]) {
		return true // the keyword of this one, it seems, stands at the end of the line above
	}
	if p.toks.list[before].line+1 < t.line {
		return false
	}
	if p.toks.list[before].is("}") && (t.kind == tokNumber || t.kind == tokName && next.ends()) {
		return true // stands where the } should
	}
	switch d := d.(type) {
	case *Supply:
		return t.kind == tokName && number.IsUnit(t.text) && next.ends()
	case *Instruction:
		if d.Body != nil {
			return false
		}
		for _, o := range d.Operands {
			if t.word(o.Name.Text) {
				return true
			}
		}
		return t.kind == tokNumber || t.is("{") || t.is("[") || t.is(",")
	case *Bus, *Register, *Memory, *Flag:
		return t.is(":") || t.kind == tokNumber || slices.Contains(traitWords, t.text)
	case *Line, *Unit:
		if t.kind == tokNumber {
			return true
		}
		if t.kind == tokSymbol {
			return !t.is("}") && !t.is("#")
		}
		return t.kind == tokName && next.kind == tokSymbol && !next.is(":") && !next.is("=") && !next.is("{")
	}
	return false
}

// mistaken reports whether the current token is a relay or diode followed by
// a number that is no setting of a broken cost block, but a declaration that
// is wrong itself: it stands too far left, after the place of the error. In a
// block that is not indented only a } tells the one from the other.
func (p *parser) mistaken(first token, wrong int, closed bool) bool {
	t := p.cur()
	return p.at > wrong && t.first && (t.word("relay") || t.word("diode")) && p.peek().kind == tokNumber &&
		t.column <= first.column && (closed || first.text != "cost" || p.indented(first))
}

// indented reports whether the line after that of t stands further right.
func (p *parser) indented(t token) bool {
	i := sort.Search(len(p.toks.list), func(i int) bool { return p.toks.list[i].line > t.line })
	for i < len(p.toks.list) && p.toks.list[i].kind == tokEOL {
		i++
	}
	return i < len(p.toks.list) && p.toks.list[i].column > t.column
}

// recover skips what is left of a broken declaration and records it. Where
// the error shows that the declaration before had only seemed to be whole,
// both are taken for one.
func (p *parser) recover() {
	first := p.toks.list[p.start]
	// The error may stand past the start of the next declaration, where that
	// was first taken for a part of this one.
	wrong, closed := p.at, false
	p.at = min(p.start+1, len(p.toks.list)-1)
	beside := false
	if p.reader(first) == nil && p.continues() {
		beside = true
		n := len(p.file.Decls) - 1
		p.start = p.started[n]
		p.file.Decls, p.started = p.file.Decls[:n], p.started[:n]
		first = p.toks.list[p.start]
	}
	// A keyword alone on its line, where something else was expected, begins nothing.
	alone := func() bool { return p.at == wrong && p.at > p.start && p.peek().ends() }
	for p.cur().kind != tokEOF && (!p.begins() || alone()) && !p.mistaken(first, wrong, closed) {
		closed = closed || p.cur().is("}")
		p.at++
	}
	// What was found belongs to another kind of declaration: the keyword may
	// be the wrong one.
	w := p.toks.list[wrong]
	switch {
	case wrong <= p.start+2 && (w.kind == tokString || w.is("{") || isKeyword(p.toks.list[min(p.start+1, wrong)])),
		wrong == p.start+1 && first.word("fetch") && w.kind == tokName,
		first.word("fetch") && w.kind == tokName && p.opened(wrong) && p.toks.list[wrong+1].kind == tokNumber: // a setting
		beside = true
	}
	b := Broken{At: p.toks.place(first), Beside: beside}
	skipped := p.toks.list[p.start:p.at]
	if p.reader(first) != nil {
		b.Keyword = first.text
		skipped = skipped[1:]
	}
	if b.Keyword != "fetch" && b.Keyword != "include" && b.Keyword != "supply" && b.Keyword != "undefined" {
		if len(skipped) > 0 && skipped[0].kind == tokName {
			b.Name = skipped[0].text
			if b.Keyword == "" && len(skipped) > 1 && skipped[1].kind == tokName {
				b.Name = skipped[1].text
			}
		}
	}
	seen := map[string]bool{}
	for _, t := range skipped {
		if t.kind == tokName && !seen[t.text] {
			seen[t.text] = true
			b.Names = append(b.Names, t.text)
		}
	}
	p.file.Broken = append(p.file.Broken, b)
}

// opened reports whether the token at an index is the first in the first
// braces of the declaration.
func (p *parser) opened(at int) bool {
	for at--; at > p.start && p.toks.list[at].kind == tokEOL; at-- {
	}
	return at > p.start && p.toks.list[at].is("{")
}

// tail reports what stands after a declaration that could have ended.
func (p *parser) tail(t token, d Decl) {
	c := p.cur()
	hint := ""
	switch d := d.(type) {
	case *Line:
		if len(d.Effects) == 0 && c.kind == tokSymbol && !c.is("}") {
			hint = "what a line does comes after a colon: line " + shorten(d.Name.Text) + " : acc -> data"
		} else if c.kind == tokNumber && len(d.Effects) > 0 && len(d.Attrs) == 0 {
			hint = "a number stands only after an attribute, for example: coils 2; is the destination missing?"
		} else if c.is("(") || c.is("->") {
			hint = "transfers are separated by commas: acc -> data, alu -> res"
		}
	case *Instruction:
		switch {
		case c.is("}"):
			hint = "there is no { open on this line"
		case c.is(":") || c.is("="):
			hint = "an encoding has bits and operands only: 0001_0000, value"
		}
	case *Machine:
		if c.kind == tokName {
			hint = "a title stands between quotes"
		}
	case *Bus, *Register, *Memory, *Flag:
		if c.is(",") {
			hint = "traits are separated by blanks"
		} else if c.is("{") {
			hint = "a " + t.text + " has no braces: its traits stand on its line"
		}
	case *Include:
		if c.kind == tokString {
			hint = "one file a line"
		}
	}
	if isKeyword(c) {
		hint = "each declaration begins on a line of its own"
	}
	if c.is("}") && hint == "" {
		hint = "there is no { for it"
	}
	p.fail(hint, "the end of the line")
}
