package program

import (
	"strings"

	"coilwright/lang/diag"
)

// Classes of bytes.
const (
	letter = 1 << iota
	digit
	hexDigit
	inName // letter, digit, _
)

var class = func() (t [256]uint8) {
	for c := range t {
		switch {
		case 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z':
			t[c] = letter | inName
		case '0' <= c && c <= '9':
			t[c] = digit | hexDigit | inName
		case c == '_':
			t[c] = inName
		}
		if 'a' <= c && c <= 'f' || 'A' <= c && c <= 'F' {
			t[c] |= hexDigit
		}
	}
	return t
}()

// parser reads one file line by line, straight from the bytes. What fails
// returns false and has reported why; the line is broken then and the next
// one is read, so there is one error a line.
type parser struct {
	l     *loader
	src   *Source
	list  *diag.List
	file  File
	index uint16
	text  string

	i, e   int // current byte; end of the line
	start  int // of the line
	number int // of the line
	depth  int // brackets and signs open
	name   string
	kind   Kind
}

func (p *parser) place(from, to int) diag.Place {
	return p.file.place(p.number, p.start, from, to)
}

// lines reads the whole file.
func (p *parser) lines() {
	p.reserve()
	next := 0
	for next < len(p.text) {
		p.start, p.i = next, next
		p.number++
		if n := strings.IndexByte(p.text[next:], '\n'); n >= 0 {
			p.e = next + n
		} else {
			p.e = len(p.text)
		}
		next = p.e + 1
		if p.e > p.start && p.text[p.e-1] == '\r' {
			p.e--
		}
		if len(*p.list) >= maxErrors {
			if !p.l.over {
				p.l.over = true
				p.list.Errorf("program-errors", p.place(p.start, p.start), "there are %d errors above: what follows was not read", maxErrors)
			}
			p.src.Incomplete = true
			return
		}
		p.src.Lines = append(p.src.Lines, Line{
			Number: uint32(p.number), File: p.index, From: uint32(p.start), To: uint32(p.e), Label: -1, Name: -1,
			Args: uint32(len(p.src.Args)),
		})
		// The array may move while an include is read, so it is not looked at
		// after that.
		line := &p.src.Lines[len(p.src.Lines)-1]
		p.blanks()
		line.Code, line.End = uint32(p.i), uint32(p.i)
		if p.ends() {
			line.Code, line.End = line.To, line.To
			continue
		}
		nodes := len(p.src.Nodes)
		if !p.statement(line) {
			p.lose(line, nodes)
			continue
		}
		line.Count = uint32(len(p.src.Args)) - line.Args
		if line.Kind == Include {
			n := p.src.Nodes[len(p.src.Nodes)-1]
			p.l.include(p.text[n.From:n.To], p.place(int(n.From)-1, int(n.To)+1))
		}
	}
}

// reserve makes room for what the file usually holds: to count is a hundredth
// of the work, and to grow the arrays step by step copies them many times.
func (p *parser) reserve() {
	lines := strings.Count(p.text, "\n") + 1
	values := lines + min(strings.Count(p.text, ","), maxLines) // commas may all be in comments
	p.src.Lines = grow(p.src.Lines, lines)
	p.src.Args = grow(p.src.Args, values)
	p.src.Nodes = grow(p.src.Nodes, values)
}

func grow[T any](s []T, n int) []T {
	if cap(s)-len(s) >= n {
		return s
	}
	out := make([]T, len(s), len(s)+n)
	copy(out, s)
	return out
}

func (p *parser) blanks() {
	for p.i < p.e && (p.text[p.i] == ' ' || p.text[p.i] == '\t') {
		p.i++
	}
}

// ends reports whether nothing but a comment is left of the line.
func (p *parser) ends() bool { return p.i >= p.e || p.text[p.i] == ';' }

// recentNames is how many names are remembered in front of the table of all.
const recentNames = 1 << 12

