package network

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
)

// Styles of a network, in the order in which they give up what is easy to read.
var Styles = []string{"plain", "shared", "minimal"}

// MostRows is how many rows a plain matrix may have to be drawn: some two
// hundred cards of forty rows. Beyond it nobody solders, and memory chips serve.
const MostRows = 8000

// TooLarge is the error for a store with more rows than MostRows.
type TooLarge struct{ Rows int }

func (e *TooLarge) Error() string {
	return fmt.Sprintf("the plain style has %d rows: above %d no network of relays and diodes is drawn; memory chips can hold the store", e.Rows, MostRows)
}

// Build turns a store into a circuit in one of the Styles. Plain has a relay
// for each pattern of opcode and flags and a row for each (pattern, set of
// phases). Shared lets instructions share rows and finds its own wires and
// conditions by cost. Minimal also uses what is free: opcodes in s.Free, and
// the phases after the restart of a path.
//
// Neither is ever dearer than plain: if the search finds nothing better, it
// keeps what plain has. Minimal takes what shared has found where that may cost
// less.
//
// The error is a *TooLarge, or names a style that is none.
func Build(s *store.Store, ch store.Changes, hw machine.Hardware, style string) (*Circuit, error) {
	return build(s, ch, hw, style, effort)
}

func build(s *store.Store, ch store.Changes, hw machine.Hardware, style string, effort int) (*Circuit, error) {
	if !slices.Contains(Styles, style) {
		return nil, fmt.Errorf("there is no style %q: plain, shared, minimal", style)
	}
	columns := drivenColumns(s)
	driven := store.NewSet(len(s.Columns))
	for _, c := range columns {
		driven.Add(c)
	}
	drafts := gather(s, driven)
	if len(drafts) > MostRows {
		return nil, &TooLarge{len(drafts)}
	}
	var best *Circuit
	var bound float64
	var because []string
	order := map[string][]string{"plain": {"plain"}, "shared": {"plain", "shared"}, "minimal": {"plain", "minimal", "shared"}}[style]
	for _, st := range order {
		d := newDesigner(s, ch, hw, columns, st == "minimal")
		if st == style {
			bound, because = d.bound(s)
		}
		reach := math.Inf(1)
		if st != style && st != "plain" {
			// More freedom does not always lead the search to more: what does without
			// may do as well. Dealing has brought a fifth at the most.
			reach = best.Cost.Total * 1.25
		}
		var c *Circuit
		if st == "plain" {
			c = d.plain(s, drafts)
		} else {
			p := d.byPattern(effort / 3)
			if p != nil && !p.possible() {
				p = nil
			}
			if p != nil {
				c = d.draw(s, d.folded(p, d.foldTries(p)))
			}
			if c == nil || len(d.pieces) <= mostPieces {
				e := newDesigner(s, ch, hw, columns, st == "minimal")
				x := e.cheapest(s, effort, reach)
				// Dealing takes a while: not for a plan that is out of reach.
				if p != nil && c.Price(hw).Total < reach && (x == nil || c.Price(hw).Total < 1.2*x.Price(hw).Total) {
					p = d.deal(p, d.dealWork(effort))
					c = d.draw(s, d.folded(p, d.foldTries(p)))
				}
				if c == nil || x != nil && x.Price(hw).Total < c.Price(hw).Total {
					c = x
				}
			}
		}
		if c != nil { // else nothing but plain will do
			c.Cost = c.Price(hw)
			if best == nil || c.Cost.Total < best.Cost.Total {
				best = c
			}
		}
	}
	best.Style, best.Bound, best.Because = style, bound, because
	return best, nil
}

// drivenColumns lists the columns that the control word drives, ascending.
func drivenColumns(s *store.Store) []int {
	driven := store.NewSet(len(s.Columns))
	for _, c := range s.Word.Bits {
		if c >= 0 {
			driven.Add(c)
		}
	}
	return driven.Columns()
}

