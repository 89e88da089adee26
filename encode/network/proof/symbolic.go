package proof

import (
	"coilwright/encode/cube"
	"coilwright/encode/network/wiring"
)

// symbolic tries all opcodes and flags at once, as sets of states in a diagram,
// for machines whose states are too many to be tried one by one. It asks
// exactly what finder asks.
type symbolic struct {
	*prover
	*tally
	d                 *diagram
	certain, possible *setRail
	all               []*setRail
	depth             []setLayer
	levels            bool
	must, may         []int32
	occur             []int32
	forgotten         []bool // by rank: what moves
}

// setRail is a rail with a set of states for each net.
type setRail struct {
	source, live, ctl                []int32
	savedSource, savedLive, savedCtl []int32
}

type setLayer struct{ live, saved []int32 }

func (p *prover) newSymbolic() *symbolic {
	s := &symbolic{
		prover: p, tally: newTally(p), d: newDiagram(len(p.vars), p.most),
		must: make([]int32, len(p.store.Columns)), may: make([]int32, len(p.store.Columns)),
		occur: make([]int32, p.store.Phases+1), forgotten: make([]bool, len(p.vars)),
		levels: !p.graph.flat || p.graph.deepest > p.allowed,
	}
	for range 2 {
		w := p.circuit
		r := &setRail{source: make([]int32, w.nets), live: make([]int32, w.nets), ctl: make([]int32, 1+2*len(w.coils))}
		r.ctl[0] = every
		for i := range w.coils {
			r.ctl[2+2*i] = every
		}
		s.all = append(s.all, r)
	}
	s.certain, s.possible = s.all[0], s.all[1]
	return s
}

// rank is the place of variable i of the proof in the diagram: opcode first,
// highest bit first, so that the first member of a set is the lowest state.
func (s *symbolic) rank(i int) int32 { return int32(len(s.vars) - 1 - i) }

func (s *symbolic) variable(i int) int32 { return s.d.node(s.rank(i), none, every) }

// cube is the states in a cube; what moves is left out.
func (s *symbolic) cube(opcode, flags cube.Cube) int32 {
	n := every
	for i, v := range s.vars {
		c := opcode
		if v.flag {
			c = flags
		}
		if c.Care>>v.n&1 == 0 {
			continue
		}
		x := s.variable(i)
		if c.Value>>v.n&1 == 1 {
			n = s.d.and(n, x)
		} else {
			n = s.d.less(n, x)
		}
	}
	return n
}

func (s *symbolic) settle(p *plan) {
	for i := range p.steps {
		t := &p.steps[i]
		if t.loop {
			for _, r := range t.relays {
				s.set(r, none, every)
			}
			for changed := true; changed; {
				s.reach(s.certain, t)
				s.reach(s.possible, t)
				changed = false
				for _, r := range t.relays {
					changed = s.pull(r) || changed
				}
			}
			continue
		}
		for _, r := range t.relays {
			s.pull(r)
		}
		for _, r := range s.all {
			s.reach(r, t)
		}
	}
}

func (s *symbolic) pull(r int32) bool {
	if n := s.circuit.coils[r]; n >= 0 {
		return s.set(r, s.certain.live[n], s.possible.live[n])
	}
	return s.set(r, none, none)
}

func (s *symbolic) set(r, certain, possible int32) bool {
	i := 1 + 2*r
	changed := s.certain.ctl[i] != certain || s.possible.ctl[i] != possible
	s.certain.ctl[i], s.possible.ctl[i] = certain, possible
	s.certain.ctl[i+1], s.possible.ctl[i+1] = s.d.not(possible), s.d.not(certain)
	return changed
}

func (s *symbolic) reach(r *setRail, t *step) {
	for _, n := range t.nets {
		r.live[n] = r.source[n]
	}
	pass := func(x edge) bool {
		v := s.d.or(r.live[x.to], s.d.and(r.live[x.from], r.ctl[x.ctl]))
		changed := v != r.live[x.to]
		r.live[x.to] = v
		return changed
	}
	for _, x := range t.enter {
		pass(x)
	}
	for again := len(t.within) > 0; again; {
		again = false
		for _, x := range t.within {
			again = pass(x) || again
		}
	}
}

