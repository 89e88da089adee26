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
	mostGroups = 150_000  // groups, and 8 times as many steps to find them
	mostHeld   = 40 << 20 // neighbours of points, 4 bytes each
	mostPoints = 30_000
	mostRounds = 400
	roundNodes = 2_000
)

// groups finds the maximal groups of points.
type groups struct {
	*heuristic
	points []uint64
	reach  []uint64  // of each point
	around [][]int32 // for each point, the off cubes that meet its reach
	near   [][]int32 // for each point, those that may share a group with it
	cubes  []uint64  // the closure of each group found
	rows   [][]int32
	alone  []int64 // what each point costs at least, where costs differ
	held   int     // entries of both
	steps  int
	first  int // the point that the groups being listed are around
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
		if g.meet(i); g.held > mostHeld || g.stopped {
			return false
		}
	}
	for i := range n {
		p := slices.Clone(g.at(g.points, i))
		g.law.close(p)
		act := g.get()
		for _, o := range g.around[i] {
			act = append(act, g.at(g.off, int(o))...)
		}
		var later, before []int32
		for _, j := range g.near[i] {
			if int(j) > i {
				later = append(later, j)
			} else {
				before = append(before, j)
			}
		}
		g.first = i
		g.extend(p, []int32{int32(i)}, later, before, act)
		g.put(act)
		if !g.ok || g.stopped {
			return false
		}
	}
	return true
}

// meet works out what find has to know about point i, the first that is new to it.
func (g *groups) meet(i int) {
	g.spend(g.len(g.off) + i/2)
	p := g.at(g.points, i)
	g.reach = append(g.reach, g.heuristic.reach(p)...)
	reach := g.at(g.reach, i)
	var around, near []int32
	for o := range g.len(g.off) {
		if g.meets(reach, g.at(g.off, o)) {
			around = append(around, int32(o))
		}
	}
	for j := range i {
		if contains(reach, g.at(g.points, j)) && contains(g.at(g.reach, j), p) {
			near = append(near, int32(j))
			g.near[j] = append(g.near[j], int32(i))
		}
	}
	g.around = append(g.around, around)
	g.near = append(g.near, near)
	g.held += len(around) + 2*len(near)
}

// fits makes to the closure of c and point j and reports whether it is an implicant: it
// misses act, the off cubes that may be met within the reach of the first point, and
// the rules do not take it further. When stopped it may wrongly say no.
func (g *groups) fits(to, c []uint64, j int32, act []uint64) bool {
	for o, x := range g.at(g.points, int(j)) {
		to[o] = c[o] | x
	}
	g.law.close(to)
	if !g.hasOff {
		return g.implicant(to)
	}
	return contains(g.at(g.reach, g.first), to) && g.misses(to, act)
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
	members = slices.Clip(members)
	for _, j := range later {
		switch {
		case contains(c, g.at(g.points, int(j))):
			members = append(members, j)
		case g.fits(sup, c, j, act):
			open = append(open, j)
		}
	}
	// One group that holds c, and then only those that have a point outside it: no
	// other group can be part of it.
	one := slices.Clone(c)
	for _, j := range open {
		if !contains(one, g.at(g.points, int(j))) && g.fits(sup, one, j, act) {
			copy(one, sup)
		}
	}
	maximal := true
	for _, j := range old {
		if g.fits(sup, one, j, act) {
			maximal = false
			break
		}
	}
	at := int32(g.len(g.cubes))
	var beside, next []int32
	if maximal {
		g.cubes = append(g.cubes, one...)
		for _, j := range members {
			g.rows[j] = append(g.rows[j], at)
		}
	}
	for _, j := range open {
		switch {
		case !contains(one, g.at(g.points, int(j))):
			beside = append(beside, j)
		case maximal:
			g.rows[j] = append(g.rows[j], at)
		}
	}
	for n, j := range beside {
		d := make([]uint64, g.w)
		g.fits(d, c, j, act)
		next = next[:0]
		for _, o := range open {
			if !slices.Contains(beside[:n+1], o) {
				next = append(next, o)
			}
		}
		g.extend(d, append(members, j), next, append(slices.Clip(old), beside[:n]...), act)
		if !g.ok {
			return
		}
	}
}