// plain gives each row a tree of its own, which is one pole of its condition's relay.
func (d *designer) plain(s *store.Store, drafts []draft) *Circuit {
	type condKey struct {
		opcodes string
		flags   cube.Cube
	}
	matches := func(r *Row, p *piece) bool {
		flags := cube.Cube{Care: r.Flags.Care << s.OpcodeBits, Value: r.Flags.Value << s.OpcodeBits}
		if !p.at.Within(flags) {
			return false
		}
		if len(r.Opcodes) == 0 {
			return true
		}
		for _, o := range r.Opcodes {
			if p.at.Within(o) {
				return true
			}
		}
		return false
	}
	seen := map[condKey]bool{}
	var conds []condition
	var names []string
	var keys []condKey
	for i := range drafts {
		r := &drafts[i].Row
		key := condKey{fmt.Sprint(r.Opcodes), r.Flags}
		if seen[key] || len(r.Opcodes) <= 1 && len(r.Opcodes)+r.Flags.Literals() <= 1 && (len(r.Opcodes) == 0 || r.Opcodes[0].Literals() <= 1) {
			continue
		}
		seen[key] = true
		c := condition{make([]bool, len(d.pieces)), make([]bool, len(d.pieces))}
		for p := range d.pieces {
			c.need[p] = matches(r, &d.pieces[p])
			c.may[p] = c.need[p]
		}
		conds = append(conds, c)
		names = append(names, r.Owner)
		keys = append(keys, key)
	}
	d.budget = 0
	relayOf := map[condKey]int{} // variable
	alive := make([]int32, len(d.pieces))
	for q := range alive {
		alive[q] = int32(q)
	}
	if len(conds) > fewConditions {
		var tied []demand
		for k, c := range conds {
			x := demand{k, store.NewSet(len(d.pieces))}
			for q, in := range c.need {
				if in {
					x.pieces.Add(q)
				}
			}
			tied = append(tied, x)
		}
		first := len(d.vars)
		if d.addJoint(tied, alive, func(q, k int) bool { return conds[k].may[q] }) {
			for k := range conds {
				d.names[k] = names[k]
				relayOf[keys[k]] = first + k
			}
		}
	} else {
		for k, c := range conds {
			if d.addCondition(c) {
				d.names[len(d.conds)-1] = names[k]
				relayOf[keys[k]] = len(d.vars) - 1
			}
		}
	}
	all, prices := d.vars, d.price
	line := map[int]int{}
	for k, l := range d.driven {
		line[l] = k
	}
	p := &plan{}
	still := map[int][]uint64{} // by wire and piece: bits in change-over
	for i := range drafts {
		r := &drafts[i].Row
		w := phaseSet{}
		for _, q := range r.Phases {
			w.add(q)
		}
		k := slices.Index(p.wires, w)
		if k < 0 {
			k = len(p.wires)
			p.wires = append(p.wires, w)
			p.feeds = append(p.feeds, &feed{})
		}
		need := store.NewSet(len(d.pieces))
		for q := range d.pieces {
			if matches(r, &d.pieces[q]) {
				need.Add(q)
			}
		}
		var group []demand
		b := branch{}
		for _, l := range r.Lines {
			group = append(group, demand{line[l], need})
			b.outputs = append(b.outputs, line[l])
		}
		if still[k] == nil {
			still[k] = make([]uint64, len(d.pieces))
			for q := range d.pieces {
				still[k][q] = d.pieces[q].frozenIn(w)
			}
		}
		// Only the row's own relay beside the bits: with all of them a machine of
		// hundreds of instructions would take minutes.
		v, relay := relayOf[condKey{fmt.Sprint(r.Opcodes), r.Flags}]
		still := still[k]
		if relay && all[v].steady(still) {
			b.root = d.pole(v, len(group))
		} else {
			d.vars, d.price = slices.Clone(all[:d.bits]), slices.Clone(prices[:d.bits])
			if relay {
				d.vars, d.price = append(d.vars, all[v]), append(d.price, prices[v])
			}
			b.root = d.grow(group, alive, still, func(q, _ int) bool { return need.Has(q) })
			if relay {
				b.root = shift(b.root, d.bits, v)
			}
			d.vars, d.price = all, prices
		}
		p.feeds[k].trees = append(p.feeds[k].trees, b)
	}
	return d.draw(s, d.folded(p, d.foldTries(p)))
}

