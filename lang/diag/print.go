package diag

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
)

// Sources holds the text of each file that was read, by the name that places use.
type Sources map[string]string

// Printer writes diagnostics for a person.
type Printer struct {
	Sources Sources
	Colour  bool
}

const (
	red, yellow, bold, plain = "\x1b[31m", "\x1b[33m", "\x1b[1m", "\x1b[0m"

	excerptWidth = 100 // characters of a source line around the place
)

// Print writes each diagnostic as "file:line:column: error: message [name]",
// the source line with a caret run under the place, its notes and its hint.
func (p Printer) Print(w io.Writer, l List) error {
	var b strings.Builder
	lines := map[string][]string{}
	for _, d := range l {
		shade := red
		if d.Severity == Warning {
			shade = yellow
		}
		fmt.Fprintf(&b, "%s%s %s [%s]\n", p.where(d.At), p.paint(shade+bold, d.Severity.String()+":"), d.Text, d.Name)
		p.excerpt(&b, lines, d.At)
		for _, n := range d.Notes {
			fmt.Fprintf(&b, "%snote: %s\n", p.where(n.At), n.Text)
			p.excerpt(&b, lines, n.At)
		}
		if d.Hint != "" {
			fmt.Fprintf(&b, "%s %s\n", p.paint(bold, "hint:"), d.Hint)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (p Printer) where(at Place) string {
	if s := at.String(); s != "" {
		return s + ": "
	}
	return ""
}

func (p Printer) paint(code, s string) string {
	if !p.Colour {
		return s
	}
	return code + s + plain
}

func (p Printer) excerpt(b *strings.Builder, lines map[string][]string, at Place) {
	if at.IsZero() {
		return
	}
	text, ok := p.Sources[at.File]
	if !ok {
		return
	}
	split, ok := lines[at.File]
	if !ok {
		split = strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n")
		lines[at.File] = split
	}
	if at.Line > len(split) {
		return
	}
	runes := []rune(strings.TrimSuffix(split[at.Line-1], "\r"))
	column, width := min(at.Column-1, len(runes)), max(at.Width, 1)
	from, to := 0, len(runes)
	if to > excerptWidth {
		from = max(0, column-excerptWidth/2)
		to = min(len(runes), from+excerptWidth)
	}
	shown := make([]rune, 0, to-from)
	under := make([]rune, 0, to-from)
	for i := from; i < to; i++ {
		r := runes[i]
		if r != '\t' && (r < ' ' || r == 0x7f) {
			r = '\ufffd'
		}
		shown = append(shown, r)
		switch {
		case i >= column:
		case r == '\t':
			under = append(under, '\t')
		default:
			under = append(under, ' ')
		}
	}
	width = max(1, min(width, to-column))
	fmt.Fprintf(b, "    %s\n    %s%s\n", string(shown), string(under), strings.Repeat("^", width))
}

// JSON writes the list as one JSON array, for programs.
func JSON(w io.Writer, l List) error {
	type entry struct {
		Name     string `json:"name"`
		Severity string `json:"severity"`
		At       Place  `json:"at"`
		Text     string `json:"text"`
		Notes    []Note `json:"notes"`
		Hint     string `json:"hint,omitempty"`
	}
	out := make([]entry, 0, len(l))
	for _, d := range l {
		notes := d.Notes
		if notes == nil {
			notes = []Note{}
		}
		out = append(out, entry{d.Name, d.Severity.String(), d.At, d.Text, notes, d.Hint})
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(out)
}
