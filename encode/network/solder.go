package network

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// Place puts a circuit on as many cards of the first kind in hw as are
// necessary: relays to signals, poles to contacts, diodes, connector pins and
// the wires between them. Each card keeps within its relays, rows (without
// those kept spare), columns and pins; what joins two cards and does not meet
// the outside has a Link pin on each.
//
// If a strip of diodes or a relay does not fit on an empty card the network is
// nil and the list says what to change: card-row-too-wide, card-pins. Hardware whose
// cards keep every row spare never gets here: the machine stage refuses it.
func Place(c *Circuit, s *store.Store, hw machine.Hardware) (*Network, diag.List) {
	n := newNets(c)
	p := &placing{c: c, s: s, hw: hw, nets: n, board: hw.Cards[0]}
	list := atoms(c, n, hw.Relay.Poles)
	l := newLayout(n, list, p.board, p.pinned())
	if wrong := p.refuse(l); len(wrong) > 0 {
		return nil, wrong
	}
	needed, why := p.least(l)
	for _, by := range tastes {
		l := newLayout(n, list, p.board, p.pinned())
		l.grow(by)
		if l.cards() > 1 && len(list) <= manyAtoms {
			l.improve()
		}
		if l.cards() > max(1, needed) {
			l.dissolve()
			if len(list) <= manyAtoms {
				l.improve()
			}
		}
		if p.l == nil || l.cards() < p.l.cards() || l.cards() == p.l.cards() && l.allPins() < p.l.allPins() {
			p.l = l
		}
		if l.cards() == 1 || len(list) > manyAtoms {
			break
		}
	}
	p.rank()
	p.order()
	net := p.solder()
	net.LeastCards, net.LeastWhy = needed, why
	return net, nil
}

// placing is a circuit on its way to a network.
type placing struct {
	c     *Circuit
	s     *store.Store
	hw    machine.Hardware
	board machine.Card
	nets  *nets
	l     *layout
	cards [][]int // atoms by card, in order of their places and sites

	out       *Network
	names     []string              // by net
	terminals [][][]wiring.Terminal // by net and card
	pole      map[int]pole          // by contact
	link      []int                 // by net, 0 = none
	rowAt     []int                 // of the matrix, by row of the circuit
	pinOf     []map[int]int         // by card: net -> pin
	lines     map[int]int           // net by column
}

// pole is where a contact has gone.
type pole struct{ relay, n int }

// lineNet is the net that leaves the card for a column, or -1.
func (p *placing) lineNet(line int) int {
	if p.lines == nil {
		p.lines = map[int]int{}
		for i, q := range p.c.Points {
			if q.Kind == ColumnPoint && p.nets.outside[i] {
				p.lines[q.N] = i
			}
		}
		for i, q := range p.c.Points {
			if q.Kind == LowPoint {
				p.lines[q.N] = i
			}
		}
	}
	if at, ok := p.lines[line]; ok {
		return at
	}
	return -1
}

// fixedNet is the net that a fixed pin of the connector carries, or -1.
func (p *placing) fixedNet(pin machine.Pin) int {
	if pin.Line >= 0 {
		return p.lineNet(pin.Line)
	}
	if p.isFeed(pin) {
		return p.nets.feed()
	}
	return p.nets.back()
}

// isFeed tells a supply pin that phase wires are fed from.
func (p *placing) isFeed(pin machine.Pin) bool { return (pin.Use == "ground") == p.board.Negative }

// pinned marks the nets that have a fixed pin on every card.
func (p *placing) pinned() []bool {
	out := make([]bool, len(p.nets.outside))
	for _, pin := range p.board.Fixed {
		if n := p.fixedNet(pin); n >= 0 {
			out[n] = true
		}
	}
	return out
}

