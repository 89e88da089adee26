package proof

import (
	"math/bits"
	"slices"

	"coilwright/encode/cube"
)

// change is the states of one phase in which the same bits and flags travel.
type change struct {
	travelling
	phase   int
	records []record
	next    *change // the same bits travel on in the next phase
}

// record is the opcodes and flags for which something travels; what travels is left out.
type record struct{ opcode, flags cube.Cube }

func (r record) without(t travelling) record {
	return record{
		cube.Cube{Care: r.opcode.Care &^ t.bits, Value: r.opcode.Value &^ t.bits},
		cube.Cube{Care: r.flags.Care &^ t.tested, Value: r.flags.Value &^ t.tested},
	}
}

// travelling names the opcode bits and flags in change-over.
type travelling struct{ bits, tested uint64 }

// travels gathers what is in change-over by phase and by what moves. Where
// several records hold at once, two latches of one step for instance, all that
// they name moves.
func (p *prover) travels() []*change {
	type what struct {
		travelling
		phase int
	}
	at := map[what]*change{}
	var out []*change
	add := func(k what, r record) {
		if at[k] == nil {
			at[k] = &change{travelling: k.travelling, phase: k.phase}
			out = append(out, at[k])
		}
		r = r.without(k.travelling)
		if !slices.Contains(at[k].records, r) {
			at[k].records = append(at[k].records, r)
		}
	}
	for _, m := range p.changes.Moving {
		if m.Phase >= 1 && m.Phase <= p.store.Phases && m.Bits|m.Tested != 0 {
			add(what{travelling{m.Bits, m.Tested}, m.Phase}, record{m.Opcode, m.Flags})
		}
	}
	for _, b := range slices.Clone(out) {
		for _, a := range slices.Clone(out) {
			both := travelling{a.bits | b.bits, a.tested | b.tested}
			if a.phase != b.phase || both == a.travelling || both == b.travelling {
				continue // nothing more moves than without the other
			}
			for _, x := range slices.Clone(a.records) {
				for _, y := range slices.Clone(b.records) {
					x, y := x.without(both), y.without(both)
					opcode, ok := x.opcode.And(y.opcode)
					flags, and := x.flags.And(y.flags)
					if ok && and {
						add(what{both, a.phase}, record{opcode, flags})
					}
				}
			}
		}
	}
	for _, c := range out {
		c.next = at[what{c.travelling, c.phase + 1}]
	}
	return out
}

func (c *change) patterns(s space) []pattern {
	var out []pattern
	for _, r := range c.records {
		out = append(out, s.pattern(r.opcode, r.flags))
	}
	return out
}

func anyOf(list []pattern, block uint64) uint64 {
	lanes := uint64(0)
	for _, p := range list {
		lanes |= p.at(block)
	}
	return lanes
}

// side is a cube cut in two: what stands still, and what travels.
type side struct {
	pattern
	care, value uint64
	columns     []int
}

// sides is the store seen from both ends of a change-over at once.
type sides struct {
	all    uint64
	number uint64 // of ways in which the travelling bits and flags can stand
	free   []side
	rows   [][]side
	back   [][]side
}

func (p *prover) sides(rest space, moving []variable) *sides {
	st := p.store
	out := &sides{all: rest.all, number: 1 << len(moving), rows: make([][]side, st.Phases+1), back: make([][]side, st.Phases+1)}
	cut := func(opcode, flags cube.Cube) side {
		s := side{pattern: rest.pattern(opcode, flags)}
		for i, v := range moving {
			c := opcode
			if v.flag {
				c = flags
			}
			s.care |= c.Care >> v.n & 1 << i
			s.value |= c.Value >> v.n & 1 << i
		}
		return s
	}
	for _, c := range st.Free {
		out.free = append(out.free, cut(c, cube.Cube{}))
	}
	for _, r := range st.Rows {
		if r.Phase < 1 || r.Phase > st.Phases {
			continue
		}
		s := cut(r.Opcode, r.Flags)
		for _, c := range r.Lines.Columns() {
			if st.Columns[c].Kind == "restart" && r.Flags.Care&p.changes.Inputs == 0 {
				out.back[r.Phase] = append(out.back[r.Phase], s)
			}
			if p.driven[c] && !p.mute[c] {
				s.columns = append(s.columns, c)
			}
		}
		out.rows[r.Phase] = append(out.rows[r.Phase], s)
	}
	return out
}

