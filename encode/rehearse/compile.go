package rehearse

import (
	"coilwright/encode/machine"
)

// compile makes the stretch that begins at a place. It ends where the decoder
// may see an opcode or a flag that is not known here, before a phase that has
// to be done by itself, or when it has grown long.
func (r *Rehearsal) compile(at place) *stretch {
	m := r.m
	t := newTrace(m)
	s := &stretch{}
	start := at
	operation := m.Opcode.Signal
	within := ones(m.Opcode.Width()) << m.Opcode.Lo
	for i, f := range m.Tested {
		t.first[f] = t.constant(at.flags >> i & 1)
		t.now[f] = t.first[f]
	}
	address := -1
	word := -1
	moving := false // what the decoder sees is not known
	for !moving {
		if s.phases > 0 && (len(t.values) > tooMuch || s.phases > 4*r.s.Phases) || r.fast.useAt && s.instructions > 0 {
			break
		}
		sc := r.sceneAt(at)
		if r.alone(at, sc) {
			break
		}
		if m.Sequencer.Cuts && sc.restart && at.phase != 1 {
			// restart is cut short: it is no phase.
			at.phase = 1
			s.instructions++
			continue
		}
		o := newMoment(t, sc, r.data.memories)
		if r.fast.useAt && start.phase == 1 && address < 0 {
			if sc.word != nil {
				word = o.eval(sc.word)
			}
			if sc.opcode {
				if sc.address != nil {
					address = o.eval(sc.address)
				} else {
					address = word
				}
				if address >= 0 {
					address = t.index(address, r.programWords())
				}
			}
		}
		if !o.capture() {
			break
		}
		s.phases++
		if sc.restart || at.phase >= r.s.Phases {
			s.instructions++
			at.phase = 1
		} else {
			at.phase++
		}
		if sc.opcode {
			if x, ok := t.known(t.and(t.now[operation], within)); ok {
				at.opcode = x >> m.Opcode.Lo
			} else {
				moving = true
			}
		}
		for i, f := range m.Tested {
			if x, ok := t.known(t.now[f]); ok {
				at.flags = at.flags&^(1<<i) | x<<i
			} else {
				moving = true
			}
		}
	}
	s.end = at
	if s.phases == 0 && s.instructions == 0 {
		s.slow = true
		return s
	}
	roots := append([]int(nil), t.order...)
	e := &emitter{t: t, slot: map[int]uint16{}, next: len(m.Signals)}
	if r.fast.useAt && start.phase == 1 {
		if address < 0 || !plain(t, address) {
			s.slow = true
			return s
		}
		s.probe, s.address = e.only(address)
		e.slot = map[int]uint16{}
	}
	s.ops = e.whole(roots)
	if e.next > slots {
		s.slow = true
		return s
	}
	r.fast.size += len(s.ops) + len(s.probe)
	r.exits(s, t, at, moving)
	return s
}

// exits says how to find what comes after a stretch.
func (r *Rehearsal) exits(s *stretch, t *trace, at place, moving bool) {
	m := r.m
	if !moving {
		s.key = at.opcode | at.flags<<m.Opcode.Width()
		return
	}
	if x, ok := t.known(t.now[m.Opcode.Signal]); ok {
		s.key |= x >> m.Opcode.Lo & ones(m.Opcode.Width())
	} else if t.now[m.Opcode.Signal] == t.first[m.Opcode.Signal] {
		s.key |= at.opcode
	} else {
		s.parts = append(s.parts, part{uint16(m.Opcode.Signal), uint8(m.Opcode.Lo), 0, ones(m.Opcode.Width())})
	}
	for i, f := range m.Tested {
		up := m.Opcode.Width() + i
		if x, ok := t.known(t.now[f]); ok {
			s.key |= x << up
		} else {
			s.parts = append(s.parts, part{uint16(f), 0, uint8(up), 1})
		}
	}
	if n := m.Opcode.Width() + len(m.Tested); n <= keyBits {
		table := &r.fast.tables[at.phase]
		if *table == nil {
			*table = make([]*stretch, 1<<n)
		}
		s.table = *table
	}
}

// alone reports whether a phase has to be done by itself: the machine halts in
// it, or an input takes its next value.
func (r *Rehearsal) alone(at place, sc *scene) bool {
	if sc.halt {
		return true
	}
	if !r.pending {
		return false
	}
	left := func(i int) bool { return r.m.Signals[i].Input && r.next[i] < len(r.setup.Inputs[i]) }
	for _, i := range sc.inputs {
		if left(i) {
			return true
		}
	}
	for i, f := range r.m.Tested {
		other := at
		other.flags ^= 1 << i
		if left(f) && !r.sceneAt(other).lines.Equal(sc.lines) {
			return true
		}
	}
	return false
}

func (r *Rehearsal) programWords() uint64 {
	for i := range r.m.Signals {
		if s := &r.m.Signals[i]; s.Kind == machine.Memory && s.Program {
			return s.Words
		}
	}
	return ^uint64(0)
}