// effort bounds the search, counted in wants looked at, so that the same store
// gives the same network on every machine: about two seconds on a common one.
const effort = 120_000_000

// mostPieces bounds the search from bits alone and the dealing: with more,
// decoding once and working with relays has come out cheaper each time, and dealing
// comes by too few changes to find a better one.
const mostPieces = 200

// dealWork is the part of an effort that dealing contacts out to poles may take:
// half a second on a common machine for a small one, some seconds for more.
func (d *designer) dealWork(effort int) int {
	if len(d.pieces) <= 64 {
		return effort / 30
	}
	return effort / 6
}

// steady reports whether nothing that a variable looks at is in change-over.
func (x *variable) steady(still []uint64) bool {
	for q, looks := range x.looks {
		if looks&still[q] != 0 {
			return false
		}
	}
	return true
}

// pole is the tree of one contact that feeds n outputs while a variable is on.
func (d *designer) pole(v, n int) *decision {
	fed := store.NewSet(n)
	for k := range n {
		fed.Add(k)
	}
	on := &decision{v: -1, outputs: fed, cost: d.diode * float64(n)}
	return &decision{v: v, off: &decision{v: -1, outputs: store.NewSet(n)}, on: on,
		cost: d.price[v] + on.cost, contacts: 1}
}

// cheapest searches wires and conditions, and then deals the contacts out to
// the relays' poles and folds the trees: bodies are bought whole, so a contact
// more on a relay that has a free pole costs less than one that needs another
// body. A plan that costs more than reach before that is left as it is. It is nil
// if no plan can do without looking at what travels.
func (d *designer) cheapest(s *store.Store, effort int, reach float64) *Circuit {
	var best *Circuit
	keep := func(p *plan) {
		if !p.possible() {
			return
		}
		c := d.draw(s, p)
		c.Cost = c.Price(d.hw)
		if best == nil || c.Cost.Total < best.Cost.Total-1e-9 {
			best = c
		}
	}
	p := d.search(nil, effort/3)
	keep(p)
	p = d.conditions(p, effort*2/3)
	keep(p)
	if best != nil && best.Cost.Total > reach {
		return best
	}
	p = d.search(p, effort*5/6)
	if p.possible() {
		for range 2 {
			p = d.deal(p, d.dealWork(effort)/2)
			p = d.folded(p, d.foldTries(p))
			keep(p)
		}
	}
	return best
}

