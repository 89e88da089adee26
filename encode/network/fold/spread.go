package fold

import "math/rand/v2"

// Rules say what Spread may do and what that costs, in any unit; integers, so
// that the result is the same on every machine.
type Rules struct {
	// Contacts is told how many contacts each variable has over all trees, as long
	// as the highest variable needs.
	Contacts func(uses []int) int
	// Leaf is the price of an end of a tree at a leaf; nil = nothing.
	Leaf func(tree, leaf int) int
	// Fixed has, by tree, a bit for each variable that must not be asked any
	// sooner than it is; nil = none.
	Fixed []uint64
	Tries int
}

// Spread returns trees that reach the same leaf as the given ones for every
// setting, with their variables (0 to 63) asked in other orders where that costs less.
// The result never costs more. A tree may leave variables out, and may be a full
// one; Fewest knows the best for a single full tree. An empty Tree stays one.
//
// It changes one place after another, Tries times: some variable asked below a
// node is asked at the node instead, and what then need not be asked any more is
// left out. Changes that cost a little more are taken now and then, less and less
// so (threshold accepting: Dueck and Scheuer, J. Comput. Phys. 90, 1990), with
// numbers by chance that are the same in every run.
func Spread(trees []Tree, rules Rules) []Tree {
	s := spread{Rules: rules, r: rand.New(rand.NewPCG(1955, 260))}
	variables := 0
	for _, t := range trees {
		for _, n := range t {
			variables = max(variables, n.Var+1)
		}
	}
	s.uses = make([]int, variables)
	for i, t := range trees {
		if len(t) == 0 {
			s.roots = append(s.roots, nil)
			continue
		}
		price := func(leaf int) int { return 0 }
		if rules.Leaf != nil {
			price = func(leaf int) int { return rules.Leaf(i, leaf) }
		}
		b := t.branch(0, price)
		b.count(s.uses, 1)
		s.roots = append(s.roots, b)
		s.ends += b.ends
	}
	s.search(rules.Tries)
	out := make([]Tree, len(trees))
	for i, b := range s.roots {
		if b == nil {
			continue
		}
		if b.size == 0 { // all leaves alike: one contact has to stand for the tree
			out[i] = Tree{{Var: trees[i][0].Var, Low: b.leaf, High: b.leaf}}
			continue
		}
		b.flatten(&out[i])
	}
	return out
}

// branch is a subtree, or a leaf if size is 0. Branches are never changed, so
// that trees may share them while they are being searched.
type branch struct {
	size      int // contacts
	ends      int // what its leaves cost
	leaf      int
	variable  int
	vars      uint64 // asked here or below
	low, high *branch
}

func (t Tree) branch(at int, price func(leaf int) int) *branch {
	if at < 0 {
		return &branch{leaf: at, ends: price(at)}
	}
	return ask(t[at].Var, t.branch(t[at].Low, price), t.branch(t[at].High, price))
}

// ask returns a branch that asks a variable, or what it leads to where both sides are alike.
func ask(variable int, low, high *branch) *branch {
	if low.same(high) {
		return low
	}
	return &branch{size: 1 + low.size + high.size, ends: low.ends + high.ends, variable: variable, vars: 1<<variable | low.vars | high.vars, low: low, high: high}
}

func (b *branch) same(c *branch) bool {
	if b == c {
		return true
	}
	if b.size != c.size || b.vars != c.vars {
		return false
	}
	if b.size == 0 {
		return b.leaf == c.leaf
	}
	return b.variable == c.variable && b.low.same(c.low) && b.high.same(c.high)
}

// where is what is left of b once a variable is known.
func (b *branch) where(variable int, on bool) *branch {
	if b.vars>>variable&1 == 0 {
		return b
	}
	if b.variable == variable {
		if on {
			return b.high
		}
		return b.low
	}
	return ask(b.variable, b.low.where(variable, on), b.high.where(variable, on))
}

// count adds the contacts of b to uses, by times.
func (b *branch) count(uses []int, by int) {
	if b.size > 0 {
		uses[b.variable] += by
		b.low.count(uses, by)
		b.high.count(uses, by)
	}
}

// at is the contact number n of b, its own first, then those of low.
func (b *branch) at(n int) *branch {
	switch {
	case n == 0:
		return b
	case n <= b.low.size:
		return b.low.at(n - 1)
	}
	return b.high.at(n - 1 - b.low.size)
}

// put returns b with another branch in place of contact n.
func (b *branch) put(n int, c *branch) *branch {
	switch {
	case n == 0:
		return c
	case n <= b.low.size:
		return ask(b.variable, b.low.put(n-1, c), b.high)
	}
	return ask(b.variable, b.low, b.high.put(n-1-b.low.size, c))
}

func (b *branch) flatten(out *Tree) int {
	if b.size == 0 {
		return b.leaf
	}
	at := len(*out)
	*out = append(*out, Node{Var: b.variable})
	low := b.low.flatten(out)
	high := b.high.flatten(out)
	(*out)[at].Low, (*out)[at].High = low, high
	return at
}

type spread struct {
	Rules
	r     *rand.Rand
	roots []*branch // nil for an empty tree
	uses  []int
	ends  int
}

func (s *spread) cost() int { return s.Contacts(s.uses) + s.ends }

// search leaves the best trees found in roots.
func (s *spread) search(tries int) {
	now := s.cost()
	best, kept := now, append([]*branch(nil), s.roots...)
	round := max(1, tries/2)
	for try := range tries {
		// Each round goes from a five-hundredth of the cost down to nothing.
		left := round - try%round
		limit := now + best*left/(500*round)
		if cost, ok := s.step(now, limit); ok {
			now = cost
		}
		if now < best {
			best = now
			copy(kept, s.roots)
		}
	}
	s.roots = kept
}

// step makes a change by chance and keeps it if it costs no more than limit.
func (s *spread) step(now, limit int) (cost int, ok bool) {
	total := 0
	for _, b := range s.roots {
		if b != nil {
			total += b.size
		}
	}
	if total == 0 {
		return now, false
	}
	n, tree := s.r.IntN(total), 0
	for ; s.roots[tree] == nil || n >= s.roots[tree].size; tree++ {
		if s.roots[tree] != nil {
			n -= s.roots[tree].size
		}
	}
	root := s.roots[tree]
	old := root.at(n)
	if old.size < 2 {
		return now, false
	}
	variable := old.at(1 + s.r.IntN(old.size-1)).variable
	if variable == old.variable || s.Fixed != nil && s.Fixed[tree]>>variable&1 == 1 {
		return now, false
	}
	changed := ask(variable, old.where(variable, false), old.where(variable, true))
	swap := func(from, to *branch) {
		from.count(s.uses, -1)
		to.count(s.uses, 1)
		s.ends += to.ends - from.ends
	}
	swap(old, changed)
	if s.cost() > limit {
		swap(changed, old)
		return now, false
	}
	s.roots[tree] = root.put(n, changed)
	if s.roots[tree].size != root.size-old.size+changed.size { // a contact above has both sides alike now
		swap(changed, old)
		swap(root, s.roots[tree])
	}
	return s.cost(), true
}
