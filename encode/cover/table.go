package cover

import (
	"math"
	"slices"
)

// table is a covering problem: choose columns of least cost so that each row has
// one of its own.
//
// It is solved by reductions (essential columns, dominance of rows and of columns:
// McCluskey 1956), partition into independent blocks, and branch and bound.
// The bound is Lagrangian: multipliers of the rows, started by dual ascent and
// improved by subgradients (Held and Karp 1971; for covering Balas and Ho 1980;
// Caprara, Fischetti and Toth 1999), which also tell which columns no
// better answer can use. All of it counts in integers, so that every machine
// finds the same answer.
type table struct {
	cost []int64
	name []int32 // columns as the caller knows them
	rows [][]int32
	cols [][]int32
	u    []int64 // multipliers of the rows, in units
	unit int64   // what a cost of 1 is in the fixed point of the multipliers
}

// The fixed point of the multipliers is finer where costs are small, so that
// no sum or product of them overflows.
const (
	finest  = 1 << 10
	largest = 1 << 44 // of all costs together, in units
)

type answer struct {
	columns []int32 // as the caller named them, ascending
	cost    int64
	bound   int64 // no answer costs less
}

// search is one run of branch and bound.
type search struct {
	*worker
	nodes int // left
	gave  bool
}

// newTable copies rows, each an ascending list of columns.
func newTable(cost []int64, rows [][]int32) *table {
	t := &table{cost: cost, name: make([]int32, len(cost)), rows: rows, u: make([]int64, len(rows)), unit: finest}
	total := int64(0)
	for _, c := range cost {
		total += c
	}
	for t.unit > 1 && total > largest/t.unit {
		t.unit /= 2
	}
	for j := range t.name {
		t.name[j] = int32(j)
	}
	for i := range t.u {
		t.u[i] = -1
	}
	t.index()
	return t
}

func (t *table) index() {
	n := make([]int, len(t.cost))
	total := 0
	for _, row := range t.rows {
		for _, j := range row {
			n[j]++
		}
		total += len(row)
	}
	all := make([]int32, total)
	t.cols = make([][]int32, len(t.cost))
	for j := range n {
		t.cols[j], all = all[:0:n[j]], all[n[j]:]
	}
	for i, row := range t.rows {
		for _, j := range row {
			t.cols[j] = append(t.cols[j], int32(i))
		}
	}
}

