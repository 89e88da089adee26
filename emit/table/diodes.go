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
// its row means, after them the diodes at the coils of its relays, and after each
// card the count in each of its columns. An error is the writer's.
func DiodesText(w io.Writer, mx *network.Matrix) error {
	l := newPlacement(mx, Width)
	pages := paginate(l.cautions(), l.blocks())
	p := newPage(w, Width)
	for i, lines := range pages {
		feed := ""
		if i > 0 {
			feed = "\f"
		}
		p.line("%s%s", feed, heading(mx.Machine, mx.Title, mx.Hash, p.width))
		p.line("%s", spread(fmt.Sprintf("Diode placement, %s style: %s on %s", mx.Style, counted(len(mx.Diodes)+len(mx.AtCoils), "diode"), counted(len(mx.Cards), "card")), fmt.Sprintf("page %d of %d", i+1, len(pages)), p.width))
		for _, line := range lines {
			p.line("%s", line)
		}
	}
	return p.flush()
}

// block is lines that no page break may divide, and the names of their fields.
type block struct {
	head  string // empty: there are none
	lines []string
}

// paginate fills pages with blocks, a blank line before each. The first page
// begins with what is said before all; a head stands where it changes, and on
// each page that has lines under it. A block longer than a page has to run over:
// it gets a page of its own.
func paginate(before []string, blocks []block) [][]string {
	const room = pageLines - 2 // the heading of each page
	var pages [][]string
	now, under := append([]string{""}, before...), ""
	for _, b := range blocks {
		need := 1 + len(b.lines)
		if b.head != "" && b.head != under {
			need += 2
		}
		if len(now)+need > room && len(now) > 0 {
			pages, now, under = append(pages, now), nil, ""
		}
		if b.head != "" && b.head != under {
			now, under = append(now, "", b.head), b.head
		}
		now = append(append(now, ""), b.lines...)
	}
	return append(pages, now)
}

// placement knows the fields of a placement list and their widths.
type placement struct {
	mx                                           *network.Matrix
	width                                        int
	diode, card, place, row, columns, line, pins int
	relay, ends                                  int // of those at coils
}

func newPlacement(mx *network.Matrix, width int) *placement {
	l := &placement{mx: mx, width: width, diode: len("diode"), card: len("card"), place: len("place"), row: len("row"), columns: len("col"), line: len("line"), pins: len("pin"), relay: len("relay"), ends: len("anode on")}
	if n := len(mx.Diodes); n > 0 {
		l.diode = max(l.diode, len(mx.Diodes[n-1].Name))
	}
	if n := len(mx.Rows); n > 0 {
		l.row = max(l.row, len(mx.Rows[n-1].Name))
	}
	for _, d := range mx.Diodes {
		l.line = max(l.line, len(l.to(d)))
		l.columns = max(l.columns, len(strconv.Itoa(d.Column)))
		l.pins = max(l.pins, len(l.leaves(d.Line, d.Pin)))
	}
	for _, d := range mx.AtCoils {
		l.diode, l.relay = max(l.diode, len(d.Name)), max(l.relay, len(d.Relay))
		l.ends = max(l.ends, len(d.Anode), len(d.Band))
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
	case l.mx.Board.Negative:
		return "phase"
	case l.mx.Pulses[d.Pulse].Coil != "":
		return "coil"
	}
	return "pulse"
}

// leaves is the pin of a line or phase wire; of a `low` line the coil that its
// column ends on.
func (l *placement) leaves(line, pin int) string {
	if coil := coilOf(l.mx, line); coil != "" {
		return coil
	}
	return placeName(pin)
}

