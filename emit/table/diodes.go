package table

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/network"
)

// pageLines is the length of a printed page. Letter paper holds 66 lines and
// A4 holds 70 at six to the inch; printers keep a few for margins.
const pageLines = 60

// cautions head the placement list: what can hurt a person or the machine.
var cautions = []string{
	"Supply off and its lead pulled out before you solder or plug a card. Wait for its capacitors; test that the wires are dead.",
	"Eye protection on, also when clipping leads: the ends fly.",
	"Draw the fumes away from your face. Rest the iron in its stand.",
	"Leaded solder: no food or drink at the bench, wash your hands after.",
	"Fuse each branch of the supply and limit its current at first power-up; add cards one at a time and feel for warm parts. Take rings and watch off.",
	"A suppression diode the wrong way round is a short across the supply. Check each with the meter before power.",
	"Use a ready-made, isolated low-voltage supply. Mains wiring is for a licensed electrician, by the local code.",
	"This list is a design aid, not an approval: measure before power.",
}

// DiodesText writes the placement list for the solder station: 80 characters
// wide, form feeds between pages, no row broken over two. After the cautions
// it has one line a diode in soldering order with a box to tick, under what
// its row means, and after each card the count in each of its columns. An
// error is the writer's.
func DiodesText(w io.Writer, mx *network.Matrix) error {
	l := newPlacement(mx, Width)
	pages := paginate(l.cautions(), l.head(), l.blocks())
	p := newPage(w, Width)
	for i, lines := range pages {
		feed := ""
		if i > 0 {
			feed = "\f"
		}
		p.line("%s%s", feed, heading(mx.Machine, mx.Title, mx.Hash, p.width))
		p.line("%s", spread(fmt.Sprintf("Diode placement, %s style: %s on %s", mx.Style, counted(len(mx.Diodes), "diode"), counted(len(mx.Cards), "card")), fmt.Sprintf("page %d of %d", i+1, len(pages)), p.width))
		for _, line := range lines {
			p.line("%s", line)
		}
	}
	return p.flush()
}

// paginate fills pages with blocks, a blank line before each. The first page
// begins with what is said before all; head stands over the blocks of every
// page. A block longer than a page has to run over: it gets a page of its own.
func paginate(before []string, head string, blocks [][]string) [][]string {
	const room = pageLines - 2 // the heading of each page
	var pages [][]string
	now := append(append([]string{""}, before...), "", head)
	bare := false
	for _, b := range blocks {
		if len(now)+1+len(b) > room && !bare {
			pages, now, bare = append(pages, now), []string{"", head}, true
		}
		now = append(append(now, ""), b...)
		bare = false
	}
	return append(pages, now)
}

// placement knows the fields of a placement list and their widths.
type placement struct {
	mx                                           *network.Matrix
	width                                        int
	diode, card, place, row, columns, line, pins int
}

func newPlacement(mx *network.Matrix, width int) *placement {
	l := &placement{mx: mx, width: width, diode: len("diode"), card: len("card"), place: len("place"), row: len("row"), columns: len("col"), line: len("line"), pins: len("pin")}
	if n := len(mx.Diodes); n > 0 {
		l.diode = max(l.diode, len(mx.Diodes[n-1].Name))
	}
	if n := len(mx.Rows); n > 0 {
		l.row = max(l.row, len(mx.Rows[n-1].Name))
	}
	for _, d := range mx.Diodes {
		l.line = max(l.line, len(l.to(d)))
		l.columns = max(l.columns, len(strconv.Itoa(d.Column)))
		l.pins = max(l.pins, len(strconv.Itoa(d.Pin)))
	}
	return l
}

// to is the wire that a diode joins to its row: a line or a phase wire.
func (l *placement) to(d network.Diode) string {
	if d.Line >= 0 {
		return l.mx.Columns[d.Line].Name
	}
	return "phase " + strconv.Itoa(d.Phase)
}

// band says which of the two wires the band faces.
func (l *placement) band(d network.Diode) string {
	switch {
	case d.Pulse < 0 && !l.mx.Board.Negative:
		return "column"
	case d.Pulse < 0:
		return "row"
	case !l.mx.Board.Negative:
		return "pulse"
	}
	return "phase"
}