func (s *symbolic) layers(p *plan, levels int) {
	for len(s.depth) <= levels {
		s.depth = append(s.depth, setLayer{live: make([]int32, s.circuit.nets)})
	}
	r := s.certain
	for k := 0; k <= levels; k++ {
		live := s.depth[k].live
		below := live
		if k > 0 {
			below = s.depth[k-1].live
		}
		pass := func(x edge) bool {
			from := none
			switch {
			case !x.diode:
				from = s.d.and(live[x.from], r.ctl[x.ctl])
			case k > 0:
				from = below[x.from]
			}
			v := s.d.or(live[x.to], from)
			changed := v != live[x.to]
			live[x.to] = v
			return changed
		}
		for i := range p.steps {
			t := &p.steps[i]
			for _, n := range t.nets {
				live[n] = r.source[n]
				if k > 0 {
					live[n] = s.d.or(live[n], below[n])
				}
			}
			for _, x := range t.enter {
				pass(x)
			}
			for again := len(t.within) > 0; again; {
				again = false
				for _, x := range t.within {
					again = pass(x) || again
				}
			}
		}
	}
}

// begin sets the sources beside the phases, settles, and keeps that state.
func (s *symbolic) begin(moving travelling) {
	w := s.circuit
	for _, r := range s.all {
		clear(r.source)
		if w.feed >= 0 {
			r.source[w.feed] = every
		}
	}
	for i, v := range s.vars {
		n, moves := w.opcode, moving.bits
		if v.flag {
			n, moves = w.flag, moving.tested
		}
		net := n[v.n]
		if net < 0 {
			continue
		}
		x := s.variable(i)
		if moves>>v.n&1 == 1 {
			s.possible.source[net] = every
			continue
		}
		for _, r := range s.all {
			r.source[net] = s.d.or(r.source[net], x)
		}
	}
	s.settle(s.plans.base)
	for _, r := range s.all {
		r.savedSource = append(r.savedSource[:0], r.source...)
		r.savedLive = append(r.savedLive[:0], r.live...)
		r.savedCtl = append(r.savedCtl[:0], r.ctl...)
	}
	if s.levels {
		s.layers(s.plans.base, s.allowed)
		for i := range s.depth {
			s.depth[i].saved = append(s.depth[i].saved[:0], s.depth[i].live...)
		}
	}
}

// try powers the phases of a plan, compares, and goes back to no phase.
func (s *symbolic) try(p *plan, states int32, m moment) {
	if states == none {
		return
	}
	nets := []int{}
	for _, ph := range p.phases {
		if n := s.circuit.phase[ph]; n >= 0 {
			nets = append(nets, n)
		}
	}
	for _, r := range s.all {
		for _, n := range nets {
			r.source[n] = every
		}
	}
	s.settle(p)
	if s.levels {
		s.layers(p, s.allowed)
	}
	s.compare(states, m)
	if m.bits|m.tested != 0 {
		s.touch(states, m)
	}
	for _, r := range s.all {
		for _, n := range nets {
			r.source[n] = r.savedSource[n]
		}
		for _, n := range p.nets {
			r.live[n] = r.savedLive[n]
		}
		for _, k := range p.relays {
			r.ctl[1+2*k], r.ctl[2+2*k] = r.savedCtl[1+2*k], r.savedCtl[2+2*k]
		}
	}
	for i := range s.depth {
		for _, n := range p.nets {
			s.depth[i].live[n] = s.depth[i].saved[n]
		}
	}
}