// cheapest solves the table with at most so many nodes of the search.
func (k *worker) cheapest(cost []int64, rows [][]int32, nodes int) answer {
	s := &search{worker: k, nodes: nodes}
	step := int64(0) // what all costs are multiples of
	for _, c := range cost {
		step = gcd(step, c)
	}
	if step > 1 {
		cost = slices.Clone(cost)
		for j := range cost {
			cost[j] /= step
		}
	}
	t, chosen, fixed := s.reduce(newTable(cost, rows))
	a := answer{columns: chosen, cost: fixed, bound: fixed}
	blocks := t.blocks()
	slices.SortStableFunc(blocks, func(a, b *table) int { return len(a.rows) - len(b.rows) })
	for i, b := range blocks {
		// What small blocks leave goes to the larger.
		share := nodes / (len(blocks) - i)
		s.nodes = share
		first := b.greedy(b.cost)
		best := b.names(first)
		ub := b.sum(first)
		found, cost, bound := s.solve(b, ub, 600)
		if found != nil {
			best, ub = found, cost
		}
		a.columns = append(a.columns, best...)
		a.cost += ub
		a.bound += min(bound, ub)
		nodes -= share - s.nodes
	}
	slices.Sort(a.columns)
	a.cost *= step
	a.bound *= step
	return a
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func (t *table) names(columns []int32) []int32 {
	l := make([]int32, len(columns))
	for i, j := range columns {
		l[i] = t.name[j]
	}
	return l
}

func (t *table) sum(columns []int32) int64 {
	n := int64(0)
	for _, j := range columns {
		n += t.cost[j]
	}
	return n
}

// keep returns the table of the rows and columns that are kept.
func (t *table) keep(row, column []bool) *table {
	n := &table{unit: t.unit}
	to := make([]int32, len(column))
	for j, ok := range column {
		to[j] = -1
		if ok {
			to[j] = int32(len(n.cost))
			n.cost = append(n.cost, t.cost[j])
			n.name = append(n.name, t.name[j])
		}
	}
	for i, ok := range row {
		if !ok {
			continue
		}
		l := make([]int32, 0, len(t.rows[i]))
		for _, j := range t.rows[i] {
			if to[j] >= 0 {
				l = append(l, to[j])
			}
		}
		n.rows = append(n.rows, l)
		n.u = append(n.u, t.u[i])
	}
	n.index()
	return n
}

// reduce takes out essential columns (returned by name, with their cost) and
// dominated rows and columns. A row without columns stays as it is.
func (s *search) reduce(t *table) (core *table, chosen []int32, cost int64) {
	for {
		s.spend(len(t.rows) + len(t.cols))
		row := make([]bool, len(t.rows))
		column := make([]bool, len(t.cost))
		changed := false
		for i := range row {
			row[i] = true
		}
		for j := range column {
			column[j] = len(t.cols[j]) > 0
			changed = changed || !column[j]
		}
		for i := range t.rows {
			if !row[i] || len(t.rows[i]) != 1 {
				continue
			}
			j := t.rows[i][0]
			if !column[j] {
				continue
			}
			column[j] = false
			chosen = append(chosen, t.name[j])
			cost += t.cost[j]
			for _, h := range t.cols[j] {
				row[h] = false
			}
			changed = true
		}
		if changed {
			t = t.keep(row, column)
			continue
		}
		for i := range t.rows {
			// A row that holds another is covered with it.
			if !s.spend(0) {
				break
			}
			if s.rowDominated(t, i, row) {
				row[i] = false
				changed = true
			}
		}
		if changed {
			t = t.keep(row, column)
			clear(row)
			row = row[:len(t.rows)]
			for i := range row {
				row[i] = true
			}
			changed = false
		}
		for j := range t.cols {
			if !s.spend(0) {
				break
			}
			if s.columnDominated(t, j, column) {
				column[j] = false
				changed = true
			}
		}
		if !changed {
			return t, chosen, cost
		}
		t = t.keep(row, column)
	}
}

// rowDominated reports whether row i holds another row that is still there.
func (s *search) rowDominated(t *table, i int, row []bool) bool {
	own := t.rows[i]
	for _, j := range own {
		for _, h := range t.cols[j] {
			r := t.rows[h]
			// Rows are compared once, by their first column.
			if int(h) == i || !row[h] || r[0] != j || len(r) > len(own) || len(r) == len(own) && int(h) > i {
				continue
			}
			s.work++
			if subset(r, own) {
				return true
			}
		}
	}
	return false
}

// columnDominated reports whether another column does all that j does for no more.
func (s *search) columnDominated(t *table, j int, column []bool) bool {
	own := t.cols[j]
	if len(own) == 0 {
		return true
	}
	short := t.rows[own[0]]
	for _, i := range own[1:] {
		if len(t.rows[i]) < len(short) {
			short = t.rows[i]
		}
	}
	for _, h := range short {
		if int(h) == j || !column[h] || t.cost[h] > t.cost[j] || len(t.cols[h]) < len(own) {
			continue
		}
		if t.cost[h] == t.cost[j] && len(t.cols[h]) == len(own) && int(h) > j {
			continue
		}
		s.work++
		if subset(own, t.cols[h]) {
			return true
		}
	}
	return false
}

// blocks splits t into tables that share no column.
func (t *table) blocks() []*table {
	if len(t.rows) == 0 {
		return nil
	}
	up := make([]int32, len(t.cost))
	for j := range up {
		up[j] = int32(j)
	}
	root := func(j int32) int32 {
		for up[j] != j {
			up[j] = up[up[j]]
			j = up[j]
		}
		return j
	}
	for _, row := range t.rows {
		if len(row) == 0 {
			return []*table{t}
		}
		a := root(row[0])
		for _, j := range row[1:] {
			up[root(j)] = a
		}
	}
	var order []int32
	at := map[int32]int{}
	for _, row := range t.rows {
		r := root(row[0])
		if _, ok := at[r]; !ok {
			at[r] = len(order)
			order = append(order, r)
		}
	}
	if len(order) == 1 {
		return []*table{t}
	}
	// One pass that deals rows and columns out.
	list := make([]*table, len(order))
	for i := range list {
		list[i] = &table{unit: t.unit}
	}
	to := make([]int32, len(t.cost))
	for j := range t.cost {
		n, ok := at[root(int32(j))]
		if !ok {
			continue
		}
		b := list[n]
		to[j] = int32(len(b.cost))
		b.cost = append(b.cost, t.cost[j])
		b.name = append(b.name, t.name[j])
	}
	for i, row := range t.rows {
		b := list[at[root(row[0])]]
		l := make([]int32, len(row))
		for o, j := range row {
			l[o] = to[j]
		}
		b.rows = append(b.rows, l)
		b.u = append(b.u, t.u[i])
	}
	for _, b := range list {
		b.index()
	}
	return list
}

// greedy covers the rows by the columns that cost least a row, by the given
// prices (unit times cost, less the multipliers), and then takes out what is not
// needed, dearest first.
func (t *table) greedy(price []int64) []int32 {
	left := len(t.rows)
	done := make([]int32, len(t.rows)) // chosen columns in each row
	gain := make([]int64, len(t.cost))
	for j := range gain {
		gain[j] = int64(len(t.cols[j]))
	}
	var chosen []int32
	take := func(j int32) {
		chosen = append(chosen, j)
		for _, i := range t.cols[j] {
			if done[i] == 0 {
				left--
				for _, h := range t.rows[i] {
					gain[h]--
				}
			}
			done[i]++
		}
	}
	for left > 0 {
		pick := int32(-1)
		for j := range t.cost {
			if gain[j] == 0 {
				continue
			}
			if pick < 0 || cheaper(price[j], gain[j], price[pick], gain[pick]) {
				pick = int32(j)
			}
		}
		if pick < 0 {
			return nil
		}
		take(pick)
	}
	slices.SortStableFunc(chosen, func(a, b int32) int {
		switch {
		case t.cost[a] > t.cost[b]:
			return -1
		case t.cost[a] < t.cost[b]:
			return 1
		}
		return len(t.cols[a]) - len(t.cols[b])
	})
	kept := chosen[:0]
	for _, j := range chosen {
		needed := false
		for _, i := range t.cols[j] {
			needed = needed || done[i] == 1
		}
		if needed {
			kept = append(kept, j)
			continue
		}
		for _, i := range t.cols[j] {
			done[i]--
		}
	}
	return kept
}

// cheaper compares price a row; a negative price counts more the more rows there are.
func cheaper(p, n, q, m int64) bool {
	switch {
	case p > 0 && q > 0:
		return p*m < q*n
	case p > 0 || q > 0:
		return p < q
	}
	return p*n < q*m
}

// relax bounds the table from below. It returns the bound in units, the
// reduced costs that go with it, and the best answer met on the way if it is below ub.
func (s *search) relax(t *table, ub int64, rounds int) (bound int64, reduced []int64, best []int32) {
	n := len(t.cost)
	fresh := false
	for i, row := range t.rows {
		if t.u[i] >= 0 {
			continue
		}
		fresh = true
		u := int64(math.MaxInt64)
		for _, j := range row {
			u = min(u, t.cost[j]*t.unit/int64(len(t.cols[j])))
		}
		t.u[i] = u
	}
	if fresh {
		if u := t.ascent(); t.lagrange(u) > t.lagrange(t.u) {
			t.u = u
		}
	}
	price := make([]int64, n)
	bestU := slices.Clone(t.u)
	u := t.u
	bound = math.MinInt64
	reduced = make([]int64, n)
	// The step is in 1024ths of the classic one and halved when the bound has stood
	// still for a while; within a search the multipliers are near enough to begin low.
	step, patience := int64(1024), 15
	if !fresh {
		step, patience = 512, 8
	}
	still := 0
	hits := make([]int64, len(t.rows))
	slope := make([]int64, len(t.rows))
	for round := 0; round < rounds; round++ {
		if !s.spend(len(t.rows)) {
			break
		}
		low := int64(0)
		for j := range price {
			price[j] = t.cost[j] * t.unit
		}
		for i, row := range t.rows {
			low += u[i]
			for _, j := range row {
				price[j] -= u[i]
			}
		}
		clear(hits)
		for j, p := range price {
			if p >= 0 {
				continue
			}
			low += p
			for _, i := range t.cols[j] {
				hits[i]++
			}
		}
		better := low > bound
		if better {
			if low > bound+bound>>10 {
				still = 0
			}
			bound = low
			copy(reduced, price)
			copy(bestU, u)
		} else {
			still++
		}
		if t.ceil(bound) >= ub {
			break
		}
		if better && round%4 == 0 || round%25 == 24 {
			if c := t.greedy(price); c != nil {
				if z := t.sum(c); z < ub {
					ub, best = z, c
					if t.ceil(bound) >= ub {
						break
					}
				}
			}
		}
		if still >= patience {
			still = 0
			step /= 2
			if step < 8 {
				break
			}
		}
		// A deflected subgradient (Camerini, Fratta and Maffioli 1975), in 1024ths,
		// without what would only push a multiplier below 0.
		norm := int64(0)
		for i, h := range hits {
			d := 717*(1-h) + slope[i]*307/1024
			if d < 0 && u[i] == 0 {
				d = 0
			}
			slope[i] = d
			norm += d * d >> 10
		}
		if norm == 0 {
			break
		}
		t0 := max(1, (ub*t.unit-low)*step/norm)
		for i, d := range slope {
			u[i] = max(0, u[i]+t0*d/1024)
		}
	}
	copy(t.u, bestU)
	return bound, reduced, best
}

// ascent returns multipliers that leave no reduced cost below 0: each row in turn
// takes all that its columns have left, those that share columns with few rows
// first. Rows that share none are a maximal independent set, so the bound is
// no less than that of the set.
func (t *table) ascent() []int64 {
	order := make([]int, len(t.rows))
	weight := make([]int, len(t.rows))
	for i, row := range t.rows {
		order[i] = i
		for _, j := range row {
			weight[i] += len(t.cols[j])
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return weight[a] - weight[b] })
	left := make([]int64, len(t.cost))
	for j, c := range t.cost {
		left[j] = c * t.unit
	}
	u := make([]int64, len(t.rows))
	for _, i := range order {
		u[i] = left[t.rows[i][0]]
		for _, j := range t.rows[i] {
			u[i] = min(u[i], left[j])
		}
		for _, j := range t.rows[i] {
			left[j] -= u[i]
		}
	}
	return u
}

// lagrange is the bound that the multipliers give, in units.
func (t *table) lagrange(u []int64) int64 {
	low := int64(0)
	for _, x := range u {
		low += x
	}
	for j, c := range t.cost {
		p := c * t.unit
		for _, i := range t.cols[j] {
			p -= u[i]
		}
		low += min(0, p)
	}
	return low
}

// ceil is units in whole costs, upwards.
func (t *table) ceil(units int64) int64 {
	if units <= 0 {
		return 0
	}
	return (units + t.unit - 1) / t.unit
}

// solve looks for an answer below ub. It returns the best, or nil, and a bound: no
// answer is below min(bound, ub).
func (s *search) solve(t *table, ub int64, rounds int) (best []int32, cost, bound int64) {
	t, chosen, fixed := s.reduce(t)
	if fixed >= ub {
		return nil, 0, ub
	}
	for _, row := range t.rows {
		if len(row) == 0 {
			return nil, 0, ub
		}
	}
	if len(t.rows) == 0 {
		return nonNil(chosen), fixed, fixed
	}
	if blocks := t.blocks(); len(blocks) > 1 {
		best, cost, bound = s.solveBlocks(blocks, ub-fixed, rounds)
	} else {
		best, cost, bound = s.solveBlock(t, ub-fixed, rounds)
	}
	if best != nil {
		best = append(best, chosen...)
	}
	return best, cost + fixed, bound + fixed
}

func nonNil(l []int32) []int32 {
	if l == nil {
		return []int32{}
	}
	return l
}

func (s *search) solveBlocks(blocks []*table, ub int64, rounds int) (best []int32, cost, bound int64) {
	slices.SortStableFunc(blocks, func(a, b *table) int { return len(a.rows) - len(b.rows) })
	lower := make([]int64, len(blocks))
	for i, b := range blocks {
		units, _, _ := s.relax(b, b.sum(b.greedy(b.cost)), 20)
		lower[i] = b.ceil(units)
		bound += lower[i]
	}
	best = []int32{}
	for i, b := range blocks {
		if bound >= ub {
			return nil, 0, bound
		}
		room := ub - (bound - lower[i])
		found, z, low := s.solve(b, room, rounds)
		low = min(low, room)
		if found != nil {
			best = append(best, found...)
			cost += z
			low = min(low, z)
		}
		bound += max(0, low-lower[i])
		lower[i] = max(lower[i], low)
		if found == nil {
			return nil, 0, bound
		}
		// What the block costs above its bound is spent for good.
		ub -= z - lower[i]
	}
	return best, cost, bound
}

func (s *search) solveBlock(t *table, ub int64, rounds int) (best []int32, cost, bound int64) {
	units, reduced, found := s.relax(t, ub, rounds)
	bound = t.ceil(units)
	if found != nil {
		best, cost = t.names(found), t.sum(found)
		ub = cost
	}
	if bound >= ub {
		return best, cost, bound
	}
	if s.nodes <= 0 || s.stopped {
		s.gave = true
		return best, cost, bound
	}
	s.nodes--
	row := make([]bool, len(t.rows))
	column := make([]bool, len(t.cost))
	for i := range row {
		row[i] = true
	}
	dropped := 0
	for j := range column {
		column[j] = reduced[j] < 0 || t.ceil(units+reduced[j]) < ub
		if !column[j] {
			dropped++
		}
	}
	if dropped > 0 {
		sub := t.keep(row, column)
		got, z, low := s.solve(sub, ub, min(rounds, 60))
		if got != nil {
			best, cost, ub = got, z, z
		}
		return best, cost, max(bound, min(low, ub))
	}
	// Branch on the column that the multipliers like best, in a shortest row.
	short := t.rows[0]
	for _, r := range t.rows {
		if len(r) < len(short) {
			short = r
		}
	}
	pick := short[0]
	for _, j := range short {
		if reduced[j] < reduced[pick] || reduced[j] == reduced[pick] && len(t.cols[j]) > len(t.cols[pick]) {
			pick = j
		}
	}
	column[pick] = false
	without := t.keep(row, column)
	for _, i := range t.cols[pick] {
		row[i] = false
	}
	with := t.keep(row, column)
	got, z, low1 := s.solve(with, ub-t.cost[pick], 60)
	low1 = min(low1, ub-t.cost[pick]) + t.cost[pick]
	if got != nil {
		best, cost = append(got, t.name[pick]), z+t.cost[pick]
		ub = cost
	}
	low1 = min(low1, ub)
	got, z, low2 := s.solve(without, ub, 60)
	if got != nil {
		best, cost, ub = got, z, z
	}
	return best, cost, max(bound, min(low1, low2, ub))
}
