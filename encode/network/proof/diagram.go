package proof

// diagram holds sets of states as reduced ordered decision diagrams (Bryant,
// IEEE Trans. Computers C-35(8), 1986). A set is the number of a node; the
// variable that is asked first has the lowest rank.
type diagram struct {
	nodes  []choiceNode
	unique map[choiceNode]int32
	cache  map[[3]int32]int32
	vars   int
	most   int // nodes
}

type choiceNode struct{ rank, off, on int32 }

const (
	none  = int32(0) // no state
	every = int32(1) // all states
)

// maxNodes bounds the memory of a proof by diagrams: about 200 MB.
const maxNodes = 2 << 20

// maxCache bounds what is remembered of the arithmetic.
const maxCache = 4 << 20

// tooManyNodes is thrown, so that the arithmetic of sets need not carry errors.
type tooManyNodes struct{}

func newDiagram(vars, most int) *diagram {
	end := int32(vars)
	return &diagram{
		nodes:  []choiceNode{{end, 0, 0}, {end, 1, 1}},
		unique: map[choiceNode]int32{}, cache: map[[3]int32]int32{}, vars: vars, most: most,
	}
}

func (d *diagram) node(rank, off, on int32) int32 {
	if off == on {
		return off
	}
	k := choiceNode{rank, off, on}
	if n, ok := d.unique[k]; ok {
		return n
	}
	if len(d.nodes) >= d.most {
		panic(tooManyNodes{})
	}
	n := int32(len(d.nodes))
	d.nodes = append(d.nodes, k)
	d.unique[k] = n
	return n
}

const (
	andOp = int32(iota)
	orOp
	lessOp // a without b

)

func (d *diagram) and(a, b int32) int32 {
	switch {
	case a == none || b == none:
		return none
	case a == every || a == b:
		return b
	case b == every:
		return a
	}
	return d.apply(andOp, min(a, b), max(a, b), d.and)
}

func (d *diagram) or(a, b int32) int32 {
	switch {
	case a == every || b == every:
		return every
	case a == none || a == b:
		return b
	case b == none:
		return a
	}
	return d.apply(orOp, min(a, b), max(a, b), d.or)
}

// less is what is in a and not in b.
func (d *diagram) less(a, b int32) int32 {
	switch {
	case a == none || b == every || a == b:
		return none
	case b == none:
		return a
	}
	return d.apply(lessOp, a, b, d.less)
}

func (d *diagram) not(a int32) int32 { return d.less(every, a) }

func (d *diagram) apply(op, a, b int32, do func(a, b int32) int32) int32 {
	k := [3]int32{op, a, b}
	if n, ok := d.cache[k]; ok {
		return n
	}
	x, y := d.nodes[a], d.nodes[b]
	rank := min(x.rank, y.rank)
	a0, a1, b0, b1 := a, a, b, b
	if x.rank == rank {
		a0, a1 = x.off, x.on
	}
	if y.rank == rank {
		b0, b1 = y.off, y.on
	}
	n := d.node(rank, do(a0, b0), do(a1, b1))
	if len(d.cache) >= maxCache {
		clear(d.cache)
	}
	d.cache[k] = n
	return n
}

// some is the states that can be made members by changing variables of a set of ranks.
func (d *diagram) some(a int32, ranks []bool, seen map[int32]int32) int32 {
	if a <= every {
		return a
	}
	if n, ok := seen[a]; ok {
		return n
	}
	x := d.nodes[a]
	off, on := d.some(x.off, ranks, seen), d.some(x.on, ranks, seen)
	n := int32(0)
	if ranks[x.rank] {
		n = d.or(off, on)
	} else {
		n = d.node(x.rank, off, on)
	}
	seen[a] = n
	return n
}

// count is the number of states in a set.
func (d *diagram) count(a int32, seen map[int32]uint64) uint64 {
	x := d.nodes[a]
	if a <= every {
		return uint64(a)
	}
	if n, ok := seen[a]; ok {
		return n
	}
	n := uint64(0)
	for _, to := range []int32{x.off, x.on} {
		n += d.count(to, seen) << (d.nodes[to].rank - x.rank - 1)
	}
	seen[a] = n
	return n
}

// size is count over all variables.
func (d *diagram) size(a int32) uint64 {
	return d.count(a, map[int32]uint64{}) << d.nodes[a].rank
}

// first is the lowest member of a set that is not empty, by rank.
func (d *diagram) first(a int32) []bool {
	out := make([]bool, d.vars)
	for a > every {
		x := d.nodes[a]
		if x.off != none {
			a = x.off
		} else {
			out[x.rank] = true
			a = x.on
		}
	}
	return out
}