// refuse reports each strip and relay that would not fit on an empty card,
// and in its hint the size that would hold them all.
func (p *placing) refuse(l *layout) diag.List {
	var list diag.List
	b := p.board
	var wide, pinned, relays []misfit
	card := l.open()
	for i := range l.atoms {
		_, pins := l.change(i, card)
		pins += len(b.Fixed)
		n := len(l.atoms[i].columns)
		if n <= b.Columns && pins <= b.Pins {
			continue
		}
		at, what := p.describe(&l.atoms[i])
		if n > b.Columns {
			wide = append(wide, misfit{at, what, n})
		} else if l.atoms[i].kind == relay {
			relays = append(relays, misfit{at, what, pins})
		} else {
			pinned = append(pinned, misfit{at, what, pins})
		}
	}
	closed := make([]bool, card+1)
	closed[card] = true
	l.close(closed)
	least := most(relays)
	if len(pinned) == 0 {
		pinned = relays // else the rows say it better
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
	fixed, fewer := "", ", or fix fewer pins in its connector"
	switch n := len(b.Fixed); n {
	case 0:
		fewer = ""
	case 1:
		fixed = " with the fixed one"
	default:
		fixed = fmt.Sprintf(" with the %d fixed ones", n)
	}
	for _, x := range pinned {
		described(list.Errorf("card-pins", x.at, "%s needs %d pins%s, card %s has %d", x.what, x.need, fixed, b.Name, b.Pins)).
			Hintf("set pins %d in card %s%s", max(least, most(pinned)), b.Name, fewer).
			Because("card %s has too few pins", b.Name)
	}
	return list
}

// misfit is what does not fit on an empty card, and what it needs there.
type misfit struct {
	at   diag.Place
	what string
	need int
}

func most(of []misfit) (n int) {
	for _, x := range of {
		n = max(n, x.need)
	}
	return n
}

// describe says in words what an atom is, and where what it serves is defined.
func (p *placing) describe(a *atom) (diag.Place, string) {
	owner := func(name string) diag.Place {
		for _, o := range p.s.Owners {
			if o.Name == name {
				return o.At
			}
		}
		return p.board.At
	}
	switch {
	case a.kind == loose:
		return p.board.At, "a diode that leads into a coil"
	case a.kind == relay:
		s := p.c.Signals[a.signal]
		if s.Kind == PulseSignal {
			return owner(s.Owner), fmt.Sprintf("the relay of pulse wire P%d", s.N)
		}
		return owner(s.Owner), "a relay of " + p.follows(a.signal)
	case a.row >= 0:
		r := p.c.Rows[a.row]
		return owner(r.Owner), fmt.Sprintf("the row of %s in %s", r.Owner, phasesName(r.Phases))
	}
	for _, r := range p.c.Rows {
		if p.pulseStrip(r.Wire) == a.to && a.to >= 0 {
			return owner(r.Owner), fmt.Sprintf("the pulse wire of %d phases for %s", len(a.diodes), r.Owner)
		}
	}
	return p.board.At, fmt.Sprintf("a strip of %d diodes", len(a.diodes))
}

// pulseStrip is the point that the diodes of a pulse wire lead into: the wire
// itself, or the coil of its relay.
func (p *placing) pulseStrip(wire int) int {
	if wire < 0 || p.c.Points[wire].Kind != PulsePoint {
		return -1
	}
	for _, s := range p.c.Signals {
		if s.Kind == PulseSignal && s.N == p.c.Points[wire].N {
			return s.Coil
		}
	}
	return wire
}

// follows says what pulls a relay in.
func (p *placing) follows(signal int) string {
	s := p.c.Signals[signal]
	switch s.Kind {
	case OpcodeSignal:
		return fmt.Sprintf("opcode bit %d", s.N)
	case FlagSignal:
		return "flag " + p.s.Flags[s.N]
	case InverterSignal:
		return fmt.Sprintf("line %s, which is low", p.s.Columns[s.N].Name)
	case PulseSignal:
		for _, q := range p.c.Points {
			if q.Kind == PulsePoint && q.N == s.N {
				return fmt.Sprintf("%s, and feeds pulse wire P%d", phasesName(q.Phases), s.N)
			}
		}
	}
	return s.Owner
}

// least is a number of cards that no placement can do with less of, and why:
// each kind of thing has to find room, and every wire to the outside a pin.
func (p *placing) least(l *layout) (cards int, why string) {
	b := p.board
	relays, rows, columns, pins := 0, 0, 0, 0
	used := map[int]bool{}
	for i := range l.atoms {
		switch l.atoms[i].kind {
		case strip:
			rows++
		case relay:
			relays++
		}
		for _, c := range l.atoms[i].columns {
			used[c] = true
		}
	}
	columns = len(used)
	for n, outside := range l.n.outside {
		if outside && !l.pinned[n] && l.total[n] > 0 {
			pins++
		}
	}
	cards, why = 1, "there is something to place"
	for _, x := range []struct {
		what      string
		need, has int
	}{
		{"relays", relays, b.Relays}, {"rows", rows, b.Rows - b.Spare}, {"columns", columns, b.Columns},
		{"pins that meet the outside", pins, b.Pins - len(b.Fixed)},
	} {
		if n := (x.need + x.has - 1) / max(x.has, 1); n > cards {
			cards, why = n, fmt.Sprintf("%d %s, %d on a card", x.need, x.what, x.has)
		}
	}
	return cards, why
}

// order numbers the cards by the first of what stands on them, and what
// stands on a card: strips of pulse wires, then rows, then relays, as listed.
func (p *placing) order() {
	number := map[int]int{}
	order := make([]int, len(p.l.atoms))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int {
		a, b := &p.l.atoms[x], &p.l.atoms[y]
		if a.row < 0 || b.row < 0 {
			return x - y
		}
		return p.rowAt[a.row] - p.rowAt[b.row]
	})
	for _, i := range order {
		on := p.l.on[i]
		k, ok := number[on]
		if !ok {
			k = len(p.cards)
			number[on] = k
			p.cards = append(p.cards, nil)
		}
		p.cards[k] = append(p.cards[k], i)
	}
}

