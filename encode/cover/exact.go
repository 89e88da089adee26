package cover

const (
	mostPairs     = 8_000_000 // cubes that one step of the primes may look at
	mostColumns   = 60_000
	mostTableWork = 4_000_000 // regions looked at for the rows
	exactNodes    = 2_000_000
)

// exact finds a cover of least price, or improves f and bounds it. It returns the
// best cover and a bound on cost (not price); literals tells whether no cover of the
// same cost has fewer of them, if that was asked for.
func (h *heuristic) exact(on, f []uint64, literals bool) (best []uint64, bound int64, fewest bool) {
	all, ok := h.admissiblePrimes(append(append([]uint64{}, on...), h.free...))
	if h.stopped {
		return f, 0, false
	}
	if !ok || h.len(all) > mostColumns {
		best, bound = h.byPoints(on, f)
		return best, bound, false
	}
	rows, ok := h.findRows(all, on, h.free, mostTableWork)
	if !ok {
		return f, 0, false
	}
	cost := make([]int64, h.len(all))
	for i := range cost {
		cost[i] = h.cost(h.at(all, i))
	}
	a := h.cheapest(cost, rows, exactNodes)
	best = f
	if a.cost < h.costOf(f) || a.cost == h.costOf(f) && h.total(h.pick(all, a.columns)) < h.total(f) {
		best = h.pick(all, a.columns)
	}
	if !literals || h.stopped {
		return best, a.bound, false
	}
	for i := range cost {
		cost[i] = h.price(h.at(all, i))
	}
	b := h.cheapest(cost, rows, exactNodes)
	if g := h.pick(all, b.columns); h.total(g) < h.total(best) {
		best = g
	}
	return best, max(a.bound, (b.bound+h.scale-1)/h.scale), b.bound >= h.total(best)
}

func (h *heuristic) pick(l []uint64, columns []int32) []uint64 {
	var out []uint64
	for _, j := range columns {
		out = append(out, h.at(l, int(j))...)
	}
	return out
}

func (h *heuristic) costOf(l []uint64) int64 {
	n := int64(0)
	for i := range h.len(l) {
		n += h.cost(h.at(l, i))
	}
	return n
}

// admissiblePrimes returns the maximal admissible implicants of the function.
func (k *worker) admissiblePrimes(l []uint64) ([]uint64, bool) {
	all, ok := k.primes(l, mostPairs)
	if !ok || len(k.law.rules) == 0 {
		return all, ok
	}
	kept := all[:0]
	for i := range k.len(all) {
		if c := k.at(all, i); k.law.interior(c) {
			kept = append(kept, c...)
		}
	}
	return k.maximal(kept), !k.stopped
}