// draw turns a plan into points, contacts and diodes.
func (d *designer) draw(s *store.Store, p *plan) *Circuit {
	c := &Circuit{}
	w := &drawing{designer: d, c: c, s: s, signals: make([]int, len(d.vars)), columns: map[int]int{}, condition: map[int]int{}, drops: map[int][]cube.Cube{}}
	for i := range w.signals {
		w.signals[i] = -1
	}
	p = d.settle(p)
	feedPoint, order, coils := -1, p.order, p.coils
	if len(order) > 0 {
		feedPoint = w.point(Point{Kind: FeedPoint})
	}
	lines, ends := d.direct(p)
	// The signals first, bits and flags in order, so that designators follow them.
	mark := map[int]bool{}
	look := func(v int) { mark[v] = true }
	p.contacts(look)
	if coils != nil {
		coils.contacts(look)
	}
	for v := 0; v < d.bits; v++ {
		if mark[v] {
			kind, n := OpcodeSignal, v
			if v >= s.OpcodeBits {
				kind, n = FlagSignal, v-s.OpcodeBits
			}
			w.signals[v] = w.signal(Signal{Kind: kind, N: n, Coil: -1})
		}
	}
	w.pulls = make([][]cube.Cube, len(order))
	if coils != nil {
		for _, b := range coils.trees {
			b.root.cubes(cube.Cube{}, func(t *decision, at cube.Cube) {
				for _, k := range t.outputs.Columns() {
					w.pulls[b.outputs[k]] = append(w.pulls[b.outputs[k]], at)
				}
			})
		}
	}
	for n, k := range order {
		var in []int
		var pieces []cube.Cube
		for i := range d.pieces {
			if d.vars[d.bits+k].values[i] == 2 {
				in = append(in, i)
				pieces = append(pieces, d.pieces[i].at)
			}
		}
		sig := Signal{Kind: ConditionSignal, N: n + 1, Owner: d.names[k], When: cube.Joined(w.pulls[n])}
		w.pulls[n] = d.told(pieces, w.pulls[n])
		if sig.Owner == "" {
			sig.Owner = d.owners(s, in)
		}
		at := w.signal(sig)
		w.signals[d.bits+k] = at
		w.condition[d.bits+k] = n
		pt := w.point(Point{Kind: CoilPoint, N: at})
		c.Signals[at].Coil = pt
		w.coilOf = append(w.coilOf, pt)
	}
	if coils != nil {
		for _, b := range coils.trees {
			w.hang(b, feedPoint, ends, -1, phaseSet{}, func(n int) int { return w.coilOf[n] })
		}
	}
	pulse := 0
	for k, set := range p.wires {
		if len(p.feeds[k].trees) == 0 {
			continue
		}
		var wire int
		if set.len() == 1 {
			wire = w.phase(set.phases()[0])
		} else {
			pulse++
			wire = w.point(Point{Kind: PulsePoint, N: pulse, Phases: set.phases()})
			from := wire
			if d.hw.Diode.Levels < 2 {
				n := w.signal(Signal{Kind: PulseSignal, N: pulse})
				coil := w.point(Point{Kind: CoilPoint, N: n})
				c.Signals[n].Coil = coil
				if feedPoint < 0 {
					feedPoint = w.point(Point{Kind: FeedPoint})
				}
				c.Contacts = append(c.Contacts, Contact{Signal: n, Common: feedPoint, Break: -1, Make: wire})
				from = coil
			}
			for _, q := range set.phases() {
				c.Diodes = append(c.Diodes, Joint{w.phase(q), from})
			}
		}
		for _, b := range p.feeds[k].trees {
			w.hang(b, wire, lines, wire, set, w.column)
		}
	}
	for i, l := range d.driven {
		if s.Columns[l].Low {
			n := w.signal(Signal{Kind: InverterSignal, N: l, Coil: w.column(i)})
			if feedPoint < 0 {
				feedPoint = w.point(Point{Kind: FeedPoint})
			}
			c.Contacts = append(c.Contacts, Contact{Signal: n, Common: feedPoint, Break: w.point(Point{Kind: LowPoint, N: l}), Make: -1})
		}
	}
	return c
}

// drawing is a circuit in the making.
type drawing struct {
	*designer
	c         *Circuit
	s         *store.Store
	signals   []int // by variable
	columns   map[int]int
	phaseAt   map[int]int
	coilOf    []int // by condition in use
	every     []int32
	path      []int
	lits      []literal           // what the contacts of path are closed for
	condition map[int]int         // by variable: which of the conditions in use it is
	pulls     [][]cube.Cube       // by condition in use: when its relay is in
	drops     map[int][]cube.Cube // and when it is not
}

// literal is a variable that is on or off.
type literal struct {
	v  int
	on bool
}

