package cover

import "slices"

// rowFinder finds the rows of a covering table: for the points of target outside
// skip, the sets of columns that contain them, of which only those are kept
// that contain no other. It splits space until no cube cuts a region, and leaves a
// region alone when a row already found is part of the columns that contain all
// of it: the idea of the signature cubes (McGeer, Sanghavi, Brayton and
// Sangiovanni-Vincentelli 1993), without making them.
type rowFinder struct {
	*worker
	most   int             // rows and regions to give up at
	inside []int32         // columns that contain the region
	rows   [][]int32       // ascending
	byKey  map[int32][]int // rows by their last column
	ok     bool
	seen   int
}

// parts are cubes that meet the region but do not contain it.
type parts struct {
	cubes []uint64
	id    []int32 // column, or one of these:
}

const (
	isTarget int32 = -1
	isSkip   int32 = -2
)

// findRows returns the rows, or false where there would be too many.
func (k *worker) findRows(columns, target, skip []uint64, most int) (rows [][]int32, ok bool) {
	r := &rowFinder{worker: k, most: most, byKey: map[int32][]int{}, ok: true}
	var p parts
	add := func(l []uint64, id func(i int) int32) {
		for i := range k.len(l) {
			p.cubes = append(p.cubes, k.at(l, i)...)
			p.id = append(p.id, id(i))
		}
	}
	add(skip, func(int) int32 { return isSkip })
	add(target, func(int) int32 { return isTarget })
	add(columns, func(i int) int32 { return int32(i) })
	r.region(p, false, nil, -1)
	if !r.ok {
		return nil, false
	}
	return minimalRows(r.rows), true
}

// minimalRows keeps the rows that contain no other, shortest first.
func minimalRows(rows [][]int32) [][]int32 {
	slices.SortStableFunc(rows, func(a, b []int32) int {
		if len(a) != len(b) {
			return len(a) - len(b)
		}
		return slices.Compare(a, b)
	})
	byKey := map[int32][]int{}
	var kept [][]int32
	for _, row := range rows {
		if holdsRow(row, kept, byKey) {
			continue
		}
		key := row[len(row)-1]
		byKey[key] = append(byKey[key], len(kept))
		kept = append(kept, row)
	}
	return kept
}

// holdsRow reports whether one of rows is part of the ascending list.
func holdsRow(list []int32, rows [][]int32, byKey map[int32][]int) bool {
	for _, key := range list {
		for _, i := range byKey[key] {
			if subset(rows[i], list) {
				return true
			}
		}
	}
	return false
}

// subset reports whether ascending a is part of ascending b.
func subset(a, b []int32) bool {
	if len(a) > len(b) {
		return false
	}
	j := 0
	for _, x := range a {
		for j < len(b) && b[j] < x {
			j++
		}
		if j == len(b) || b[j] != x {
			return false
		}
		j++
	}
	return true
}

// region looks at the class of field f of the region that p is about (f < 0: all
// of it). on says that a target contains it.
func (r *rowFinder) region(p parts, on bool, class []uint64, f int) {
	if !r.ok {
		return
	}
	r.seen++
	if !r.spend(len(p.id)+1) || r.seen > r.most || len(r.rows) > mostRows {
		r.ok = false
		return
	}
	q := parts{cubes: r.get(), id: make([]int32, 0, len(p.id))}
	mark := len(r.inside)
	defer func() { r.inside = r.inside[:mark]; r.put(q.cubes) }()
	targets := 0
	for i, id := range p.id {
		c := r.at(p.cubes, i)
		if f >= 0 && !r.fields[f].inClass(c, class) {
			continue
		}
		if id == isTarget && on {
			continue
		}
		q.cubes = append(q.cubes, c...)
		d := q.cubes[len(q.cubes)-r.w:]
		if f >= 0 {
			r.fill(d, f)
		}
		if !r.isFull(d) {
			q.id = append(q.id, id)
			if id == isTarget {
				targets++
			}
			continue
		}
		q.cubes = q.cubes[:len(q.cubes)-r.w]
		switch id {
		case isSkip:
			return
		case isTarget:
			on = true
		default:
			r.inside = append(r.inside, id)
		}
	}
	if !on && targets == 0 {
		return
	}
	list := slices.Clone(r.inside)
	slices.Sort(list)
	if holdsRow(list, r.rows, r.byKey) {
		return
	}
	if len(q.id) == 0 {
		if len(list) == 0 {
			// Nothing covers the region: the caller's columns do not
			// cover its target. No table has an answer.
			r.ok = false
			return
		}
		key := list[len(list)-1]
		r.byKey[key] = append(r.byKey[key], len(r.rows))
		r.rows = append(r.rows, list)
		return
	}
	n := r.getCounts()
	g := r.mostCut(q.cubes, n)
	r.putCounts(n)
	cl := r.classes(r.get(), q.cubes, g)
	defer r.put(cl)
	m := r.fields[g].words
	// The class with fewest columns first: short rows spare more regions.
	type branch struct{ n, at int }
	branches := make([]branch, 0, len(cl)/m)
	for j := range len(cl) / m {
		b := branch{at: j}
		for i, id := range q.id {
			if id >= 0 && r.fields[g].inClass(r.at(q.cubes, i), cl[j*m:j*m+m]) {
				b.n++
			}
		}
		branches = append(branches, b)
	}
	slices.SortStableFunc(branches, func(a, b branch) int { return a.n - b.n })
	for _, b := range branches {
		r.region(q, on, cl[b.at*m:b.at*m+m], g)
	}
}
