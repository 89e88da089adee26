package network

import (
	"cmp"
	"math/bits"
	"slices"

	"coilwright/encode/store"
)

// want is what one wire has to do on some pieces: feed at least need, at most
// may. Sets are over the outputs of the wire (lines, or coils of conditions).
type want struct{ need, may store.Set }

// variable is what a contact may follow: a bit of opcode or flags, or a condition.
type variable struct {
	signal int       // index into the circuit's signals
	values []uint8   // by piece: 1 = can be off there, 2 = can be on there
	looks  []uint64  // by piece: bits that pull it in or keep it out there
	off    store.Set // pieces on which it can be off
	on     store.Set
}

// decision is a tree of contacts: at a leaf the outputs that are fed.
type decision struct {
	v        int // variable, -1 at a leaf
	off, on  *decision
	outputs  store.Set
	cost     float64
	contacts int
}

// grower finds a cheap decision tree for one wire. The number of different
// trees is beyond counting, so it looks ahead by one contact and ranks variables in two
// ways: by the fewest leaves left to tell apart (leaves are counted by merging
// wants that agree, first fit), and by the least entropy left over the pieces
// (Quinlan 1986). While there is budget it tries the best of both to the end.
type grower struct {
	vars   []variable
	price  []float64 // of a contact, by variable
	diode  float64
	wants  []want
	sorts  []store.Set // by want: the pieces that have it
	off    []store.Set // by variable: pieces on which it can be off
	on     []store.Set
	barred []store.Set // by variable: pieces on which it may not be looked at
	memo   map[string]*decision
	small  map[uint64]*decision // instead, where pieces fit into a word
	sortOf []int                // by piece: its want
	tally  []int                // by want, for present
	found  []int
	nlog   []float64 // n log2 n
	groups [2][]cluster
	space  [2][]uint64
	work   *int
	share  float64 // of a contact still needed, where nobody knows of which variable
	byCost bool
	levels []*level
	depth  int
	left   int // nodes that may still be tried with more than one variable
}

// impossible is the cost of a tree that cannot be built: more than any that
// can, and finite, so that a design with fewer of them is the better one.
const impossible = 1e9

// grow returns the tree for these pieces; its cost is impossible if contacts
// that are in change-over would be needed.
func (g *grower) grow(pieces store.Set) *decision {
	key := ""
	if len(pieces) > 1 {
		key = string(bytesOf(pieces))
		if d, ok := g.memo[key]; ok {
			return d
		}
	} else if d, ok := g.small[pieces[0]]; ok {
		return d
	}
	groups := g.clusters(pieces, 0)
	var d *decision
	if len(groups) == 1 {
		d = &decision{v: -1, outputs: slices.Clone(groups[0].need), cost: g.diode * float64(groups[0].need.Len())}
	} else {
		d = g.split(pieces)
	}
	if len(pieces) > 1 {
		g.memo[key] = d
	} else {
		g.small[pieces[0]] = d
	}
	return d
}

// cluster is wants that one leaf can serve, and how many pieces have them.
type cluster struct {
	need, may store.Set // into the grower's scratch: good until the next call
	pieces    int
}

// clusters merges the wants of pieces, first fit. One cluster means that a leaf
// will do. The result is good until the next call for the same side.
func (g *grower) clusters(pieces store.Set, side int) []cluster {
	groups, space := g.groups[side][:0], g.space[side]
	*g.work += len(g.wants) * len(pieces)
	words := len(g.wants[0].need)
	for _, c := range g.present(pieces) {
		n := g.tally[c]
		g.tally[c] = 0
		w := &g.wants[c]
		placed := false
		for k := range groups {
			x := &groups[k]
			ok := true
			for i := range w.need {
				if (w.need[i]|x.need[i])&^(w.may[i]&x.may[i]) != 0 {
					ok = false
					break
				}
			}
			if ok {
				for i := range w.need {
					x.need[i] |= w.need[i]
					x.may[i] &= w.may[i]
				}
				x.pieces += n
				placed = true
				break
			}
		}
		if !placed {
			at := 2 * words * len(groups)
			x := cluster{store.Set(space[at : at+words]), store.Set(space[at+words : at+2*words]), n}
			copy(x.need, w.need)
			copy(x.may, w.may)
			groups = append(groups, x)
		}
	}
	g.groups[side] = groups
	return groups
}

// present lists the wants of pieces in order, and leaves in tally how many
// pieces have each. It goes through the pieces or through the wants, whichever are fewer.
func (g *grower) present(pieces store.Set) []int {
	out := g.found[:0]
	size := 0
	for _, word := range pieces {
		size += bits.OnesCount64(word)
	}
	if size*4 < len(g.wants) {
		for i, word := range pieces {
			for ; word != 0; word &= word - 1 {
				c := g.sortOf[i*64+bits.TrailingZeros64(word)]
				if g.tally[c] == 0 {
					out = append(out, c)
				}
				g.tally[c]++
			}
		}
		slices.Sort(out)
	} else {
		for c := range g.wants {
			n := 0
			for i, word := range g.sorts[c] {
				n += bits.OnesCount64(word & pieces[i])
			}
			if n > 0 {
				g.tally[c] = n
				out = append(out, c)
			}
		}
	}
	g.found = out
	return out
}