// closed is when all contacts of the path are closed, whatever can occur.
func (w *drawing) closed() []cube.Cube {
	list := []cube.Cube{{}}
	for _, l := range w.lits {
		with := []cube.Cube{{Care: 1 << l.v}}
		if l.v >= w.bits {
			n := w.condition[l.v]
			with = w.pulls[n]
			if !l.on {
				if w.drops[n] == nil {
					w.drops[n] = cube.Complement(w.pulls[n], w.bits)
				}
				with = w.drops[n]
			}
		} else if l.on {
			with[0].Value = 1 << l.v
		}
		var both []cube.Cube
		for _, a := range list {
			for _, b := range with {
				if c, ok := a.And(b); ok {
					both = append(both, c)
				}
			}
		}
		list = both
	}
	var pieces []cube.Cube
	for i := range w.pieces {
		sure := true
		for _, l := range w.lits {
			x := w.vars[l.v].values[i]
			sure = sure && (x == 2 && l.on || x == 1 && !l.on)
		}
		if sure {
			pieces = append(pieces, w.pieces[i].at)
		}
	}
	return w.told(pieces, list)
}

// told prefers the cubes that owners have, which people know, where disjoint
// cubes from contacts hold no more than these.
func (d *designer) told(pieces, list []cube.Cube) []cube.Cube {
	size := func(list []cube.Cube) (n uint64) {
		for _, c := range list {
			n += 1 << (d.bits - c.Literals())
		}
		return n
	}
	if size(pieces) == size(list) {
		return cube.Joined(pieces)
	}
	return cube.Joined(list)
}

func (w *drawing) point(p Point) int {
	w.c.Points = append(w.c.Points, p)
	return len(w.c.Points) - 1
}

func (w *drawing) signal(s Signal) int {
	w.c.Signals = append(w.c.Signals, s)
	return len(w.c.Signals) - 1
}

func (w *drawing) column(line int) int {
	if p, ok := w.columns[line]; ok {
		return p
	}
	w.columns[line] = w.point(Point{Kind: ColumnPoint, N: w.driven[line]})
	return w.columns[line]
}

func (w *drawing) phase(q int) int {
	if w.phaseAt == nil {
		w.phaseAt = map[int]int{}
	}
	if p, ok := w.phaseAt[q]; ok {
		return p
	}
	w.phaseAt[q] = w.point(Point{Kind: PhasePoint, N: q})
	return w.phaseAt[q]
}

// everyPiece lists all pieces.
func (w *drawing) everyPiece() []int32 {
	if w.every == nil {
		for i := range w.pieces {
			w.every = append(w.every, int32(i))
		}
	}
	return w.every
}

