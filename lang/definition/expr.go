package definition

func isOperator(t token) bool {
	if t.kind != tokSymbol {
		return false
	}
	switch t.text {
	case "+", "-", "&", "|", "^":
		return true
	}
	return false
}

func beginsTerm(t token) bool {
	return t.kind == tokName || t.kind == tokNumber || t.is("~") || t.is("(")
}

// expr reads an expression; after says what it stands after.
func (p *parser) expr(after string) Expr {
	left := p.term(after)
	for isOperator(p.cur()) {
		op := p.next()
		right := p.term(op.text)
		left = &Binary{Op: op.text, OpAt: p.toks.place(op), Left: left, Right: right}
	}
	if c := p.cur(); c.is("*") || c.is("/") || c.is("<") && p.peek().is("<") || c.is(">") && p.peek().is(">") {
		p.fail("the operators are + - & | ^; rol ror shl shr move by one place", "an operator or the end of the expression")
	}
	return left
}

func (p *parser) term(after string) Expr {
	var not *token
	if p.cur().is("~") {
		t := p.next()
		not, after = &t, "~"
	}
	var e Expr
	switch c := p.cur(); {
	case c.kind == tokNumber:
		e = &Constant{Number: p.number("", "")}
	case c.kind == tokName:
		e = p.ref()
	case c.is("("):
		open := p.next()
		of := p.expr("(")
		if !p.cur().is(")") {
			p.unclosed(open, "the parenthesis")
		}
		e = &Group{At: p.toks.place(open).To(p.toks.place(p.next())), Of: of}
	default:
		hint := ""
		switch {
		case (c.is("&") || c.is("|")) && c.text == after && c.glued:
			hint = "one " + after + " is enough: it works bit by bit"
		case after == "-" && c.is(">") || c.is("->"):
			hint = "an arrow is written -> with a source before it"
		}
		p.fail(hint, "a name, a number or ( after "+after)
	}
	if not != nil {
		return &Not{At: p.toks.place(*not), Of: e}
	}
	return e
}

func (p *parser) ref() *Ref {
	n := p.name("", "")
	r := &Ref{Name: n, At: n.At}
	if p.cur().is("(") {
		open := p.next()
		r.Call = true
		for {
			after := "("
			if len(r.Args) > 0 {
				after = "the comma"
			}
			r.Args = append(r.Args, p.expr(after))
			if !p.cur().is(",") {
				break
			}
			p.next()
		}
		if !p.cur().is(")") {
			p.unclosed(open, "the arguments of "+shorten(n.Text))
		}
		r.At = r.At.To(p.toks.place(p.next()))
	}
	for p.cur().is("[") {
		open := p.next()
		var s Slice
		s.Hi = p.expr("[")
		if p.cur().is(":") {
			p.next()
			s.Lo = p.expr("the colon")
		}
		if !p.cur().is("]") {
			p.unclosed(open, "the slice or index of "+shorten(n.Text))
		}
		s.At = p.toks.place(open).To(p.toks.place(p.next()))
		r.At = r.At.To(s.At)
		r.Slices = append(r.Slices, s)
	}
	return r
}