// fold sets must and may for a block in the phases, and returns the lanes in
// which some side can occur. With no phase nothing is asked for.
func (s *sides) fold(block uint64, phases []int, must, may []uint64) uint64 {
	const ones = ^uint64(0)
	for i := range must {
		must[i], may[i] = ones, 0
	}
	word := make([]uint64, len(must))
	occurs := uint64(0)
	last := 0
	for _, ph := range phases {
		last = max(last, ph)
	}
	for way := range s.number {
		live := s.all
		for i := range s.free {
			if f := &s.free[i]; way&f.care == f.value {
				live &^= f.at(block)
			}
		}
		for ph := 1; ph < last; ph++ {
			for i := range s.back[ph] {
				if b := &s.back[ph][i]; way&b.care == b.value {
					live &^= b.at(block)
				}
			}
		}
		if live == 0 {
			continue
		}
		occurs |= live
		clear(word)
		for _, ph := range phases {
			for i := range s.rows[ph] {
				r := &s.rows[ph][i]
				if way&r.care != r.value {
					continue
				}
				lanes := r.at(block)
				for _, c := range r.columns {
					word[c] |= lanes
				}
			}
		}
		for c, x := range word {
			must[c] &= x | ^live
			may[c] |= x & live
		}
	}
	for c := range must {
		must[c] &= occurs
	}
	return occurs
}

// asked is what the store asks while something travels.
type asked struct {
	*change
	rest   space
	moving []variable
	sides  *sides
	lanes  []pattern
	on     []pattern // it travels on in the next phase
	folds  [][2]fold // by block: what was worked out, if it is kept; in one phase, in two
}

type fold struct {
	occurs    uint64
	must, may []uint64
}

func (p *prover) during(s space, g *change) *asked {
	rest, moving := s.without(g.bits, g.tested)
	a := &asked{change: g, rest: newSpace(rest), moving: moving}
	a.sides = p.sides(a.rest, moving)
	a.lanes = g.patterns(a.rest)
	if p.options.Overlap && g.next != nil {
		a.on = g.next.patterns(a.rest)
	}
	return a
}

// keep makes fold remember.
func (a *asked) keep() { a.folds = make([][2]fold, a.rest.blocks()) }

// fold is that of the sides, in the phase and the next one too if both.
func (a *asked) fold(block uint64, both bool, must, may []uint64) uint64 {
	phases := []int{a.phase, a.phase + 1}[:1]
	if both {
		phases = phases[:2]
	}
	if a.folds == nil {
		return a.sides.fold(block, phases, must, may)
	}
	f := &a.folds[block][len(phases)-1]
	if f.must == nil {
		f.occurs = a.sides.fold(block, phases, must, may)
		f.must, f.may = slices.Clone(must), slices.Clone(may)
	}
	copy(must, f.must)
	copy(may, f.may)
	return f.occurs
}

// travel tries contacts made, broken and neither. What the store asks for on
// every side of the change-over has to be on throughout, what it asks for on no
// side has to be off; sides that cannot occur do not count.
func (f *finder) travel(g *asked) {
	s := g.rest
	share := f.share
	defer func() { f.share = share }()
	f.share = f.untried(g.bits)
	m := moment{space: s, bits: g.bits, tested: g.tested}
	for block := range s.blocks() {
		if f.wrong {
			return
		}
		m.block = block
		here := anyOf(g.lanes, block) & s.all
		if here == 0 {
			continue
		}
		here &= g.fold(block, false, f.must, f.may)
		if here == 0 {
			continue
		}
		f.feed(s, block, g.moving)
		f.settle(f.plans.base)
		f.save()
		if f.levels {
			f.layers(f.plans.base, f.allowed)
			f.saveLayers()
		}
		m.phase, m.second = 0, 0
		f.compare(here, f.nothing, f.nothing, m)
		m.phase = g.phase
		f.tryMoving(f.plans.of(g.phase, 0), here, m)
		if both := here & anyOf(g.on, block); both != 0 {
			m.second = g.phase + 1
			both &= g.fold(block, true, f.must, f.may)
			f.tryMoving(f.plans.of(m.phase, m.second), both, m)
		}
	}
}

func (f *finder) tryMoving(p *plan, lanes uint64, m moment) {
	f.moving += uint64(bits.OnesCount64(lanes)) * f.share
	f.power(p)
	f.settle(p)
	if f.levels {
		f.layers(p, f.allowed)
	}
	f.compare(lanes, f.must, f.may, m)
	f.touch(lanes, m)
	f.cut(p)
	f.restore(p)
	if f.levels {
		f.restoreLayers(p)
	}
}

// touch reports contacts that travel on a wire which a phase makes live. What
// is live without a phase feeds coils on the cards, whose current these contacts
// are there to switch.
func (f *finder) touch(lanes uint64, m moment) {
	quiet := f.saved[1].live
	for r := range f.circuit.coils {
		x := f.possible.ctl[1+2*r] &^ f.certain.ctl[1+2*r] & lanes
		if x == 0 {
			continue
		}
		hot := uint64(0)
		for _, n := range f.g.poles.of(r) {
			hot |= f.possible.live[n] &^ quiet[n]
		}
		f.report(LiveSwitch, r, hot&x, m)
	}
}