// hang draws one tree from a point. Leaves that feed one output end on it where
// that may be (direct). All others are rows with a diode to each output.
func (w *drawing) hang(b branch, from int, direct []bool, wire int, phases phaseSet, to func(output int) int) {
	var draw func(t *decision, at int, in []int32)
	row := func(t *decision, at int, in []int32, ends bool) {
		if wire < 0 {
			return
		}
		r := CircuitRow{Point: at, Wire: wire, Phases: phases.phases(), Direct: ends, Through: slices.Clone(w.path)}
		for _, k := range t.outputs.Columns() {
			r.Lines = append(r.Lines, w.driven[b.outputs[k]])
		}
		var for_ []int
		for _, i := range in {
			for _, k := range t.outputs.Columns() {
				if !phases.and(w.pieces[i].on[b.outputs[k]]).empty() {
					for_ = append(for_, int(i))
					break
				}
			}
		}
		r.Owner = w.owners(w.s, for_)
		if len(w.path) > 0 {
			r.When = w.closed()
			if !ends {
				w.c.Points[at].N = len(w.c.Rows)
			}
		}
		w.c.Rows = append(w.c.Rows, r)
	}
	// throw returns the point that a contact's side is soldered to.
	throw := func(t *decision, in []int32) int {
		if t.v >= 0 {
			at := w.point(Point{Kind: TreePoint})
			draw(t, at, in)
			return at
		}
		out := t.outputs.Columns()
		if len(out) == 0 {
			return -1
		}
		if len(out) == 1 && direct[b.outputs[out[0]]] {
			at := to(b.outputs[out[0]])
			row(t, at, in, true)
			return at
		}
		kind := RowPoint
		if wire < 0 {
			kind = TreePoint
		}
		at := w.point(Point{Kind: kind})
		draw(t, at, in)
		return at
	}
	draw = func(t *decision, at int, in []int32) {
		if t.v < 0 {
			if t.outputs.Empty() {
				return
			}
			row(t, at, in, false)
			for _, k := range t.outputs.Columns() {
				w.c.Diodes = append(w.c.Diodes, Joint{at, to(b.outputs[k])})
			}
			return
		}
		n := len(w.c.Contacts)
		w.c.Contacts = append(w.c.Contacts, Contact{Signal: w.signals[t.v], Common: at})
		w.path = append(w.path, n)
		x := &w.vars[t.v]
		side := func(of *decision, bit uint8) []int32 {
			if of.v < 0 && of.outputs.Empty() {
				return nil // nothing hangs there
			}
			out := make([]int32, 0, len(in))
			for _, i := range in {
				if x.values[i]&bit != 0 {
					out = append(out, i)
				}
			}
			return out
		}
		off, on := side(t.off, 1), side(t.on, 2)
		w.lits = append(w.lits, literal{t.v, false})
		breaks := throw(t.off, off)
		w.lits[len(w.lits)-1].on = true
		makes := throw(t.on, on)
		w.lits = w.lits[:len(w.lits)-1]
		w.c.Contacts[n].Break, w.c.Contacts[n].Make = breaks, makes
		w.path = w.path[:len(w.path)-1]
	}
	draw(b.root, from, w.everyPiece())
}

// owners names whom a set of pieces belongs to: "add, sub and 3 more".
func (d *designer) owners(s *store.Store, pieces []int) string {
	all := map[string]bool{}
	var names []string
	for _, p := range pieces {
		n := s.Owners[d.pieces[p].owner].Name
		if !all[n] {
			all[n] = true
			names = append(names, n)
		}
	}
	if len(names) == d.owned && len(names) > 1 {
		return "every opcode"
	}
	if len(names) > 4 {
		return strings.Join(names[:3], ", ") + fmt.Sprintf(" and %d more", len(names)-3)
	}
	return strings.Join(names, ", ")
}

// countOwners counts the owners that the pieces belong to.
func (d *designer) countOwners() int {
	seen := map[int]bool{}
	for i := range d.pieces {
		seen[d.pieces[i].owner] = true
	}
	return len(seen)
}

// usedConditions tells which conditions some of these contacts look at.
func (d *designer) usedConditions(contacts func(look func(v int))) []bool {
	used := make([]bool, len(d.conds))
	contacts(func(v int) {
		if v >= d.bits {
			used[v-d.bits] = true
		}
	})
	return used
}

// fewConditions bounds the search for several coil trees: with more conditions
// one decoder for all is found at once and no dearer.
const fewConditions = 24

