package network

import (
	"slices"

	"coilwright/encode/machine"
)

// kind of an atom.
type kind int

const (
	strip kind = iota // of diodes: takes up a row of its card
	relay
	loose // a diode that leads into a coil: room is found for it beside a relay
)

// atom is what stands on one card as a whole.
type atom struct {
	kind     kind
	signal   int   // that the relay follows; -1 for others
	body     int   // number of the relay among those of its signal, from 0
	drives   bool  // its first pole feeds the coils of the other bodies
	contacts []int // of a relay, by pole; -1 = a pole that is free
	row      int   // that the strip serves, or -1
	from     int   // point of a strip whose diodes leave it, or -1
	to       int   // point of a strip whose diodes lead into it, or -1
	diodes   []int // of a strip; the loose one
	nets     []use // what it touches, by net
	columns  []int // points of columns that it takes up on its card
}

// use says how many terminals of an atom lie on a net.
type use struct{ net, n int }

// nets are numbered: the points of the circuit, the return, for each signal
// the net of its coil and that of the coils that its first body drives, and a
// feed for circuits that have none themselves.
type nets struct {
	c       *Circuit
	outside []bool // meets something beyond the card: a pin on every card it is on, whatever else
	column  []bool
}

func newNets(c *Circuit) *nets {
	n := &nets{c: c, outside: make([]bool, len(c.Points)+2+2*len(c.Signals)), column: make([]bool, len(c.Points))}
	for i, p := range c.Points {
		switch p.Kind {
		case FeedPoint, PhasePoint, LowPoint:
			n.outside[i] = true
		case ColumnPoint:
			n.outside[i], n.column[i] = true, true
		}
	}
	n.outside[n.back()], n.outside[n.feed()] = true, true
	for i, s := range c.Signals {
		if s.Coil >= 0 {
			n.outside[s.Coil] = false
		} else {
			n.outside[n.coil(i)] = true
		}
	}
	return n
}

// back is the net of the return.
func (n *nets) back() int { return len(n.c.Points) }

// coil is the net of the first coil of a signal.
func (n *nets) coil(signal int) int {
	if p := n.c.Signals[signal].Coil; p >= 0 {
		return p
	}
	return n.back() + 1 + 2*signal
}

// repeated is the net of the coils that the first body of a signal drives.
func (n *nets) repeated(signal int) int { return n.back() + 2 + 2*signal }

// feed is the net of the feed.
func (n *nets) feed() int {
	if i := slices.IndexFunc(n.c.Points, func(p Point) bool { return p.Kind == FeedPoint }); i >= 0 {
		return i
	}
	return len(n.outside) - 1
}

// atoms cuts a circuit into what has to stand on cards: strips of pulse wires,
// strips of rows, relays. The contacts of a signal go onto its bodies in the
// order in which the circuit lists them, which keeps those of one tree together.
func atoms(c *Circuit, n *nets, poles int) []atom {
	var out []atom
	strips := map[[2]int]int{}
	at := func(row, from, to int) *atom {
		key := [2]int{from, to}
		if row >= 0 {
			key = [2]int{row, -2}
		}
		i, ok := strips[key]
		if !ok {
			i = len(out)
			strips[key] = i
			out = append(out, atom{signal: -1, row: row, from: from, to: to})
		}
		return &out[i]
	}
	rows := map[[2]int]int{} // row of the diode from a point to a column
	for i, r := range c.Rows {
		for _, d := range r.Lines {
			if k := [2]int{r.Point, d}; !r.Direct {
				if _, ok := rows[k]; !ok {
					rows[k] = i
				}
			}
		}
	}
	var late []int // diodes of rows: their strips follow those of the pulse wires
	var coils []atom
	for i, d := range c.Diodes {
		if n.column[d.To] {
			late = append(late, i)
			continue
		}
		if p := c.Points[d.To]; p.Kind == CoilPoint && c.Signals[p.N].Kind != PulseSignal {
			coils = append(coils, atom{kind: loose, signal: -1, row: -1, from: -1, to: -1, diodes: []int{i}})
			continue
		}
		a := at(-1, -1, d.To)
		a.diodes = append(a.diodes, i)
	}
	of := func(i int) (row int, ok bool) {
		d := c.Diodes[i]
		row, ok = rows[[2]int{d.From, c.Points[d.To].N}]
		return row, ok
	}
	slices.SortStableFunc(late, func(i, j int) int {
		a, _ := of(i)
		b, _ := of(j)
		return a - b
	})
	for _, i := range late {
		var a *atom
		if row, ok := of(i); ok {
			a = at(row, c.Diodes[i].From, -1)
		} else {
			a = at(-1, c.Diodes[i].From, -1)
		}
		a.diodes = append(a.diodes, i)
	}
	contacts := make([][]int, len(c.Signals))
	for i, k := range c.Contacts {
		contacts[k.Signal] = append(contacts[k.Signal], i)
	}
	for s, mine := range contacts {
		bodies, drivers := c.Signals[s].Kind.bodies(len(mine), poles)
		for b := range bodies {
			a := atom{kind: relay, signal: s, body: b, row: -1, from: -1, to: -1, drives: b == 0 && drivers > 0}
			room := poles
			if a.drives {
				room--
			}
			take := min(room, len(mine))
			a.contacts, mine = slices.Clone(mine[:take]), mine[take:]
			for len(a.contacts) < room {
				a.contacts = append(a.contacts, -1)
			}
			out = append(out, a)
		}
	}
	out = append(out, coils...)
	for i := range out {
		out[i].touch(n)
	}
	return out
}

