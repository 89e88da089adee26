package cover

const (
	mostPairs   = 8_000_000 // cubes that one step of the primes may look at
	mostColumns = 40_000
	mostLooks   = 4_000_000 // regions looked at for the rows
	exactNodes  = 2_000_000
)

// exact finds a cover of least cost, or improves f, a cover of on, and bounds it. With
// literals it goes on to the least price, and tells whether no cover of the same
// cost has fewer literals.
func (h *heuristic) exact(on, f []uint64, literals bool) (best []uint64, bound int64, fewest bool) {
	best, bound, listed := h.byPoints(on, f)
	// Groups know the cost of the product that they become only if all cost the same.
	listed = listed && h.unit
	if h.stopped || !literals && (listed || bound >= h.costOf(best)) {
		return best, bound, false
	}
	all, rows, ok := h.primeTable(on)
	if !ok {
		return best, bound, false
	}
	if bound < h.costOf(best) && !listed {
		g, low := h.solvePrimes(all, rows, h.cost)
		bound = max(bound, low)
		if h.less(g, best) {
			best = g
		}
	}
	if !literals || h.stopped {
		return best, bound, false
	}
	// No cover of primes that costs no more has as many literals as scale.
	least, dearest := int64(maxCost), int64(0)
	for i := range h.len(all) {
		c := h.cost(h.at(all, i))
		least, dearest = min(least, c), max(dearest, c)
	}
	scale := h.costOf(best)/least*int64(h.out()) + 1
	if dearest > maxPrice/scale-1 {
		return best, bound, false
	}
	g, low := h.solvePrimes(all, rows, func(c []uint64) int64 { return h.cost(c)*scale + int64(h.literals(c)) })
	if h.less(g, best) {
		best = g
	}
	return best, max(bound, low/scale), low >= h.costOf(best)*scale+h.literalsOf(best)
}

// primeTable lists the maximal admissible implicants and the rows that they have to
// cover, unless these are too many.
func (h *heuristic) primeTable(on []uint64) (all []uint64, rows [][]int32, ok bool) {
	all, ok = h.admissiblePrimes(h.base)
	if !ok || h.len(all) > mostColumns {
		return nil, nil, false
	}
	rows, ok = h.findRows(all, on, h.free, mostLooks)
	return all, rows, ok
}

// solvePrimes chooses primes by the given price. It returns them and the bound.
func (h *heuristic) solvePrimes(all []uint64, rows [][]int32, price func([]uint64) int64) ([]uint64, int64) {
	cost := make([]int64, h.len(all))
	for i := range cost {
		cost[i] = price(h.at(all, i))
	}
	a := h.cheapest(cost, rows, exactNodes)
	return h.pick(all, a.columns), a.bound
}

func (h *heuristic) pick(l []uint64, columns []int32) []uint64 {
	var out []uint64
	for _, j := range columns {
		out = append(out, h.at(l, int(j))...)
	}
	return out
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
