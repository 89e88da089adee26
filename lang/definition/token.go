package definition

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilwright/lang/diag"
	"coilwright/lang/number"
)

type kind uint8

const (
	tokEOF kind = iota
	tokEOL
	tokName
	tokNumber // or bit pattern, ? included
	tokString // with its quotes
	tokSymbol // a character, or ->
	tokBad    // its problem is the message
	tokComment
)

// token is a piece of a line. Line and column count from 1, columns and
// width in characters.
type token struct {
	kind   kind
	first  bool // first on its line
	glued  bool // no blank before it
	line   int32
	column int32
	width  int32
	text   string
}

// problem is what is wrong with a token of kind tokBad.
type problem struct{ name, text, hint string }

// tokens is a file cut up. The last token is tokEOF; it stands where the last
// line that is not empty ends, so that a person is sent to text and not past it.
type tokens struct {
	path     string
	list     []token
	problems map[int]problem // by index in list
}

func (t *tokens) place(tok token) diag.Place {
	return diag.Place{File: t.path, Line: int(tok.line), Column: int(tok.column), Width: max(1, int(tok.width))}
}

// lex cuts text, which refuse has passed, into tokens. CR before LF and a BOM
// at the start are gone from it already.
func lex(path, source string, withComments bool) *tokens {
	l := lexer{src: source, line: 1, column: 1, end: 1, first: true}
	l.out.path = path
	l.out.list = make([]token, 0, len(source)/4+2)
	l.out.problems = map[int]problem{}
	l.comments = withComments
	for l.at < len(l.src) {
		l.one()
	}
	end := token{kind: tokEOF, line: 1, column: 1}
	for i := len(l.out.list) - 1; i >= 0; i-- {
		if t := l.out.list[i]; t.kind != tokEOL {
			end.line, end.column = t.line, t.column+t.width
			break
		}
	}
	l.out.list = append(l.out.list, end)
	return &l.out
}

type lexer struct {
	src          string
	at           int // bytes
	line, column int32
	end          int32 // column after the last token of this line
	first, blank bool  // nothing on this line yet; a blank just before
	comments     bool
	out          tokens
}

func (l *lexer) one() {
	c := l.src[l.at]
	rest := l.src[l.at:]
	switch {
	case c == '\n':
		// It stands where the code of the line ends: a comment is not in the way.
		l.column = l.end
		l.emit(tokEOL, 1)
		l.end = 1
		l.line++
		l.column = 1
		l.first, l.blank = true, false
	case c == ' ' || c == '\t':
		l.at++
		l.column++
		l.blank = true
	case c == ';':
		n := run(rest, func(c byte) bool { return c != '\n' })
		if l.comments {
			l.emit(tokComment, n)
		} else {
			l.skip(n)
		}
	case c == '"':
		l.quoted(rest)
	case isLetter(c):
		l.emit(tokName, run(rest, func(c byte) bool { return isLetter(c) || isDigit(c) || c == '_' }))
	case isDigit(c) || c == '?':
		l.number(rest)
	case c == '_':
		n := run(rest, inWord)
		l.problem(n, "syntax-name", "a name begins with a letter and a number with a digit, "+shorten(rest[:n])+" with neither", "")
	case c == '-' && len(rest) > 1 && rest[1] == '>':
		l.emit(tokSymbol, 2)
	case c > ' ' && c < 0x7f:
		l.emit(tokSymbol, 1)
	default:
		l.odd(rest)
	}
}

func (l *lexer) emit(k kind, n int) {
	l.out.list = append(l.out.list, token{
		kind: k, first: l.first, glued: !l.blank && !l.first,
		line: l.line, column: l.column, width: int32(utf8.RuneCountInString(l.src[l.at : l.at+n])),
		text: l.src[l.at : l.at+n],
	})
	l.first, l.blank = false, false
	l.skip(n)
	if k != tokComment {
		l.end = l.column
	}
}

func (l *lexer) skip(n int) {
	l.column += int32(utf8.RuneCountInString(l.src[l.at : l.at+n]))
	l.at += n
}

func (l *lexer) problem(n int, name, text, hint string) {
	l.out.problems[len(l.out.list)] = problem{name, text, hint}
	l.emit(tokBad, n)
}

func (l *lexer) quoted(rest string) {
	n := run(rest[1:], func(c byte) bool { return c != '"' && c != '\n' }) + 1
	if n < len(rest) && rest[n] == '"' {
		// A title is printed and a path is opened: neither may steer a terminal.
		if i := strings.IndexFunc(rest[:n], func(r rune) bool { return r != '\t' && unicode.IsControl(r) }); i >= 0 {
			r, _ := utf8.DecodeRuneInString(rest[i:])
			l.problem(n+1, "syntax-string", "this string has a "+character(r), "")
			return
		}
		l.emit(tokString, n+1)
		return
	}
	l.problem(n, "syntax-string", "the string that begins here has no closing quote on its line", `end it with "`)
}

