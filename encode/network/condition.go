package network

import (
	"cmp"
	"slices"

	"coilwright/encode/store"
)

// addCondition gives a pattern a relay: its coil tree decides where it is in
// on pieces that do not matter, and from then on it is one more variable. It
// returns false if the pattern cannot be told apart.
func (d *designer) addCondition(c condition) bool {
	root := d.coilTree([]condition{c})
	if root.cost >= impossible || root.v < 0 {
		return false
	}
	values, looks := make([]uint8, len(d.pieces)), make([]uint64, len(d.pieces))
	for p := range d.pieces {
		root.walk(d.vars[:d.bits], int32(p), 0, func(leaf *decision, looked uint64) {
			if leaf.outputs.Has(0) {
				values[p] |= 2
			} else {
				values[p] |= 1
			}
			looks[p] |= looked
		})
	}
	d.vars = append(d.vars, newVariable(len(d.vars), values, looks))
	d.price = append(d.price, d.contactPrice())
	d.conds = append(d.conds, c)
	d.roots = append(d.roots, root)
	d.coils = append(d.coils, root.cost-d.diode) // a coil that one leaf feeds needs no diode
	d.cache = map[string]*feed{}
	return true
}

func (d *designer) dropCondition() {
	d.vars = d.vars[:len(d.vars)-1]
	d.price = d.price[:len(d.price)-1]
	d.conds = d.conds[:len(d.conds)-1]
	d.roots = d.roots[:len(d.roots)-1]
	d.coils = d.coils[:len(d.coils)-1]
	d.cache = map[string]*feed{}
}

// coilTree finds one tree on the feed that pulls in the conditions given.
func (d *designer) coilTree(conds []condition) *decision {
	whole := d.vars
	d.vars = d.vars[:d.bits]
	defer func() { d.vars = whole }()
	alive := make([]int32, len(d.pieces))
	var group []demand
	for i := range alive {
		alive[i] = int32(i)
	}
	for k, c := range conds {
		x := demand{k, store.NewSet(len(d.pieces))}
		for p := range d.pieces {
			if c.need[p] {
				x.pieces.Add(p)
			}
		}
		group = append(group, x)
	}
	may := func(p, k int) bool { return conds[k].may[p] }
	if root := d.grow(group, alive, d.flagsFrozen(), may); root.cost < impossible {
		return root
	}
	return d.grow(group, alive, make([]uint64, len(d.pieces)), may)
}

// patterns lists what could be worth a relay, from the trees of a plan: for
// each wire that needs contacts the pieces on which an output is fed, and
// those on which anything is; and for each phase the pieces still alive after it.
func (d *designer) patterns(p *plan) []condition {
	var out []condition
	seen := map[string]bool{}
	add := func(c condition) {
		on, off := 0, 0
		key := make([]byte, len(d.pieces))
		for i := range d.pieces {
			switch {
			case c.need[i]:
				key[i], on = 2, on+1
			case !c.may[i]:
				key[i], off = 1, off+1
			}
		}
		if on == 0 || off == 0 || seen[string(key)] {
			return
		}
		seen[string(key)] = true
		out = append(out, c)
	}
	blank := func() condition {
		return condition{make([]bool, len(d.pieces)), make([]bool, len(d.pieces))}
	}
	for w, f := range p.feeds {
		for _, b := range f.trees {
			if b.root.contacts < 2 {
				continue
			}
			whole := blank()
			for i := range whole.may {
				whole.may[i] = true
			}
			for _, o := range b.outputs {
				c := blank()
				for k, u := range p.usage[o].wires {
					if u == w {
						for i := range d.pieces {
							c.need[i] = p.usage[o].pieces[k].Has(i)
						}
					}
				}
				for i := range d.pieces {
					c.may[i] = d.fits(p.wires[w], i, o)
					whole.need[i] = whole.need[i] || c.need[i]
				}
				add(c)
			}
			for i := range d.pieces {
				if !whole.need[i] && !p.wires[w].and(d.pieces[i].live).empty() {
					some := false
					for _, o := range b.outputs {
						some = some || !d.fits(p.wires[w], i, o)
					}
					whole.may[i] = !some
				}
			}
			add(whole)
		}
	}
	// An instruction with all its variants, told from everything that can be on after fetch.
	for i := 0; i < len(d.pieces); {
		c := blank()
		j := i
		for ; j < len(d.pieces) && d.pieces[j].group == d.pieces[i].group; j++ {
			c.need[j] = true
		}
		for k := range d.pieces {
			c.may[k] = c.need[k] || d.pieces[k].live.empty()
		}
		add(c)
		i = j
	}
	for q := 1; q < d.phases; q++ {
		c := blank()
		for i := range d.pieces {
			live := d.pieces[i].live
			c.need[i] = live.has(q + 1)
			c.may[i] = c.need[i] || !live.has(q)
		}
		add(c)
	}
	return out
}

