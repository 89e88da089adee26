package network

import (
	"fmt"
	"slices"
	"strconv"

	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// load is what stands on one card so far, in the terms of its limits.
type load struct {
	height  int
	columns map[int]bool
	phases  map[int]bool
}

func newLoad() load { return load{columns: map[int]bool{}, phases: map[int]bool{}} }

// with returns the rows, columns and pins in use once a row with these lines,
// or a pulse wire of these phases, has been added. A column whose line has a
// fixed pin takes no further pin; fixed pins count on every card.
func (l load) with(b machine.Card, fixed map[int]int, lines, phases []int) (rows, columns, used int) {
	rows, columns = l.height+1, len(l.columns)
	used = len(b.Fixed) + rows + len(l.phases)
	for c := range l.columns {
		if fixed[c] == 0 {
			used++
		}
	}
	for _, c := range lines {
		if !l.columns[c] {
			columns++
			if fixed[c] == 0 {
				used++
			}
		}
	}
	for _, p := range phases {
		if !l.phases[p] {
			used++
		}
	}
	return rows, columns, used
}

func (l *load) add(lines, phases []int) {
	l.height++
	for _, c := range lines {
		l.columns[c] = true
	}
	for _, p := range phases {
		l.phases[p] = true
	}
}

// fixedPins is the fixed pin of each line that has one.
func fixedPins(c machine.Card) map[int]int {
	lines := map[int]int{}
	for _, p := range c.Fixed {
		if p.Line >= 0 {
			lines[p.Line] = p.Number
		}
	}
	return lines
}

// refuse reports each row and pulse wire that would not fit on an empty card,
// and in its hint the size that would hold them all.
func refuse(m *Matrix, s *store.Store, drafts []draft) diag.List {
	var list diag.List
	b := m.Board
	fixed := fixedPins(b)
	type misfit struct {
		at   diag.Place
		what string
		need int
	}
	var wide, pinned []misfit
	check := func(at diag.Place, what string, lines, phases []int) {
		_, columns, used := newLoad().with(m.Board, fixed, lines, phases)
		if columns > b.Columns {
			wide = append(wide, misfit{at, what, columns})
		} else if used > b.Pins {
			pinned = append(pinned, misfit{at, what, used})
		}
	}
	seen := make([]bool, len(m.Pulses))
	for i, r := range m.Rows {
		if r.Pulse >= 0 && !seen[r.Pulse] {
			seen[r.Pulse] = true
			check(s.Owners[drafts[i].owner].At, fmt.Sprintf("the pulse wire of %d phases for %s", len(r.Phases), r.Owner), nil, r.Phases)
		}
		check(s.Owners[drafts[i].owner].At, fmt.Sprintf("the row of %s in %s", r.Owner, phasesName(r.Phases)), r.Lines, nil)
	}
	most := func(of []misfit) (n int) {
		for _, x := range of {
			n = max(n, x.need)
		}
		return n
	}
	described := func(d *diag.Diagnostic) *diag.Diagnostic {
		if b.At.IsZero() { // the default card
			return d
		}
		return d.Note(b.At, "card %s is described here", b.Name)
	}
	for _, x := range wide {
		described(list.Errorf("card-row-too-wide", x.at, "%s needs %d columns, card %s has %d", x.what, x.need, b.Name, b.Columns)).
			Hintf("set columns %d in card %s (and pins to match), or spread the lines over more steps", most(wide), b.Name).
			Because("card %s has too few columns", b.Name)
	}
	for _, x := range pinned {
		described(list.Errorf("card-pins", x.at, "%s needs %d pins with the %d fixed ones, card %s has %d", x.what, x.need, len(b.Fixed), b.Name, b.Pins)).
			Hintf("set pins %d in card %s, or fix fewer pins in its connector", most(pinned), b.Name).
			Because("card %s has too few pins", b.Name)
	}
	return list
}

// Spans writes ascending numbers with runs drawn together: "2-5 7".
func Spans(n []int) string {
	out := ""
	for i := 0; i < len(n); {
		j := i
		for j+1 < len(n) && n[j+1] == n[j]+1 {
			j++
		}
		if out != "" {
			out += " "
		}
		out += strconv.Itoa(n[i])
		if j > i {
			out += "-" + strconv.Itoa(n[j])
		}
		i = j + 1
	}
	return out
}

// board is a card being filled.
type board struct {
	load
	pulses, rows []int // of the matrix, in order of their places
}

// place puts all pulse wires first, then the rows, onto consecutive places,
// and begins the next card when one more would not fit. Pulse wires first
// keeps the phase wires together on the first card, and the pulse wires, which
// rows on any card may need, ready before the first row is soldered.
func place(m *Matrix) {
	fixed := fixedPins(m.Board)
	now := board{load: newLoad()}
	next := func(lines, phases []int) (card, place int) {
		rows, columns, used := now.with(m.Board, fixed, lines, phases)
		if rows > m.Board.Rows-m.Board.Spare || columns > m.Board.Columns || used > m.Board.Pins {
			solder(m, now)
			now = board{load: newLoad()}
		}
		now.add(lines, phases)
		return len(m.Cards), now.height
	}
	for i := range m.Pulses {
		p := &m.Pulses[i]
		p.Card, p.Place = next(nil, p.Phases)
		now.pulses = append(now.pulses, i)
	}
	for i := range m.Rows {
		r := &m.Rows[i]
		r.Card, r.Place = next(r.Lines, nil)
		now.rows = append(now.rows, i)
	}
	if now.height > 0 {
		solder(m, now)
	}
}

func phasesName(n []int) string {
	if len(n) == 1 {
		return phaseName(n[0])
	}
	return "phases " + Spans(n)
}

func phaseName(n int) string { return "phase " + strconv.Itoa(n) }

// solder adds a full card with its columns, pins and diodes: fixed pins by
// number; then, on the free ones from 1 up, the other lines as declared, the
// phase wires of its pulse diodes, and its pulse wires and row feeds from place 1 down.
func solder(m *Matrix, b board) {
	card := len(m.Cards)
	c := Card{Name: fmt.Sprintf("%s %d", m.Board.Name, card+1)}
	taken := map[int]bool{}
	linePin, phasePin, column := map[int]int{}, map[int]int{}, map[int]int{}
	for _, p := range m.Board.Fixed {
		use := p.Use
		if p.Line >= 0 {
			use = m.Columns[p.Line].Name
			linePin[p.Line] = p.Number
		}
		taken[p.Number] = true
		c.Pins = append(c.Pins, Pin{p.Number, use})
	}
	free := 0
	give := func(use string) int {
		free++
		for taken[free] {
			free++
		}
		c.Pins = append(c.Pins, Pin{free, use})
		return free
	}
	for i, line := range m.Columns {
		if !b.columns[i] {
			continue
		}
		c.Columns = append(c.Columns, i)
		column[i] = len(c.Columns)
		if linePin[i] == 0 {
			linePin[i] = give(line.Name)
		}
	}
	for phase := 1; phase <= m.Phases; phase++ {
		if b.phases[phase] {
			phasePin[phase] = give(phaseName(phase))
		}
	}
	diode := func(d Diode) {
		d.Name, d.Card = fmt.Sprintf("D%d", len(m.Diodes)+1), card
		m.Diodes = append(m.Diodes, d)
	}
	for _, i := range b.pulses {
		p := &m.Pulses[i]
		p.Pin = give("pulse " + p.Name)
		for _, phase := range p.Phases {
			diode(Diode{Place: p.Place, Row: -1, Pulse: i, Phase: phase, Line: -1, Pin: phasePin[phase]})
		}
	}
	for _, i := range b.rows {
		r := &m.Rows[i]
		r.Pin = give("row " + r.Name)
		for _, l := range r.Lines {
			diode(Diode{Place: r.Place, Column: column[l], Row: i, Pulse: -1, Line: l, Pin: linePin[l]})
		}
	}
	slices.SortFunc(c.Pins, func(x, y Pin) int { return x.Number - y.Number })
	m.Cards = append(m.Cards, c)
}