// plain reports whether a value can be worked out at the beginning of its
// trace: it reads no memory that was written on the way.
func plain(t *trace, v int) bool {
	x := &t.values[v]
	switch x.code {
	case codeConst, codeRead:
		return true
	case codeLoad:
		return x.turn == 0 && plain(t, x.a)
	}
	return plain(t, x.a) && (!x.code.two() || plain(t, x.b))
}

// two reports whether a code has two operands.
func (c code) two() bool {
	switch c {
	case codeAdd, codeSub, codeAnd, codeOr, codeXor, codeOver, codeOver2, codeBelow, codeStore:
		return true
	}
	return false
}

// emitter turns values into operations.
type emitter struct {
	t    *trace
	ops  []op
	slot map[int]uint16 // where a value is
	next int
}

func (e *emitter) fresh() uint16 {
	e.next++
	return uint16(min(e.next-1, slots-1))
}

// live marks what the roots need, and lists it in the order it was made: no
// load comes after a store that it did not see.
func (e *emitter) live(roots []int) []int {
	need := make([]bool, len(e.t.values))
	for _, v := range roots {
		need[v] = true
	}
	for v := len(need) - 1; v >= 0; v-- {
		x := &e.t.values[v]
		if !need[v] || x.code == codeConst || x.code == codeRead {
			continue
		}
		need[x.a] = true
		if x.code.two() {
			need[x.b] = true
		}
	}
	var out []int
	for v, n := range need {
		if n {
			out = append(out, v)
		}
	}
	return out
}

// only works out one value into a slot of its own.
func (e *emitter) only(v int) ([]op, uint16) {
	e.ops = []op{}
	for _, i := range e.live([]int{v}) {
		e.emit(i, e.fresh)
	}
	ops := e.ops
	e.ops = nil
	return ops, e.slot[v]
}

func (e *emitter) emit(v int, to func() uint16) {
	x := e.t.values[v]
	switch x.code {
	case codeRead:
		e.slot[v] = uint16(x.x)
		return
	case codeConst:
		e.slot[v] = to()
		e.ops = append(e.ops, op{code: codeConst, to: e.slot[v], x: x.x})
		return
	}
	o := op{code: x.code, a: e.slot[x.a], x: x.x, m: x.m}
	if x.code.two() {
		o.b = e.slot[x.b]
	}
	if x.code != codeStore {
		o.to = to()
		e.slot[v] = o.to
	}
	e.ops = append(e.ops, o)
}

// whole works out everything that a trace changes. A register takes its new
// value at once if nobody needs the old one any more, else at the end.
func (e *emitter) whole(roots []int) []op {
	t := e.t
	var changed []int // signals
	for s := range t.now {
		if t.now[s] != t.first[s] {
			changed = append(changed, s)
			if _, ok := t.known(t.now[s]); !ok {
				roots = append(roots, t.now[s])
			}
		}
	}
	order := e.live(roots)
	read := map[int]int{} // by signal: position of the last that reads its old value
	for at, v := range order {
		x := &t.values[v]
		if x.code == codeConst || x.code == codeRead {
			continue
		}
		for _, a := range []int{x.a, x.b} {
			if y := &t.values[a]; y.code == codeRead && (a == x.a || x.code.two()) {
				read[int(y.x)] = at
			}
		}
	}
	home := map[int]int{} // by value: the signal that takes it
	for _, s := range changed {
		v := t.now[s]
		if x := &t.values[v]; x.code == codeRead {
			read[int(x.x)] = len(order)
		} else if _, taken := home[v]; !taken && x.code != codeConst {
			home[v] = s
		}
	}
	var moves []op
	e.ops = []op{}
	settled := map[int]bool{}
	for at, v := range order {
		s, direct := home[v]
		if last, isRead := read[s]; direct && isRead && last > at {
			direct = false
		}
		if direct {
			settled[s] = true
			e.emit(v, func() uint16 { return uint16(s) })
		} else {
			e.emit(v, e.fresh)
		}
	}
	for _, s := range changed {
		if !settled[s] {
			if x, ok := t.known(t.now[s]); ok {
				moves = append(moves, op{code: codeConst, to: uint16(s), x: x})
				continue
			}
			moves = append(moves, op{code: codeMove, to: uint16(s), a: e.slot[t.now[s]]})
		}
	}
	e.moves(moves)
	return e.ops
}

// moves does all moves as if at once.
func (e *emitter) moves(moves []op) {
	for len(moves) > 0 {
		free := -1
		for i := range moves {
			blocked := false
			for j := range moves {
				blocked = blocked || j != i && moves[j].code == codeMove && moves[j].a == moves[i].to
			}
			if !blocked {
				free = i
				break
			}
		}
		if free < 0 {
			// All wait for each other: put one out of the way.
			aside := e.fresh()
			e.ops = append(e.ops, op{code: codeMove, to: aside, a: moves[0].a})
			moves[0].a = aside
			continue
		}
		e.ops = append(e.ops, moves[free])
		moves = append(moves[:free], moves[free+1:]...)
	}
}