// touch works out the nets and columns of an atom.
func (a *atom) touch(n *nets) {
	terminals := map[int]int{}
	columns := map[int]bool{}
	end := func(net int, column bool) {
		if net < 0 {
			return
		}
		terminals[net]++
		if column && net < len(n.column) && n.column[net] {
			columns[net] = true
		}
	}
	for _, d := range a.diodes {
		end(n.c.Diodes[d].From, a.kind == strip)
		end(n.c.Diodes[d].To, a.kind == strip)
	}
	if a.kind == relay {
		coil := n.coil(a.signal)
		if a.repeats(n.c) {
			coil = n.repeated(a.signal)
		}
		end(coil, false)
		end(n.back(), false)
		if a.drives {
			end(n.feed(), false)
			end(n.repeated(a.signal), false)
		}
		for _, k := range a.contacts {
			if k >= 0 {
				end(n.c.Contacts[k].Common, true)
				end(n.c.Contacts[k].Break, true)
				end(n.c.Contacts[k].Make, true)
			}
		}
	}
	a.nets, a.columns = nil, nil
	for net, t := range terminals {
		a.nets = append(a.nets, use{net, t})
	}
	slices.SortFunc(a.nets, func(x, y use) int { return x.net - y.net })
	for p := range columns {
		a.columns = append(a.columns, p)
	}
	slices.Sort(a.columns)
}

// repeats tells a relay whose coil hangs on a contact of the first body.
func (a *atom) repeats(c *Circuit) bool {
	if a.body == 0 {
		return false
	}
	k := c.Signals[a.signal].Kind
	return (k == OpcodeSignal || k == FlagSignal) && len(a.contacts) > 1
}

// pool is the card of what has no card yet.
const pool = 0

// layout is which atom stands on which card, from 1, with what every card
// carries. A net that meets the outside takes a pin on every card it is on;
// any other takes one on each of its cards if it is on more than one.
type layout struct {
	n      *nets
	atoms  []atom
	board  machine.Card
	pinned []bool // nets with a fixed pin on every card
	on     []int  // by atom

	count   [][]int // terminals by net and card
	total   []int   // by net
	span    []int   // cards by net, the pool one of them
	columns [][]int // atoms by column point and card
	width   []int   // by card: columns
	relays  []int
	rows    []int
	pins    []int // fixed ones left out
	touch   [][]int
	kinds   [loose + 1][]int // atoms by kind
	work    int              // evaluations so far
}

