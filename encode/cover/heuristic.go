package cover

import "slices"

// sizes that bound the memory and the time of single steps.
const (
	longList    = 2_000    // cubes
	mostOff     = 120_000  // cubes of the off-set
	offWords    = 8 << 20  // of these cubes
	mostRows    = 200_000  // of a covering table
	offWork     = 60 << 20 // to find them
	someWork    = 60 << 20 // of a step where there is no off-set
	leastWork   = 1 << 21  // to look for a proof after the loop
	mostRegions = 200_000  // of one irredundant step
	fewNodes    = 40       // of the search in an irredundant step
	maxCost     = 1 << 20  // of one product
	maxPrice    = 1 << 34  // of one product, cost and literals together
	mostPasses  = 40       // of the loop; it stops by itself long before
)

// heuristic holds what the loop of Rudell and Sangiovanni-Vincentelli (1987) works on.
type heuristic struct {
	*expander
	free []uint64 // don't-cares, and later the essential primes too
	cost func(c []uint64) int64
	unit bool // cost is 1 for every product
	// scale puts literals below cost in a price; it exceeds all literals of as many
	// products as the loop starts with.
	scale int64
}

func (h *heuristic) price(c []uint64) int64 { return h.cost(c)*h.scale + int64(h.literals(c)) }

// less reports whether a costs less than b, or as much with fewer literals. Sums of
// prices do not tell: many cheap products may have more literals than scale.
func (h *heuristic) less(a, b []uint64) bool {
	c, d := h.costOf(a), h.costOf(b)
	return c < d || c == d && h.literalsOf(a) < h.literalsOf(b)
}

func (h *heuristic) costOf(l []uint64) int64 {
	n := int64(0)
	for i := range h.len(l) {
		n += h.cost(h.at(l, i))
	}
	return n
}

func (h *heuristic) literalsOf(l []uint64) int64 {
	n := int64(0)
	for i := range h.len(l) {
		n += int64(h.literals(h.at(l, i)))
	}
	return n
}

// run improves f, admissible products, until nothing helps.
func (h *heuristic) run(f []uint64) []uint64 {
	free := h.free
	if !h.hasOff {
		h.try(someWork, func() { f = h.expand(f, nil) })
		h.try(someWork, func() { f = h.irredundant(f) })
		return f
	}
	f = h.expand(f, nil)
	f = h.irredundant(f)
	var essential []uint64
	essential, f = h.essentials(f)
	h.free = append(slices.Clone(free), essential...)
	best := slices.Clone(f)
	for pass := 0; pass < mostPasses && !h.stopped && len(best) > 0; pass++ {
		for inner := 0; inner < mostPasses && !h.stopped; inner++ {
			g, same := h.reduce(slices.Clone(best))
			g = h.expand(g, same)
			g = h.irredundant(g)
			if !h.less(g, best) {
				break
			}
			best = g
		}
		g := h.lastGasp(best)
		if !h.less(g, best) {
			break
		}
		best = g
	}
	h.free = free
	return append(essential, best...)
}

// irredundant chooses products of f, all of which it takes to cover what h.free does
// not, at least price as far as a short search can tell (IRREDUNDANT).
func (h *heuristic) irredundant(f []uint64) []uint64 {
	n := h.len(f)
	if n == 0 || h.stopped {
		return f
	}
	// Needed by itself, or not.
	var needed, rest []uint64
	others := make([]uint64, 0, len(f)+len(h.free))
	for i := range n {
		if h.stopped {
			return f
		}
		others = append(append(append(others[:0], f[:i*h.w]...), f[(i+1)*h.w:]...), h.free...)
		if h.covers(others, h.at(f, i)) {
			rest = append(rest, h.at(f, i)...)
		} else {
			needed = append(needed, h.at(f, i)...)
		}
	}
	fixed := append(slices.Clone(needed), h.free...)
	var open []uint64
	for i := range h.len(rest) {
		if !h.covers(fixed, h.at(rest, i)) {
			open = append(open, h.at(rest, i)...)
		}
	}
	if h.stopped {
		return f
	}
	if len(open) == 0 {
		return needed
	}
	rows, ok := h.findRows(open, open, fixed, mostRegions)
	if !ok || h.stopped {
		if h.stopped {
			return f
		}
		return append(needed, h.oneByOne(open, fixed)...)
	}
	cost := make([]int64, h.len(open))
	for i := range cost {
		cost[i] = h.price(h.at(open, i))
	}
	for _, j := range h.cheapest(cost, rows, fewNodes).columns {
		needed = append(needed, h.at(open, int(j))...)
	}
	return needed
}