// word reads a name; the current byte is a letter. Few names make up most of
// a program, so the one last seen with a like sum of letters is tried before
// the table, which took a third of the whole time.
func (p *parser) word() int32 {
	from := p.i
	i, sum := from, uint32(0)
	for i < p.e && class[p.text[i]]&inName != 0 {
		sum = sum*31 + uint32(p.text[i])
		i++
	}
	p.i = i
	name := p.text[from:i]
	slot := &p.l.recent[(sum^sum>>12)%recentNames]
	if p.src.Names[*slot] == name {
		return *slot
	}
	id, ok := p.l.ids[name]
	if !ok {
		id = int32(len(p.src.Names))
		p.src.Names = append(p.src.Names, name)
		p.l.ids[name] = id
	}
	*slot = id
	return id
}

// lose marks the line as broken. What it might have declared is unknown: its
// first name, or all names before a colon.
func (p *parser) lose(line *Line, nodes int) {
	line.Kind = Broken
	line.End = line.To
	p.src.Args = p.src.Args[:line.Args]
	p.src.Nodes = p.src.Nodes[:nodes]
	if line.Name >= 0 {
		p.src.Lost = append(p.src.Lost, line.Name)
	}
	code := p.text[p.start:p.e]
	if n := strings.IndexByte(code, ';'); n >= 0 {
		code = code[:n]
	}
	end := p.start + len(code)
	colon := strings.IndexByte(code, ':')
	if colon >= 0 {
		end = p.start + colon
	}
	for p.i = p.start; p.i < end; {
		switch c := class[p.text[p.i]]; {
		case c&letter != 0:
			if id := p.word(); id != line.Name && id != line.Label {
				p.src.Lost = append(p.src.Lost, id)
			}
			if colon < 0 {
				return
			}
		case c&inName != 0:
			for p.i < end && class[p.text[p.i]]&inName != 0 {
				p.i++
			}
		default:
			p.i++
		}
	}
}

// statement reads a label and what comes after it.
func (p *parser) statement(line *Line) bool {
	p.depth = 0
	if class[p.text[p.i]]&letter == 0 {
		return p.unexpected("a label, a mnemonic or a directive", p.stray())
	}
	from := p.i
	id := p.word()
	end := p.i
	p.blanks()
	if p.i < p.e && p.text[p.i] == ':' {
		line.Label, line.LabelAt = id, uint32(from)
		p.i++
		line.End = uint32(p.i)
		p.blanks()
		if p.ends() {
			return true
		}
		if class[p.text[p.i]]&letter == 0 {
			return p.unexpected("a mnemonic or a directive", p.stray())
		}
		from = p.i
		id = p.word()
		end = p.i
		p.blanks()
		if p.i < p.e && p.text[p.i] == ':' {
			return p.unexpected("a mnemonic or a directive", "a line has one label; put "+shorten(p.text[from:end])+": on a line of its own")
		}
	}
	line.Name, line.NameAt = id, uint32(from)
	p.name = p.text[from:end]
	line.End = uint32(end)
	kind := Instruction
	if int(id) < len(directives) {
		kind = directives[id].kind
	}
	if p.i < p.e && p.text[p.i] == '=' && kind == Instruction {
		kind = Assign
		p.i++
		p.blanks()
		p.kind = kind
		if !p.arg() {
			return false
		}
		return p.finish(line, kind, "an operator or the end of the line")
	}
	p.kind = kind
	switch kind {
	case Text, Include:
		if !p.quoted() {
			return false
		}
		return p.finish(line, kind, "the end of the line")
	case Expect:
		return p.expect(line)
	}
	if p.ends() {
		line.Kind = kind
		return true
	}
	for {
		if !p.arg() {
			return false
		}
		line.End = uint32(p.i)
		p.blanks()
		if p.ends() {
			line.Kind = kind
			return true
		}
		if p.text[p.i] != ',' {
			return p.unexpected("a comma or the end of the line", p.unseparated())
		}
		p.i++
		p.blanks()
	}
}