func newLayout(n *nets, of []atom, board machine.Card, pinned []bool) *layout {
	list := slices.Clone(of)
	for i := range list {
		list[i].contacts = slices.Clone(list[i].contacts)
	}
	l := &layout{n: n, atoms: list, board: board, pinned: pinned, on: make([]int, len(list)),
		count: make([][]int, len(n.outside)), total: make([]int, len(n.outside)), span: make([]int, len(n.outside)),
		columns: make([][]int, len(n.column)), touch: make([][]int, len(n.outside))}
	if len(list) > manyAtoms { // many cards are to come: room for their counts at once
		for i := range l.count {
			l.count[i] = make([]int, 0, 64)
		}
	}
	l.open()
	for i := range list {
		l.enter(&list[i], pool)
		l.kinds[list[i].kind] = append(l.kinds[list[i].kind], i)
		for _, u := range list[i].nets {
			l.touch[u.net] = append(l.touch[u.net], i)
		}
	}
	return l
}

// open adds an empty card and returns its number.
func (l *layout) open() int {
	for i := range l.count {
		l.count[i] = append(l.count[i], 0)
	}
	for i := range l.columns {
		if l.n.column[i] {
			l.columns[i] = append(l.columns[i], 0)
		}
	}
	l.width, l.relays = append(l.width, 0), append(l.relays, 0)
	l.rows, l.pins = append(l.rows, 0), append(l.pins, 0)
	return len(l.pins) - 1
}

// enter puts what an atom carries onto a card, without its pins.
func (l *layout) enter(a *atom, card int) {
	for _, u := range a.nets {
		if l.count[u.net][card] == 0 {
			l.span[u.net]++
		}
		l.count[u.net][card] += u.n
		l.total[u.net] += u.n
	}
	for _, p := range a.columns {
		if l.columns[p][card]++; l.columns[p][card] == 1 {
			l.width[card]++
		}
	}
	switch a.kind {
	case strip:
		l.rows[card]++
	case relay:
		l.relays[card]++
	}
}

func (l *layout) leave(a *atom, card int) {
	for _, u := range a.nets {
		l.count[u.net][card] -= u.n
		l.total[u.net] -= u.n
		if l.count[u.net][card] == 0 {
			l.span[u.net]--
		}
	}
	for _, p := range a.columns {
		if l.columns[p][card]--; l.columns[p][card] == 0 {
			l.width[card]--
		}
	}
	switch a.kind {
	case strip:
		l.rows[card]--
	case relay:
		l.relays[card]--
	}
}

// needs is the pins that a net on n cards takes on each of them.
func (l *layout) needs(net, n int) int {
	if !l.pinned[net] && (l.outside(net) || n > 1) {
		return 1
	}
	return 0
}

func (l *layout) outside(net int) bool { return l.n.outside[net] }

// change returns by how many pins the cards would differ if atom i moved:
// no third card can be touched by it.
func (l *layout) change(i, to int) (left, entered int) {
	l.work++
	from := l.on[i]
	for _, u := range l.atoms[i].nets {
		was := l.span[u.net]
		will, gone, fresh := was, l.count[u.net][from] == u.n, l.count[u.net][to] == 0
		if gone {
			will--
		}
		if fresh {
			will++
		}
		before, after := l.needs(u.net, was), l.needs(u.net, will)
		if left -= before; !gone {
			left += after
		}
		if entered += after; !fresh {
			entered -= before
		}
	}
	return left, entered
}

// move puts atom i onto another card.
func (l *layout) move(i, to int) {
	from := l.on[i]
	left, entered := l.change(i, to)
	l.pins[from] += left
	l.pins[to] += entered
	l.leave(&l.atoms[i], from)
	l.enter(&l.atoms[i], to)
	l.on[i] = to
}

// room is what is left on a card by relays, rows, columns and pins.
func (l *layout) room(card int) [4]int {
	return [4]int{
		l.board.Relays - l.relays[card], l.board.Rows - l.board.Spare - l.rows[card],
		l.board.Columns - l.width[card], l.board.Pins - len(l.board.Fixed) - l.pins[card],
	}
}

// takes is what an atom would take of a card's room, without pins.
func (l *layout) takes(i, card int) (t [4]int) {
	a := &l.atoms[i]
	switch a.kind {
	case strip:
		t[1] = 1
	case relay:
		t[0] = 1
	}
	for _, p := range a.columns {
		if l.columns[p][card] == 0 {
			t[2]++
		}
	}
	return t
}