// number takes digits and what touches them. A unit may touch a number; it
// becomes a token of its own.
func (l *lexer) number(rest string) {
	all := run(rest, inWord)
	digit, from := isDecimal, 0
	switch {
	case len(rest) > 1 && rest[:2] == "0x":
		digit, from = isHex, 2
	case len(rest) > 1 && rest[:2] == "0b":
		digit, from = isDecimal, 2
	}
	n := from + run(rest[from:], digit)
	if from == 0 && n == all && n+1 < len(rest) && rest[n] == '.' && isDigit(rest[n+1]) {
		fraction := run(rest[n+1:], inWord)
		all = n + 1 + fraction
		n += 1 + run(rest[n+1:], digit)
	}
	spelt, tail := rest[:n], rest[n:all]
	switch {
	case from > 0 && n == from:
		l.problem(all, "syntax-number", "there are no digits after "+rest[:from], "")
	case tail != "" && !number.IsUnit(tail):
		l.touching(rest[:all], spelt, tail)
	case misplacedUnderscore(spelt[from:]):
		l.problem(all, "syntax-number", shorten(spelt)+" has a _ that is not between two digits", "single _ may stand between digits: 0000_0001")
	default:
		if bit := firstNotBit(spelt); from == 2 && spelt[1] == 'b' && bit != 0 {
			l.problem(all, "syntax-number", shorten(spelt)+" is not a binary number: "+string(rune(bit))+" is no digit of it", "hexadecimal numbers begin with 0x")
			return
		}
		l.emit(tokNumber, n)
		if tail != "" {
			l.emit(tokName, len(tail))
		}
	}
}

func (l *lexer) touching(all, spelt, tail string) {
	hint := "put a blank between " + shorten(spelt) + " and " + shorten(tail)
	switch {
	case len(all) > 1 && (all[:2] == "0X" || all[:2] == "0B"):
		hint = "write 0x for hexadecimal and 0b for binary digits, with a small letter"
	case run(all, isHex) == len(all):
		hint = "hexadecimal numbers begin with 0x: 0x" + shorten(all) + "; otherwise " + hint
	case tail[0] == 'x' && run(tail[1:], isDecimal) == len(tail)-1 && len(tail) > 1:
		hint = "put blanks around the x: " + shorten(spelt) + " x " + shorten(tail[1:])
	}
	l.problem(len(all), "syntax-number", "the number "+shorten(spelt)+" touches "+shorten(tail)+": only a unit may", hint)
}

// odd is a character that has no place outside comments and strings.
func (l *lexer) odd(rest string) {
	r, n := utf8.DecodeRuneInString(rest)
	what, hint := character(r), ""
	switch r {
	case '\u00a0', '\u202f', '\u2007':
		what, hint = "no-break blank", "put an ordinary blank here"
	case '\r':
		what, hint = "carriage return in the middle of a line", "lines end with LF or CR LF"
	case '\ufeff':
		what, hint = "byte-order mark in the middle of the file", "delete it"
	case '\u2192':
		hint = "write -> for an arrow"
	case '\u201c', '\u201d', '\u201e', '\u2018', '\u2019':
		hint = `strings stand between "`
	case '\u2013', '\u2014', '\u2212':
		hint = "write - for a minus"
	case '\u03a9', '\u2126':
		hint = "write ohm"
	case '\u00b5', '\u03bc':
		hint = "write us for microseconds"
	}
	if hint == "" && unicode.IsLetter(r) {
		hint = "names are made of the letters a to z and A to Z, digits and _"
	}
	l.problem(n, "syntax-character", "unexpected "+what, hint)
}

// character names r so that it can be seen whatever it is.
func character(r rune) string {
	if r > ' ' && r != 0x7f && strconv.IsPrint(r) {
		return "character " + string(r)
	}
	code := strings.ToUpper(strconv.FormatInt(int64(r), 16))
	for len(code) < 4 {
		code = "0" + code
	}
	return "character with the code U+" + code
}

func run(s string, in func(byte) bool) int {
	n := 0
	for n < len(s) && in(s[n]) {
		n++
	}
	return n
}

func isLetter(c byte) bool  { return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' }
func isDigit(c byte) bool   { return '0' <= c && c <= '9' }
func inWord(c byte) bool    { return isLetter(c) || isDigit(c) || c == '_' || c == '?' }
func isDecimal(c byte) bool { return isDigit(c) || c == '_' || c == '?' }
func isHex(c byte) bool {
	return isDecimal(c) || 'a' <= c && c <= 'f' || 'A' <= c && c <= 'F'
}

// misplacedUnderscore reports a _ without a digit or ? on both sides; a point is no digit.
func misplacedUnderscore(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] == '_' && (i == 0 || i == len(s)-1 || s[i-1] == '_' || s[i-1] == '.' || s[i+1] == '.') {
			return true
		}
	}
	return false
}

// firstNotBit returns the first digit of a 0b number that is no bit, or 0.
func firstNotBit(s string) byte {
	for i := 2; i < len(s); i++ {
		if s[i] >= '2' && s[i] <= '9' {
			return s[i]
		}
	}
	return 0
}

// shorten keeps a word of thousands of characters out of a message.
func shorten(s string) string {
	if utf8.RuneCountInString(s) <= 40 {
		return s
	}
	return string([]rune(s)[:36]) + " ..."
}
