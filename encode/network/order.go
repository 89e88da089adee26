package network

import (
	"math/bits"
	"slices"

	"coilwright/encode/network/fold"
	"coilwright/encode/store"
)

// folded asks the variables of all trees of a plan in the order that needs the
// fewest bodies, coils' trees among them, by fold.Spread: what the trees do stays as it
// is. Where nothing comes of it, it returns the plan as it was.
func (d *designer) folded(p *plan, tries int) *plan {
	q := *d.settle(p)
	f := folding{designer: d, uses: make([]int, len(d.vars)), at: map[int]int{}}
	lines, coils := d.direct(&q)
	for w, x := range q.feeds {
		still := d.moving(q.wires[w]).any
		for k := range x.trees {
			f.take(w, k, x.trees[k], lines, still)
		}
	}
	if q.coils != nil {
		still := uint64(0)
		for _, frozen := range [][]uint64{d.coilFrozen(q.wires, q.trees), d.flagsFrozen()} {
			for _, b := range frozen {
				still |= b
			}
		}
		for k := range q.coils.trees {
			f.take(-1, k, q.coils.trees[k], coils, still)
		}
	}
	if len(f.trees) == 0 {
		return p
	}
	before, _ := d.total(&q)
	out := fold.Spread(f.trees, fold.Rules{Contacts: f.contacts, Leaf: f.leaf, Fixed: f.fixed, Tries: tries})
	q.feeds = slices.Clone(q.feeds)
	for w := range q.feeds {
		q.feeds[w] = &feed{slices.Clone(q.feeds[w].trees), q.feeds[w].cost}
	}
	if q.coils != nil {
		q.coils = &feed{slices.Clone(q.coils.trees), q.coils.cost}
	}
	for n, t := range out {
		x := q.coils
		if f.wire[n] >= 0 {
			x = q.feeds[f.wire[n]]
		}
		x.trees[f.tree[n]].root = f.decision(t, 0, f.ends[n])
	}
	if after, _ := d.total(&q); after >= before-1e-9 {
		return p
	}
	return &q
}

// folding is trees on their way through fold.Spread.
type folding struct {
	*designer
	trees      []fold.Tree
	fixed      []uint64
	ends       [][]store.Set // by tree: what its leaves feed
	cost       [][]int       // and their price
	wire, tree []int         // where a tree is from; wire -1 = the coils
	uses       []int         // contacts of trees that stay as they are
	vars       []int         // by number in fold.Spread: variable
	at         map[int]int   // and back
}

// millionths of a price are what fold.Spread counts in.
func millionths(price float64) int { return int(price * 1e6) }

// take adds a tree, unless there is nothing about it to be put in order, or it
// asks more variables than fold.Spread knows.
func (f *folding) take(wire, k int, b branch, direct []bool, still uint64) {
	fresh := map[int]bool{}
	b.root.contactsOf(func(v int) {
		if _, ok := f.at[v]; !ok {
			fresh[v] = true
		}
	})
	if b.root.v < 0 || b.root.off.v < 0 && b.root.on.v < 0 || len(f.vars)+len(fresh) > 64 {
		b.root.contactsOf(func(v int) { f.uses[v]++ })
		return
	}
	b.root.contactsOf(func(v int) {
		if _, ok := f.at[v]; !ok {
			f.at[v] = len(f.vars)
			f.vars = append(f.vars, v)
		}
	})
	var t fold.Tree
	var ends []store.Set
	var cost []int
	diode, joint := millionths(f.diode), millionths(f.hw.Cost.Joint)
	var walk func(x *decision) int
	walk = func(x *decision) int {
		if x.v < 0 {
			n := slices.IndexFunc(ends, x.outputs.Equal)
			if n < 0 {
				n = len(ends)
				ends = append(ends, x.outputs)
				fed := x.outputs.Columns()
				switch {
				case len(fed) == 0:
					cost = append(cost, -joint)
				case len(fed) == 1 && direct[b.outputs[fed[0]]]:
					cost = append(cost, 0)
				default:
					cost = append(cost, diode*len(fed))
				}
			}
			return -1 - n
		}
		at := len(t)
		t = append(t, fold.Node{Var: f.at[x.v]})
		low := walk(x.off)
		high := walk(x.on)
		t[at].Low, t[at].High = low, high
		return at
	}
	walk(b.root)
	// What travels, and conditions while anything does, must not be asked of
	// pieces of which it was not.
	fixed := uint64(0)
	for n, v := range f.vars {
		if still != 0 && (v >= f.bits || still>>v&1 == 1) {
			fixed |= 1 << n
		}
	}
	f.trees, f.fixed, f.ends, f.cost = append(f.trees, t), append(f.fixed, fixed), append(f.ends, ends), append(f.cost, cost)
	f.wire, f.tree = append(f.wire, wire), append(f.tree, k)
}

func (f *folding) leaf(tree, leaf int) int { return f.cost[tree][-1-leaf] }

func (f *folding) contacts(uses []int) int {
	c := f.hw.Cost
	poles := f.hw.Relay.Poles
	sum := 0
	for n, u := range uses {
		v := f.vars[n]
		all := u + f.uses[v]
		if all == 0 {
			continue
		}
		bodies, drivers := f.kind(v).bodies(all, poles)
		sum += bodies*millionths(f.bodyPrice()) + drivers*millionths(c.Contact+2*c.Joint) + u*millionths(c.Contact+3*c.Joint)
	}
	return sum
}

func (f *folding) decision(t fold.Tree, at int, ends []store.Set) *decision {
	if at < 0 {
		return &decision{v: -1, outputs: ends[-1-at]}
	}
	off, on := f.decision(t, t[at].Low, ends), f.decision(t, t[at].High, ends)
	return &decision{v: f.vars[t[at].Var], off: off, on: on, contacts: 1 + off.contacts + on.contacts}
}

// foldTries bounds the changes tried: as many as a second or so allows.
func (d *designer) foldTries(p *plan) int {
	contacts := 0
	p.contacts(func(int) { contacts++ })
	if p.coils != nil {
		p.coils.contacts(func(int) { contacts++ })
	}
	return min(20_000, 4_000_000/(8+bits.Len(uint(contacts))+contacts))
}