// solder gives names, poles and pins to what stands on the cards, and wires it.
func (p *placing) solder() *Network {
	m := &Matrix{
		Machine: p.s.Machine, Title: p.s.Title, Hash: p.s.Hash, Style: p.c.Style,
		Phases: p.s.Phases, OpcodeBits: p.s.OpcodeBits, Flags: p.s.Flags, Columns: p.s.Columns,
		Omitted: omittedLines(p.s), Board: p.board,
	}
	p.out = &Network{Matrix: m, Cost: p.c.Cost, Bound: p.c.Bound, Because: p.c.Because, List: &wiring.List{
		Machine: m.Machine, Title: m.Title, Hash: m.Hash, Style: m.Style,
		Negative: p.board.Negative, Levels: p.hw.Diode.Levels,
	}}
	p.out.rowAt = p.rowAt
	p.pole = map[int]pole{}
	p.terminals = make([][][]wiring.Terminal, len(p.nets.outside))
	for i := range p.terminals {
		p.terminals[i] = make([][]wiring.Terminal, len(p.cards))
	}
	for i := range p.cards {
		m.Cards = append(m.Cards, Card{Name: fmt.Sprintf("%s %d", p.board.Name, i+1)})
	}
	p.relays()
	p.name()
	p.links()
	for card := range p.cards {
		p.pins(card)
	}
	p.rows()
	for card := range p.cards {
		p.strips(card)
	}
	p.coilDiodes()
	p.suppress()
	slices.SortStableFunc(m.AtCoils, func(x, y CoilDiode) int { return x.Card - y.Card })
	p.wires()
	p.parts()
	return p.out
}

// parts counts what has to be bought.
func (p *placing) parts() {
	add := func(n int, one, more, rest string, args ...any) {
		if n > 1 {
			one = more
		}
		if n > 0 {
			p.out.Parts = append(p.out.Parts, Part{n, one + fmt.Sprintf(rest, args...)})
		}
	}
	r := p.hw.Relay
	n := len(p.out.Relays)
	fed := 0
	for _, r := range p.out.Relays {
		fed += len(r.Fed)
	}
	add(n, "relay", "relays", " with %d poles, coil %g V, %g ohm, contacts for %g A", r.Poles, r.CoilVolts, r.CoilOhms, r.ContactAmperes)
	// Until its Zener diode has taken the current over, a coil that is let go
	// stands with that voltage against the supply's.
	across, current := p.hw.Supply, r.CoilVolts/r.CoilOhms
	if r.Suppression == "zener" {
		across += r.CoilVolts
	}
	const practice = "common practice, no source"
	add(len(p.out.Matrix.Diodes)+fed, "diode", "diodes", " of matrix and coils, for %g mA and, in reverse, %.3g V or more (twice the %.3g V that there are: %s)",
		p.hw.Diode.Limit*1000, 2*across, across, practice)
	if r.Suppression != "none" {
		add(n, "suppression diode", "suppression diodes", ", for the coil's %.3g mA and, in reverse, %.3g V or more (twice the supply: %s)", current*1000, 2*p.hw.Supply, practice)
	}
	if r.Suppression == "zener" {
		add(n, "Zener diode", "Zener diodes", " in series with these, for %.3g V (the coil's own: %s) and %.3g mW (that voltage times the coil's current, which it carries for a moment only)",
			r.CoilVolts, practice, r.CoilVolts*current*1000)
	}
	add(len(p.cards), "card", "cards", " with a connector of %d pins", p.board.Pins)
}

func omittedLines(s *store.Store) []int {
	driven := store.NewSet(len(s.Columns))
	for _, c := range s.Word.Bits {
		if c >= 0 {
			driven.Add(c)
		}
	}
	var out []int
	for i := range s.Columns {
		if !driven.Has(i) {
			out = append(out, i)
		}
	}
	return out
}

// meet notes that a terminal lies on a net.
func (p *placing) meet(net, card int, t wiring.Terminal) {
	if net >= 0 {
		p.terminals[net][card] = append(p.terminals[net][card], t)
	}
}

