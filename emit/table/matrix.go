package table

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/network"
)

// MatrixText draws the matrix card by card: the pulse wires with the phase
// wires that feed them, and the rows, under what they belong to, with the
// columns they reach, counts at both edges. Width is in characters, 0 = Width.
// An error is the writer's.
func MatrixText(w io.Writer, mx *network.Matrix, width int) error {
	p := newPage(w, width)
	p.line("%s", heading(mx.Machine, mx.Title, mx.Hash, p.width))
	p.line("Matrix, %s style: %s", mx.Style, sizes(mx))
	p.line("  An x is a diode. %s", bandRule(mx))
	if slices.ContainsFunc(mx.Rows, func(r network.Row) bool { return r.Direct }) {
		p.line("  An o is no diode: the contact that feeds the row lies on the column.")
	}
	p.line("  A row is fed from a phase wire (5) or a pulse wire (P1), by a contact (K3:14)")
	p.line("  or by the wire itself.")
	if relayed(mx) {
		p.line("  A pulse wire is made by a pulse relay: its diodes lead to the coil, and the")
		p.line("  contact feeds the wire and so the rows.")
	}
	for _, l := range inverted(mx, p.width-2) {
		p.line("  %s", l)
	}
	if n := len(mx.AtCoils); n > 0 {
		p.line("  %s more at the coils of relays: see the placement list.", counted(n, "diode"))
	}
	if len(mx.Flags) > 0 {
		p.line("  Before the columns stand the flags: 1 on, 0 off, ? does not matter.")
	}
	for _, l := range omitted(mx, p.width-2) {
		p.line("  %s", l)
	}
	for _, b := range boards(mx) {
		p.line("")
		p.line("")
		p.line("%s", cardRule(mx, b, p.width))
		if len(b.pulses) > 0 {
			p.line("")
			pulseGrid(mx, b).print(p)
		}
		if len(b.rows) > 0 {
			p.line("")
			if used := pulsesUsed(mx, b.rows, p.width); used != nil {
				for _, l := range used {
					p.line("%s", l)
				}
				p.line("")
			}
			rowGrid(mx, b, p.width).print(p)
		}
	}
	return p.flush()
}

// sizes counts what a matrix is made of.
func sizes(mx *network.Matrix) string {
	return strings.Join([]string{
		counted(len(mx.Rows), "row"), counted(len(mx.Pulses), "pulse wire"),
		counted(len(mx.Diodes), "diode"), counted(len(mx.Cards), "card"),
	}, ", ")
}

// bandRule says which way the bands point.
func bandRule(mx *network.Matrix) string {
	switch {
	case mx.Board.Negative:
		return "Its band faces the row (for a pulse wire: the phase wire)."
	case relayed(mx):
		return "Its band faces the column (for a pulse wire: the coil)."
	}
	return "Its band faces the column (for a pulse wire: the pulse wire)."
}

// relayed tells a matrix whose pulse wires are made by relays.
func relayed(mx *network.Matrix) bool {
	return slices.ContainsFunc(mx.Pulses, func(p network.Pulse) bool { return p.Coil != "" })
}

// inverted says where the columns of `low` lines end, and what feeds the lines.
func inverted(mx *network.Matrix, width int) []string {
	if len(mx.Inverters) == 0 {
		return nil
	}
	out := wrap("", "  ", "A line that is active low has an inverting relay: its column ends on the coil, whose break contact feeds the line:", width)
	for _, x := range mx.Inverters {
		out = append(out, wrap("  ", "    ", fmt.Sprintf("%s: column to coil %s, line from %s", mx.Columns[x.Line].Name, x.Coil, x.Contact), width)...)
	}
	return out
}

// coilOf is the coil that the column of a line ends on, if it is that of an inverter.
func coilOf(mx *network.Matrix, line int) string {
	for _, x := range mx.Inverters {
		if x.Line == line {
			return x.Coil
		}
	}
	return ""
}

// pinName is a pin, and the wire from card to card that it meets.
func pinName(c network.Card, number int) string {
	for _, p := range c.Pins {
		if link, ok := strings.CutPrefix(p.Use, "link "); ok && p.Number == number {
			return fmt.Sprintf("pin %d (link %s)", number, link)
		}
	}
	return fmt.Sprintf("pin %d", number)
}

