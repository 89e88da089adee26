package proof

// rail is one reading of the network in 64 states at once: which nets are live.
// Two rails bound what contacts in change-over may do: on the certain one they
// are open, on the possible one closed both ways.
type rail struct {
	source []uint64 // by net
	live   []uint64 // by net
	ctl    []uint64 // what edges are closed by
}

func (r *rail) begin(g *graph) {
	r.source, r.live = cleared(r.source, g.w.nets), cleared(r.live, g.w.nets)
	r.ctl = cleared(r.ctl, 1+2*len(g.w.coils))
	for i := range g.w.coils {
		r.ctl[2+2*i] = ^uint64(0)
	}
	r.ctl[0] = ^uint64(0)
}

// engine settles the network. While nothing is in change-over and no relays
// drive each other in a loop both rails are one.
type engine struct {
	g                 *graph
	rails             [2]rail
	certain, possible *rail
	all               []*rail
	saved             [2]rail // the state with no phase, by rail
	depth             []layer // by diodes in series
}

func newEngine(g *graph, two bool) *engine {
	e := &engine{}
	e.begin(g, two)
	return e
}

// begin puts an engine to a network.
func (e *engine) begin(g *graph, two bool) {
	e.g = g
	e.certain, e.possible = &e.rails[0], &e.rails[0]
	e.all = append(e.all[:0], e.certain)
	if two {
		e.possible = &e.rails[1]
		e.all = append(e.all, e.possible)
	}
	for _, r := range e.all {
		r.begin(g)
	}
	for i := range e.depth {
		d := &e.depth[i]
		d.live, d.saved = cleared(d.live, g.w.nets), d.saved[:0]
	}
}

func (e *engine) two() bool { return e.certain != e.possible }

// settle works a plan through from its sources.
func (e *engine) settle(p *plan) {
	for i := range p.steps {
		s := &p.steps[i]
		if s.loop {
			e.settleLoop(s)
			continue
		}
		for _, r := range s.relays {
			e.pull(r)
		}
		if len(s.nets) == 0 {
			continue
		}
		e.certain.reach(s)
		if e.two() {
			e.possible.reach(s)
		}
	}
}

// pull sets the contacts of a relay from its coil and reports a change.
func (e *engine) pull(r int32) bool {
	c, p := uint64(0), uint64(0)
	if n := e.g.w.coils[r]; n >= 0 {
		c, p = e.certain.live[n], e.possible.live[n]
	}
	return e.set(r, c, p)
}

func (e *engine) set(r int32, certain, possible uint64) bool {
	i := 1 + 2*r
	changed := e.certain.ctl[i] != certain || e.possible.ctl[i] != possible
	e.certain.ctl[i], e.possible.ctl[i] = certain, possible
	e.certain.ctl[i+1], e.possible.ctl[i+1] = ^possible, ^certain
	return changed
}

// settleLoop starts relays that drive each other as unknown, so that what is
// known at the end holds whatever they did before.
func (e *engine) settleLoop(s *step) {
	for _, r := range s.relays {
		e.set(r, 0, ^uint64(0))
	}
	for {
		e.certain.reach(s)
		e.possible.reach(s)
		changed := false
		for _, r := range s.relays {
			changed = e.pull(r) || changed
		}
		if !changed {
			return
		}
	}
}

func (r *rail) reach(s *step) {
	live := r.live
	for _, n := range s.nets {
		live[n] = r.source[n]
	}
	for _, x := range s.enter {
		live[x.to] |= live[x.from] & r.ctl[x.ctl]
	}
	for again := len(s.within) > 0; again; {
		again = false
		for _, x := range s.within {
			v := live[x.from] & r.ctl[x.ctl]
			if v&^live[x.to] != 0 {
				live[x.to] |= v
				again = true
			}
		}
	}
}

// save keeps the state with no phase, to be put back after each.
func (e *engine) save() {
	for i, r := range e.all {
		e.saved[i].live = append(e.saved[i].live[:0], r.live...)
		e.saved[i].ctl = append(e.saved[i].ctl[:0], r.ctl...)
	}
}

func (e *engine) restore(p *plan) {
	for i, r := range e.all {
		for _, n := range p.nets {
			r.live[n] = e.saved[i].live[n]
		}
		for _, k := range p.relays {
			r.ctl[1+2*k] = e.saved[i].ctl[1+2*k]
			r.ctl[2+2*k] = e.saved[i].ctl[2+2*k]
		}
	}
}

// power puts the feed onto the phase wires of a plan.
func (e *engine) power(p *plan) {
	for _, ph := range p.phases {
		if n := e.g.w.phase[ph]; n >= 0 {
			for _, r := range e.all {
				r.source[n] = ^uint64(0)
			}
		}
	}
}

// cut takes it away again. Wrong wires may have joined another source to the net.
func (e *engine) cut(p *plan) {
	for _, ph := range p.phases {
		if n := e.g.w.phase[ph]; n >= 0 {
			for i, r := range e.all {
				r.source[n] = e.saved[i].source[n]
			}
		}
	}
}

// feed sets the sources of the feed, opcode and flags in a block.
func (e *engine) feed(s space, block uint64, moving []variable) {
	w := e.g.w
	for _, r := range e.all {
		clear(r.source)
	}
	if w.feed >= 0 {
		for _, r := range e.all {
			r.source[w.feed] = ^uint64(0)
		}
	}
	net := func(v variable) int {
		if v.flag {
			return w.flag[v.n]
		}
		return w.opcode[v.n]
	}
	for i, v := range s.vars {
		if n := net(v); n >= 0 {
			x := s.value(i, block)
			for _, r := range e.all {
				r.source[n] |= x
			}
		}
	}
	for _, v := range moving {
		if n := net(v); n >= 0 {
			e.possible.source[n] = ^uint64(0)
		}
	}
	for i, r := range e.all {
		e.saved[i].source = append(e.saved[i].source[:0], r.source...)
	}
}

// layer is what is live, for certain, through a number of diodes at most.
type layer struct{ live, saved []uint64 }

// layers works out what a plan makes live through at most levels diodes; the
// plan is settled.
func (e *engine) layers(p *plan, levels int) []uint64 {
	for len(e.depth) <= levels {
		e.depth = append(e.depth, layer{live: make([]uint64, e.g.w.nets)})
	}
	r := e.certain
	for k := 0; k <= levels; k++ {
		live := e.depth[k].live
		below := live // no diode to come through
		if k > 0 {
			below = e.depth[k-1].live
		}
		for i := range p.steps {
			s := &p.steps[i]
			for _, n := range s.nets {
				live[n] = r.source[n]
				if k > 0 {
					live[n] |= below[n]
				}
			}
			for _, x := range s.enter {
				switch {
				case !x.diode:
					live[x.to] |= live[x.from] & r.ctl[x.ctl]
				case k > 0:
					live[x.to] |= below[x.from]
				}
			}
			for again := len(s.within) > 0; again; {
				again = false
				for _, x := range s.within {
					v := live[x.from] & r.ctl[x.ctl]
					if x.diode {
						if k == 0 {
							continue
						}
						v = below[x.from]
					}
					if v&^live[x.to] != 0 {
						live[x.to] |= v
						again = true
					}
				}
			}
		}
	}
	return e.depth[levels].live
}

func (e *engine) saveLayers() {
	for i := range e.depth {
		e.depth[i].saved = append(e.depth[i].saved[:0], e.depth[i].live...)
	}
}

func (e *engine) restoreLayers(p *plan) {
	for i := range e.depth {
		d := &e.depth[i]
		for _, n := range p.nets {
			d.live[n] = d.saved[n]
		}
	}
}
