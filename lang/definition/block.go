package definition

import "coilwright/lang/diag"

func statements() []string {
	return []string{"step", "when", "hold", "pack", "do", "wait", "except"}
}

func isStatement(t token) bool { return t.kind == tokName && IsStatement(t.text) }

// IsStatement reports whether a word begins a statement.
func IsStatement(word string) bool {
	switch word {
	case "step", "when", "hold", "pack", "do", "wait", "except":
		return true
	}
	return false
}

func (p *parser) block(of string) Block {
	if !p.cur().is("{") {
		p.fail(p.lateBrace(), "{ to open the block of "+of)
	}
	open := p.next()
	p.enter(open)
	defer func() { p.nested-- }()
	b := Block{Open: p.toks.place(open)}
	for {
		p.skipEOL()
		if p.cur().is("}") {
			b.Close = p.toks.place(p.close(open))
			return b
		}
		if p.cur().kind == tokEOF || p.begins() {
			p.unclosed(open, "the block of "+of)
		}
		b.Stmts = append(b.Stmts, p.statement(of))
		switch {
		case p.cur().kind == tokEOL:
			p.next()
		case p.cur().is("}"):
		case p.cur().kind == tokEOF:
			p.unclosed(open, "the block of "+of)
		default:
			p.fail(p.afterStatement(), "the end of the line or }")
		}
	}
}

// afterStatement is the hint for what stands between a statement and the end of its line.
func (p *parser) afterStatement() string {
	c, next := p.cur(), p.peek()
	for i := p.at - 1; i > p.start && !p.toks.list[i].first; i-- {
		if isStatement(p.toks.list[i]) && !p.toks.list[i-1].is("{") {
			return "each statement stands on a line of its own"
		}
	}
	switch before := p.toks.list[p.at-1]; {
	case isStatement(c), c.is(",") && isStatement(next):
		return "each statement stands on a line of its own"
	case c.is(",") && before.kind == tokName:
		return "the names in a step are separated by blanks"
	case c.kind == tokName && before.kind == tokNumber:
		return "wait counts phases, not time: wait 1"
	}
	return ""
}

// lateBrace is the hint for a { on the next line.
func (p *parser) lateBrace() string {
	for n := 0; n < 3; n++ {
		switch t := p.ahead(n); {
		case t.is("{") && n > 0:
			return "the { stands on the line of what it opens"
		case t.kind != tokEOL:
			return ""
		}
	}
	return ""
}

// enter counts a block. An else when opens no bracket of its own, so the
// limit on brackets does not hold a chain of them.
func (p *parser) enter(t token) {
	p.nested++
	if p.nested > maxNesting {
		p.list.Errorf("nesting-too-deep", p.toks.place(t), "more than %d blocks are open here", maxNesting)
		panic(bailout{})
	}
}

func (p *parser) statement(of string) Stmt {
	t := p.cur()
	if !isStatement(t) {
		p.notStatement(t)
	}
	p.next()
	at := p.toks.place(t)
	switch t.text {
	case "step":
		return &Step{At: at, Names: p.lines("the lines of the step", "for example: step acc_g tmp_l; a pause is: wait 1")}
	case "when":
		return p.when(t)
	case "hold":
		s := &Hold{At: at, Names: p.lines("the lines to hold", "for example: hold pc_g { ... }")}
		s.Body = p.block("hold")
		return s
	case "pack":
		return &Pack{At: at, Body: p.block("pack")}
	case "do":
		return &Do{At: at, Name: p.name("the name of a sequence", "")}
	case "wait":
		return &Wait{At: at, Phases: p.number("the number of phases to wait", "for example: wait 1")}
	}
	s := &Except{At: at, Left: p.name("an operand after except", "for example: except d = s")}
	p.want("=", "= after "+shorten(s.Left.Text), "for example: except "+shorten(s.Left.Text)+" = acc")
	hint := ""
	if p.cur().is("=") {
		hint = "one = is enough"
	}
	s.Right = p.name("an operand or a field value after =", hint)
	return s
}

func (p *parser) notStatement(t token) {
	hint := ""
	switch {
	case t.word("else"):
		hint = "else stands on the line of the } before it: } else {"
	case t.word("if"):
		hint = "write when"
	case t.kind == tokName:
		if near := diag.Nearest(t.text, statements()); near != "" {
			hint = "did you mean " + near + "?"
		} else {
			hint = "a step begins with the word step"
		}
	case t.kind == tokString:
		hint = "comments begin with ;"
	}
	p.fail(hint, "a statement (step, when, hold, pack, do, wait or except) or }")
}

func (p *parser) lines(expected, hint string) []Name {
	var out []Name
	for ok := true; ok; ok = p.cur().kind == tokName {
		out = append(out, p.name(expected, hint))
	}
	return out
}

func (p *parser) when(t token) *When {
	s := &When{At: p.toks.place(t)}
	if p.cur().word("not") && p.peek().kind == tokName {
		p.next()
		s.Not = true
	}
	hint := ""
	if p.cur().is("!") || p.cur().is("~") {
		hint = "write: when not zero"
	}
	s.Flag = p.name("the flag that is tested", hint)
	if c := p.cur(); c.is("=") || c.is("!") || c.is("<") || c.is(">") {
		p.fail("a when tests one flag: when "+shorten(s.Flag.Text)+" or when not "+shorten(s.Flag.Text),
			"{ after flag "+shorten(s.Flag.Text))
	}
	s.Then = p.block("when " + shorten(s.Flag.Text))
	if !p.cur().word("else") {
		return s
	}
	p.next()
	if c := p.cur(); c.word("when") {
		p.enter(c)
		defer func() { p.nested-- }()
		p.next()
		w := p.when(c)
		s.Else = &Block{Open: w.At, Close: w.end(), Stmts: []Stmt{w}}
		return s
	}
	if c := p.cur(); !c.is("{") {
		hint := ""
		if c.word("if") {
			hint = "write: else when"
		}
		p.fail(hint, "{ or when after else")
	}
	b := p.block("else")
	s.Else = &b
	return s
}

// end is where the last closing brace stands.
func (s *When) end() diag.Place {
	if s.Else != nil {
		return s.Else.Close
	}
	return s.Then.Close
}