// relays gives every body a site and its contacts their poles.
func (p *placing) relays() {
	bodies := map[int]int{}
	for _, a := range p.l.atoms {
		if a.kind == relay {
			bodies[a.signal]++
		}
	}
	for card, list := range p.cards {
		site := 0
		for _, i := range list {
			a := &p.l.atoms[i]
			if a.kind != relay {
				continue
			}
			site++
			s := p.c.Signals[a.signal]
			r := Relay{
				Name: fmt.Sprintf("K%d", len(p.out.Relays)+1), Card: card, Site: site, Kind: s.Kind, N: s.N, Signal: a.signal,
				Body: a.body + 1, Bodies: bodies[a.signal], Follows: p.follows(a.signal), In: s.When, Poles: p.hw.Relay.Poles,
			}
			w := wiring.Relay{Name: r.Name, Card: p.out.Matrix.Cards[card].Name, Site: site, Poles: r.Poles}
			a1, a2 := w.Coil()
			r.coil = p.nets.coil(a.signal)
			if a.repeats(p.c) {
				r.coil, r.Repeats = p.nets.repeated(a.signal), true
			}
			p.meet(r.coil, card, a1)
			p.meet(p.nets.back(), card, a2)
			n := 0
			if a.drives {
				n++
				common, _, makes := w.Pole(n)
				p.meet(p.nets.feed(), card, common)
				p.meet(p.nets.repeated(a.signal), card, makes)
				r.Drives = true
			}
			for _, k := range a.contacts {
				if k < 0 {
					continue
				}
				n++
				common, breaks, makes := w.Pole(n)
				p.meet(p.c.Contacts[k].Common, card, common)
				p.meet(p.c.Contacts[k].Break, card, breaks)
				p.meet(p.c.Contacts[k].Make, card, makes)
				p.pole[k] = pole{len(p.out.Relays), n}
			}
			r.Used = n
			p.out.Relays = append(p.out.Relays, r)
			p.out.List.Relays = append(p.out.List.Relays, w)
		}
	}
}

// name names the nets. Relays have theirs by now.
func (p *placing) name() {
	p.names = make([]string, len(p.nets.outside))
	trees := 0
	for i, q := range p.c.Points {
		switch q.Kind {
		case PhasePoint:
			p.names[i] = phaseName(q.N)
		case PulsePoint:
			p.names[i] = fmt.Sprintf("pulse P%d", q.N)
		case TreePoint:
			trees++
			p.names[i] = fmt.Sprintf("tree T%d", trees)
		case RowPoint:
			p.names[i] = fmt.Sprintf("row R%d", p.rowAt[q.N]+1)
		case ColumnPoint:
			p.names[i] = "column " + p.s.Columns[q.N].Name
			if p.nets.outside[i] {
				p.names[i] = "line " + p.s.Columns[q.N].Name
			}
		case LowPoint:
			p.names[i] = "line " + p.s.Columns[q.N].Name
		case CoilPoint:
			p.names[i] = "coil"
		}
	}
	p.names[p.nets.back()], p.names[p.nets.feed()] = "return", "feed"
	for i := range p.out.Relays {
		r := &p.out.Relays[i]
		switch {
		case r.Kind == OpcodeSignal:
			p.names[p.nets.coil(r.Signal)] = "opcode " + strconv.Itoa(r.N)
		case r.Kind == FlagSignal:
			p.names[p.nets.coil(r.Signal)] = "flag " + p.s.Flags[r.N]
		case p.names[r.coil] == "coil":
			p.names[r.coil] = "coil of " + r.Name
		}
		p.names[p.nets.repeated(r.Signal)] = p.names[p.nets.coil(r.Signal)] + " repeated"
	}
	for i := range p.out.Relays {
		p.out.Relays[i].Coil = p.names[p.out.Relays[i].coil]
	}
}

// links numbers the nets that run from card to card and meet nothing outside.
func (p *placing) links() {
	p.link = make([]int, len(p.nets.outside))
	n := 0
	for i := range p.link {
		if !p.nets.outside[i] && p.l.span[i] > 1 {
			n++
			p.link[i] = n
		}
	}
}

// outside is the use of a pin for a net.
func (p *placing) outside(net int) wiring.Use {
	if n := p.link[net]; n > 0 {
		return wiring.Use{Kind: wiring.Link, N: n}
	}
	if net == p.nets.back() {
		return wiring.Use{Kind: wiring.Return}
	}
	if net == p.nets.feed() {
		return wiring.Use{Kind: wiring.Feed}
	}
	if net > p.nets.back() {
		s := p.c.Signals[(net-p.nets.back()-1)/2]
		if s.Kind == FlagSignal {
			return wiring.Use{Kind: wiring.Flag, N: s.N, Name: p.s.Flags[s.N]}
		}
		return wiring.Use{Kind: wiring.Opcode, N: s.N}
	}
	q := p.c.Points[net]
	if q.Kind == PhasePoint {
		return wiring.Use{Kind: wiring.Phase, N: q.N}
	}
	return wiring.Use{Kind: wiring.Line, N: q.N, Name: p.s.Columns[q.N].Name}
}