// oneByOne drops what the others cover, dearest first.
func (h *heuristic) oneByOne(f, fixed []uint64) []uint64 {
	order := make([]int, h.len(f))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		pa, pb := h.price(h.at(f, a)), h.price(h.at(f, b))
		switch {
		case pa > pb:
			return -1
		case pa < pb:
			return 1
		}
		return 0
	})
	gone := make([]bool, len(order))
	others := make([]uint64, 0, len(f)+len(fixed))
	for _, i := range order {
		others = append(others[:0], fixed...)
		for j := range gone {
			if j != i && !gone[j] {
				others = append(others, h.at(f, j)...)
			}
		}
		gone[i] = h.covers(others, h.at(f, i))
	}
	var kept []uint64
	for i := range gone {
		if !gone[i] {
			kept = append(kept, h.at(f, i)...)
		}
	}
	return kept
}

// essentials takes the essential primes out of f, a cover by primes. p is
// essential unless its consensus with the rest covers it (Brayton et al. 1984).
// Rules only take primes away, so a prime essential without them is so with them.
func (h *heuristic) essentials(f []uint64) (essential, rest []uint64) {
	n := h.len(f)
	all := append(slices.Clone(f), h.free...)
	for i := range n {
		if !h.spend(n) {
			rest = append(rest, f[i*h.w:]...)
			break
		}
		p := h.at(f, i)
		others := h.get()
		for j := range h.len(all) {
			if j == i {
				continue
			}
			g := h.at(all, j)
			d, at := h.distance(p, g)
			if d > 1 {
				continue
			}
			if d == 1 {
				others = h.consensus(others, p, g, at)
				continue
			}
			if j >= n {
				others = h.inside(others, p, g)
			}
			for at := range h.fields {
				if !h.within(p, g, at) {
					others = h.consensus(others, p, g, at)
				}
			}
		}
		ok := !h.tautology(others)
		h.put(others)
		if ok && !h.stopped {
			essential = append(essential, p...)
		} else {
			rest = append(rest, p...)
		}
	}
	return essential, rest
}

// consensus appends what g and p together hold of p for any value in field at: as
// a cofactor of p.
func (h *heuristic) consensus(buf, p, g []uint64, at int) []uint64 {
	buf = h.inside(buf, p, g)
	h.fill(buf[len(buf)-h.w:], at)
	return buf
}

func (h *heuristic) inside(buf, p, g []uint64) []uint64 {
	for o, x := range g {
		buf = append(buf, x|h.full[o]&^p[o])
	}
	return buf
}

// reduce makes each product of f the smallest admissible one that still covers what
// the others do not (REDUCE), largest first. same tells which stayed as they were.
func (h *heuristic) reduce(f []uint64) (out []uint64, same []bool) {
	n := h.len(f)
	// The largest first, then by closeness to it, so that neighbours give way to
	// each other.
	big := 0
	for i := range n {
		if ones(h.at(f, i)) > ones(h.at(f, big)) {
			big = i
		}
	}
	order := make([]int, n)
	key := make([]int, n)
	for i := range n {
		order[i] = i
		for o, x := range h.at(f, i) {
			key[i] += ones([]uint64{x &^ h.at(f, big)[o]}) + ones([]uint64{h.at(f, big)[o] &^ x})
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return key[a] - key[b] })
	all := append(slices.Clone(f), h.free...)
	same = make([]bool, n)
	gone := make([]bool, n)
	for _, i := range order {
		if h.stopped {
			break // the rest stays, and counts as not prime
		}
		c := h.at(all, i)
		r, any := h.smallest(c, all, i, gone)
		if !any {
			gone[i] = true
			continue
		}
		same[i] = equal(r, c)
		copy(c, r)
	}
	kept := same[:0]
	for i := range n {
		if !gone[i] {
			out = append(out, h.at(all, i)...)
			kept = append(kept, same[i])
		}
	}
	return out, kept
}

