package proof

import (
	"slices"

	"coilwright/encode/network/wiring"
)

// edge lets activity pass from a net to a net while bit ctl of the rail is on:
// 0 always, 1+2r while relay r is pulled in, 2+2r while it is at rest.
type edge struct {
	from, to, ctl int32
	part          int32 // index into contacts, or -1-index into diodes
	diode         bool
}

// step is a strongly connected part of the network: what is settled at one go.
type step struct {
	nets   []int32
	relays []int32
	enter  []edge // from steps before
	within []edge
	loop   bool // relays drive themselves
}

// plan is the order in which a network settles when certain phases are powered.
type plan struct {
	steps  []step
	nets   []int32 // that it may change
	relays []int32
	phases []int
}

// graph is the circuit as what depends on what. Nodes are nets, then relays.
type graph struct {
	w        *circuit
	edges    []edge
	out      [][]int32 // by net: edges that leave it
	poles    [][]int32 // by relay: nets its contacts touch
	order    [][]int32 // strongly connected nodes, in the order in which they settle
	loops    []int32   // relays that drive each other in a loop
	flat     bool      // no way from a source passes more diodes than deepest
	deepest  int
	coilsAt  [][]int32 // by net: relays it pulls in
	byNet    [][]int32 // by net: edges that reach it
	nodeStep []int32
}

func compile(w *circuit) *graph {
	g := &graph{
		w: w, out: make([][]int32, w.nets), poles: make([][]int32, len(w.coils)),
		coilsAt: make([][]int32, w.nets), byNet: make([][]int32, w.nets),
	}
	var all []edge
	link := func(from, to, ctl, part int, diode bool) {
		// The feed is live whatever flows into it, and what reaches the return is
		// a short circuit and goes no further.
		if from == to || from == w.ret || to == w.feed {
			return
		}
		all = append(all, edge{int32(from), int32(to), int32(ctl), int32(part), diode})
	}
	for i, c := range w.contacts {
		ctl := 2 + 2*c.relay
		if c.made {
			ctl--
		}
		link(c.common, c.throw, ctl, i, false)
		link(c.throw, c.common, ctl, i, false)
	}
	for i, d := range w.diodes {
		link(d.from, d.to, 0, -1-i, true)
	}
	// What no source can ever reach is dropped: it would only make loops that
	// are none.
	fed := g.spread(all, g.sources(nil, true))
	for _, e := range all {
		if !fed[e.from] {
			continue
		}
		i := int32(len(g.edges))
		g.edges = append(g.edges, e)
		g.out[e.from] = append(g.out[e.from], i)
		g.byNet[e.to] = append(g.byNet[e.to], i)
	}
	for _, c := range w.contacts {
		for _, n := range []int{c.common, c.throw} {
			if !slices.Contains(g.poles[c.relay], int32(n)) {
				g.poles[c.relay] = append(g.poles[c.relay], int32(n))
			}
		}
	}
	for r, n := range w.coils {
		if n >= 0 {
			g.coilsAt[n] = append(g.coilsAt[n], int32(r))
		}
	}
	g.components()
	g.depth()
	return g
}

// sources lists the nets of the feed, opcode, flags and some phases, or all of them.
func (g *graph) sources(phases []int, all bool) []int {
	var out []int
	if g.w.feed >= 0 {
		out = append(out, g.w.feed)
	}
	for _, u := range g.w.allUses {
		if u.kind != wiring.Phase || all || slices.Contains(phases, u.n) {
			out = append(out, u.net)
		}
	}
	return out
}

// spread marks the nets that sources may reach, whatever the contacts do.
func (g *graph) spread(edges []edge, from []int) []bool {
	next := make([][]int32, g.w.nets)
	for _, e := range edges {
		next[e.from] = append(next[e.from], e.to)
	}
	seen := make([]bool, g.w.nets)
	todo := append([]int(nil), from...)
	for _, n := range from {
		seen[n] = true
	}
	for len(todo) > 0 {
		n := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, to := range next[n] {
			if !seen[to] {
				seen[to] = true
				todo = append(todo, int(to))
			}
		}
	}
	return seen
}

// follow calls visit for every node that depends on a node at once: nets that
// it may reach, relays that it pulls in, nets that the contacts of a relay join.
func (g *graph) follow(node int, visit func(int)) {
	nets := g.w.nets
	if node >= nets {
		for _, n := range g.poles[node-nets] {
			if int(n) != g.w.feed {
				visit(int(n))
			}
		}
		return
	}
	for _, e := range g.out[node] {
		visit(int(g.edges[e].to))
	}
	for _, r := range g.coilsAt[node] {
		visit(nets + int(r))
	}
}