// omitted names the lines without diodes, so that nobody looks for them.
func omitted(mx *network.Matrix, width int) []string {
	if len(mx.Omitted) == 0 {
		return nil
	}
	var names []string
	for _, l := range mx.Omitted {
		names = append(names, mx.Columns[l].Name)
	}
	return wrap("", "  ", "Driven by other hardware, without diodes here: "+strings.Join(names, " "), width)
}

// board is what stands on one card, by place.
type board struct {
	card         network.Card
	pulses, rows []int // of the matrix
	diodes       []network.Diode
}

// boards sorts what is in a matrix by card.
func boards(mx *network.Matrix) []board {
	out := make([]board, len(mx.Cards))
	for i, c := range mx.Cards {
		out[i].card = c
	}
	for i, p := range mx.Pulses {
		out[p.Card].pulses = append(out[p.Card].pulses, i)
	}
	for i, r := range mx.Rows {
		out[r.Card].rows = append(out[r.Card].rows, i)
	}
	for _, d := range mx.Diodes {
		out[d.Card].diodes = append(out[d.Card].diodes, d)
	}
	return out
}

// places counts the rows of a card that are taken: a row without diodes takes none.
func (b board) places(mx *network.Matrix) int {
	n := len(b.pulses)
	for _, i := range b.rows {
		if !mx.Rows[i].Direct {
			n++
		}
	}
	return n
}

func cardRule(mx *network.Matrix, b board, width int) string {
	left := "-- card " + b.card.Name + " "
	right := fmt.Sprintf(" %d of %d rows, %d of %d columns, %d of %d pins --",
		b.places(mx), mx.Board.Rows, len(b.card.Columns), mx.Board.Columns, len(b.card.Pins), mx.Board.Pins)
	return left + strings.Repeat("-", max(width-len(left)-len(right), 2)) + right
}

// pulsesUsed says what the pulse wires that these rows need are made of.
func pulsesUsed(mx *network.Matrix, rows []int, width int) []string {
	var used []int
	for _, r := range rows {
		if p := mx.Rows[r].Pulse; p >= 0 {
			used = append(used, p)
		}
	}
	if used == nil {
		return nil
	}
	slices.Sort(used)
	var parts []string
	longest := 0
	for _, p := range slices.Compact(used) {
		part := fmt.Sprintf("%s=%s", mx.Pulses[p].Name, strings.ReplaceAll(network.Spans(mx.Pulses[p].Phases), " ", ","))
		parts = append(parts, part)
		longest = max(longest, len(part))
	}
	first := "Pulse wires used, by phases: "
	if longest <= width-2 {
		return wrap(first, "  ", strings.Join(parts, "  "), width)
	}
	// One has to go on in the next line: each begins a line of its own.
	var out []string
	for _, part := range parts {
		out = append(out, wrap(first, "    ", strings.ReplaceAll(part, ",", ", "), width)...)
		first = "  "
	}
	return out
}

func pulseGrid(mx *network.Matrix, b board) *grid {
	pinOf, diodes := map[int]int{}, map[int]int{}
	var phases []int
	for _, d := range b.diodes {
		if d.Pulse >= 0 {
			if diodes[d.Phase] == 0 {
				phases = append(phases, d.Phase)
			}
			pinOf[d.Phase] = d.Pin
			diodes[d.Phase]++
		}
	}
	slices.Sort(phases)
	g := &grid{left: []string{"place", "pulse wire", "by phase"}}
	coils := relayed(mx)
	if coils {
		g.left = []string{"place", "pulse wire", "to coil", "from", "by phase"}
	}
	var pins, counts []int
	for _, phase := range phases {
		g.names = append(g.names, strconv.Itoa(phase))
		pins = append(pins, pinOf[phase])
		counts = append(counts, diodes[phase])
	}
	for _, i := range b.pulses {
		p := mx.Pulses[i]
		r := gridRow{cells: []string{strconv.Itoa(p.Place), p.Name, ""}, marks: noMarks(len(phases))}
		if coils {
			r.cells = []string{strconv.Itoa(p.Place), p.Name, p.Coil, p.Contact, ""}
		}
		for _, phase := range p.Phases {
			at, _ := slices.BinarySearch(phases, phase)
			r.marks[at] = markDiode
		}
		g.rows = append(g.rows, r)
	}
	g.footers = []footer{{"pin", pins}, {"diodes", counts}}
	return g
}