func (l *placement) cautions() []string {
	out := []string{"BEFORE YOU START"}
	for _, c := range cautions {
		out = append(out, wrap("  * ", "    ", c, l.width)...)
	}
	out = append(out, "")
	out = append(out, omitted(l.mx, l.width)...)
	if relayed(l.mx) {
		out = append(out, wrap("", "  ", "A pulse wire is made by a pulse relay: its diodes lead to the coil, not to the wire, and the contact of the relay feeds the wire.", l.width)...)
	}
	out = append(out, inverted(l.mx, l.width)...)
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

func (l *placement) coilFields(box, diode, card, relay, site, anode, band, what string) string {
	return fmt.Sprintf("%-3s %-*s %*s %-*s %4s  %-*s  %-*s  %s", box, l.diode, diode, l.card, card, l.relay, relay, site, l.ends, anode, l.ends, band, what)
}

// coilLines is how many diodes at coils stay together.
const coilLines = 40

// atCoils lists the diodes at the coils of a card.
func (l *placement) atCoils(card int) []block {
	var list []network.CoilDiode
	for _, d := range l.mx.AtCoils {
		if d.Card == card {
			list = append(list, d)
		}
	}
	head := l.coilFields("box", "diode", "card", "relay", "site", "anode on", "band on", "where")
	title := fmt.Sprintf("For coils, on card %s: %s", l.mx.Cards[card].Name, counted(len(list), "diode"))
	var out []block
	for len(list) > 0 {
		n := min(len(list), coilLines)
		b := block{head, []string{title}}
		for _, d := range list[:n] {
			what := "into the coil"
			switch {
			case d.Across:
				what = "across the coil"
			case d.Site == 0:
				what = "into the coil on another card"
			}
			b.lines = append(b.lines, l.coilFields("[ ]", d.Name, strconv.Itoa(card+1), d.Relay, placeName(d.Site), d.Anode, d.Band, what))
		}
		out, list = append(out, b), list[n:]
		title = fmt.Sprintf("For coils, on card %s, further", l.mx.Cards[card].Name)
	}
	return out
}

// blocks are the parts that no page break may divide.
func (l *placement) blocks() []block {
	var out []block
	head := l.head()
	mx := l.mx
	all := boards(mx)
	for card, b := range all {
		rule := cardRule(mx, b, l.width)
		diodes := b.diodes
		add := func(n int, means string, title ...string) {
			var lines []string
			if rule != "" {
				lines, rule = append(lines, rule, ""), ""
			}
			lines = append(lines, title...)
			for _, d := range diodes[:n] {
				column, row := "-", ""
				if d.Row >= 0 {
					column, row = strconv.Itoa(d.Column), mx.Rows[d.Row].Name
				} else {
					row = mx.Pulses[d.Pulse].Name
				}
				lines = append(lines, l.fields("[ ]", d.Name, strconv.Itoa(d.Card+1), strconv.Itoa(d.Place), row, column,
					l.to(d), l.leaves(d.Line, d.Pin), l.band(d), means))
			}
			diodes = diodes[n:]
			out = append(out, block{head, lines})
		}
		for _, i := range b.pulses {
			p := mx.Pulses[i]
			title := fmt.Sprintf("%s  pulse wire of phases %s", p.Name, network.Spans(p.Phases))
			if p.Coil != "" {
				title += " from " + p.Contact
			}
			title += fmt.Sprintf(": place %d, %s", p.Place, counted(len(p.Phases), "diode"))
			if p.Coil != "" {
				title += " to coil " + p.Coil
			}
			if p.Pin > 0 {
				title += ", leaves by " + pinName(b.card, p.Pin)
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
				from += ", by " + pinName(b.card, r.Pin)
			}
			diodes := len(r.Lines)
			title := l.title("%s  from %s: place %d, %s", r.Name, from, r.Place, counted(diodes, "diode"))
			if r.Direct {
				diodes = 0
				onto := mx.Columns[r.Lines[0]].Name
				if coil := coilOf(mx, r.Lines[0]); coil != "" {
					onto += " (coil " + coil + ")"
				}
				title = l.title("%s  from %s: straight onto %s, no diode", r.Name, from, onto)
			}
			what := belongs(mx, r)
			if r.Flags.Care != 0 {
				what += ", when " + condition(r.Flags, mx.Flags)
			}
			title = append(title, wrap("    ", "      ", what, l.width)...)
			add(diodes, means, title...)
		}
		coils := l.atCoils(card)
		switch { // relays alone
		case rule == "":
		case coils == nil:
			coils = []block{{"", []string{rule, "", "No diode on this card."}}}
		default:
			coils[0].lines = slices.Insert(coils[0].lines, 0, rule, "")
		}
		out = append(append(out, coils...), l.counts(b)...)
	}
	return append(out, block{"", l.totals(all)})
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
func (l *placement) counts(b board) []block {
	type count struct {
		column string
		name   string
		line   int
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
			list = append(list, count{column: column, name: name, line: d.Line, pin: d.Pin})
		}
		list[i].n++
	}
	slices.SortStableFunc(list, func(x, y count) int { return cmp.Compare(x.pin, y.pin) })
	var out []block
	for len(list) > 0 {
		n := min(len(list), countLines)
		lines := []string{"Check card " + b.card.Name + ": diodes in each column, by pin"}
		for _, c := range list[:n] {
			end, by := "pin ", ""
			if coilOf(l.mx, c.line) != "" {
				end = "coil"
				if c.pin > 0 {
					by = ", by " + pinName(b.card, c.pin)
				}
			}
			lines = append(lines, fmt.Sprintf("[ ] %s %*s  %-*s column %*s %5d %s%s", end, l.pins, l.leaves(c.line, c.pin), l.line, c.name, l.columns, c.column, c.n, plural(c.n, "diode"), by))
		}
		out, list = append(out, block{"", lines}), list[n:]
	}
	return out
}

func (l *placement) totals(all []board) []string {
	out := []string{"Totals"}
	name := 0
	for _, b := range all {
		name = max(name, len(b.card.Name))
	}
	figures := func(rows, pulses, diodes, coils int) string {
		return fmt.Sprintf("%4d %-4s %3d %-11s %5d %-6s %4d at coils", rows, plural(rows, "row"), pulses, plural(pulses, "pulse wire"), diodes, plural(diodes, "diode"), coils)
	}
	coils := make([]int, len(all))
	for _, d := range l.mx.AtCoils {
		coils[d.Card]++
	}
	for i, b := range all {
		out = append(out, fmt.Sprintf("[ ] card %-*s %s", name, b.card.Name, figures(len(b.rows), len(b.pulses), len(b.diodes), coils[i])))
	}
	return append(out, fmt.Sprintf("    %-*s %s", name+len("card "), "in all", figures(len(l.mx.Rows), len(l.mx.Pulses), len(l.mx.Diodes), len(l.mx.AtCoils))))
}

// DiodesCSV writes the placement list with one record a diode in soldering
// order. Fields are diode, card, place, row (a pulse wire has P1), kind
// (pulse, fetch, instruction, undefined), owner, opcodes, flags, wire, phases,
// column, line, pin, relay, coil, anode, band, machine, hash. Relay and coil say
// where the diodes of a pulse relay and the column of a `low` line lead. A diode
// at a coil has the relay's site for its place, if it is on its card, and the kind feed or suppression;
// they come after the others. A row whose contact lies on the column has a record
// without a diode, after all others. An error is the writer's.
func DiodesCSV(w io.Writer, mx *network.Matrix) error {
	out := [][]string{{"diode", "card", "place", "row", "kind", "owner", "opcodes", "flags", "wire", "phases",
		"column", "line", "pin", "relay", "coil", "anode", "band", "machine", "hash"}}
	for _, d := range mx.Diodes {
		anode, band := mx.Ends(d)
		first := []string{d.Name, mx.Cards[d.Card].Name, strconv.Itoa(d.Place)}
		coil := coilOf(mx, d.Line)
		if d.Pulse >= 0 {
			coil = mx.Pulses[d.Pulse].Coil
		}
		relay, _, _ := strings.Cut(coil, ":")
		last := []string{number(d.Pin), relay, coil, anode, band, mx.Machine, hashCell(mx)}
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
	for _, d := range mx.AtCoils {
		kind := "feed"
		if d.Across {
			kind = "suppression"
		}
		out = append(out, []string{d.Name, mx.Cards[d.Card].Name, number(d.Site), "", kind, "", "", "", "", "",
			"", "", "", d.Relay, d.Relay + ":A1", d.Anode, d.Band, mx.Machine, hashCell(mx)})
	}
	for _, r := range mx.Rows {
		if r.Direct {
			out = append(out, []string{"", mx.Cards[r.Card].Name, "", r.Name, r.Kind, r.Owner, opcodeCell(mx, r), flagCell(mx, r),
				wireCell(mx, r), phaseCell(r.Phases), "", mx.Columns[r.Lines[0]].Name, "", "", "", "", "", mx.Machine, hashCell(mx)})
		}
	}
	return records(w, out)
}
