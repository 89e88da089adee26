package definition

import (
	"strings"
	"unicode/utf8"

	"coilwright/lang/diag"
)

// How far alignment goes. What is wider than these (characters) is neither
// counted nor aligned: one long line must not push its neighbours out of
// sight, and the output must not grow without bound.
const (
	widestCell = 40
	widestCode = 64
	indent     = "    "
)

// Format lays text out as language.md section F says. It works on tokens and
// lines: their order, number and spelling stay, so the meaning does too. A
// text with syntax errors is returned as it is, with the errors; so is one
// that would pass a limit of section N.5 when laid out.
func Format(path, text string) (string, diag.List) {
	if _, list := Parse(path, text); len(list) > 0 {
		return text, list
	}
	rows := rows(path, tidy(text))
	align(rows)
	alignComments(rows)
	var b strings.Builder
	for _, r := range rows {
		b.WriteString(r.layout())
		b.WriteByte('\n')
	}
	if b.Len() > maxFile {
		return text, nil
	}
	return b.String(), nil
}

// row is one line of the file.
type row struct {
	raw     string  // as it was, without blanks at its end
	code    []token // without the comment
	comment string
	level   int    // of indentation
	kind    string // lines of one kind share their columns
	class   string // lines of one class share the first
	cells   []cell
	pad     []int // width of each cell but the last; 0: its own
	column  int   // of the comment, from 0; 0: two blanks after the code
}

type cell struct {
	text string
	gap  int // blanks before it
}

func (r *row) blank() bool { return len(r.code) == 0 && r.comment == "" }

// rows cuts a file that has no syntax errors into its lines, without those
// blank lines that are not kept.
func rows(path, source string) []*row {
	var out []*row
	var f former
	lines := strings.Split(source, "\n")
	list := lex(path, source, true).list
	for n, i := 0, 0; i < len(list); n++ {
		from := i
		for !list[i].ends() {
			i++
		}
		r := &row{code: list[from:i], raw: strings.TrimRight(lines[n], " \t\r")}
		i++
		if last := len(r.code) - 1; last >= 0 && r.code[last].kind == tokComment {
			r.comment = strings.TrimRight(r.code[last].text, " \t\r")
			r.code = r.code[:last]
		}
		if r.blank() && (len(out) == 0 || out[len(out)-1].blank()) {
			continue
		}
		f.form(r)
		out = append(out, r)
	}
	if len(out) > 0 && out[len(out)-1].blank() {
		out = out[:len(out)-1]
	}
	return out
}

// former follows the declarations from line to line.
type former struct {
	decl  string // keyword of the declaration that is open
	depth int    // braces open
	goes  bool   // the line before ended with a comma outside braces
}

// form finds the level, the kind and the cells of a line.
func (f *former) form(r *row) {
	r.level = f.depth
	if f.goes {
		r.level++
	}
	if len(r.code) == 0 {
		return
	}
	for _, t := range r.code {
		if !t.is("}") {
			break
		}
		r.level--
	}
	going := f.goes
	if f.depth == 0 && !going {
		f.decl = r.code[0].text
	}
	r.kind, r.class = f.kind(r.code[0], going)
	r.cells = f.cells(r)
	for _, t := range r.code {
		switch {
		case t.is("{"):
			f.depth++
		case t.is("}"):
			f.depth--
		}
	}
	f.goes = f.depth == 0 && r.code[len(r.code)-1].is(",")
}

func (f *former) kind(first token, going bool) (kind, class string) {
	switch {
	case going:
		return "continuation", "continuation"
	case first.is("}"):
		return "close", "close"
	case f.depth == 0:
		switch f.decl {
		case "bus", "register", "flag", "memory":
			return f.decl, "datapath"
		}
		return f.decl, f.decl
	}
	switch f.decl {
	case "field":
		return "choice", "choice"
	case "unit":
		return "case", "case"
	case "sequence", "fetch", "instruction":
		return "statement", "statement"
	}
	return "setting", "setting"
}

// cells cuts the code of a line at its columns.
func (f *former) cells(r *row) []cell {
	var cuts []int // index of the first token of each cell but the first
	code := r.code
	switch r.kind {
	case "bus", "register":
		cuts = []int{1, 2, 3}
	case "flag":
		cuts = []int{1, 2}
	case "memory":
		cuts = []int{1, 2, 5}
	case "field":
		cuts = []int{2, 3}
	case "unit":
		cuts = []int{2, 3}
		if len(code) > 3 && code[3].word("settle") {
			cuts = append(cuts, 5)
		}
	case "line":
		cuts = []int{2}
		if n := attributes(code); n > 2 {
			cuts = append(cuts, n)
		}
	case "instruction":
		cuts = first(code, "=")
	case "choice":
		if single(code) {
			cuts = append(first(code, "="), first(code, ":")...)
		}
	case "case":
		if single(code) {
			cuts = []int{1}
		}
	case "setting":
		if single(code) {
			cuts = []int{1}
		}
	}
	var out []cell
	from := 0
	for n := 0; n <= len(cuts); n++ {
		to := len(code)
		if n < len(cuts) {
			to = min(cuts[n], to)
		}
		if to == from {
			continue
		}
		gap := 1
		switch {
		case from == 0:
			gap = 0
		case r.kind == "line" && n == 2:
			gap = 2
		}
		out = append(out, cell{f.join(code[from:to]), gap})
		from = to
	}
	return out
}

