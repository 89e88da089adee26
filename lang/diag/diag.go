// Package diag collects, sorts and prints what a run has to say about source text.
package diag

import (
	"fmt"
	"sort"
)

// Severity tells an error, which fails a run, from a warning, which does not.
type Severity int

const (
	Error Severity = iota
	Warning
)

func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "error"
}

// Place is a run of characters on one line of a file. Line and Column count
// from 1, columns in characters; Width is the number of characters underlined
// (at least 1). The zero Place is no place at all.
type Place struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Width  int    `json:"width"`
}

// IsZero reports whether p is no place at all.
func (p Place) IsZero() bool { return p.Line == 0 }

// To returns the place from the start of p to the end of q. A range over
// several lines ends with p.
func (p Place) To(q Place) Place {
	if p.File == q.File && p.Line == q.Line && q.Column+q.Width > p.Column {
		p.Width = q.Column + q.Width - p.Column
	}
	return p
}

func (p Place) String() string {
	if p.IsZero() {
		return p.File
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
}

// Note adds to a diagnostic something that stands elsewhere. A note without a
// place is printed as text alone.
type Note struct {
	At   Place  `json:"at"`
	Text string `json:"text"`
}

// Diagnostic is one thing that a run has to say.
type Diagnostic struct {
	Name     string   // stable, for example "bus-two-sources"; the catalogue explains it
	Severity Severity //
	At       Place    //
	Text     string   // one sentence without a full stop
	Notes    []Note   // what it refers to
	Hint     string   // the change that would fix it, or the nearest known name
	Root     string   // diagnostics with the same non-empty Root have one cause and are merged
	Suspects []Cause  // of which Settle picks the root if Root is empty
}

// Cause is what may be to blame for several diagnostics. Where it is found to
// be, the note says so beside the first of them; a note without text is left out.
type Cause struct {
	Key  string
	Note Note
}

// List is what a stage returns beside its value.
type List []Diagnostic

// Errorf adds an error and returns it, so that the caller can add notes, a
// hint or a root. The pointer is good until the next addition.
func (l *List) Errorf(name string, at Place, format string, args ...any) *Diagnostic {
	return l.add(Error, name, at, format, args)
}

// Warnf adds a warning; otherwise as Errorf.
func (l *List) Warnf(name string, at Place, format string, args ...any) *Diagnostic {
	return l.add(Warning, name, at, format, args)
}

func (l *List) add(s Severity, name string, at Place, format string, args []any) *Diagnostic {
	*l = append(*l, Diagnostic{Name: name, Severity: s, At: at, Text: fmt.Sprintf(format, args...)})
	return &(*l)[len(*l)-1]
}

// Note adds a note and returns d.
func (d *Diagnostic) Note(at Place, format string, args ...any) *Diagnostic {
	d.Notes = append(d.Notes, Note{At: at, Text: fmt.Sprintf(format, args...)})
	return d
}

// Hintf sets the hint and returns d.
func (d *Diagnostic) Hintf(format string, args ...any) *Diagnostic {
	d.Hint = fmt.Sprintf(format, args...)
	return d
}

// Because sets the root cause that d shares with others and returns d.
func (d *Diagnostic) Because(format string, args ...any) *Diagnostic {
	d.Root = fmt.Sprintf(format, args...)
	return d
}

// Suspect adds causes that d may have and returns d. Settle puts diagnostics
// down to the fewest suspects that explain them.
func (d *Diagnostic) Suspect(causes ...Cause) *Diagnostic {
	d.Suspects = append(d.Suspects, causes...)
	return d
}

// Errors counts the errors.
func (l List) Errors() int {
	n := 0
	for _, d := range l {
		if d.Severity == Error {
			n++
		}
	}
	return n
}

// Warnings counts the warnings.
func (l List) Warnings() int { return len(l) - l.Errors() }

// maxMergedNotes bounds the notes that merging adds, so that one cause with
// a thousand consequences stays on one screen.
const maxMergedNotes = 3

// Settle returns the list as a person should read it: in source order (files
// in the order given, then line and column, errors before warnings at one
// place), with those of one cause merged into the first and the others as its notes.
// Nothing is dropped silently: what is past a few notes is counted.
func (l List) Settle(files []string) List {
	rank := make(map[string]int, len(files))
	for i, f := range files {
		if _, ok := rank[f]; !ok {
			rank[f] = i
		}
	}
	sorted := append(List(nil), l...)
	why := sorted.convict()
	sort.SliceStable(sorted, func(i, j int) bool {
		a, b := sorted[i], sorted[j]
		if ra, rb := rank[a.At.File], rank[b.At.File]; ra != rb {
			return ra < rb
		}
		if a.At.Line != b.At.Line {
			return a.At.Line < b.At.Line
		}
		if a.At.Column != b.At.Column {
			return a.At.Column < b.At.Column
		}
		return a.Severity < b.Severity
	})
	type key struct {
		root, name, text string
		at               Place
	}
	var out List
	first := map[key]int{}
	more := map[int]int{}
	for _, d := range sorted {
		k := key{root: d.Root}
		if d.Root == "" {
			k = key{name: d.Name, at: d.At, text: d.Text}
		}
		i, seen := first[k]
		if !seen {
			first[k] = len(out)
			d.Notes = append([]Note(nil), d.Notes...)
			out = append(out, d)
			continue
		}
		if d.Root == "" || d.At == out[i].At && d.Text == out[i].Text {
			continue
		}
		if n, ok := why[d.Root]; ok && more[i] == 0 {
			out[i].Notes = append(out[i].Notes, n)
		}
		if more[i] < maxMergedNotes {
			out[i].Notes = append(out[i].Notes, Note{At: d.At, Text: "also: " + d.Text})
		}
		more[i]++
	}
	for i := range out {
		if n := more[i] - maxMergedNotes; n > 0 {
			places := "places"
			if n == 1 {
				places = "place"
			}
			out[i].Notes = append(out[i].Notes, Note{Text: fmt.Sprintf("and %d more %s with the same cause", n, places)})
		}
	}
	return out
}
