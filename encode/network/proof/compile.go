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
	edges  []edge // those of all steps
}

// table is a list for each of some numbers, one after the other in one slice.
type table struct{ start, all []int32 }

func (t *table) of(n int) []int32 { return t.all[t.start[n]:t.start[n+1]] }

// begin empties a table; end ends the list of the next number.
func (t *table) begin() { t.start, t.all = append(t.start[:0], 0), t.all[:0] }
func (t *table) end()   { t.start = append(t.start, int32(len(t.all))) }

// edges lists edges by the net that they leave, or that they reach.
func (t *table) edges(nets int, edges []edge, reach bool) {
	key := func(e *edge) int32 {
		if reach {
			return e.to
		}
		return e.from
	}
	t.start = cleared(t.start, nets+2)
	for i := range edges {
		t.start[key(&edges[i])+2]++
	}
	for i := 2; i < len(t.start); i++ {
		t.start[i] += t.start[i-1]
	}
	t.all = sized(t.all, len(edges))
	for i := range edges {
		at := &t.start[key(&edges[i])+1]
		t.all[*at] = int32(i)
		*at++
	}
}

// graph is the circuit as what depends on what. Nodes are nets, then relays.
// It is compiled again for every list, in the memory of the one before.
type graph struct {
	w       *circuit
	edges   []edge
	out     table   // by net: edges that leave it
	byNet   table   // by net: edges that reach it
	poles   table   // by relay: nets its contacts touch
	follow  table   // by node: the nodes that depend on it at once
	order   []int32 // nodes in the order in which they settle, the strongly connected together
	parts   []int32 // where each strongly connected part starts in order
	step    []int32 // by node: its part
	loops   []int32 // relays that drive each other in a loop
	flat    bool    // no way from a source passes more diodes than deepest
	deepest int
	fed     []bool // by net: live in some state with no phase, for all that contacts may do

	// what is worked out and dropped again
	seen, live  []bool
	todo        []int32
	index, low  []int32
	calls       []frame
	deep        []int
	firstCoil   []int32 // by net
	nextCoil    []int32 // by relay
	poleOf      []int32
	within      []edge
	sourceNets  []int
	sourcePhase []int
}

type frame struct{ node, at int32 }