// entropy is the entropy of the clusters over their pieces, times the pieces.
func (g *grower) entropy(groups []cluster) float64 {
	n, sum := 0, 0.0
	for i := range groups {
		n += groups[i].pieces
		sum -= g.nlog[groups[i].pieces]
	}
	return sum + g.nlog[n]
}

// level is what splitting needs on one level of the tree.
type level struct {
	choices []choice
	space   []uint64
}

type choice struct {
	v        int
	off, on  store.Set
	groups   int
	entropy  float64
	estimate float64 // of the contacts that are still needed
	picked   bool
}

func (g *grower) split(pieces store.Set) *decision {
	words := len(pieces)
	if g.depth == len(g.levels) {
		g.levels = append(g.levels, &level{})
	}
	l := g.levels[g.depth]
	if n := 2 * words * len(g.vars); cap(l.space) < n {
		l.choices, l.space = make([]choice, 0, len(g.vars)), make([]uint64, 0, n)
	}
	g.depth++
	defer func() { g.depth-- }()
	choices, space := l.choices[:0], l.space[:0]
	for v := range g.vars {
		if g.price[v] >= impossible {
			continue
		}
		at := len(space)
		space = space[:at+2*words]
		c := choice{v: v, off: space[at : at+words : at+words], on: space[at+words : at+2*words : at+2*words]}
		ok, less0, less1 := true, false, false
		for i, word := range pieces {
			if g.barred[v][i]&word != 0 {
				ok = false
				break
			}
			c.off[i], c.on[i] = g.off[v][i]&word, g.on[v][i]&word
			less0 = less0 || c.off[i] != word
			less1 = less1 || c.on[i] != word
		}
		// A side that keeps all pieces is the same question again.
		if !ok || !less0 || !less1 {
			space = space[:at]
			continue
		}
		a, b := g.clusters(c.off, 0), g.clusters(c.on, 1)
		c.groups = len(a) + len(b)
		c.entropy = g.entropy(a) + g.entropy(b)
		c.estimate = g.price[v] + g.share*float64(c.groups)
		choices = append(choices, c)
	}
	if len(choices) == 0 {
		return &decision{v: -1, cost: impossible, outputs: store.NewSet(1)}
	}
	// The best two by entropy, and the best two by groups, in the order of the variables.
	better := func(a, b *choice) bool {
		return cmp.Or(cmp.Compare(a.entropy, b.entropy), cmp.Compare(a.groups, b.groups), cmp.Compare(g.price[a.v], g.price[b.v])) < 0
	}
	fewer := func(a, b *choice) bool {
		return cmp.Or(cmp.Compare(a.estimate, b.estimate), cmp.Compare(a.entropy, b.entropy)) < 0
	}
	pick := func(less func(a, b *choice) bool, n int) {
		var first, second *choice
		for k := range choices {
			c := &choices[k]
			switch {
			case first == nil || less(c, first):
				first, second = c, first
			case second == nil || less(c, second):
				second = c
			}
		}
		first.picked = true
		if n > 1 && second != nil {
			second.picked = true
		}
	}
	if g.left > 0 {
		g.left--
		pick(better, 2)
		pick(fewer, 2)
	} else if g.byCost {
		pick(fewer, 1)
	} else {
		pick(better, 1)
	}
	var best *decision
	for _, c := range choices {
		if !c.picked {
			continue
		}
		d := &decision{v: c.v}
		d.off = g.grow(c.off)
		if best != nil && d.off.cost+g.price[c.v] >= best.cost {
			continue
		}
		d.on = g.grow(c.on)
		d.cost = g.price[c.v] + d.off.cost + d.on.cost
		d.contacts = 1 + d.off.contacts + d.on.contacts
		if best == nil || d.cost < best.cost {
			best = d
		}
	}
	return best
}

// walk calls f for each leaf that a piece can reach, with the bits looked at on the way.
func (d *decision) walk(vars []variable, piece int32, looked uint64, f func(leaf *decision, looked uint64)) {
	if d.v < 0 {
		f(d, looked)
		return
	}
	x := &vars[d.v]
	looked |= x.looks[piece]
	if x.values[piece]&1 != 0 {
		d.off.walk(vars, piece, looked, f)
	}
	if x.values[piece]&2 != 0 {
		d.on.walk(vars, piece, looked, f)
	}
}

// contactsOf calls look with the variable of each contact.
func (d *decision) contactsOf(look func(v int)) {
	if d.v >= 0 {
		look(d.v)
		d.off.contactsOf(look)
		d.on.contactsOf(look)
	}
}

// newVariable makes a variable from what it can be on each piece: 1 = off, 2 = on, 3 = either.
func newVariable(signal int, values []uint8, looks []uint64) variable {
	x := variable{signal: signal, values: values, looks: looks, off: store.NewSet(len(values)), on: store.NewSet(len(values))}
	for p, v := range values {
		if v&1 != 0 {
			x.off.Add(p)
		}
		if v&2 != 0 {
			x.on.Add(p)
		}
	}
	return x
}

// bitVariables returns a variable for each bit of opcode and flags.
func bitVariables(pieces []piece, n int) []variable {
	out := make([]variable, n)
	for v := range out {
		values, looks := make([]uint8, len(pieces)), make([]uint64, len(pieces))
		for i := range pieces {
			c := pieces[i].at
			values[i] = 3
			if c.Care>>v&1 == 1 {
				values[i] = 1 << (c.Value >> v & 1)
			}
			looks[i] = 1 << v
		}
		out[v] = newVariable(v, values, looks)
	}
	return out
}