// useText is what a pin of the matrix says.
func (p *placing) useText(u wiring.Use) string {
	ends := map[bool]string{true: "ground", false: "supply"}
	switch u.Kind {
	case wiring.Line:
		return u.Name
	case wiring.Flag:
		return "flag " + u.Name
	case wiring.Feed:
		return ends[p.board.Negative]
	case wiring.Return:
		return ends[!p.board.Negative]
	}
	return fmt.Sprintf("%s %d", u.Kind, u.N)
}

// pins gives a card its pins: fixed ones by number; then, on the free ones
// from 1 up, the other lines as declared, the phases, opcode bits, flags, the
// two sides of the supply, and the wires to other cards.
func (p *placing) pins(card int) {
	c := &p.out.Matrix.Cards[card]
	taken := map[int]bool{}
	p.pinOf = append(p.pinOf, map[int]int{})
	var list []wiring.Pin
	give := func(number, net int, u wiring.Use) {
		c.Pins = append(c.Pins, Pin{number, p.useText(u)})
		pin := wiring.Pin{Name: fmt.Sprintf("J%d", card+1), Card: c.Name, Pin: number, Use: u}
		list = append(list, pin)
		if net < 0 {
			return
		}
		if _, ok := p.pinOf[card][net]; !ok {
			p.pinOf[card][net] = number
		}
		p.terminals[net][card] = append(p.terminals[net][card], pin.Terminal())
	}
	here := func(net int) bool { return net >= 0 && p.l.count[net][p.l.on[p.cards[card][0]]] > 0 }
	for _, f := range p.board.Fixed {
		taken[f.Number] = true
		net := p.fixedNet(f)
		use := wiring.Use{Kind: wiring.Return}
		switch {
		case f.Line >= 0:
			use = wiring.Use{Kind: wiring.Line, N: f.Line, Name: f.Use}
		case p.isFeed(f):
			use.Kind = wiring.Feed
		}
		if !here(net) {
			net = -1
		}
		give(f.Number, net, use)
	}
	free := 0
	next := func(net int) {
		if !here(net) || p.l.pinned[net] {
			return
		}
		for free++; taken[free]; free++ {
		}
		give(free, net, p.outside(net))
	}
	for i := range p.s.Columns {
		next(p.lineNet(i))
	}
	order := func(kind PointKind) {
		for i, q := range p.c.Points {
			if q.Kind == kind {
				next(i)
			}
		}
	}
	order(PhasePoint)
	for i, s := range p.c.Signals {
		if s.Coil < 0 {
			next(p.nets.coil(i))
		}
	}
	next(p.nets.feed())
	next(p.nets.back())
	for net, n := range p.link {
		if n > 0 {
			next(net)
		}
	}
	slices.SortFunc(c.Pins, func(x, y Pin) int { return x.Number - y.Number })
	slices.SortFunc(list, func(x, y wiring.Pin) int { return x.Pin - y.Pin })
	p.out.List.Pins = append(p.out.List.Pins, list...)
}

// rows lists pulse wires and rows for the matrix; strips have their places.
func (p *placing) rows() {
	m := p.out.Matrix
	pulse := map[int]int{}
	for i, q := range p.c.Points {
		if q.Kind == PulsePoint {
			pulse[i] = len(m.Pulses)
			m.Pulses = append(m.Pulses, Pulse{Name: fmt.Sprintf("P%d", q.N), Phases: q.Phases, Card: -1, point: i})
		}
	}
	m.Rows = make([]Row, len(p.c.Rows))
	for i, r := range p.c.Rows {
		k := p.rowAt[i]
		owner, kind := p.owner(r)
		row := Row{Name: fmt.Sprintf("R%d", k+1), Owner: owner, Kind: kind, Phases: r.Phases, Pulse: -1, Lines: r.Lines, Card: -1, Direct: r.Direct}
		if q, ok := pulse[r.Wire]; ok {
			row.Pulse = q
		}
		row.Opcodes, row.Flags = p.when(r)
		row.Feed = p.fed(r)
		m.Rows[k] = row
	}
	for card, list := range p.cards {
		place := 0
		for _, i := range list {
			a := &p.l.atoms[i]
			if a.kind != strip {
				continue
			}
			place++
			switch {
			case a.row >= 0:
				r := &m.Rows[p.rowAt[a.row]]
				r.Card, r.Place, r.Pin = card, place, p.pinOf[card][p.c.Rows[a.row].Point]
			case a.to >= 0:
				for k := range m.Pulses {
					if q := &m.Pulses[k]; p.pulseStrip(q.point) == a.to {
						q.Card, q.Place, q.Pin = card, place, p.pinOf[card][a.to]
					}
				}
			}
		}
	}
	for i, k := range p.rowAt {
		if r := &m.Rows[k]; r.Direct {
			r.Card = p.lastCard(p.c.Rows[i])
		}
	}
	for i, k := range p.c.Contacts {
		s := p.c.Signals[k.Signal]
		if s.Kind != PulseSignal && s.Kind != InverterSignal {
			continue
		}
		at := p.pole[i]
		relay := p.out.List.Relays[at.relay]
		coil, _ := relay.Coil()
		_, breaks, makes := relay.Pole(at.n)
		if s.Kind == InverterSignal {
			m.Inverters = append(m.Inverters, Inverter{s.N, string(coil), string(breaks)})
			continue
		}
		if q := pulse[k.Make]; m.Pulses[q].point == k.Make {
			m.Pulses[q].Coil, m.Pulses[q].Contact = string(coil), string(makes)
		}
	}
	slices.SortFunc(m.Inverters, func(x, y Inverter) int { return x.Line - y.Line })
}