func (s *symbolic) compare(states int32, m moment) {
	d, w := s.d, s.circuit
	c, q := s.certain.live, s.possible.live
	if w.ret >= 0 {
		s.blame(Short, 0, d.and(q[w.ret], states), m)
	}
	for i, u := range w.allUses {
		if back := d.and(q[u.net], states); back != none {
			s.blame(Backfeed, i, d.less(back, s.powers(u, m)), m)
		}
	}
	for i := range s.must {
		n := w.line[i]
		if !s.driven[i] || s.mute[i] || n < 0 {
			continue
		}
		on, perhaps := c[n], q[n]
		if s.store.Columns[i].Low {
			on, perhaps = d.not(q[n]), d.not(c[n])
		}
		s.blame(Extra, i, d.less(d.and(perhaps, states), s.may[i]), m)
		s.blame(Missing, i, d.less(d.and(s.must[i], states), on), m)
	}
	if m.bits|m.tested == 0 {
		for _, r := range s.graph.loops {
			s.blame(Undecided, int(r), d.and(d.less(s.possible.ctl[1+2*r], s.certain.ctl[1+2*r]), states), m)
		}
	}
	if !s.levels {
		return
	}
	near := s.depth[s.allowed].live
	for i, n := range w.line {
		if n >= 0 && s.driven[i] && !s.mute[i] {
			s.blame(TooDeep, i, d.and(d.less(c[n], near[n]), states), m)
		}
	}
	for r, n := range w.coils {
		if n >= 0 {
			s.blame(TooDeep, len(w.line)+r, d.and(d.less(c[n], near[n]), states), m)
		}
	}
}

func (s *symbolic) powers(u use, m moment) int32 {
	switch u.kind {
	case wiring.Phase:
		if u.n == m.phase || u.n == m.second {
			return every
		}
		return none
	case wiring.Opcode:
		if m.bits>>u.n&1 == 1 {
			return every
		}
	case wiring.Flag:
		if m.tested>>u.n&1 == 1 {
			return every
		}
	}
	for i, v := range s.vars {
		if v.flag == (u.kind == wiring.Flag) && v.n == u.n {
			return s.variable(i)
		}
	}
	return none
}

func (s *symbolic) touch(states int32, m moment) {
	d := s.d
	for r := range s.circuit.coils {
		x := d.and(d.less(s.possible.ctl[1+2*r], s.certain.ctl[1+2*r]), states)
		if x == none {
			continue
		}
		hot := none
		for _, n := range s.graph.poles.of(r) {
			hot = d.or(hot, d.less(s.possible.live[n], s.possible.savedLive[n]))
		}
		s.blame(LiveSwitch, r, d.and(hot, x), m)
	}
}

// size counts the states of a set, those that differ only in what moves once.
func (s *symbolic) size(set int32) uint64 {
	n := s.d.size(set)
	for _, f := range s.forgotten {
		if f {
			n /= 2
		}
	}
	return n
}

func (s *symbolic) blame(kind Kind, n int, set int32, m moment) {
	if set == none {
		return
	}
	at := State{Phase: m.phase, Second: m.second, Bits: m.bits, Tested: m.tested}
	first := s.d.first(set)
	for i, v := range s.vars {
		switch {
		case !first[s.rank(i)]:
		case v.flag:
			at.Flags |= 1 << v.n
		default:
			at.Opcode |= 1 << v.n
		}
	}
	s.note(kind, n, at, s.size(set))
}

// words sets must and may to the lines of the phases.
func (s *symbolic) words(phases ...int) {
	for i := range s.must {
		s.must[i] = none
	}
	for _, r := range s.store.Rows {
		for _, ph := range phases {
			if r.Phase != ph {
				continue
			}
			states := s.cube(r.Opcode, r.Flags)
			for _, c := range r.Lines.Columns() {
				if s.driven[c] && !s.mute[c] {
					s.must[c] = s.d.or(s.must[c], states)
				}
			}
		}
	}
	copy(s.may, s.must)
}