func (l *placement) cautions() []string {
	out := []string{"BEFORE YOU START"}
	for _, c := range cautions {
		out = append(out, wrap("  * ", "    ", c, l.width)...)
	}
	out = append(out, "")
	out = append(out, omitted(l.mx, l.width)...)
	return append(out, "The band on a diode marks its cathode.", bandRule(l.mx), "Solder from top to bottom and tick each box; count against the figures given.")
}

func (l *placement) fields(box, diode, card, place, row, column, line, pin, band, means string) string {
	left := fmt.Sprintf("%-3s %-*s %*s %*s %-*s %*s %-*s %*s %-6s ", box, l.diode, diode, l.card, card, l.place, place,
		l.row, row, l.columns, column, l.line, line, l.pins, pin, band)
	room := max(l.width-len(left), 10)
	if len(means) > room {
		means = means[:room-2] + ".."
	}
	return strings.TrimRight(left+means, " ")
}

func (l *placement) head() string {
	return l.fields("box", "diode", "card", "place", "row", "col", "line", "pin", "band", "the row means")
}

// blocks are the parts that no page break may divide.
func (l *placement) blocks() [][]string {
	var out [][]string
	mx := l.mx
	all := boards(mx)
	for _, b := range all {
		rule := cardRule(mx, b, l.width)
		diodes := b.diodes
		add := func(n int, means string, title ...string) {
			var block []string
			if rule != "" {
				block, rule = append(block, rule, ""), ""
			}
			block = append(block, title...)
			for _, d := range diodes[:n] {
				column, row := "-", ""
				if d.Row >= 0 {
					column, row = strconv.Itoa(d.Column), mx.Rows[d.Row].Name
				} else {
					row = mx.Pulses[d.Pulse].Name
				}
				block = append(block, l.fields("[ ]", d.Name, strconv.Itoa(d.Card+1), strconv.Itoa(d.Place), row, column,
					l.to(d), placeName(d.Pin), l.band(d), means))
			}
			diodes = diodes[n:]
			out = append(out, block)
		}
		for _, i := range b.pulses {
			p := mx.Pulses[i]
			title := fmt.Sprintf("%s  pulse wire of phases %s: place %d, %s", p.Name, network.Spans(p.Phases), p.Place, counted(len(p.Phases), "diode"))
			if p.Pin > 0 {
				title += fmt.Sprintf(", leaves by pin %d", p.Pin)
			}
			add(len(p.Phases), "phases "+network.Spans(p.Phases), l.title("%s", title)...)
		}
		for _, i := range b.rows {
			r := mx.Rows[i]
			from := "phase " + strconv.Itoa(r.Phases[0])
			if r.Pulse >= 0 {
				from = fmt.Sprintf("%s (phases %s)", mx.Pulses[r.Pulse].Name, network.Spans(r.Phases))
			}
			means := r.Owner
			if r.Flags.Care != 0 {
				means += " when " + condition(r.Flags, mx.Flags)
			}
			means += ", " + plural(len(r.Phases), "phase") + " " + network.Spans(r.Phases)
			if c := contactName(r); c != "" {
				from += " through " + c
			}
			if r.Pin > 0 {
				from += fmt.Sprintf(", by pin %d", r.Pin)
			}
			diodes := len(r.Lines)
			title := l.title("%s  from %s: place %d, %s", r.Name, from, r.Place, counted(diodes, "diode"))
			if r.Direct {
				diodes = 0
				title = l.title("%s  from %s: straight onto %s, no diode", r.Name, from, mx.Columns[r.Lines[0]].Name)
			}
			what := belongs(mx, r)
			if r.Flags.Care != 0 {
				what += ", when " + condition(r.Flags, mx.Flags)
			}
			title = append(title, wrap("    ", "      ", what, l.width)...)
			add(diodes, means, title...)
		}
		out = append(out, l.counts(b)...)
	}
	return append(out, l.totals(all))
}

// title begins a row or pulse wire, "R1  from ...". What goes on in the next
// line stands further in than what the row means.
func (l *placement) title(format string, args ...any) []string {
	name, rest, _ := strings.Cut(fmt.Sprintf(format, args...), "  ")
	return wrap(name+"  ", "        ", rest, l.width)
}