// rank numbers the rows by whose they are, then by condition, phases and lines.
func (p *placing) rank() {
	owner := make([]int, len(p.c.Rows))
	order := make([]int, len(p.c.Rows))
	for i, r := range p.c.Rows {
		order[i] = i
		name, kind := p.owner(r)
		owner[i] = slices.IndexFunc(p.s.Owners, func(o store.Owner) bool { return o.Name == name })
		if kind == "shared" {
			owner[i] = len(p.s.Owners)
		}
	}
	when := make([]string, len(p.c.Rows))
	for i, r := range p.c.Rows {
		opcodes, flags := p.when(r)
		when[i] = fmt.Sprintf("%02d", flags.Literals()) + flags.Text(len(p.s.Flags)) + fmt.Sprint(opcodes)
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := &p.c.Rows[i], &p.c.Rows[j]
		return cmp.Or(owner[i]-owner[j], cmp.Compare(when[i], when[j]), slices.Compare(a.Phases, b.Phases), slices.Compare(a.Lines, b.Lines))
	})
	p.rowAt = make([]int, len(order))
	for k, i := range order {
		p.rowAt[i] = k
	}
}

// owner names whose a row is, and what kind of owner that is. A row for every
// opcode is that of the fetch if the fetch asks for it in all its phases.
func (p *placing) owner(r CircuitRow) (name, kind string) {
	name = r.Owner
	if len(r.When) == 0 {
		name = "every path"
		for _, o := range p.s.Owners {
			if o.Kind == "fetch" && p.fetched(r) {
				name = o.Name
			}
		}
	}
	for _, o := range p.s.Owners {
		if o.Name == name {
			return name, o.Kind
		}
	}
	return name, "shared"
}

// fetched tells a row whose lines the fetch has on in each of its phases, whatever the flags.
func (p *placing) fetched(r CircuitRow) bool {
	for _, phase := range r.Phases {
		for _, l := range r.Lines {
			if !slices.ContainsFunc(p.s.Rows, func(x store.Row) bool {
				return p.s.Owners[x.Owner].Kind == "fetch" && x.Phase == phase && x.Lines.Has(l)
			}) {
				return false
			}
		}
	}
	return true
}

// lastCard is the card of the contact that a row without diodes ends on.
func (p *placing) lastCard(r CircuitRow) int {
	if len(r.Through) == 0 {
		return 0
	}
	return p.out.Relays[p.pole[r.Through[len(r.Through)-1]].relay].Card
}

// fed is what feeds a row: the terminal of the last contact, or its wire.
func (p *placing) fed(r CircuitRow) string {
	if len(r.Through) == 0 {
		return p.names[r.Wire]
	}
	k := r.Through[len(r.Through)-1]
	at := p.pole[k]
	common, breaks, makes := p.out.List.Relays[at.relay].Pole(at.n)
	switch r.Point {
	case p.c.Contacts[k].Make:
		return string(makes)
	case p.c.Contacts[k].Break:
		return string(breaks)
	}
	return string(common)
}