// finish ends a statement that takes no list.
func (p *parser) finish(line *Line, kind Kind, expected string) bool {
	line.End = uint32(p.i)
	p.blanks()
	if !p.ends() {
		hint := ""
		if kind == Include || kind == Text {
			hint = "one string a line"
		}
		return p.unexpected(expected, hint)
	}
	line.Kind = kind
	return true
}

// expect reads NAME = value or NAME[index] = value.
func (p *parser) expect(line *Line) bool {
	const example = "for example: expect acc = 12, expect ram[20] = 7"
	if p.ends() || class[p.text[p.i]]&letter == 0 {
		return p.unexpected("a register, flag or memory", example)
	}
	line.NameAt = uint32(p.i)
	line.Name = p.word()
	p.blanks()
	if p.i < p.e && p.text[p.i] == '[' {
		open := p.i
		p.i++
		p.blanks()
		if !p.arg() {
			return false
		}
		p.blanks()
		if p.i >= p.e || p.text[p.i] != ']' {
			return p.unclosed(open, "]")
		}
		p.i++
		p.blanks()
	}
	if p.i >= p.e || p.text[p.i] != '=' {
		return p.unexpected("= and a value", example)
	}
	p.i++
	p.blanks()
	return p.arg() && p.finish(line, Expect, "an operator or the end of the line")
}

// quoted reads a string as an operand.
func (p *parser) quoted() bool {
	if p.i >= p.e || p.text[p.i] != '"' {
		what := "a string between quotes"
		if p.kind == Include {
			what = "a file name between quotes"
		}
		return p.unexpected(what, "for example: "+p.name+` "sack"`)
	}
	n := strings.IndexByte(p.text[p.i+1:p.e], '"')
	if n < 0 {
		return p.bad()
	}
	from := uint32(p.i)
	to := from + uint32(n) + 2
	p.push(Characters, from+1, to-1, 0)
	p.src.Args = append(p.src.Args, Arg{First: uint32(len(p.src.Nodes) - 1), End: uint32(len(p.src.Nodes)), From: from, To: to})
	p.i = int(to)
	return true
}

func (p *parser) push(op Op, from, to uint32, value uint64) {
	p.src.Nodes = append(p.src.Nodes, Node{Op: op, From: from, To: to, Value: value})
}

// arg reads one operand or value. p.i stands behind it then, blanks not read.
func (p *parser) arg() bool {
	first, from := len(p.src.Nodes), p.i
	if !p.expr() {
		return false
	}
	to := p.i
	p.blanks()
	if p.i+1 < p.e && p.text[p.i] == '.' && p.text[p.i+1] == '.' {
		if p.kind != Byte && p.kind != Word {
			return p.unexpected(p.after(), "a run such as 0 .. 15 stands only after byte and word")
		}
		dots := uint32(p.i)
		p.i += 2
		p.blanks()
		if !p.expr() {
			return false
		}
		p.push(Run, dots, dots+2, 0)
	} else {
		p.i = to
	}
	p.src.Args = append(p.src.Args, Arg{First: uint32(first), End: uint32(len(p.src.Nodes)), From: uint32(from), To: uint32(p.i)})
	return true
}

// after says what may come after a value.
func (p *parser) after() string {
	if p.kind == Assign || p.kind == Expect {
		return "an operator or the end of the line"
	}
	return "a comma or the end of the line"
}

// expr reads a sum. p.i stands behind its last byte then.
func (p *parser) expr() bool {
	if !p.term() {
		return false
	}
	for {
		to := p.i
		p.blanks()
		if p.i >= p.e {
			p.i = to
			return true
		}
		op, at := Add, uint32(p.i)
		switch p.text[p.i] {
		case '+':
		case '-':
			op = Sub
		default:
			p.i = to
			return true
		}
		p.i++
		p.blanks()
		if !p.term() {
			return false
		}
		p.push(op, at, at+1, 0)
	}
}