// smallest returns the smallest admissible product around what the cubes of all,
// but for number i and those gone, leave of c; false if they leave nothing.
func (h *heuristic) smallest(c, all []uint64, i int, gone []bool) ([]uint64, bool) {
	near := h.get()
	defer func() { h.put(near) }()
	for j := range h.len(all) {
		if j == i || j < len(gone) && gone[j] || !h.meets(c, h.at(all, j)) {
			continue
		}
		near = h.inside(near, c, h.at(all, j))
	}
	h.spend(h.len(all))
	r := make([]uint64, h.w)
	h.missing(r, h.full, near)
	if h.isEmpty(r) {
		return nil, false
	}
	and(r, c)
	h.law.close(r)
	return r, true
}

// lastGasp reduces every product as if it were the only one to give way, grows these
// into primes that hold two of them, and lets a covering choose.
func (h *heuristic) lastGasp(f []uint64) []uint64 {
	all := append(slices.Clone(f), h.free...)
	var small []uint64
	for i := range h.len(f) {
		if h.stopped {
			return f
		}
		r, any := h.smallest(h.at(all, i), all, i, nil)
		if any && !equal(r, h.at(all, i)) {
			small = append(small, r...)
		}
	}
	if h.len(small) < 2 || h.stopped {
		return f
	}
	var fresh []uint64
	covered := make([]bool, h.len(small))
	sup := make([]uint64, h.w)
	reach := make([][]uint64, len(covered))
	for i := range reach {
		reach[i] = h.reach(h.at(small, i))
	}
	for i := range covered {
		for j := range i {
			if !contains(reach[i], h.at(small, j)) || !contains(reach[j], h.at(small, i)) {
				continue
			}
			for o := range sup {
				sup[o] = h.at(small, i)[o] | h.at(small, j)[o]
			}
			h.law.close(sup)
			inOne := false
			for t := 0; t < len(fresh) && !inOne; t += h.w {
				inOne = contains(fresh[t:t+h.w], sup)
			}
			if inOne || !h.implicant(sup) {
				continue
			}
			c := slices.Clone(sup)
			clear(covered)
			h.grow(c, small, covered)
			fresh = append(fresh, c...)
		}
		if !h.spend(i) {
			return f
		}
	}
	if len(fresh) == 0 {
		return f
	}
	return h.irredundant(h.maximal(append(slices.Clone(f), fresh...)))
}

// sparse leaves off outputs that a product feeds though others or the don't-cares do
// already, then lets it accept more inputs if it can (MAKE_SPARSE). It changes
// nothing that would cost more.
func (h *heuristic) sparse(f []uint64) []uint64 {
	n := h.len(f)
	all := append(slices.Clone(f), h.free...)
	out := h.out()
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	// Those with most outputs give first; the others are used with less to spare.
	slices.SortStableFunc(order, func(a, b int) int { return h.count(h.at(f, b), out) - h.count(h.at(f, a), out) })
	size := h.fields[out].size
	d := make([]uint64, h.w)
	r := make([]uint64, h.w)
	for _, i := range order {
		c := h.at(all, i)
		if h.count(c, out) == 1 || h.stopped {
			continue
		}
		near := h.get()
		for j := range h.len(all) {
			if j != i && h.meets(c, h.at(all, j)) {
				near = append(near, h.at(all, j)...)
			}
		}
		h.spend(h.len(all) / 4)
		copy(r, c)
		for v := range size {
			b := h.bit(out, v)
			if !has(c, b) {
				continue
			}
			copy(d, c)
			h.clear(d, out)
			set(d, b)
			if h.covers(near, d) {
				unset(r, b)
			}
		}
		h.put(near)
		if h.isEmpty(r) || !h.law.obeyed(r) || h.price(r) > h.price(c) {
			continue
		}
		copy(c, r)
	}
	f = all[:n*h.w]
	for i := range n {
		if h.stopped {
			break
		}
		c := h.at(f, i)
		copy(r, c)
		h.growInputs(r)
		if h.price(r) <= h.price(c) {
			copy(c, r)
		}
	}
	return f
}

// growInputs makes c accept every value of as many input variables as it can, one
// after the other, and otherwise leaves them alone.
func (h *heuristic) growInputs(c []uint64) {
	sup := make([]uint64, h.w)
	for f := range h.out() {
		if h.fullIn(c, f) {
			continue
		}
		copy(sup, c)
		h.fill(sup, f)
		h.law.close(sup)
		if h.within(c, sup, h.out()) && h.implicant(sup) {
			copy(c, sup)
		}
		if h.spend(0); h.stopped {
			return
		}
	}
}