// coilFeed finds the trees on the feed that pull in the conditions in use:
// joint ones if they need not look at what is in change-over while a wire with
// a contact of the condition is powered, else the trees that each had by itself.
func (d *designer) coilFeed(p *plan, order []int) *feed {
	if d.joint != nil {
		keep := map[int]int{}
		for n, k := range order {
			keep[k] = n
		}
		out := &feed{}
		for _, b := range d.joint.trees {
			kept := branch{root: only(b.root, keep, len(order))}
			for n := range order {
				kept.outputs = append(kept.outputs, n)
			}
			out.trees = append(out.trees, kept)
		}
		return out
	}
	var tied []demand
	for n, k := range order {
		x := demand{n, store.NewSet(len(d.pieces))}
		for i := range d.pieces {
			if d.vars[d.bits+k].values[i] == 2 {
				x.pieces.Add(i)
			}
		}
		tied = append(tied, x)
	}
	frozen := d.coilFrozen(p.wires, p.trees)
	alive := make([]int32, len(d.pieces))
	for i := range alive {
		alive[i] = int32(i)
	}
	all := d.vars
	d.vars = all[:d.bits]
	may := func(i, n int) bool { return all[d.bits+order[n]].values[i]&2 != 0 }
	var f *feed
	if len(order) <= fewConditions {
		f = d.arrange(tied, alive, frozen, may)
	} else {
		b := branch{root: d.grow(tied, alive, frozen, may)}
		for n := range order {
			b.outputs = append(b.outputs, n)
		}
		f = &feed{trees: []branch{b}, cost: b.root.cost}
	}
	d.vars = all
	apart := &feed{}
	for n, k := range order {
		apart.trees = append(apart.trees, branch{outputs: []int{n}, root: d.roots[k]})
		apart.cost += d.coils[k]
	}
	if f.cost < apart.cost {
		return f
	}
	return apart
}

// coilFrozen returns for each piece the bits that are in change-over while a
// wire is powered on whose trees it comes past a contact of a condition.
func (d *designer) coilFrozen(wires []phaseSet, trees func(wire int) []branch) []uint64 {
	frozen := make([]uint64, len(d.pieces))
	for w := range wires {
		t := d.moving(wires[w])
		if t.any == 0 {
			continue
		}
		for i, still := range t.bits {
			if still&^frozen[i] == 0 {
				continue
			}
			for _, b := range trees(w) {
				if d.meets(b.root, i) {
					frozen[i] |= still
				}
			}
		}
	}
	return frozen
}

// meets reports whether a piece comes past a contact of a condition.
func (d *designer) meets(t *decision, piece int) bool {
	if t.v < 0 {
		return false
	}
	v := d.vars[t.v].values[piece]
	return t.v >= d.bits || v&1 != 0 && d.meets(t.off, piece) || v&2 != 0 && d.meets(t.on, piece)
}

// flagsFrozen returns for each piece the flags that are in change-over in any
// of its phases. A condition's relay may move only where its wires are dead,
// so its tree looks at such a flag only where it must.
func (d *designer) flagsFrozen() []uint64 {
	out := make([]uint64, len(d.pieces))
	for i := range d.pieces {
		for _, f := range d.pieces[i].frozen {
			out[i] |= f
		}
		out[i] &= d.flags
	}
	return out
}

// bound proves that no network for this store costs less. A bit on which what
// has to be fed depends, all else equal, needs a relay that follows it and a
// contact of that relay; a `low` line needs its inverter.
func (d *designer) bound(s *store.Store) (float64, []string) {
	needed := uint64(0)
	for i := range d.pieces {
		a := &d.pieces[i]
		for j := range d.pieces[:i] {
			b := &d.pieces[j]
			differ := (a.at.Value ^ b.at.Value) & a.at.Care & b.at.Care
			if bits.OnesCount64(differ) != 1 || needed&differ != 0 {
				continue
			}
			both := a.live.and(b.live)
			for l := range d.driven {
				if !a.on[l].and(both).minus(b.on[l]).empty() || !b.on[l].and(both).minus(a.on[l]).empty() {
					needed |= differ
					break
				}
			}
		}
	}
	n := bits.OnesCount64(needed)
	low := 0
	for _, l := range d.driven {
		if s.Columns[l].Low {
			low++
		}
	}
	c := d.hw.Cost
	total := float64(n+low) * (d.bodyPrice() + c.Contact + 2*c.Joint)
	var why []string
	why = append(why, fmt.Sprintf("%d bits of opcode and flags decide, each by itself, whether some line is on: each needs a relay and a contact", n))
	if low > 0 {
		why = append(why, fmt.Sprintf("%d lines are active low: each needs a relay and a contact", low))
	}
	return total, why
}