func (g *graph) compile(w *circuit) {
	g.w = w
	g.edges = g.edges[:0]
	link := func(from, to, ctl, part int, diode bool) {
		// The feed is live whatever flows into it, and what reaches the return is
		// a short circuit and goes no further.
		if from == to || from == w.ret || to == w.feed {
			return
		}
		g.edges = append(g.edges, edge{int32(from), int32(to), int32(ctl), int32(part), diode})
	}
	for i := range w.contacts {
		c := &w.contacts[i]
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
	g.out.edges(w.nets, g.edges, false)
	g.live = cleared(g.live, w.nets)
	g.spread(g.live, g.sources(nil, true))
	all := len(g.edges)
	g.edges = slices.DeleteFunc(g.edges, func(e edge) bool { return !g.live[e.from] })
	if len(g.edges) < all {
		g.out.edges(w.nets, g.edges, false)
	}
	g.byNet.edges(w.nets, g.edges, true)
	g.depend()
	g.components()
	g.depth()
	g.fed = cleared(g.fed, w.nets)
	g.spread(g.fed, g.sources(nil, false))
}

// sources lists the nets of the feed, opcode, flags and some phases, or all of them.
func (g *graph) sources(phases []int, all bool) []int {
	out := g.sourceNets[:0]
	if g.w.feed >= 0 {
		out = append(out, g.w.feed)
	}
	for _, u := range g.w.allUses {
		if u.kind != wiring.Phase || all || slices.Contains(phases, u.n) {
			out = append(out, u.net)
		}
	}
	g.sourceNets = out
	return out
}

// spread marks the nets that sources may reach, whatever the contacts do, past
// those that are marked.
func (g *graph) spread(seen []bool, from []int) {
	todo := g.todo[:0]
	for _, n := range from {
		if !seen[n] {
			seen[n] = true
			todo = append(todo, int32(n))
		}
	}
	for len(todo) > 0 {
		n := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, e := range g.out.of(int(n)) {
			if to := g.edges[e].to; !seen[to] {
				seen[to] = true
				todo = append(todo, to)
			}
		}
	}
	g.todo = todo
}

// depend lists what depends on a node at once: nets that it may reach, relays
// that it pulls in, nets that the contacts of a relay join.
func (g *graph) depend() {
	w := g.w
	g.poleOf = cleared(g.poleOf, w.nets)
	g.poles.begin()
	i := 0
	for r := range w.coils {
		for ; i < len(w.contacts) && w.contacts[i].relay == r; i++ {
			for _, n := range [2]int{w.contacts[i].common, w.contacts[i].throw} {
				if g.poleOf[n] != int32(r)+1 {
					g.poleOf[n] = int32(r) + 1
					g.poles.all = append(g.poles.all, int32(n))
				}
			}
		}
		g.poles.end()
	}
	g.firstCoil, g.nextCoil = cleared(g.firstCoil, w.nets), sized(g.nextCoil, len(w.coils))
	for r, n := range slices.Backward(w.coils) {
		if n >= 0 {
			g.nextCoil[r], g.firstCoil[n] = g.firstCoil[n], int32(r)+1
		}
	}
	g.follow.begin()
	for n := range w.nets {
		for _, e := range g.out.of(n) {
			g.follow.all = append(g.follow.all, g.edges[e].to)
		}
		for r := g.firstCoil[n]; r > 0; r = g.nextCoil[r-1] {
			g.follow.all = append(g.follow.all, int32(w.nets)+r-1)
		}
		g.follow.end()
	}
	for r := range w.coils {
		for _, n := range g.poles.of(r) {
			if int(n) != w.feed {
				g.follow.all = append(g.follow.all, n)
			}
		}
		g.follow.end()
	}
}

// components finds the strongly connected nodes (Tarjan, SIAM J. Comput. 1(2),
// 1972) and puts them into the order in which they settle. The stack is a
// slice: a chain of contacts may be as long as the list.
func (g *graph) components() {
	nets := int32(g.w.nets)
	n := g.w.nets + len(g.w.coils)
	g.index, g.low, g.step = cleared(g.index, n), sized(g.low, n), sized(g.step, n)
	// Parts are found from the last to the first, so order is filled from its end.
	g.order = sized(g.order, n)
	g.parts, g.loops = g.parts[:0], g.loops[:0]
	end := int32(n)
	stack, calls := g.todo[:0], g.calls[:0]
	const done = int32(1) << 30
	count := int32(0)
	open := func(v int32) {
		count++
		g.index[v], g.low[v] = count, count
		stack = append(stack, v)
		calls = append(calls, frame{v, g.follow.start[v]})
	}
	for root := range int32(n) {
		if g.index[root] > 0 {
			continue
		}
		open(root)
		for len(calls) > 0 {
			f := &calls[len(calls)-1]
			v := f.node
			if f.at < g.follow.start[v+1] {
				to := g.follow.all[f.at]
				f.at++
				if g.index[to] == 0 {
					open(to)
				} else {
					g.low[v] = min(g.low[v], g.index[to]) // done is more than any
				}
				continue
			}
			calls = calls[:len(calls)-1]
			if len(calls) > 0 {
				up := calls[len(calls)-1].node
				g.low[up] = min(g.low[up], g.low[v])
			}
			if g.low[v] != g.index[v] {
				continue
			}
			first := len(stack) - 1
			for stack[first] != v {
				first--
			}
			members := stack[first:]
			slices.Sort(members)
			end -= int32(len(members))
			copy(g.order[end:], members)
			for _, m := range members {
				g.index[m] = done
				g.step[m] = int32(len(g.parts))
				if len(members) > 1 && m >= nets {
					g.loops = append(g.loops, m-nets)
				}
			}
			g.parts = append(g.parts, end)
			stack = stack[:first]
		}
	}
	g.todo, g.calls = stack, calls
	slices.Reverse(g.parts)
	last := int32(len(g.parts)) - 1
	for i := range g.step {
		g.step[i] = last - g.step[i]
	}
	g.parts = append(g.parts, int32(n))
}

// part is the nodes that settle at a step.
func (g *graph) part(i int) []int32 { return g.order[g.parts[i]:g.parts[i+1]] }

// depth works out the most diodes in series from a source to anywhere. In a
// part that a diode leads back into there is no telling.
func (g *graph) depth() {
	g.deep = cleared(g.deep, len(g.parts)-1)
	g.flat, g.deepest = true, 0
	for i := range g.deep {
		for _, m := range g.part(i) {
			if int(m) >= g.w.nets {
				continue
			}
			for _, k := range g.byNet.of(int(m)) {
				e := &g.edges[k]
				from := int(g.step[e.from])
				d := g.deep[from]
				if e.diode {
					if from == i {
						g.flat = false
						return
					}
					d++
				}
				g.deep[i] = max(g.deep[i], d)
			}
		}
		g.deepest = max(g.deepest, g.deep[i])
	}
}

// plan works out how the network settles when phases are powered beside the
// feed, opcode and flags. With base it is the whole network; else it is what may
// differ from the state with no phase. It is made in the memory of p.
func (g *graph) plan(p *plan, phases []int, base bool) *plan {
	nets := g.w.nets
	p.phases = append(p.phases[:0], phases...)
	p.steps, p.nets, p.relays, p.edges = p.steps[:0], p.nets[:0], p.relays[:0], p.edges[:0]
	g.live = append(g.live[:0], g.fed...)
	g.sourcePhase = g.sourcePhase[:0]
	for _, ph := range phases {
		if n := g.w.phase[ph]; n >= 0 {
			g.sourcePhase = append(g.sourcePhase, n)
		}
	}
	g.spread(g.live, g.sourcePhase)
	touched := cleared(g.seen, nets+len(g.w.coils))
	g.seen = touched
	if base {
		copy(touched, g.live)
		for r := range g.w.coils {
			touched[nets+r] = true
		}
	} else {
		todo := g.todo[:0]
		visit := func(n int32) {
			if !touched[n] {
				touched[n] = true
				todo = append(todo, n)
			}
		}
		for _, n := range g.sourcePhase {
			visit(int32(n))
		}
		for len(todo) > 0 {
			n := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			for _, to := range g.follow.of(int(n)) {
				visit(to)
			}
		}
		g.todo = todo
		for i, on := range g.live {
			touched[i] = touched[i] && on
		}
	}
	for i := range len(g.parts) - 1 {
		c := g.part(i)
		firstNet, firstRelay := len(p.nets), len(p.relays)
		for _, m := range c {
			switch {
			case !touched[m]:
			case int(m) < nets:
				p.nets = append(p.nets, m)
			default:
				p.relays = append(p.relays, m-int32(nets))
			}
		}
		s := step{nets: p.nets[firstNet:], relays: p.relays[firstRelay:]}
		if len(s.nets) == 0 && len(s.relays) == 0 {
			continue
		}
		s.loop = len(s.relays) > 0 && len(c) > 1
		first := len(p.edges)
		g.within = g.within[:0]
		for _, n := range s.nets {
			for _, e := range g.byNet.of(int(n)) {
				x := &g.edges[e]
				switch {
				case !g.live[x.from]:
				case int(g.step[x.from]) == i:
					g.within = append(g.within, *x)
				default:
					p.edges = append(p.edges, *x)
				}
			}
		}
		s.enter = p.edges[first:]
		first = len(p.edges)
		p.edges = g.sorted(p.edges, s, i, phases)
		s.within = p.edges[first:]
		p.steps = append(p.steps, s)
	}
	return p
}

// sorted adds the edges within a step in the order in which activity comes from
// where it enters, so that one sweep settles most of it.
func (g *graph) sorted(out []edge, s step, part int, phases []int) []edge {
	if len(g.within) < 2 {
		return append(out, g.within...)
	}
	// A net of a step is waiting while it is marked: the marks are taken off on the way.
	g.index = sized(g.index, g.w.nets)
	for _, n := range s.nets {
		g.index[n] = 0
	}
	todo := g.todo[:0]
	visit := func(n int32) {
		if g.index[n] == 0 {
			g.index[n] = 1
			todo = append(todo, n)
		}
	}
	for _, n := range g.sources(phases, false) {
		if int(g.step[n]) == part && slices.Contains(s.nets, int32(n)) {
			visit(int32(n))
		}
	}
	for i := range s.enter {
		visit(s.enter[i].to)
	}
	for i := range s.nets {
		visit(s.nets[i])
	}
	for i := 0; i < len(todo); i++ {
		for _, k := range g.out.of(int(todo[i])) {
			if e := &g.edges[k]; int(g.step[e.to]) == part {
				out = append(out, *e)
				visit(e.to)
			}
		}
	}
	g.todo = todo
	return out
}