func rowGrid(mx *network.Matrix, b board, width int) *grid {
	g := &grid{left: []string{"place", "row", "from", "by"}, keys: mx.Flags}
	n := len(b.card.Columns)
	numbers, pins, counts := make([]int, n), make([]int, n), make([]int, n)
	at := map[int]int{} // line -> column on the card, from 0
	for i, l := range b.card.Columns {
		g.names = append(g.names, mx.Columns[l].Name)
		numbers[i], pins[i] = i+1, b.card.Leave[i]
		at[l] = i
	}
	for _, d := range b.diodes {
		if d.Column > 0 {
			counts[d.Column-1]++
		}
	}
	group := ""
	for _, i := range b.rows {
		r := mx.Rows[i]
		if m := belongs(mx, r); m != group {
			group = m
			g.rows = append(g.rows, gridRow{heading: wrap("", strings.Repeat(" ", 10), m, width)})
		}
		row := gridRow{cells: []string{placeName(r.Place), r.Name, wireName(mx, r), contactName(r)}, marks: noMarks(n)}
		for f := range mx.Flags {
			row.keys = append(row.keys, cube.Cube{Care: r.Flags.Care >> f & 1, Value: r.Flags.Value >> f & 1}.Text(1)[0])
		}
		for _, l := range r.Lines {
			row.marks[at[l]] = markDiode
			if r.Direct {
				row.marks[at[l]] = markDirect
			}
		}
		g.rows = append(g.rows, row)
	}
	g.footers = []footer{{"column", numbers}, {"pin", pins}, {"diodes", counts}}
	return g
}

func noMarks(n int) []byte { return bytes.Repeat([]byte{markNone}, n) }

// placeName is a place or pin; a row without diodes has no place, a wire that
// stays on its card no pin.
func placeName(n int) string {
	if n == 0 {
		return "-"
	}
	return strconv.Itoa(n)
}

// contactName is the terminal that feeds a row, or nothing if its wire does.
func contactName(r network.Row) string {
	if strings.Contains(r.Feed, ":") {
		return r.Feed
	}
	return ""
}

// belongs says whose a row is: "add: opcode 0000_0001".
func belongs(mx *network.Matrix, r network.Row) string {
	switch len(r.Opcodes) {
	case 0:
		return r.Owner + ": every opcode"
	case 1:
		return r.Owner + ": opcode " + rowPattern(mx, r, r.Opcodes[0])
	}
	var opcodes []string
	for _, c := range r.Opcodes {
		opcodes = append(opcodes, rowPattern(mx, r, c))
	}
	return r.Owner + ": opcodes " + strings.Join(opcodes, " ")
}

// rowPattern writes the opcodes of a cube, and behind a stroke its flags as
// declared where those of one row differ: "01??/1?".
func rowPattern(mx *network.Matrix, r network.Row, c cube.Cube) string {
	return flaggedPattern(mx, c, r.Opcodes)
}

// flaggedPattern is rowPattern for one cube of a list.
func flaggedPattern(mx *network.Matrix, c cube.Cube, of []cube.Cube) string {
	text := pattern(c, mx.OpcodeBits)
	if !slices.ContainsFunc(of, func(o cube.Cube) bool { return o.Care>>mx.OpcodeBits != 0 }) {
		return text
	}
	text += "/"
	for i := range mx.Flags {
		bit := mx.OpcodeBits + i
		text += cube.Cube{Care: c.Care >> bit & 1, Value: c.Value >> bit & 1}.Text(1)
	}
	return text
}

// wireName is the wire that feeds a row: "P1", or the number of a phase.
func wireName(mx *network.Matrix, r network.Row) string {
	if r.Pulse >= 0 {
		return mx.Pulses[r.Pulse].Name
	}
	return strconv.Itoa(r.Phases[0])
}