// costs bounds from below what it costs to cover points of each group by one product.
//
// Where costs differ, a few points of a group may have a cheaper product than all of
// it, one that reaches elsewhere. So a point also gets a group of its own, and a group
// costs no more than any two of its points make sure of.
func (g *groups) costs() []int64 {
	if g.unit {
		return slices.Repeat([]int64{1}, g.len(g.cubes))
	}
	for i := len(g.alone); i < g.len(g.points); i++ {
		g.alone = append(g.alone, g.cost(g.at(g.reach, i)))
	}
	n := g.len(g.cubes)
	size := make([]int, n)
	least, second := slices.Repeat([]int64{maxCost}, n), slices.Repeat([]int64{maxCost}, n)
	for i, row := range g.rows {
		for _, j := range row {
			c := g.alone[i]
			size[j]++
			second[j] = min(second[j], max(least[j], c))
			least[j] = min(least[j], c)
		}
	}
	for j := range size {
		if size[j] == 1 {
			second[j] = least[j]
		}
	}
	for i := range g.rows {
		p := slices.Clone(g.at(g.points, i))
		g.law.close(p)
		g.cubes = append(g.cubes, p...)
		g.rows[i] = append(g.rows[i], int32(n+i))
	}
	return append(second, g.alone...)
}

// grown returns a prime around each cube of l, the one in known if there is one, and
// remembers the others there.
func (h *heuristic) grown(l []uint64, known map[string][]uint64) []uint64 {
	var out, fresh []uint64
	var keys []string
	for i := range h.len(l) {
		key := Cube{h.space, h.at(l, i)}.String()
		if p, ok := known[key]; ok {
			out = append(out, p...)
			continue
		}
		keys = append(keys, key)
		fresh = append(fresh, h.at(l, i)...)
	}
	covered := make([]bool, len(keys))
	for i, key := range keys {
		c := slices.Clone(h.at(fresh, i))
		if h.stopped {
			break
		}
		if h.hasOff {
			h.grow(c, fresh, covered)
		} else {
			h.creep(c)
		}
		known[key] = c
		out = append(out, c...)
	}
	return h.maximal(out)
}

// byPoints improves f, a cover of on, and bounds the cost of all covers; listed is
// false if there were too many groups to go on.
func (h *heuristic) byPoints(on, f []uint64) (best []uint64, bound int64, listed bool) {
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
		if !h.spend(h.len(all)) {
			return best, 0, false
		}
	}
	nodes := fewNodes
	prime := map[string][]uint64{}
	for round := 0; round < mostRounds && !h.stopped && h.len(g.points) < mostPoints; round++ {
		if !g.find() {
			return best, bound, false
		}
		a := h.cheapest(g.costs(), g.rows, nodes)
		bound = max(bound, a.bound)
		if bound >= h.costOf(best) {
			break
		}
		// The chosen groups as primes, those of most points first.
		primes := h.grown(h.pick(g.cubes, a.columns), prime)
		if h.stopped {
			break
		}
		covering := append(slices.Clone(primes), h.free...)
		fresh := 0
		for i := range h.len(on) {
			if !h.spend(h.len(covering)) {
				return best, bound, false
			}
			if region := gap(h.space, h.at(on, i), covering); region != nil {
				if add(h.tight(region)) {
					fresh++
				}
			}
		}
		whole := primes
		if fresh > h.len(g.points)/16 && round%4 != 3 {
			continue // far from a cover
		}
		if fresh > 0 {
			whole = h.irredundant(h.maximal(append(slices.Clone(best), primes...)))
		}
		if h.less(whole, best) {
			best = whole
		}
		if fresh == 0 {
			// These groups cover everything, so only the search can go on.
			if a.bound == a.cost || nodes >= exactNodes {
				break
			}
			nodes *= 8
		}
	}
	return best, bound, true
}