// conditions adds relays for patterns while that makes the plan cheaper: lazy
// greedy (Minoux 1978): a pattern is looked at again only when what it was
// last worth puts it first.
func (d *designer) conditions(p *plan, until int) *plan {
	type bid struct {
		c    condition
		gain float64
	}
	var bids []bid
	for _, c := range d.patterns(p) {
		bids = append(bids, bid{c, impossible})
	}
	// One try a node is enough to tell which pattern is worth more.
	budget := d.budget
	d.budget = 0
	defer func() { d.budget = budget }()
	coils := 0.0
	if order := d.inUse(p); len(order) > 0 {
		coils = d.coilFeed(p, order).cost
	}
	var refused []bid
	taken := false // since the first of them was refused
	for d.work < until {
		if len(bids) == 0 {
			if !taken {
				break
			}
			// What was not worth a tree of its own may be worth a branch of the
			// trees that are there now.
			bids, refused, taken = refused, nil, false
			for k := range bids {
				bids[k].gain = impossible
			}
			if len(bids) == 0 {
				break
			}
		}
		slices.SortStableFunc(bids, func(a, b bid) int { return cmp.Compare(b.gain, a.gain) })
		b := &bids[0]
		if !d.addCondition(b.c) {
			bids = bids[1:]
			continue
		}
		next := d.again(p)
		more := -coils
		if order := d.inUse(next); len(order) > 0 {
			more += d.coilFeed(next, order).cost
		}
		gain := p.cost - next.cost - more - d.idle(next, len(d.conds)-1)
		if gain > 1e-9 && (len(bids) == 1 || gain >= bids[1].gain) {
			p = next
			coils += more
			taken = true
			bids = bids[1:]
			continue
		}
		d.dropCondition()
		b.gain = gain
		if gain <= 1e-9 {
			refused = append(refused, *b)
			bids = bids[1:]
		}
	}
	return p
}

// again grows the trees of a plan anew, each for its outputs, and keeps those
// that come out cheaper: what one condition more would save.
func (d *designer) again(p *plan) *plan {
	q := *p
	q.feeds = slices.Clone(p.feeds)
	for w, f := range p.feeds {
		var alive []int32
		var frozen []uint64
		for n, b := range f.trees {
			if b.root.contacts == 0 {
				continue
			}
			if alive == nil {
				alive, frozen = d.powered(p.wires[w])
			}
			var group []demand
			for _, l := range b.outputs {
				group = append(group, demand{l, p.usage[l].pieces[slices.Index(p.usage[l].wires, w)]})
			}
			root := d.grow(group, alive, frozen, func(i, l int) bool { return d.fits(p.wires[w], i, l) })
			if root.cost >= b.root.cost {
				continue
			}
			if q.feeds[w] == f {
				q.feeds[w] = &feed{slices.Clone(f.trees), f.cost}
			}
			q.feeds[w].trees[n].root = root
			q.feeds[w].cost += root.cost - b.root.cost
			q.cost += root.cost - b.root.cost
		}
	}
	return &q
}

// idle is the price of the poles of a condition's relays that nothing uses.
func (d *designer) idle(p *plan, cond int) float64 {
	uses := 0
	p.contacts(func(v int) {
		if v == d.bits+cond {
			uses++
		}
	})
	poles := d.hw.Relay.Poles
	spare := (poles - uses%poles) % poles
	return grain(float64(spare) * d.bodyPrice() / float64(poles))
}

// pattern is what a group of outputs on a wire needs from a relay.
type pattern struct {
	need, may store.Set // pieces
	uses      int
}

