package program

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilwright/lang/number"
)

// unexpected reports that something else than what stands here is wanted and
// returns false. hint may be empty. What is no token at all is reported as that.
func (p *parser) unexpected(expected, hint string) bool {
	if p.isBad() {
		return p.bad()
	}
	from, to, found := p.found()
	p.list.Errorf("syntax-unexpected", p.place(from, to), "expected %s, found %s", expected, found).Hint = hint
	return false
}

// unclosed reports a bracket whose partner is missing here.
func (p *parser) unclosed(open int, closing string) bool {
	if p.isBad() {
		return p.bad()
	}
	from, to, found := p.found()
	p.list.Errorf("syntax-unclosed", p.place(from, to), "expected %s, found %s", closing, found).
		Note(p.place(open, open+1), "the %c is here", p.text[open])
	return false
}

// found is the current token and its name in a message.
func (p *parser) found() (from, to int, name string) {
	from, to = p.token()
	if to > from {
		return from, to, shorten(p.text[from:to])
	}
	return from, to, "the end of the line"
}

// token returns where the current token stands; at the end of the line it is
// empty and stands behind the last one.
func (p *parser) token() (from, to int) {
	if p.ends() {
		i := p.i
		for i > p.start && (p.text[i-1] == ' ' || p.text[i-1] == '\t') {
			i--
		}
		return i, i
	}
	i := p.i
	switch c := p.text[i]; {
	case class[c]&inName != 0:
		for i < p.e && class[p.text[i]]&inName != 0 {
			i++
		}
	case c == '"':
		i += 2 + strings.IndexByte(p.text[i+1:p.e], '"')
	case c == '\'':
		_, n := character(p.text[i:p.e])
		i += n
	case c == '.' && i+1 < p.e && p.text[i+1] == '.':
		i += 2
	default:
		i++
	}
	return p.i, i
}

// isBad reports whether what stands here is no token.
func (p *parser) isBad() bool {
	if p.ends() {
		return false
	}
	switch c := p.text[p.i]; {
	case c == '"':
		return strings.IndexByte(p.text[p.i+1:p.e], '"') < 0
	case c == '\'':
		_, n := character(p.text[p.i:p.e])
		return n == 0
	case c == '_':
		return true
	default:
		return c <= ' ' || c >= 0x7f
	}
}

// bad reports what is wrong with a thing that is no token and returns false.
func (p *parser) bad() bool {
	rest := p.text[p.i:p.e]
	switch c := rest[0]; c {
	case '"':
		p.list.Errorf("syntax-string", p.place(p.i, p.e), "the string that begins here has no closing quote on its line").
			Hintf(`end it with "`)
	case '\'':
		to := p.i + 1
		if n := strings.IndexByte(rest[1:], '\''); n >= 0 {
			to += n + 1
		}
		p.list.Errorf("program-character", p.place(p.i, to), "one character stands between single quotes, as in 'A'").
			Hint = "several characters are a text: text \"sack\""
	case '_':
		n := 0
		for n < len(rest) && class[rest[n]]&inName != 0 {
			n++
		}
		p.list.Errorf("syntax-name", p.place(p.i, p.i+n), "a name begins with a letter and a number with a digit, %s with neither", shorten(rest[:n]))
	default:
		p.odd(rest)
	}
	return false
}

// odd is a character that has no place outside comments and strings.
func (p *parser) odd(rest string) {
	r, n := utf8.DecodeRuneInString(rest)
	what, hint := describe(r), ""
	switch r {
	case '\u00a0', '\u202f', '\u2007':
		what, hint = "a no-break blank", "put an ordinary blank here"
	case '\r':
		what, hint = "a carriage return in the middle of a line", "lines end with LF or CR LF"
	case '\ufeff':
		what, hint = "a byte-order mark in the middle of the file", "delete it"
	case '\u201c', '\u201d', '\u201e':
		hint = `strings stand between "`
	case '\u2018', '\u2019':
		hint = "characters stand between '"
	case '\u2013', '\u2014', '\u2212':
		hint = "write - for a minus"
	case '\u2026':
		hint = "write two dots for a run: 0 .. 15"
	case '\u00d7':
		hint = "write * for a product"
	}
	if hint == "" && unicode.IsLetter(r) {
		hint = "names are made of the letters a to z and A to Z, digits and _"
	}
	p.list.Errorf("syntax-character", p.place(p.i, p.i+n), "unexpected %s", what).Hint = hint
}

// describe names r so that it can be seen whatever it is.
func describe(r rune) string {
	if r > ' ' && r != 0x7f && strconv.IsPrint(r) {
		return "character " + string(r)
	}
	return fmt.Sprintf("character with the code U+%04X", r)
}

// character reads 'A' and returns its code and its length in bytes, 0 if it
// is no character.
func character(s string) (value uint64, length int) {
	if len(s) < 3 {
		return 0, 0
	}
	r, n := utf8.DecodeRuneInString(s[1:])
	if 1+n < len(s) && s[1+n] == '\'' && r >= ' ' && r != 0x7f {
		return uint64(r), n + 2
	}
	return 0, 0
}

// value says what may stand where a value is wanted.
func (p *parser) value() string {
	switch p.kind {
	case Instruction:
		return "an operand"
	case At:
		return "an address"
	case In:
		return "a memory"
	}
	return "a value"
}