// components finds the strongly connected nodes (Tarjan, SIAM J. Comput. 1(2),
// 1972) and puts them into the order in which they settle. The stack is a
// slice: a chain of contacts may be as long as the list.
func (g *graph) components() {
	n := g.w.nets + len(g.w.coils)
	index := fill(n, -1)
	low := make([]int, n)
	on := make([]bool, n)
	g.nodeStep = make([]int32, n)
	var stack []int
	count := 0
	type frame struct {
		node, at int
		next     []int
	}
	open := func(v int) frame {
		index[v], low[v] = count, count
		count++
		stack = append(stack, v)
		on[v] = true
		f := frame{node: v}
		g.follow(v, func(to int) { f.next = append(f.next, to) })
		return f
	}
	for root := range n {
		if index[root] >= 0 {
			continue
		}
		calls := []frame{open(root)}
		for len(calls) > 0 {
			f := &calls[len(calls)-1]
			if f.at < len(f.next) {
				to := f.next[f.at]
				f.at++
				if index[to] < 0 {
					calls = append(calls, open(to))
				} else if on[to] {
					low[f.node] = min(low[f.node], index[to])
				}
				continue
			}
			v := f.node
			calls = calls[:len(calls)-1]
			if len(calls) > 0 {
				up := calls[len(calls)-1].node
				low[up] = min(low[up], low[v])
			}
			if low[v] != index[v] {
				continue
			}
			var members []int32
			for {
				m := stack[len(stack)-1]
				stack = stack[:len(stack)-1]
				on[m] = false
				members = append(members, int32(m))
				if m == v {
					break
				}
			}
			slices.Sort(members)
			g.order = append(g.order, members)
			for _, m := range members {
				if len(members) > 1 && int(m) >= g.w.nets {
					g.loops = append(g.loops, m-int32(g.w.nets))
				}
			}
		}
	}
	slices.Reverse(g.order)
	for i, c := range g.order {
		for _, m := range c {
			g.nodeStep[m] = int32(i)
		}
	}
}

// depth works out the most diodes in series from a source to anywhere. In a
// part that a diode leads back into there is no telling.
func (g *graph) depth() {
	deep := make([]int, len(g.order))
	g.flat = true
	for i, c := range g.order {
		for _, m := range c {
			if int(m) >= g.w.nets {
				continue
			}
			for _, e := range g.byNet[m] {
				from := int(g.nodeStep[g.edges[e].from])
				d := deep[from]
				if g.edges[e].diode {
					if from == i {
						g.flat = false
						return
					}
					d++
				}
				deep[i] = max(deep[i], d)
			}
		}
		g.deepest = max(g.deepest, deep[i])
	}
}

// plan works out how the network settles when phases are powered beside the
// feed, opcode and flags. With base it is the whole network; else it is what may
// differ from the state with no phase.
func (g *graph) plan(phases []int, base bool) *plan {
	p := &plan{phases: phases}
	live := g.spread(g.edges, g.sources(phases, false))
	touched := make([]bool, g.w.nets+len(g.w.coils))
	if base {
		for i := range touched {
			touched[i] = i >= g.w.nets || live[i]
		}
	} else {
		var todo []int
		visit := func(n int) {
			if !touched[n] {
				touched[n] = true
				todo = append(todo, n)
			}
		}
		for _, ph := range phases {
			if n := g.w.phase[ph]; n >= 0 {
				visit(n)
			}
		}
		for len(todo) > 0 {
			n := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			g.follow(n, visit)
		}
		for i := range live {
			touched[i] = touched[i] && live[i]
		}
	}
	for i, c := range g.order {
		var s step
		for _, m := range c {
			switch {
			case !touched[m]:
			case int(m) < g.w.nets:
				s.nets = append(s.nets, m)
			default:
				s.relays = append(s.relays, m-int32(g.w.nets))
			}
		}
		if len(s.nets) == 0 && len(s.relays) == 0 {
			continue
		}
		s.loop = len(s.relays) > 0 && len(c) > 1
		for _, n := range s.nets {
			for _, e := range g.byNet[n] {
				x := g.edges[e]
				if !live[x.from] {
					continue
				}
				if int(g.nodeStep[x.from]) == i {
					s.within = append(s.within, x)
				} else {
					s.enter = append(s.enter, x)
				}
			}
		}
		s.within = g.sorted(s, phases)
		p.steps = append(p.steps, s)
		p.nets = append(p.nets, s.nets...)
		p.relays = append(p.relays, s.relays...)
	}
	return p
}

// sorted puts the edges within a step into the order in which activity comes
// from where it enters, so that one sweep settles most of it.
func (g *graph) sorted(s step, phases []int) []edge {
	if len(s.within) < 2 {
		return s.within
	}
	next := map[int32][]edge{}
	for _, e := range s.within {
		next[e.from] = append(next[e.from], e)
	}
	seen := map[int32]bool{}
	var todo []int32
	visit := func(n int32) {
		if !seen[n] {
			seen[n] = true
			todo = append(todo, n)
		}
	}
	member := map[int32]bool{}
	for _, n := range s.nets {
		member[n] = true
	}
	for _, n := range g.sources(phases, false) {
		if member[int32(n)] {
			visit(int32(n))
		}
	}
	for _, e := range s.enter {
		visit(e.to)
	}
	for _, n := range s.nets {
		visit(n)
	}
	var out []edge
	for len(todo) > 0 {
		n := todo[0]
		todo = todo[1:]
		for _, e := range next[n] {
			out = append(out, e)
			visit(e.to)
		}
	}
	return out
}