// byPattern designs a network that decodes once and then works with relays: a
// joint tree tells the pieces apart, diodes from its ends pull in a relay for
// each pattern that some group of outputs needs, and each group takes a pole.
// Patterns that one relay can serve are put together, first fit.
func (d *designer) byPattern(until int) *plan {
	d.poles = true
	p := d.search(nil, until)
	d.poles = false
	d.cache = map[string]*feed{}
	if p.cost >= impossible {
		return nil
	}
	type spot struct {
		wire    int
		group   []demand
		pattern int // -1: always fed
	}
	var spots []spot
	var patterns []pattern
	demands := make([][]demand, len(p.wires))
	for line := range d.driven {
		u := &p.usage[line]
		for k, w := range u.wires {
			demands[w] = append(demands[w], demand{line, u.pieces[k]})
		}
	}
	for w, set := range p.wires {
		for _, g := range groups(demands[w]) {
			x := pattern{need: g[0].pieces, may: store.NewSet(len(d.pieces))}
			all := true
			for i := range d.pieces {
				ok := true
				for _, y := range g {
					ok = ok && d.fits(set, i, y.output)
				}
				if ok {
					x.may.Add(i)
				} else {
					all = false
				}
			}
			if all {
				spots = append(spots, spot{w, g, -1})
				continue
			}
			at := -1
			for k := range patterns {
				ok := true
				for i := range x.need {
					if (x.need[i]|patterns[k].need[i])&^(x.may[i]&patterns[k].may[i]) != 0 {
						ok = false
						break
					}
				}
				if ok && (at < 0 || patterns[k].need.Equal(x.need)) {
					at = k
					if patterns[k].need.Equal(x.need) {
						break
					}
				}
			}
			if at < 0 {
				at = len(patterns)
				patterns = append(patterns, pattern{need: slices.Clone(x.need), may: slices.Clone(x.may)})
			} else {
				for i := range x.need {
					patterns[at].need[i] |= x.need[i]
					patterns[at].may[i] &= x.may[i]
				}
			}
			patterns[at].uses++
			spots = append(spots, spot{w, g, at})
		}
	}
	// A relay is bought whole: a pattern with few uses goes to trees on its
	// wires where that is cheaper.
	budget := d.budget
	d.budget = 0
	direct := make([][]demand, len(p.wires))
	trees := make([]*decision, len(p.wires))
	onWire := func(w int, group []demand) *decision {
		alive, frozen := d.powered(p.wires[w])
		return d.grow(group, alive, frozen, func(i, line int) bool { return d.fits(p.wires[w], i, line) })
	}
	spotsOf := make([][]int, len(patterns))
	for i, x := range spots {
		if x.pattern >= 0 {
			spotsOf[x.pattern] = append(spotsOf[x.pattern], i)
		}
	}
	order := make([]int, len(patterns))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(spotsOf[a]), len(spotsOf[b])) })
	gone := make([]bool, len(patterns))
	for range 2 {
		for _, k := range order {
			if gone[k] || d.work > 2*until {
				continue
			}
			uses := len(spotsOf[k])
			bodies, _ := ConditionSignal.bodies(uses, d.hw.Relay.Poles)
			relay := float64(bodies)*d.bodyPrice() + float64(uses)*grain(d.hw.Cost.Contact+2*d.hw.Cost.Joint) + d.contactPrice()
			more := 0.0
			next := map[int]*decision{}
			groups := map[int][]demand{}
			for _, i := range spotsOf[k] {
				w := spots[i].wire
				g := groups[w]
				if g == nil {
					g = slices.Clone(direct[w])
				}
				groups[w] = append(g, spots[i].group...)
			}
			for _, i := range spotsOf[k] {
				w := spots[i].wire
				if next[w] != nil {
					continue
				}
				next[w] = onWire(w, groups[w])
				more += next[w].cost - d.diode*float64(len(spots[i].group))
				if trees[w] != nil {
					more -= trees[w].cost
				}
				if more >= relay {
					break
				}
			}
			if more >= relay {
				continue
			}
			gone[k] = true
			for w, t := range next {
				trees[w], direct[w] = t, groups[w]
			}
		}
	}
	d.budget = budget
	var kept []pattern
	renumber := make([]int, len(patterns))
	for k := range patterns {
		renumber[k] = -2
		if !gone[k] {
			renumber[k] = len(kept)
			kept = append(kept, patterns[k])
		}
	}
	patterns = kept
	for i := range spots {
		if spots[i].pattern >= 0 {
			spots[i].pattern = renumber[spots[i].pattern]
		}
	}
	spots = slices.DeleteFunc(spots, func(x spot) bool { return x.pattern == -2 })
	var tied []demand
	for k := range patterns {
		tied = append(tied, demand{k, patterns[k].need})
	}
	alive := make([]int32, len(d.pieces))
	for i := range alive {
		alive[i] = int32(i)
	}
	may := func(i, k int) bool { return patterns[k].may.Has(i) }
	first := len(d.vars)
	if !d.addJoint(tied, alive, may) {
		return nil
	}
	all, prices := d.vars, d.price
	p.cost = d.joint.cost
	for w := range p.wires {
		p.feeds[w] = &feed{}
		if len(direct[w]) == 0 {
			continue
		}
		d.vars, d.price = slices.Clone(all[:d.bits]), slices.Clone(prices[:d.bits])
		b := branch{root: onWire(w, direct[w])}
		for _, y := range direct[w] {
			b.outputs = append(b.outputs, y.output)
		}
		p.feeds[w].trees = append(p.feeds[w].trees, b)
		p.feeds[w].cost += b.root.cost
		p.cost += b.root.cost
	}
	for _, x := range spots {
		d.vars, d.price = slices.Clone(all[:d.bits]), slices.Clone(prices[:d.bits])
		if x.pattern >= 0 {
			d.vars = append(d.vars, all[first+x.pattern])
			d.price = append(d.price, prices[first+x.pattern])
		}
		alive, frozen := d.powered(p.wires[x.wire])
		b := branch{root: d.grow(x.group, alive, frozen, func(i, line int) bool { return d.fits(p.wires[x.wire], i, line) })}
		if x.pattern >= 0 {
			b.root = shift(b.root, d.bits, first+x.pattern)
		}
		for _, y := range x.group {
			b.outputs = append(b.outputs, y.output)
		}
		f := p.feeds[x.wire]
		f.trees = append(f.trees, b)
		f.cost += b.root.cost
		p.cost += b.root.cost
	}
	d.vars, d.price = all, prices
	for w := range p.wires {
		if len(p.feeds[w].trees) > 0 {
			p.feeds[w].cost += d.wirePrice(p.wires[w])
			p.cost += d.wirePrice(p.wires[w])
		}
	}
	return p
}