// stray is the hint for what begins no statement.
func (p *parser) stray() string {
	rest := p.text[p.i:p.e]
	switch {
	case strings.HasPrefix(rest, "#"), strings.HasPrefix(rest, "//"), strings.HasPrefix(rest, "/*"):
		return "comments begin with ;"
	case rest[0] == '.':
		n := 1
		for n < len(rest) && class[rest[n]]&inName != 0 {
			n++
		}
		for _, d := range directives {
			if d.word == rest[1:n] {
				return "write " + d.word + " without the point"
			}
		}
		return "directives are " + strings.Join(Directives(), ", ")
	case class[rest[0]]&digit != 0:
		return "a label begins with a letter; numbers stand after a mnemonic or directive, as in: byte 1, 2"
	case rest[0] == ':':
		return "a label begins with a letter"
	}
	return ""
}

// strayValue is the hint for what is no value.
func (p *parser) strayValue() string {
	rest := p.text[p.i:p.e]
	if strings.HasPrefix(rest, "//") || strings.HasPrefix(rest, "/*") || strings.HasPrefix(rest, "# ") {
		return "comments begin with ;"
	}
	switch rest[0] {
	case '$':
		return "hexadecimal numbers begin with 0x"
	case '%':
		return "binary numbers begin with 0b"
	case '#', '@', '&':
		return "numbers and names stand as they are"
	case '"':
		return "strings stand after text; a single character stands between ' and '"
	case '=':
		return "directives and constants: name = value, expect name = value"
	case '+':
		return "a number without a sign is positive"
	case ',':
		return "is a value missing before the comma?"
	case '.':
		return "a run has a value on both sides: 0 .. 15"
	}
	return ""
}

// unseparated is the hint for what follows a value without a comma.
func (p *parser) unseparated() string {
	rest := p.text[p.i:p.e]
	switch {
	case strings.HasPrefix(rest, "//"), strings.HasPrefix(rest, "/*"), rest[0] == '#':
		return "comments begin with ;"
	case rest[0] == ':':
		return "a label stands in front of its line"
	case rest[0] == '=':
		return "a constant is declared so: name = value"
	case class[rest[0]]&inName != 0 || rest[0] == '"' || rest[0] == '\'':
		return "operands are separated by commas, and a label ends with a colon"
	case strings.ContainsRune("&|^~%<>", rune(rest[0])):
		return "values are worked out with + - * /, parentheses and slices"
	}
	return ""
}

// spelt reads a number that is more than a few decimal digits, or reports
// what is wrong with it.
func (p *parser) spelt() (uint64, bool) {
	from := p.i
	to := from
	for to < p.e && class[p.text[to]]&inName != 0 {
		to++
	}
	all := p.text[from:to]
	digits, in := all, uint8(digit)
	if strings.HasPrefix(all, "0x") {
		digits, in = all[2:], hexDigit
	} else if strings.HasPrefix(all, "0b") {
		digits = all[2:]
	}
	n := 0
	for n < len(digits) && (class[digits[n]]&in != 0 || digits[n] == '_') {
		n++
	}
	at := p.place(from, to)
	spelt, tail := all[:len(all)-len(digits)+n], digits[n:]
	switch {
	case tail == "" && to+1 < p.e && p.text[to] == '.' && p.text[to+1] != '.':
		for to++; to < p.e && class[p.text[to]]&inName != 0; to++ {
		}
		p.list.Errorf("syntax-number", p.place(from, to), "%s is not a whole number", shorten(p.text[from:to]))
	case digits == "":
		p.list.Errorf("syntax-number", at, "there are no digits after %s", all)
	case n == 0 || tail != "":
		p.list.Errorf("syntax-number", at, "the number %s touches %s", shorten(spelt), shorten(tail)).Hint = touching(all, spelt, tail)
	case strings.HasPrefix(digits, "_") || strings.HasSuffix(digits, "_") || strings.Contains(digits, "__"):
		p.list.Errorf("syntax-number", at, "%s has a _ that is not between two digits", shorten(spelt)).
			Hintf("single _ may stand between digits: 0b0000_0001")
	default:
		v, err := number.Value(spelt)
		if err == nil {
			p.i = to
			return v, true
		}
		p.list.Errorf("syntax-number", at, "%v", err)
	}
	return 0, false
}

func touching(all, spelt, tail string) string {
	low := strings.ToLower(all)
	hex := len(all) > 0
	for i := 0; i < len(all); i++ {
		hex = hex && class[all[i]]&hexDigit != 0
	}
	switch {
	case strings.HasPrefix(all, "0X") || strings.HasPrefix(all, "0B"):
		return "write 0x for hexadecimal and 0b for binary digits, with a small letter"
	case strings.HasSuffix(low, "h"):
		return "hexadecimal numbers begin with 0x: 0x" + shorten(all[:len(all)-1])
	case hex:
		return "hexadecimal numbers begin with 0x: 0x" + shorten(all)
	}
	return "put an operator or a comma between " + shorten(spelt) + " and " + shorten(tail)
}

// shorten keeps a word of thousands of characters out of a message.
func shorten(s string) string {
	if utf8.RuneCountInString(s) <= 40 {
		return s
	}
	return string([]rune(s)[:36]) + " ..."
}
