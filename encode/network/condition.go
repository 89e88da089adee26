package network

import (
	"cmp"
	"slices"

	"coilwright/encode/store"
)

// addCondition gives a pattern a relay: its coil tree decides where it is in
// on pieces that do not matter, and from then on it is one more variable. It
// returns false if the pattern cannot be told apart.
func (d *designer) addCondition(c condition) (cost float64, ok bool) {
	root := d.coilTree([]condition{c})
	if root.cost >= impossible || root.v < 0 {
		return 0, false
	}
	values, looks := make([]uint8, len(d.pieces)), make([]uint64, len(d.pieces))
	for p := range d.pieces {
		root.walk(d.vars[:d.bits], int32(p), 0, func(outputs store.Set, looked uint64) {
			if outputs.Has(0) {
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
	return root.cost, true
}

func (d *designer) dropCondition(cache map[string]*feed) {
	d.vars = d.vars[:len(d.vars)-1]
	d.price = d.price[:len(d.price)-1]
	d.conds = d.conds[:len(d.conds)-1]
	d.roots = d.roots[:len(d.roots)-1]
	d.coils = d.coils[:len(d.coils)-1]
	d.cache = cache
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
		at   int // number of conditions it was weighed beside
	}
	var bids []bid
	for _, c := range d.patterns(p) {
		bids = append(bids, bid{c, impossible, -1})
	}
	for len(bids) > 0 && d.work < until {
		slices.SortStableFunc(bids, func(a, b bid) int { return cmp.Compare(b.gain, a.gain) })
		b := &bids[0]
		cache := d.cache
		coil, ok := d.addCondition(b.c)
		if !ok {
			bids = bids[1:]
			continue
		}
		next := d.weigh(p.wires, nil, -1)
		gain := p.cost - next.cost - coil - d.idle(next, len(d.conds)-1)
		if b.at == len(d.conds)-1 || gain > 0 && (len(bids) == 1 || gain >= bids[1].gain) {
			if gain <= 1e-9 {
				d.dropCondition(cache)
				break
			}
			p = next
			bids = bids[1:]
			continue
		}
		d.dropCondition(cache)
		b.gain, b.at = gain, len(d.conds)
		if gain <= 0 {
			bids = bids[1:]
		}
	}
	return p
}

// idle is the price of the poles of a condition's relays that nothing uses.
func (d *designer) idle(p *plan, cond int) float64 {
	uses := 0
	var look func(t *decision)
	look = func(t *decision) {
		if t.v < 0 {
			return
		}
		if t.v == d.bits+cond {
			uses++
		}
		look(t.off)
		look(t.on)
	}
	for _, f := range p.feeds {
		for _, b := range f.trees {
			look(b.root)
		}
	}
	poles := d.hw.Relay.Poles
	spare := (poles - uses%poles) % poles
	return float64(spare) * d.bodyPrice() / float64(poles)
}
