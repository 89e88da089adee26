package cover

import "slices"

// The second way to a proof, for functions with too many primes to list.
//
// A cover has to cover any points of the on-set that one picks. So pick some, list
// the maximal groups of them that fit into one admissible implicant (few, if
// the points are few and far apart), and choose the fewest groups: that is a bound.
// Grow the chosen groups to primes. If they cover everything the bound is met; if
// not, what they leave out gives the points to add. It is the row generation of
// integer programming, with the implicit primes of Coudert (1994) replaced by groups.

const (
	mostGroups = 150_000 // groups, and 8 times as many steps to find them
	mostPoints = 30_000
	mostRounds = 400
	roundNodes = 2_000
)

// groups finds the maximal groups of points.
type groups struct {
	*heuristic
	points []uint64
	reach  []uint64 // of each point
	cubes  []uint64 // the closure of each group found
	rows   [][]int32
	steps  int
	ok     bool
}

// find lists the groups from scratch; false if they are too many.
func (g *groups) find() bool {
	n := g.len(g.points)
	g.cubes = g.cubes[:0]
	g.rows = make([][]int32, n)
	g.steps = 0
	g.ok = true
	for i := g.len(g.reach); i < n; i++ {
		g.reach = append(g.reach, g.heuristic.reach(g.at(g.points, i))...)
	}
	for i := range n {
		p := slices.Clone(g.at(g.points, i))
		g.law.close(p)
		reach := g.at(g.reach, i)
		act := g.get()
		for o := 0; o < len(g.off); o += g.w {
			if g.meets(reach, g.off[o:o+g.w]) {
				act = append(act, g.off[o:o+g.w]...)
			}
		}
		g.spend(g.len(g.off) + n/2)
		var later, before []int32
		for j := range n {
			if j != i && contains(reach, g.at(g.points, j)) && contains(g.at(g.reach, j), p) {
				if j > i {
					later = append(later, int32(j))
				} else {
					before = append(before, int32(j))
				}
			}
		}
		g.extend(p, []int32{int32(i)}, later, before, act)
		g.put(act)
		if !g.ok || g.stopped {
			return false
		}
	}
	return true
}

// fits makes to the closure of c and point j and reports whether it misses act.
func (g *groups) fits(to, c []uint64, j int32, act []uint64) bool {
	for o, x := range g.at(g.points, int(j)) {
		to[o] = c[o] | x
	}
	g.law.close(to)
	return g.misses(to, act)
}

// extend lists the maximal groups around members (all within c) with points of
// later, unless a point of before belongs to them too: then they were listed with it.
func (g *groups) extend(c []uint64, members, later, before []int32, act []uint64) {
	g.steps++
	if g.steps > 8*mostGroups || g.len(g.cubes) > mostGroups || !g.spend(1) {
		g.ok = false
		return
	}
	sup := make([]uint64, g.w)
	var old, open []int32
	for _, j := range before {
		if contains(c, g.at(g.points, int(j))) {
			return
		}
		if g.fits(sup, c, j, act) {
			old = append(old, j)
		}
	}
	whole := slices.Clone(c)
	members = slices.Clip(members)
	for _, j := range later {
		switch {
		case contains(c, g.at(g.points, int(j))):
			members = append(members, j)
		case g.fits(sup, c, j, act):
			open = append(open, j)
			or(whole, g.at(g.points, int(j)))
		}
	}
	if len(open) > 0 {
		g.law.close(whole)
		if g.misses(whole, act) {
			// Everything left fits together.
			c = whole
			members = append(members, open...)
			open = nil
			for _, j := range old {
				if g.fits(sup, c, j, act) {
					return
				}
			}
			old = nil
		}
	}
	if len(open) == 0 {
		if len(old) == 0 {
			at := int32(g.len(g.cubes))
			g.cubes = append(g.cubes, c...)
			for _, j := range members {
				g.rows[j] = append(g.rows[j], at)
			}
		}
		return
	}
	for n, j := range open {
		d := make([]uint64, g.w)
		g.fits(d, c, j, act)
		g.extend(d, append(members, j), open[n+1:], append(slices.Clip(old), open[:n]...), act)
		if !g.ok {
			return
		}
	}
}

// byPoints improves f, a cover of on, and bounds the cost of all covers.
func (h *heuristic) byPoints(on, f []uint64) (best []uint64, bound int64) {
	best = f
	g := &groups{heuristic: h}
	seen := map[string]bool{}
	add := func(p []uint64) bool {
		key := Cube{h.space, p}.String()
		if seen[key] {
			return false
		}
		seen[key] = true
		g.points = append(g.points, p...)
		return true
	}
	all := append(slices.Clone(f), h.free...)
	others := make([]uint64, 0, len(all))
	for i := range h.len(f) {
		others = append(append(others[:0], all[:i*h.w]...), all[(i+1)*h.w:]...)
		if region := gap(h.space, h.at(f, i), others); region != nil {
			add(h.tight(region))
		}
		h.spend(h.len(all))
	}
	for round := 0; round < mostRounds && !h.stopped && h.len(g.points) < mostPoints; round++ {
		if !g.find() {
			break
		}
		cost := make([]int64, h.len(g.cubes))
		for i := range cost {
			cost[i] = 1
			if !h.unit {
				cost[i] = h.cost(h.reach(h.at(g.cubes, i)))
			}
		}
		a := h.cheapest(cost, g.rows, roundNodes)
		bound = max(bound, a.bound)
		if bound >= h.costOf(best) {
			break
		}
		// The chosen groups as primes, those of most points first.
		chosen := h.pick(g.cubes, a.columns)
		primes := h.expand(chosen, nil)
		if h.stopped {
			break
		}
		covering := append(slices.Clone(primes), h.free...)
		fresh := 0
		for i := range h.len(on) {
			h.spend(h.len(covering))
			if region := gap(h.space, h.at(on, i), covering); region != nil {
				if add(h.tight(region)) {
					fresh++
				}
			}
		}
		whole := primes
		if fresh > 0 {
			whole = h.irredundant(h.maximal(append(slices.Clone(best), primes...)))
		}
		if h.costOf(whole) < h.costOf(best) || h.costOf(whole) == h.costOf(best) && h.total(whole) < h.total(best) {
			best = whole
		}
		if trace != nil {
			trace("round %d: %d points, %d groups, bound %d, chosen %d, best %d, fresh %d", round, h.len(g.points), h.len(g.cubes), a.bound, len(a.columns), h.costOf(best), fresh)
		}
		if fresh == 0 {
			break
		}
	}
	return best, bound
}

var trace func(string, ...any)