// countLines is how many columns a block of counts has at most.
const countLines = 40

// counts lists the diodes in each column of a card, to check against.
func (l *placement) counts(b board) [][]string {
	type count struct {
		column string
		name   string
		pin, n int
	}
	var list []count
	at := map[string]int{}
	for _, d := range b.diodes {
		name := l.to(d)
		i, ok := at[name]
		if !ok {
			i = len(list)
			at[name] = i
			column := "-"
			if d.Column > 0 {
				column = strconv.Itoa(d.Column)
			}
			list = append(list, count{column: column, name: name, pin: d.Pin})
		}
		list[i].n++
	}
	slices.SortStableFunc(list, func(x, y count) int { return cmp.Compare(x.pin, y.pin) })
	var out [][]string
	for len(list) > 0 {
		n := min(len(list), countLines)
		block := []string{"Check card " + b.card.Name + ": diodes in each column, by pin"}
		for _, c := range list[:n] {
			block = append(block, fmt.Sprintf("[ ] pin %*s  %-*s column %*s %5d %s", l.pins, placeName(c.pin), l.line, c.name, l.columns, c.column, c.n, plural(c.n, "diode")))
		}
		out, list = append(out, block), list[n:]
	}
	return out
}

func (l *placement) totals(all []board) []string {
	out := []string{"Totals"}
	name := 0
	for _, b := range all {
		name = max(name, len(b.card.Name))
	}
	figures := func(rows, pulses, diodes int) string {
		return fmt.Sprintf("%5d %-4s %5d %-11s %6d %s", rows, plural(rows, "row"), pulses, plural(pulses, "pulse wire"), diodes, plural(diodes, "diode"))
	}
	for _, b := range all {
		out = append(out, fmt.Sprintf("[ ] card %-*s %s", name, b.card.Name, figures(len(b.rows), len(b.pulses), len(b.diodes))))
	}
	return append(out, fmt.Sprintf("    %-*s %s", name+len("card "), "in all", figures(len(l.mx.Rows), len(l.mx.Pulses), len(l.mx.Diodes))))
}

// DiodesCSV writes the placement list with one record a diode in soldering
// order. Fields are diode, card, place, row (a pulse wire has P1), kind
// (pulse, fetch, instruction, undefined), owner, opcodes, flags, wire, phases,
// column, line, pin, anode, band, machine, hash. A row whose contact lies on
// the column has a record without a diode, after all others. An error is the
// writer's.
func DiodesCSV(w io.Writer, mx *network.Matrix) error {
	out := [][]string{{"diode", "card", "place", "row", "kind", "owner", "opcodes", "flags", "wire", "phases",
		"column", "line", "pin", "anode", "band", "machine", "hash"}}
	for _, d := range mx.Diodes {
		anode, band := mx.Ends(d)
		first := []string{d.Name, mx.Cards[d.Card].Name, strconv.Itoa(d.Place)}
		last := []string{number(d.Pin), anode, band, mx.Machine, hashCell(mx)}
		if d.Pulse >= 0 {
			p := mx.Pulses[d.Pulse]
			out = append(out, slices.Concat(first, []string{p.Name, "pulse", "", "", "", "", phaseCell(p.Phases), "",
				"phase " + strconv.Itoa(d.Phase)}, last))
			continue
		}
		r := mx.Rows[d.Row]
		out = append(out, slices.Concat(first, []string{r.Name, r.Kind, r.Owner, opcodeCell(mx, r), flagCell(mx, r),
			wireCell(mx, r), phaseCell(r.Phases), strconv.Itoa(d.Column), mx.Columns[d.Line].Name}, last))
	}
	for _, r := range mx.Rows {
		if r.Direct {
			out = append(out, []string{"", mx.Cards[r.Card].Name, "", r.Name, r.Kind, r.Owner, opcodeCell(mx, r), flagCell(mx, r),
				wireCell(mx, r), phaseCell(r.Phases), "", mx.Columns[r.Lines[0]].Name, "", "", "", mx.Machine, hashCell(mx)})
		}
	}
	return records(w, out)
}