func (l *layout) cards() int { return len(l.pins) - 1 }

// allPins counts the pins of all cards.
func (l *layout) allPins() int {
	n := 0
	for _, p := range l.pins[1:] {
		n += p
	}
	return n
}

// taste weighs, in the growth of a card, the pins that an atom adds against the
// wires that it shares with what is there.
type taste struct{ pins, shared int }

// manyAtoms is from where on time matters more than a pin: some fifty cards.
const manyAtoms = 2000

// tastes are tried one after the other; the fewest cards win, then the fewest pins.
var tastes = [...]taste{{2, 1}, {1, 1}}

// grow fills one card after the other. Each begins with the first atom that
// has no card; then comes what suits the card best. A card may pass through
// states that need too many pins; it ends in the last one that does not.
func (l *layout) grow(by taste) {
	for {
		seed := slices.Index(l.on, pool)
		if seed < 0 {
			return
		}
		card := l.open()
		g := growth{layout: l, card: card, taste: by, known: make([]bool, len(l.atoms))}
		var trail []int
		good := 0
		for next := seed; next >= 0; next = g.best() {
			l.move(next, card)
			g.meet(next)
			trail = append(trail, next)
			if l.room(card)[3] >= 0 {
				good = len(trail)
			}
		}
		for _, i := range trail[max(good, 1):] {
			l.move(i, pool)
		}
	}
}

// growth is a card being filled.
type growth struct {
	*layout
	card int
	taste
	past  [loose + 1]int // by kind: how many of its atoms have a card, from the first on
	known []bool         // atoms that share a wire with what is there, and some others
	list  []int          // these
}

// crowd is on how many atoms a net lies that says nothing of what belongs
// together: fewer where there are many atoms, or every card would look at all.
func (g *growth) crowd() int {
	if len(g.atoms) > manyAtoms {
		return 12
	}
	return 200
}

// meet notes what shares a wire with atom i.
func (g *growth) meet(i int) {
	for _, u := range g.atoms[i].nets {
		if len(g.touch[u.net]) <= g.crowd() {
			for _, j := range g.touch[u.net] {
				g.note(j)
			}
		}
	}
}

func (g *growth) note(i int) {
	if !g.known[i] && g.on[i] == pool {
		g.known[i] = true
		g.list = append(g.list, i)
	}
}

// fewLooks is how many atoms a card looks at where there are many.
const fewLooks = 48

// strangers is how many atoms of each kind a card looks at that share nothing with it.
const strangers = 8

// best picks the atom that the card takes next, or -1; of equals the first listed.
func (g *growth) best() int {
	for k, atoms := range g.kinds {
		for g.past[k] < len(atoms) && g.on[atoms[g.past[k]]] != pool {
			g.past[k]++
		}
		few := strangers
		for at := g.past[k]; at < len(atoms) && few > 0; at++ {
			if i := atoms[at]; g.on[i] == pool {
				few--
				g.note(i)
			}
		}
	}
	room := g.room(g.card)
	pick, least := -1, 0
	kept := g.list[:0]
	for _, i := range g.list {
		if g.on[i] != pool {
			continue
		}
		if k := g.atoms[i].kind; k == strip && room[1] < 1 || k == relay && room[0] < 1 {
			continue // and never again: a card only fills up
		}
		kept = append(kept, i)
		if len(g.atoms) > manyAtoms && len(kept) > fewLooks {
			continue
		}
		if t := g.takes(i, g.card); t[0] > room[0] || t[1] > room[1] || t[2] > room[2] {
			continue
		}
		_, pins := g.change(i, g.card)
		shared := 0
		for _, u := range g.atoms[i].nets {
			if !g.outside(u.net) && g.count[u.net][g.card] > 0 {
				shared++
			}
		}
		cost := pins*g.taste.pins - shared*g.taste.shared
		if pick < 0 || cost < least || cost == least && i < pick {
			pick, least = i, cost
		}
	}
	g.list = kept
	return pick
}