// addJoint gives patterns relays that one tree pulls in, each a variable from
// then on. It returns false if the tree would have to look at what it may not.
func (d *designer) addJoint(tied []demand, alive []int32, may func(piece, pattern int) bool) bool {
	d.joint = &feed{}
	if len(tied) == 0 {
		return true
	}
	for _, frozen := range [][]uint64{d.flagsFrozen(), make([]uint64, len(d.pieces))} {
		// One tree: taking outputs out of it would cost a decoder each.
		root := d.grow(tied, alive, frozen, may)
		if root.cost >= impossible {
			continue
		}
		b := branch{root: root}
		for k := range tied {
			b.outputs = append(b.outputs, k)
		}
		d.joint.trees, d.joint.cost = []branch{b}, root.cost
		break
	}
	if d.joint.trees == nil {
		d.joint = nil
		return false
	}
	values, looks := make([][]uint8, len(tied)), make([][]uint64, len(tied))
	for k := range tied {
		values[k], looks[k] = make([]uint8, len(d.pieces)), make([]uint64, len(d.pieces))
	}
	for p := range d.pieces {
		d.joint.trees[0].root.walk(d.vars[:d.bits], int32(p), 0, func(leaf *decision, looked uint64) {
			for k := range tied {
				if leaf.outputs.Has(k) {
					values[k][p] |= 2
				} else {
					values[k][p] |= 1
				}
				looks[k][p] |= looked
			}
		})
	}
	for k := range tied {
		d.vars = append(d.vars, newVariable(len(d.vars), values[k], looks[k]))
		d.price = append(d.price, d.contactPrice())
		d.conds = append(d.conds, condition{})
	}
	return true
}

// shift copies a tree with one variable renumbered.
func shift(t *decision, from, to int) *decision {
	if t.v < 0 {
		return t
	}
	c := *t
	if c.v == from {
		c.v = to
	}
	c.off, c.on = shift(t.off, from, to), shift(t.on, from, to)
	return &c
}

// only copies a tree with the outputs that are kept, renumbered; contacts that tell nothing apart any more go.
func only(t *decision, keep map[int]int, n int) *decision {
	if t.v < 0 {
		out := store.NewSet(n)
		for _, k := range t.outputs.Columns() {
			if at, ok := keep[k]; ok {
				out.Add(at)
			}
		}
		return &decision{v: -1, outputs: out}
	}
	off, on := only(t.off, keep, n), only(t.on, keep, n)
	if off.v < 0 && on.v < 0 && off.outputs.Equal(on.outputs) {
		return off
	}
	return &decision{v: t.v, off: off, on: on, contacts: 1 + off.contacts + on.contacts}
}
