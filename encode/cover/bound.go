package cover

import "slices"

// independent bounds the cost of every cover from below: it looks for points of
// the on-set no two of which fit into one admissible implicant, each of
// which costs at least what the largest product around it that one value at a
// time allows would cost. f is a cover; a point is looked for in each product, where no
// other covers it.
func (h *heuristic) independent(f []uint64) int64 {
	n := h.len(f)
	all := append(slices.Clone(f), h.free...)
	type point struct {
		p, reach []uint64
		cost     int64
		near     []int32
	}
	var points []point
	others := make([]uint64, 0, len(all))
	for i := range n {
		others = append(append(others[:0], all[:i*h.w]...), all[(i+1)*h.w:]...)
		region := gap(h.space, h.at(f, i), others)
		if region == nil {
			continue
		}
		p := h.tight(region)
		points = append(points, point{p: p, reach: h.reach(p)})
		if !h.spend(n) {
			break // fewer points bound less, but they bound
		}
	}
	for i := range points {
		points[i].cost = h.cost(points[i].reach)
	}
	sup := make([]uint64, h.w)
	for i := range points {
		for j := range i {
			a, b := &points[i], &points[j]
			if !contains(a.reach, b.p) || !contains(b.reach, a.p) {
				continue
			}
			for o := range sup {
				sup[o] = a.p[o] | b.p[o]
			}
			h.law.close(sup)
			if h.implicant(sup) {
				a.near = append(a.near, int32(j))
				b.near = append(b.near, int32(i))
			}
		}
		if !h.spend(i) {
			points = points[:i+1]
			break
		}
	}
	if h.stopped && !h.hasOff {
		return 0 // some pair may only not have been looked at
	}
	// Greedy: the point that rules out least first.
	gone := make([]bool, len(points))
	degree := make([]int, len(points))
	for i := range points {
		degree[i] = len(points[i].near)
	}
	bound := int64(0)
	for {
		pick := -1
		for i := range points {
			if !gone[i] && (pick < 0 || degree[i] < degree[pick]) {
				pick = i
			}
		}
		if pick < 0 {
			return bound
		}
		bound += points[pick].cost
		gone[pick] = true
		for _, j := range points[pick].near {
			if gone[j] {
				continue
			}
			gone[j] = true
			for _, i := range points[j].near {
				degree[i]--
			}
		}
	}
}

// tight is a point of the region with many off cubes around it.
func (h *heuristic) tight(region []uint64) []uint64 {
	p := slices.Clone(region)
	act := h.get()
	defer func() { h.put(act) }()
	for i := 0; i < len(h.off); i += h.w {
		// Only what one or two fields keep off says anything about the point.
		if d, _ := h.distance(p, h.off[i:i+h.w]); d < 2 {
			act = append(act, h.off[i:i+h.w]...)
		}
	}
	if len(act) == 0 {
		act = append(act, h.off...)
	}
	h.spend(h.len(h.off))
	d := make([]uint64, h.w)
	for f := range h.fields {
		if h.count(p, f) == 1 {
			continue
		}
		best, most := -1, -1
		for v := range h.fields[f].size {
			b := h.bit(f, v)
			if !has(p, b) {
				continue
			}
			n := 0
			for i := 0; i < len(act); i += h.w {
				if has(act[i:i+h.w], b) {
					n++
				}
			}
			if n > most {
				best, most = b, n
			}
		}
		h.clear(p, f)
		set(p, best)
		copy(d, p)
		kept := act[:0]
		for i := 0; i < len(act); i += h.w {
			if has(act[i:i+h.w], best) {
				kept = append(kept, act[i:i+h.w]...)
			}
		}
		if len(kept) > 0 {
			act = kept
		}
	}
	return p
}

// reach is p with every value that it may accept together with the rest of p: every
// admissible implicant around p lies in it.
func (h *heuristic) reach(p []uint64) []uint64 {
	c := slices.Clone(p)
	h.law.close(c)
	if !h.hasOff {
		r := slices.Clone(c)
		sup := make([]uint64, h.w)
		eachBit(h.full, func(b int) {
			if has(c, b) {
				return
			}
			copy(sup, c)
			set(sup, b)
			if h.law.close(sup); h.stopped || h.implicant(sup) || h.stopped {
				set(r, b)
			}
		})
		return r
	}
	free := make([]uint64, h.w)
	for o := range free {
		free[o] = h.full[o] &^ c[o]
	}
	h.put(h.block(h.get(), c, free, h.off))
	h.spend(h.len(h.off))
	or(free, c)
	return free
}