func (p *parser) term() bool {
	if !p.factor() {
		return false
	}
	for {
		to := p.i
		p.blanks()
		if p.i >= p.e {
			p.i = to
			return true
		}
		op, at := Mul, uint32(p.i)
		switch p.text[p.i] {
		case '*':
		case '/':
			if p.i+1 < p.e && (p.text[p.i+1] == '/' || p.text[p.i+1] == '*') {
				p.i = to
				return true
			}
			op = Div
		default:
			p.i = to
			return true
		}
		p.i++
		p.blanks()
		if !p.factor() {
			return false
		}
		p.push(op, at, at+1, 0)
	}
}

// factor reads a signed value with its slices.
func (p *parser) factor() bool {
	if p.i >= p.e {
		return p.unexpected(p.value(), "")
	}
	from := p.i
	switch c := p.text[p.i]; {
	case class[c]&letter != 0:
		id := p.word()
		p.push(Name, uint32(from), uint32(p.i), uint64(id))
	case class[c]&digit != 0:
		v, ok := p.numeral()
		if !ok {
			return false
		}
		p.push(Number, uint32(from), uint32(p.i), v)
	case c == '\'':
		v, n := character(p.text[p.i:p.e])
		if n == 0 {
			return p.bad()
		}
		p.i += n
		p.push(Number, uint32(from), uint32(p.i), v)
	case c == '-':
		if !p.deeper() {
			return false
		}
		p.i++
		p.blanks()
		if !p.factor() {
			return false
		}
		p.depth--
		p.push(Neg, uint32(from), uint32(from)+1, 0)
		return true
	case c == '(':
		if !p.deeper() {
			return false
		}
		p.i++
		p.blanks()
		if !p.expr() {
			return false
		}
		p.blanks()
		if p.i >= p.e || p.text[p.i] != ')' {
			return p.unclosed(from, ")")
		}
		p.i++
		p.depth--
	default:
		return p.unexpected(p.value(), p.strayValue())
	}
	for p.i < p.e {
		to := p.i
		p.blanks()
		if p.i >= p.e || p.text[p.i] != '[' {
			p.i = to
			return true
		}
		if !p.slice() {
			return false
		}
	}
	return true
}

// slice reads [hi:lo] or [bit].
func (p *parser) slice() bool {
	if !p.deeper() {
		return false
	}
	open := p.i
	p.i++
	p.blanks()
	op := Bit
	if !p.expr() {
		return false
	}
	p.blanks()
	if p.i < p.e && p.text[p.i] == ':' {
		op = Slice
		p.i++
		p.blanks()
		if !p.expr() {
			return false
		}
		p.blanks()
	}
	if p.i >= p.e || p.text[p.i] != ']' {
		return p.unclosed(open, "]")
	}
	p.i++
	p.depth--
	p.push(op, uint32(open), uint32(p.i), 0)
	return true
}

func (p *parser) deeper() bool {
	p.depth++
	if p.depth > maxNesting {
		p.list.Errorf("nesting-too-deep", p.place(p.i, p.i+1), "more than %d brackets and signs are open here", maxNesting)
		return false
	}
	return true
}

// numeral reads a number; the current byte is a digit.
func (p *parser) numeral() (uint64, bool) {
	i := p.i
	var v uint64
	for i < p.e && class[p.text[i]]&digit != 0 {
		v = v*10 + uint64(p.text[i]-'0')
		i++
	}
	// A long one may have run over; one that goes on is no plain decimal.
	if i-p.i > 19 || i < p.e && class[p.text[i]]&inName != 0 || i+1 < p.e && p.text[i] == '.' && p.text[i+1] != '.' {
		return p.spelt()
	}
	p.i = i
	return v, true
}