// attributes returns where the attributes of a line begin: a name never
// follows a name or a closing bracket within a transfer.
func attributes(code []token) int {
	if len(code) < 3 || !code[2].is(":") {
		return 2
	}
	for i := 4; i < len(code); i++ {
		if p := code[i-1]; code[i].kind == tokName && (p.kind == tokName || p.is("]") || p.is(")")) {
			return i
		}
	}
	return len(code)
}

// first returns the index of the first such symbol, if there is one.
func first(code []token, symbol string) []int {
	for i, t := range code {
		if t.is(symbol) {
			return []int{i}
		}
	}
	return nil
}

// single reports whether a line of a list holds one item.
func single(code []token) bool {
	n := first(code, ",")
	return n == nil || n[0] == len(code)-1
}

// join writes tokens with the blanks that belong between them.
func (f *former) join(code []token) string {
	var b strings.Builder
	slices := 0
	for i, t := range code {
		if t.is("[") {
			slices++
		}
		if i > 0 && !f.tight(code[i-1], t, slices > 0) {
			b.WriteByte(' ')
		}
		if t.is("]") {
			slices--
		}
		b.WriteString(t.text)
	}
	return b.String()
}

// tight reports whether no blank belongs between two tokens.
func (f *former) tight(a, b token, inSlice bool) bool {
	switch {
	case b.is(","), b.is(")"), b.is("]"), b.is("["):
		return true
	case a.is("("), a.is("["), a.is("~"):
		return true
	case b.is("("):
		return a.kind == tokName
	case a.is(":"), b.is(":"):
		return inSlice || f.decl != "line" && f.decl != "field"
	}
	return false
}

// align sets the width of the cells. Blank lines and lines of comment part
// neighbours. Deeper lines do not, so that instructions with and without a
// block stand in one table.
func align(rows []*row) {
	var open [][]*row // by level
	flush := func(level int) {
		for len(open) > level {
			table(open[len(open)-1])
			open = open[:len(open)-1]
		}
	}
	for _, r := range rows {
		switch {
		case len(r.code) == 0:
			flush(r.level)
			continue
		case r.kind == "continuation":
			continue
		}
		flush(r.level + 1)
		if r.kind == "close" {
			continue
		}
		for len(open) <= r.level {
			open = append(open, nil)
		}
		if run := open[r.level]; len(run) > 0 && run[0].class != r.class {
			flush(r.level)
			open = append(open, nil)
		}
		open[r.level] = append(open[r.level], r)
	}
	flush(0)
}

// table aligns rows of one class: the first column over all of them, the
// others over neighbours of one kind. A cell counts if another follows it.
func table(run []*row) {
	for _, r := range run {
		r.pad = make([]int, len(r.cells))
	}
	for column := 0; ; column++ {
		more := false
		for from := 0; from < len(run); {
			to := from + 1
			for to < len(run) && (column == 0 || run[to].kind == run[from].kind) {
				to++
			}
			widest := 0
			for _, r := range run[from:to] {
				if len(r.cells) > column+1 {
					more = true
					if w := width(r.cells[column].text); w <= widestCell {
						widest = max(widest, w)
					}
				}
			}
			for _, r := range run[from:to] {
				if len(r.cells) > column+1 {
					r.pad[column] = widest
				}
			}
			from = to
		}
		if !more {
			return
		}
	}
}

func width(s string) int { return utf8.RuneCountInString(s) }

// alignComments sets the columns of comments that stand on adjoining lines.
func alignComments(rows []*row) {
	for from := 0; from < len(rows); {
		to, widest := from, 0
		for to < len(rows) && rows[to].level == rows[from].level && rows[to].class == rows[from].class {
			if w := width(rows[to].line()); rows[to].comment != "" && w <= widestCode {
				widest = max(widest, w)
			}
			to++
		}
		for _, r := range rows[from:to] {
			r.column = widest + 2
		}
		from = to
	}
}

// line is the code of a row with its indentation.
func (r *row) line() string {
	if len(r.code) == 0 {
		return ""
	}
	var b strings.Builder
	b.WriteString(strings.Repeat(indent, r.level))
	for i, c := range r.cells {
		b.WriteString(strings.Repeat(" ", c.gap))
		b.WriteString(c.text)
		if i < len(r.pad) && i < len(r.cells)-1 {
			b.WriteString(strings.Repeat(" ", max(0, r.pad[i]-width(c.text))))
		}
	}
	return b.String()
}

// layout is the whole row. A line that would pass the limit on its length
// stays as it was.
func (r *row) layout() string {
	out := r.line()
	switch {
	case r.comment == "":
	case len(r.code) == 0:
		out = strings.Repeat(indent, r.level) + r.comment
	default:
		out += strings.Repeat(" ", max(2, r.column-width(out))) + r.comment
	}
	if width(out) > maxLine {
		return r.raw
	}
	return out
}
