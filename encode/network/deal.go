package network

import (
	"math/bits"
	"math/rand/v2"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// dealing is a plan in the hands of deal.
type dealing struct {
	*designer
	wires  []phaseSet
	feeds  [][]branch // by wire; the last are the trees of the coils
	alive  [][]int32  // by wire
	energy float64
	total  float64
}

// deal changes a plan tree by tree: it takes a tree away, prices each contact by
// what the poles that are left make of it (one on a relay with a free pole costs
// little, one that needs a body more costs that body), leaves out what other trees feed
// anyway, moves an output from tree to tree now and then, and grows them anew.
// It goes on from designs that cost a little more than the best, less and less
// so (record-to-record travel: Dueck, J. Comput. Phys. 104, 1993), some rounds over, with
// numbers by chance that are the same in every run, and returns the cheapest plan
// that it came by.
func (d *designer) deal(p *plan, work int) *plan {
	r := rand.New(rand.NewPCG(4, 1955))
	own, budget := d.price, d.budget
	defer func() { d.price, d.budget, d.byCost = own, budget, false }()
	best := d.takeUp(p)
	best.weigh()
	for range dealRounds {
		now, start, record := best, d.work, best.energy
		until := start + work/dealRounds
		for tries := 0; tries < dealTries && d.work < until; tries++ {
			d.work += 50 // for a try that comes to nothing
			next := now.change(r)
			if next == nil {
				continue
			}
			next.weigh()
			left := float64(until-d.work) / float64(until-start)
			if next.energy > record+best.total*left*dealSlack {
				continue
			}
			now = next
			record = min(record, now.energy)
			if now.total < best.total-1e-9 {
				best = now
			}
		}
	}
	if p := best.prune(); p != nil && p.total <= best.total {
		best = p
	}
	return best.lay()
}

const (
	dealRounds = 4
	dealTries  = 5000 // a round: small machines have no more to find
	dealSlack  = 0.02 // how much dearer, of the whole, a round may begin
	dealShare  = 0.6  // of a body that counts by its poles in use: it leads to where a body can be saved
)

// takeUp begins with a plan.
func (d *designer) takeUp(p *plan) *dealing {
	x := &dealing{designer: d}
	for w, f := range p.feeds {
		if len(f.trees) == 0 {
			continue
		}
		x.wires = append(x.wires, p.wires[w])
		x.feeds = append(x.feeds, slices.Clone(f.trees))
		alive, _ := d.powered(p.wires[w])
		x.alive = append(x.alive, alive)
	}
	var coils []branch
	if order := d.inUse(p); len(order) > 0 {
		for _, b := range d.coilFeed(p, order).trees {
			b.outputs = slices.Clone(b.outputs)
			for n := range b.outputs {
				b.outputs[n] = order[b.outputs[n]]
			}
			coils = append(coils, b)
		}
	}
	x.feeds = append(x.feeds, coils)
	for w := range x.feeds {
		for k := range x.feeds[w] {
			x.sure(w, &x.feeds[w][k])
		}
	}
	return x
}

// lay puts the plan down as the builder knows it.
func (x *dealing) lay() *plan {
	p := &plan{wires: x.wires}
	for w := range x.wires {
		p.feeds = append(p.feeds, &feed{trees: x.feeds[w], cost: 1})
	}
	p.order = x.inUse(p)
	if len(p.order) > 0 {
		p.coils = &feed{cost: 1}
		for _, b := range x.feeds[len(x.wires)] {
			b.outputs = slices.Clone(b.outputs)
			for n := range b.outputs {
				b.outputs[n] = slices.Index(p.order, b.outputs[n])
			}
			p.coils.trees = append(p.coils.trees, b)
		}
	}
	return p
}

// sure notes on which pieces each output of a tree on wire w is fed, and stays
// so whatever travels.
func (x *dealing) sure(w int, b *branch) {
	b.sure = make([]store.Set, len(b.outputs))
	for o := range b.sure {
		b.sure[o] = store.NewSet(len(x.pieces))
	}
	frozen := make([]uint64, len(x.pieces))
	if w < len(x.wires) {
		frozen = x.moving(x.wires[w]).bits
	}
	count := make([]int, len(b.outputs))
	for i := range x.pieces {
		clear(count)
		n := 0
		b.root.walk(x.vars, int32(i), 0, func(leaf *decision, looked uint64) {
			n++
			if looked&frozen[i] != 0 {
				return // nothing was asked of the tree here
			}
			for _, o := range leaf.outputs.Columns() {
				count[o]++
			}
		})
		for o, c := range count {
			if c == n {
				b.sure[o].Add(i)
			}
		}
	}
}

// change returns a copy with one change by chance; nil if that came to nothing.
func (x *dealing) change(r *rand.Rand) *dealing {
	total := 0
	for _, trees := range x.feeds {
		total += len(trees)
	}
	if total == 0 {
		return nil
	}
	n, w := r.IntN(total), 0
	for n >= len(x.feeds[w]) {
		n -= len(x.feeds[w])
		w++
	}
	old := &x.feeds[w][n]
	if old.root.v < 0 && len(x.feeds[w]) == 1 {
		return nil
	}
	next := *x
	next.feeds = slices.Clone(x.feeds)
	trees := slices.Clone(x.feeds[w])
	next.feeds[w] = trees
	outputs := [][]int{old.outputs}
	at := []int{n}
	if r.IntN(2) == 0 && (len(old.outputs) > 1 || len(trees) > 1) {
		// An output, with those that go with it everywhere, moves to another tree or to one of its own.
		o := old.outputs[r.IntN(len(old.outputs))]
		var moved, stay []int
		k := slices.Index(old.outputs, o)
		for j, q := range old.outputs {
			if q == o || old.sure[j].Equal(old.sure[k]) && r.IntN(4) > 0 {
				moved = append(moved, q)
			} else {
				stay = append(stay, q)
			}
		}
		to := r.IntN(len(trees) + 1)
		switch {
		case to == n || to == len(trees) && len(stay) == 0:
			return nil
		case to == len(trees):
			trees = append(trees, branch{})
			outputs, at = [][]int{stay, moved}, []int{n, to}
		default:
			outputs, at = [][]int{stay, append(slices.Clone(trees[to].outputs), moved...)}, []int{n, to}
		}
	}
	for _, k := range at {
		trees[k] = branch{}
	}
	next.feeds[w] = trees
	x.prices(r, next.feeds, x.feeds[w][n].root)
	x.budget, x.byCost = r.IntN(3), r.IntN(2) == 0
	for k, out := range outputs {
		if len(out) == 0 {
			continue
		}
		if !next.grown(w, at[k], out) {
			return nil
		}
	}
	next.feeds[w] = slices.DeleteFunc(next.feeds[w], func(b branch) bool { return b.root == nil })
	if !next.tidy() {
		return nil
	}
	return &next
}

// tidy takes coils away that nothing looks at any more; false if the plan is none.
func (x *dealing) tidy() bool {
	coils := len(x.wires)
	if len(x.feeds[coils]) == 0 {
		return true
	}
	used := x.usedConditions(func(look func(v int)) {
		for w := range x.wires {
			for _, b := range x.feeds[w] {
				b.root.contactsOf(look)
			}
		}
	})
	trees := slices.Clone(x.feeds[coils])
	x.feeds[coils] = trees
	for k, b := range trees {
		kept := slices.DeleteFunc(slices.Clone(b.outputs), func(c int) bool { return !used[c] })
		if len(kept) == len(b.outputs) {
			continue
		}
		trees[k] = branch{}
		if len(kept) > 0 && !x.grown(coils, k, kept) {
			return false
		}
	}
	x.feeds[coils] = slices.DeleteFunc(trees, func(b branch) bool { return b.root == nil })
	return x.steadyCoils()
}

// hasCoil reports whether a condition has a relay.
func (x *dealing) hasCoil(cond int) bool {
	return slices.ContainsFunc(x.feeds[len(x.wires)], func(b branch) bool { return slices.Contains(b.outputs, cond) })
}

// prune takes out of each tree in turn what the others feed anyway, and the
// contacts that steer nothing then; nil if that came to nothing.
func (d *dealing) prune() *dealing {
	next := *d
	x := &next
	x.feeds = slices.Clone(x.feeds)
	for w := range x.wires {
		x.feeds[w] = slices.Clone(x.feeds[w])
		for k, b := range x.feeds[w] {
			needed := map[*decision]store.Set{} // outputs by leaf
			b.root.leaves(func(t *decision) { needed[t] = store.NewSet(len(b.outputs)) })
			x.feeds[w][k] = branch{}
			for o, l := range b.outputs {
				for _, i := range x.lack(w, l).Columns() {
					b.root.walk(x.vars, int32(i), 0, func(leaf *decision, _ uint64) {
						if leaf.outputs.Has(o) {
							needed[leaf].Add(o)
						}
					})
				}
			}
			b.root = b.root.less(needed)
			x.sure(w, &b)
			x.feeds[w][k] = b
		}
		x.feeds[w] = slices.DeleteFunc(x.feeds[w], func(b branch) bool { return b.root.v < 0 && b.root.outputs.Empty() })
	}
	if !x.tidy() {
		return nil
	}
	x.weigh()
	return x
}

// less copies a tree with the outputs needed at its leaves alone.
func (t *decision) less(needed map[*decision]store.Set) *decision {
	if t.v < 0 {
		return &decision{v: -1, outputs: needed[t]}
	}
	off, on := t.off.less(needed), t.on.less(needed)
	if off.v < 0 && on.v < 0 && off.outputs.Equal(on.outputs) {
		return off
	}
	return &decision{v: t.v, off: off, on: on, contacts: 1 + off.contacts + on.contacts}
}

// grown puts a tree for outputs at place k of wire w; false if there is none.
func (x *dealing) grown(w, k int, outputs []int) bool {
	d := x.designer
	b := branch{}
	var group []demand
	if w == len(x.wires) { // coils
		for _, n := range outputs {
			need := store.NewSet(len(d.pieces))
			for i := range d.pieces {
				if d.vars[d.bits+n].values[i] == 2 {
					need.Add(i)
				}
			}
			group = append(group, demand{n, need})
			b.outputs = append(b.outputs, n)
		}
		alive := make([]int32, len(d.pieces))
		for i := range alive {
			alive[i] = int32(i)
		}
		still := x.coilStill()
		all := d.vars
		d.vars = all[:d.bits]
		b.root = d.grow(group, alive, still, func(i, n int) bool { return all[d.bits+n].values[i]&2 != 0 })
		d.vars = all
	} else {
		for _, l := range outputs {
			need := x.lack(w, l)
			if need.Empty() {
				continue
			}
			group = append(group, demand{l, need})
			b.outputs = append(b.outputs, l)
		}
		if len(group) == 0 {
			return true
		}
		b.root = d.grow(group, x.alive[w], d.moving(x.wires[w]).bits, func(i, l int) bool { return d.fits(x.wires[w], i, l) })
	}
	if b.root.cost >= impossible {
		return false
	}
	x.sure(w, &b)
	x.feeds[w][k] = b
	return true
}

// lack is the pieces on which a line is to be fed by wire w, because nothing else does.
func (x *dealing) lack(w, line int) store.Set {
	left := make([]phaseSet, len(x.pieces))
	for i := range x.pieces {
		left[i] = x.pieces[i].on[line]
	}
	for k := range x.wires {
		for _, b := range x.feeds[k] {
			if o := slices.Index(b.outputs, line); o >= 0 {
				for n, word := range b.sure[o] {
					for ; word != 0; word &= word - 1 {
						i := n*64 + bits.TrailingZeros64(word)
						left[i] = left[i].minus(x.wires[k])
					}
				}
			}
		}
	}
	out := store.NewSet(len(x.pieces))
	for i := range left {
		if !left[i].empty() {
			out.Add(i)
		}
	}
	return out
}

// prices sets what contacts cost beside the trees that are there.
func (x *dealing) prices(r *rand.Rand, feeds [][]branch, gone *decision) {
	d := x.designer
	uses, mine := make([]int, len(d.vars)), make([]int, len(d.vars))
	for _, trees := range feeds {
		for _, b := range trees {
			if b.root != nil {
				b.root.contactsOf(func(v int) { uses[v]++ })
			}
		}
	}
	gone.contactsOf(func(v int) { mine[v]++ })
	d.price = make([]float64, len(d.vars))
	poles := d.hw.Relay.Poles
	for v := range d.price {
		n := max(1, mine[v])
		before, _ := d.kind(v).bodies(uses[v], poles)
		after, _ := d.kind(v).bodies(uses[v]+n, poles)
		noise := 0.6 + 0.8*r.Float64()
		if v >= d.bits && !x.hasCoil(v-d.bits) {
			d.price[v] = impossible
			continue
		}
		d.price[v] = grain((d.hw.Cost.Contact + 3*d.hw.Cost.Joint + d.bodyPrice()*float64(after-before)/float64(n)) * noise)
	}
}

// coilStill is coilFrozen of the trees that are there.
func (x *dealing) coilStill() []uint64 {
	return x.coilFrozen(x.wires, func(w int) []branch { return x.feeds[w] })
}

// steadyCoils reports whether the trees of the coils look at nothing that is
// in change-over where that matters.
func (x *dealing) steadyCoils() bool {
	still := x.coilStill()
	for i, bits := range still {
		if bits == 0 {
			continue
		}
		for _, b := range x.feeds[len(x.wires)] {
			ok := true
			b.root.walk(x.vars, int32(i), 0, func(_ *decision, looked uint64) { ok = ok && looked&bits == 0 })
			if !ok {
				return false
			}
		}
	}
	return true
}

// weigh prices the whole as Circuit.Price will count it, and sets what the
// search goes by: the same with part of the bodies counted by their poles in use.
func (x *dealing) weigh() {
	x.total, x.energy = x.designer.total(x.lay())
}

// kind is the kind of signal that a variable is.
func (d *designer) kind(v int) SignalKind {
	switch {
	case v >= d.bits:
		return ConditionSignal
	case d.flags>>v&1 == 1:
		return FlagSignal
	}
	return OpcodeSignal
}

// inUse lists the conditions that some tree looks at.
func (d *designer) inUse(p *plan) []int {
	var order []int
	for k, on := range d.usedConditions(p.contacts) {
		if on {
			order = append(order, k)
		}
	}
	return order
}

// total is what a plan costs as Circuit.Price will count it.
func (d *designer) total(p *plan) (total, energy float64) {
	poles := d.hw.Relay.Poles
	uses := make([]int, len(d.vars))
	contacts, joints, diodes, relays := 0, 0, 0, 0
	tree := func(b branch, direct []bool) {
		var walk func(t *decision, top bool)
		walk = func(t *decision, top bool) {
			if t.v < 0 {
				n := t.outputs.Len()
				if n == 1 && !top && direct[b.outputs[t.outputs.Columns()[0]]] {
					n = 0
				}
				diodes += n
				return
			}
			uses[t.v]++
			contacts++
			joints++
			for _, side := range []*decision{t.off, t.on} {
				if side.v >= 0 || !side.outputs.Empty() {
					joints++
				}
				walk(side, false)
			}
		}
		walk(b.root, true)
	}
	lines, coils := d.direct(p)
	for w, f := range p.feeds {
		if len(f.trees) == 0 {
			continue
		}
		if n := p.wires[w].len(); n > 1 {
			diodes += n
			if d.hw.Diode.Levels < 2 {
				relays++
				contacts++
				joints += 2
			}
		}
		for _, b := range f.trees {
			tree(b, lines)
		}
	}
	if p.coils != nil {
		for _, b := range p.coils.trees {
			tree(b, coils)
		}
	}
	relays += d.low
	contacts += d.low
	joints += 2 * d.low
	smooth := 0.0
	for v, n := range uses {
		if n > 0 {
			bodies, drivers := d.kind(v).bodies(n, poles)
			relays += bodies
			contacts += drivers
			joints += 2 * drivers
			smooth += d.bodyPrice() * (float64(n)/float64(poles) - float64(bodies))
		}
	}
	diodes += suppression(d.hw) * relays
	joints += 2 * (relays + diodes)
	c := d.hw.Cost
	total = c.Relay*float64(relays) + c.Contact*float64(contacts) + c.Diode*float64(diodes) + c.Joint*float64(joints)
	return total, total + dealShare*smooth
}

// direct tells which outputs trees may end on without a diode, lines and
// coils. An output that is fed from one point alone may: what comes back up a
// tree ends at a contact that steers elsewhere, or where it came from. That holds for
// several leaves only where no contact of these trees travels while the point is
// powered; one leaf has nothing to come back from.
func (d *designer) direct(p *plan) (lines, coils []bool) {
	lines = make([]bool, len(d.driven))
	type fed struct{ leaves, wire, wires, moving int }
	on := make([]fed, len(d.driven))
	count := func(f []fed, b branch, wire int, moves bool) {
		b.root.leaves(func(t *decision) {
			for _, o := range t.outputs.Columns() {
				x := &f[b.outputs[o]]
				if x.leaves == 0 || x.wire != wire {
					x.wires++
				}
				x.wire = wire
				x.leaves++
				if moves {
					x.moving++
				}
			}
		})
	}
	for w, f := range p.feeds {
		if len(f.trees) == 0 {
			continue
		}
		still := d.moving(p.wires[w]).any
		for _, b := range f.trees {
			count(on, b, w, d.travels(b.root, still))
		}
	}
	for l, x := range on {
		lines[l] = x.leaves == 1 || x.wires == 1 && x.moving == 0
	}
	if p.coils == nil {
		return lines, nil
	}
	still := uint64(0)
	for _, bits := range d.coilFrozen(p.wires, p.trees) {
		still |= bits
	}
	pulled := make([]fed, len(p.order))
	for _, b := range p.coils.trees {
		count(pulled, b, 0, d.travels(b.root, still))
	}
	coils = make([]bool, len(p.order))
	for n, x := range pulled {
		coils[n] = x.leaves == 1 || x.moving == 0
	}
	return lines, coils
}

// travels reports whether a contact of a tree can travel while these bits do.
func (d *designer) travels(t *decision, still uint64) bool {
	found := false
	t.contactsOf(func(v int) {
		found = found || still != 0 && (v >= d.bits || still>>v&1 == 1)
	})
	return found
}

// leaves calls f for each leaf.
func (t *decision) leaves(f func(leaf *decision)) {
	if t.v < 0 {
		f(t)
		return
	}
	t.off.leaves(f)
	t.on.leaves(f)
}

// cubes calls f for each leaf of a tree of bits, with what leads to it.
func (t *decision) cubes(at cube.Cube, f func(leaf *decision, at cube.Cube)) {
	if t.v < 0 {
		f(t, at)
		return
	}
	t.off.cubes(at.With(t.v, 0), f)
	t.on.cubes(at.With(t.v, 1), f)
}