// strips names the diodes of a card and puts them on their nets.
func (p *placing) strips(card int) {
	m := p.out.Matrix
	c := &m.Cards[card]
	column := map[int]int{} // point -> column on the card
	var points []int
	for _, i := range p.cards[card] {
		points = append(points, p.l.atoms[i].columns...)
	}
	slices.SortFunc(points, func(x, y int) int { return p.c.Points[x].N - p.c.Points[y].N })
	for _, q := range slices.Compact(points) {
		c.Columns = append(c.Columns, p.c.Points[q].N)
		c.Leave = append(c.Leave, p.pinOf[card][q])
		column[q] = len(c.Columns)
	}
	place := 0
	for _, i := range p.cards[card] {
		a := &p.l.atoms[i]
		if a.kind != strip {
			continue
		}
		place++
		row := -1
		if a.row >= 0 {
			row = p.rowAt[a.row]
		}
		slices.SortFunc(a.diodes, func(x, y int) int {
			dx, dy := p.c.Diodes[x], p.c.Diodes[y]
			return cmp.Or(p.c.Points[dx.From].N-p.c.Points[dy.From].N, p.c.Points[dx.To].N-p.c.Points[dy.To].N)
		})
		for _, k := range a.diodes {
			j := p.c.Diodes[k]
			d := Diode{Name: fmt.Sprintf("D%d", len(m.Diodes)+1), Card: card, Place: place, Row: row, Pulse: -1, Line: -1}
			if a.row >= 0 {
				d.Column, d.Line = column[j.To], p.c.Points[j.To].N
				d.Pin = p.pinOf[card][j.To]
			} else {
				d.Pulse = slices.IndexFunc(m.Pulses, func(q Pulse) bool { return p.pulseStrip(q.point) == a.to })
				d.Phase = p.c.Points[j.From].N
				d.Pin = p.pinOf[card][j.From]
			}
			m.Diodes = append(m.Diodes, d)
			p.diode(d.Name, card, j.From, j.To)
		}
	}
}

// diode adds a diode whose signal runs from one net to another.
func (p *placing) diode(name string, card, from, to int) {
	d := wiring.Diode{Name: name, Card: p.out.Matrix.Cards[card].Name}
	anode, cathode := d.Ends()
	if p.board.Negative {
		anode, cathode = cathode, anode
	}
	p.meet(from, card, anode)
	p.meet(to, card, cathode)
	p.out.List.Diodes = append(p.out.List.Diodes, d)
}

// coilDiodes names the diodes that lead into coils.
func (p *placing) coilDiodes() {
	first := map[int]int{} // relay by the net of its coil
	for i := range p.out.Relays {
		if r := &p.out.Relays[i]; r.Body == 1 {
			first[r.coil] = i
		}
	}
	for card, list := range p.cards {
		for _, i := range list {
			if a := &p.l.atoms[i]; a.kind == loose {
				j := p.c.Diodes[a.diodes[0]]
				name := fmt.Sprintf("D%d", len(p.out.List.Diodes)+1)
				r := &p.out.Relays[first[j.To]]
				r.Fed = append(r.Fed, name)
				p.diode(name, card, j.From, j.To)
				d := CoilDiode{Name: name, Card: card, Relay: r.Name, Site: r.Site, Anode: p.near(j.From, card), Band: p.near(j.To, card)}
				if r.Card != card {
					d.Site = 0
				}
				if p.board.Negative {
					d.Anode, d.Band = d.Band, d.Anode
				}
				p.out.Matrix.AtCoils = append(p.out.Matrix.AtCoils, d)
			}
		}
	}
}

// near names a net on a card by what is found there: a terminal of a relay, or
// the pin that it comes in by.
func (p *placing) near(net, card int) string {
	found := ""
	for _, t := range p.terminals[net][card] {
		switch {
		case t[0] == 'K':
			return string(t)
		case t[0] == 'J' && found == "":
			found = string(t)
		}
	}
	if found == "" {
		return p.names[net]
	}
	return found
}

// suppress puts a diode across every coil, against the current that drives
// it; with a Zener diode in series that faces the other way if so wanted.
func (p *placing) suppress() {
	if p.hw.Relay.Suppression == "none" {
		return
	}
	zener := p.hw.Relay.Suppression == "zener"
	n := len(p.out.List.Diodes)
	for i := range p.out.Relays {
		r := &p.out.Relays[i]
		n++
		d := fmt.Sprintf("D%d", n)
		r.Suppression = []string{d}
		back := p.nets.back()
		a1, a2 := p.out.List.Relays[i].Coil()
		add := func(name, from, to string) {
			if p.board.Negative {
				from, to = to, from
			}
			p.out.Matrix.AtCoils = append(p.out.Matrix.AtCoils, CoilDiode{name, r.Card, r.Name, r.Site, true, from, to})
		}
		if !zener {
			p.diode(d, r.Card, back, r.coil)
			add(d, string(a2), string(a1))
			continue
		}
		z := fmt.Sprintf("Z%d", i+1)
		r.Suppression = append(r.Suppression, z)
		middle := len(p.terminals)
		p.names = append(p.names, d+" to "+z)
		p.link = append(p.link, 0)
		p.terminals = append(p.terminals, make([][]wiring.Terminal, len(p.cards)))
		p.diode(d, r.Card, middle, r.coil)
		p.diode(z, r.Card, middle, back)
		near := ":A"
		if p.board.Negative {
			near = ":K"
		}
		add(d, z+near, string(a1))
		add(z, d+near, string(a2))
	}
}