// MatrixCSV writes one record for each pulse wire and row, card by card, with
// a 1 for each line that a diode leads to and "direct" for one that the row's
// contact lies on; a record with the coil that the column of each `low` line
// ends on and one with the contact that feeds the line, if there are any; and a
// last record with the diodes in each column. Fields are row, card, place, pin
// (if its feed comes from another card), kind (pulse, fetch, instruction,
// undefined, shared, coil, contact or total), owner, opcodes, flags, wire, feed,
// coil (that the diodes of a pulse wire lead to, if a relay makes it), phases,
// the lines as declared, diodes, machine, hash. An error is the writer's.
func MatrixCSV(w io.Writer, mx *network.Matrix) error {
	head := []string{"row", "card", "place", "pin", "kind", "owner", "opcodes", "flags", "wire", "feed", "coil", "phases"}
	for _, c := range mx.Columns {
		head = append(head, c.Name)
	}
	out := [][]string{append(head, "diodes", "machine", "hash")}
	totals := make([]int, len(mx.Columns))
	record := func(first []string, lines []int, direct bool, diodes int) {
		cells := make([]string, len(mx.Columns))
		for _, l := range lines {
			if cells[l] = "direct"; !direct {
				cells[l] = "1"
				totals[l]++
			}
		}
		out = append(out, slices.Concat(first, cells, []string{strconv.Itoa(diodes), mx.Machine, hashCell(mx)}))
	}
	for _, b := range boards(mx) {
		for _, k := range b.pulses {
			p := mx.Pulses[k]
			record([]string{p.Name, b.card.Name, number(p.Place), number(p.Pin), "pulse", "", "", "", "", p.Contact, p.Coil, phaseCell(p.Phases)}, nil, false, len(p.Phases))
		}
		for _, k := range b.rows {
			r := mx.Rows[k]
			diodes := len(r.Lines)
			if r.Direct {
				diodes = 0
			}
			record([]string{r.Name, b.card.Name, number(r.Place), number(r.Pin), r.Kind, r.Owner,
				opcodeCell(mx, r), flagCell(mx, r), wireCell(mx, r), r.Feed, "", phaseCell(r.Phases)}, r.Lines, r.Direct, diodes)
		}
	}
	named := func(kind string) []string {
		first := append([]string{kind}, make([]string, 11)...)
		first[4] = kind
		return first
	}
	if len(mx.Inverters) > 0 {
		coils, contacts := make([]string, len(mx.Columns)), make([]string, len(mx.Columns))
		for _, x := range mx.Inverters {
			coils[x.Line], contacts[x.Line] = x.Coil, x.Contact
		}
		out = append(out, slices.Concat(named("coil"), coils, []string{"", mx.Machine, hashCell(mx)}),
			slices.Concat(named("contact"), contacts, []string{"", mx.Machine, hashCell(mx)}))
	}
	last := named("total")
	for _, n := range totals {
		last = append(last, strconv.Itoa(n))
	}
	out = append(out, append(last, strconv.Itoa(len(mx.Diodes)), mx.Machine, hashCell(mx)))
	return records(w, out)
}

// number writes a place or pin; nothing where there is none.
func number(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func hashCell(mx *network.Matrix) string { return "sha256:" + short(mx.Hash) }

// opcodeCell writes patterns so that no spreadsheet takes them for a number.
func opcodeCell(mx *network.Matrix, r network.Row) string {
	if len(r.Opcodes) == 0 {
		return "every"
	}
	var out []string
	for _, c := range r.Opcodes {
		out = append(out, "0b"+rowPattern(mx, r, c))
	}
	return strings.Join(out, " ")
}

func flagCell(mx *network.Matrix, r network.Row) string {
	if r.Flags.Care == 0 {
		return "any"
	}
	return condition(r.Flags, mx.Flags)
}

func wireCell(mx *network.Matrix, r network.Row) string {
	if r.Pulse >= 0 {
		return mx.Pulses[r.Pulse].Name
	}
	return "phase " + strconv.Itoa(r.Phases[0])
}

func phaseCell(phases []int) string {
	var out []string
	for _, p := range phases {
		out = append(out, strconv.Itoa(p))
	}
	return strings.Join(out, " ")
}