// ends returns the states whose path ends in a phase, for certain and perhaps.
func (s *symbolic) ends(phase int) (sure, perhaps int32) {
	for _, r := range s.store.Rows {
		if r.Phase != phase {
			continue
		}
		for _, c := range r.Lines.Columns() {
			if s.store.Columns[c].Kind != "restart" {
				continue
			}
			states := s.cube(r.Opcode, r.Flags)
			perhaps = s.d.or(perhaps, states)
			if r.Flags.Care&s.changes.Inputs == 0 {
				sure = s.d.or(sure, states)
			}
		}
	}
	return sure, perhaps
}

// run asks what finder asks, for all opcodes and flags at once.
func (s *symbolic) run() {
	d := s.d
	live := every
	for _, c := range s.store.Free {
		live = d.less(live, s.cube(c, cube.Cube{}))
	}
	s.occur[0] = live
	for ph := 1; ph <= s.store.Phases; ph++ {
		s.occur[ph] = live
		sure, _ := s.ends(ph)
		live = d.less(live, sure)
	}
	s.begin(travelling{})
	m := moment{}
	s.words()
	s.between += s.size(s.occur[0]) * s.share
	s.compare(s.occur[0], m)
	for ph := 1; ph <= s.store.Phases; ph++ {
		m.phase = ph
		s.words(ph)
		s.states += s.size(s.occur[ph]) * s.share
		s.try(s.plans.of(ph, 0), s.occur[ph], m)
	}
	for ph := 1; ph <= s.store.Phases && s.options.Overlap; ph++ {
		sure, perhaps := s.ends(ph)
		m.phase = ph
		if ph < s.store.Phases {
			m.second = ph + 1
			s.pair(d.less(d.and(s.occur[ph], s.occur[ph+1]), sure), m)
		} else {
			perhaps = every
		}
		if ph > 1 && perhaps != none {
			m.second = 1
			s.pair(d.and(s.occur[ph], perhaps), m)
		}
	}
	for _, g := range s.travels() {
		s.travel(g)
	}
}

func (s *symbolic) pair(states int32, m moment) {
	s.words(m.phase, m.second)
	s.between += s.size(states) * s.share
	s.try(s.plans.of(m.phase, m.second), states, m)
}

// travel is the same for what is in change-over: must and may are taken over
// every way in which it can stand.
func (s *symbolic) travel(g *change) {
	share := s.share
	s.share = s.untried(g.bits)
	for i, v := range s.vars {
		moves := g.bits
		if v.flag {
			moves = g.tested
		}
		s.forgotten[s.rank(i)] = moves>>v.n&1 == 1
	}
	defer func() {
		s.share = share
		clear(s.forgotten)
	}()
	m := moment{bits: g.bits, tested: g.tested}
	here := none
	for _, r := range g.records {
		here = s.d.or(here, s.cube(r.opcode, r.flags))
	}
	s.begin(g.travelling)
	s.words()
	here = s.d.and(here, s.fold(g.phase))
	nothing := make([]int32, len(s.must))
	must, may := s.must, s.may
	s.must, s.may = nothing, nothing
	s.compare(here, m)
	s.must, s.may = must, may
	m.phase = g.phase
	s.moving += s.size(here) * s.share
	s.try(s.plans.of(g.phase, 0), here, m)
	if !s.options.Overlap || g.next == nil {
		return
	}
	both := none
	for _, r := range g.next.records {
		both = s.d.or(both, s.cube(r.opcode, r.flags))
	}
	m.second = g.phase + 1
	both = s.d.and(s.d.and(here, both), s.fold(m.phase, m.second))
	s.moving += s.size(both) * s.share
	s.try(s.plans.of(m.phase, m.second), both, m)
}

// fold sets must and may over what moves, and returns the states of which some side can occur.
func (s *symbolic) fold(phases ...int) int32 {
	d := s.d
	s.words(phases...)
	occur := s.occur[phases[len(phases)-1]]
	some := func(a int32) int32 { return d.some(a, s.forgotten, map[int32]int32{}) }
	any := some(occur)
	for c := range s.must {
		word := s.must[c]
		s.may[c] = some(d.and(occur, word))
		s.must[c] = d.less(any, some(d.less(occur, word)))
	}
	return any
}