// wires chains the terminals of every net, card by card. The diode across a
// coil hangs on the terminals of that coil alone: at the end of a chain one bad
// joint would take it from many coils, and nothing would show.
func (p *placing) wires() {
	own := map[wiring.Terminal]wiring.Terminal{}
	for i, r := range p.out.Relays {
		if r.Suppression == nil {
			continue
		}
		a1, a2 := p.out.List.Relays[i].Coil()
		band, other := ":K", ":A"
		if p.board.Negative {
			band, other = other, band
		}
		own[wiring.Terminal(r.Suppression[0]+band)] = a1
		if len(r.Suppression) > 1 { // the Zener diode faces the other way
			own[wiring.Terminal(r.Suppression[1]+band)] = a2
		} else {
			own[wiring.Terminal(r.Suppression[0]+other)] = a2
		}
	}
	for _, net := range p.netOrder() {
		byCard := p.terminals[net]
		out := Net{Name: p.names[net], Link: p.link[net]}
		for card, list := range byCard {
			if len(list) == 0 {
				continue
			}
			on := NetCard{Card: card}
			chain, spurs := list[:0:0], map[wiring.Terminal]wiring.Terminal{}
			for _, t := range list {
				if coil, ok := own[t]; ok {
					spurs[coil] = t
				} else {
					chain = append(chain, t)
				}
			}
			slices.SortStableFunc(chain, func(x, y wiring.Terminal) int { return rank(x) - rank(y) })
			for i, t := range chain {
				if i > 0 {
					on.Wires = append(on.Wires, wiring.Wire{Net: out.Name, From: chain[i-1], To: t})
				}
				on.Terminals = append(on.Terminals, t)
				if diode, ok := spurs[t]; ok {
					on.Wires = append(on.Wires, wiring.Wire{Net: out.Name, From: t, To: diode})
					on.Terminals = append(on.Terminals, diode)
				}
			}
			out.Cards = append(out.Cards, on)
			p.out.List.Wires = append(p.out.List.Wires, on.Wires...)
		}
		if out.Cards != nil {
			p.out.Nets = append(p.out.Nets, out)
		}
	}
}

// netOrder lists the nets as a person looks for them: the supply, opcode and
// flags, phases and pulses, trees, coils, rows, lines; what is left comes last.
func (p *placing) netOrder() []int {
	group := func(net int) int {
		switch {
		case net == p.nets.back() || net == p.nets.feed():
			return 0
		case net >= len(p.nets.outside):
			return 9
		case net > p.nets.back():
			return 1
		}
		return map[PointKind]int{PhasePoint: 2, PulsePoint: 3, TreePoint: 4, CoilPoint: 5, RowPoint: 6, ColumnPoint: 7, LowPoint: 8}[p.c.Points[net].Kind]
	}
	at := func(net int) int {
		if group(net) == 6 {
			return p.rowAt[p.c.Points[net].N]
		}
		if g := group(net); g == 2 || g == 7 || g == 8 {
			return p.c.Points[net].N
		}
		return net
	}
	out := make([]int, len(p.terminals))
	for i := range out {
		out[i] = i
	}
	slices.SortStableFunc(out, func(x, y int) int { return cmp.Or(group(x)-group(y), at(x)-at(y)) })
	return out
}

// rank puts pins before relays before diodes; within these they are in order.
func rank(t wiring.Terminal) int {
	switch t[0] {
	case 'J':
		return 0
	case 'K':
		return 1
	}
	return 2
}

// when splits the condition of a row into opcodes and flags where every cube
// asks the same of the flags; else the flags stay above the opcode bits.
func (p *placing) when(r CircuitRow) (opcodes []cube.Cube, flags cube.Cube) {
	if len(r.When) == 0 {
		return nil, cube.Cube{}
	}
	low := uint64(1)<<p.s.OpcodeBits - 1
	above := func(c cube.Cube) cube.Cube {
		return cube.Cube{Care: c.Care >> p.s.OpcodeBits, Value: c.Value >> p.s.OpcodeBits}
	}
	list := cube.Joined(r.When)
	for _, c := range list {
		if above(c) != above(list[0]) {
			return list, cube.Cube{}
		}
	}
	for _, c := range list {
		opcodes = append(opcodes, cube.Cube{Care: c.Care & low, Value: c.Value & low})
	}
	if slices.Contains(opcodes, cube.Cube{}) {
		opcodes = nil
	}
	return opcodes, above(list[0])
}
