package rehearse

import (
	"coilwright/encode/machine"
)

// A trace is what the datapath does from one place (opcode, flags, phase) to
// the next where the decoder may see something else. It is written as values
// that are worked out from the registers as they were at its beginning: buses
// are gone, a register that is read after it was latched is the value itself,
// equal values are one, and what nobody reads in the end is never worked out.

// code is what a value or an operation does.
type code uint16

const (
	codeConst code = iota // x
	codeRead              // register or flag number x, as it was at the beginning
	codeMove
	codeAdd   // (a + b) & m
	codeAddI  // (a + x) & m
	codeSub   // (a - b) & m
	codeAnd   // a & b
	codeAndI  // a & x
	codeOr    // a | b
	codeOrI   // a | x
	codeXor   // a ^ b
	codeXorI  // a ^ x
	codeShlI  // a << x & m
	codeShrI  // a >> x & m
	codeZero  // a is 0
	codeOver  // bit x of a + b, x from 1 to 63
	codeOver2 // bit 64 of a + b
	codeBelow // a is below b
	codeMod   // a modulo x
	codeLoad  // memory x at a, & m
	codeStore // memory x at a becomes b
)

type value struct {
	code code
	a, b int // values
	x, m uint64
	turn int    // of a load: stores to its memory before it
	may  uint64 // bits that may be 1
}

// tooMuch bounds the values of a trace: a trace that grows longer is cut.
const tooMuch = 400

type trace struct {
	m      *machine.Machine
	values []value
	same   map[value]int
	now    []int // by signal: the value a register or flag holds
	first  []int // and held at the beginning
	stores []int // by signal: so far
	order  []int // values that are stores
}

func newTrace(m *machine.Machine) *trace {
	t := &trace{m: m, same: map[value]int{}, now: make([]int, len(m.Signals)), first: make([]int, len(m.Signals)), stores: make([]int, len(m.Signals))}
	for i := range m.Signals {
		t.now[i] = t.add(value{code: codeRead, x: uint64(i), may: ones(m.Signals[i].Width)})
		t.first[i] = t.now[i]
	}
	return t
}

func (t *trace) add(v value) int {
	if v.may == 0 && v.code != codeStore {
		v = value{code: codeConst}
	}
	if i, ok := t.same[v]; ok {
		return i
	}
	t.values = append(t.values, v)
	t.same[v] = len(t.values) - 1
	return len(t.values) - 1
}

func (t *trace) constant(x uint64) int { return t.add(value{code: codeConst, x: x, may: x}) }

func (t *trace) known(v int) (uint64, bool) {
	return t.values[v].x, t.values[v].code == codeConst
}

func (t *trace) may(v int) uint64 { return t.values[v].may }

// filled is the mask of all bits up to the highest of m.
func filled(m uint64) uint64 {
	for _, s := range []uint{1, 2, 4, 8, 16, 32} {
		m |= m >> s
	}
	return m
}

func (t *trace) plus(a, b int, all uint64) int {
	x, ka := t.known(a)
	y, kb := t.known(b)
	switch {
	case ka && kb:
		return t.constant((x + y) & all)
	case ka:
		a, b, y, kb = b, a, x, true
	}
	if kb {
		if y == 0 {
			return t.and(a, all)
		}
		return t.add(value{code: codeAddI, a: a, x: y, m: all, may: all})
	}
	if a > b {
		a, b = b, a
	}
	return t.add(value{code: codeAdd, a: a, b: b, m: all, may: all})
}

func (t *trace) minus(a, b int, all uint64) int {
	x, ka := t.known(a)
	y, kb := t.known(b)
	switch {
	case ka && kb:
		return t.constant((x - y) & all)
	case kb:
		return t.plus(a, t.constant(-y), all)
	case a == b:
		return t.constant(0)
	}
	return t.add(value{code: codeSub, a: a, b: b, m: all, may: all})
}

func (t *trace) and(a int, mask uint64) int {
	v := t.values[a]
	if v.may&^mask == 0 {
		return a
	}
	if v.code == codeConst {
		return t.constant(v.x & mask)
	}
	switch v.code {
	case codeAndI:
		return t.and(v.a, mask&v.x)
	case codeLoad:
		if v.turn != t.stores[v.x] {
			break // made now, it would see a store that came after it
		}
		fallthrough
	case codeAdd, codeAddI, codeSub, codeShlI, codeShrI:
		v.m, v.may = v.m&mask, v.may&mask
		return t.add(v)
	}
	return t.add(value{code: codeAndI, a: a, x: mask, may: v.may & mask})
}

func (t *trace) both(c, immediate code, a, b int) int {
	x, ka := t.known(a)
	y, kb := t.known(b)
	op := func(x, y uint64) uint64 {
		switch c {
		case codeAnd:
			return x & y
		case codeOr:
			return x | y
		}
		return x ^ y
	}
	switch {
	case ka && kb:
		return t.constant(op(x, y))
	case ka:
		a, b, y, kb = b, a, x, true
	}
	may := op(t.may(a), t.may(b))
	if c == codeXor {
		may = t.may(a) | t.may(b)
	}
	if kb {
		switch {
		case c == codeAnd:
			return t.and(a, y)
		case y == 0:
			return a
		}
		return t.add(value{code: immediate, a: a, x: y, may: may})
	}
	if a == b {
		if c == codeXor {
			return t.constant(0)
		}
		return a
	}
	if a > b {
		a, b = b, a
	}
	return t.add(value{code: c, a: a, b: b, may: may})
}

func (t *trace) or(a, b int) int { return t.both(codeOr, codeOrI, a, b) }

// shift moves a up by n places, down if n is negative, and keeps the bits of mask.
func (t *trace) shift(a, n int, mask uint64) int {
	if n == 0 {
		return t.and(a, mask)
	}
	c, move := codeShlI, func(v uint64) uint64 { return v << n & mask }
	if n < 0 {
		n = -n
		c, move = codeShrI, func(v uint64) uint64 { return v >> n & mask }
	}
	if x, ok := t.known(a); ok {
		return t.constant(move(x))
	}
	return t.add(value{code: c, a: a, x: uint64(n), m: mask, may: move(t.may(a))})
}

func (t *trace) zero(a int) int {
	if x, ok := t.known(a); ok {
		if x == 0 {
			return t.constant(1)
		}
		return t.constant(0)
	}
	return t.add(value{code: codeZero, a: a, may: 1})
}

func (t *trace) over(a, b, width int) int {
	if overflow(filled(t.may(a)), filled(t.may(b)), width) == 0 {
		return t.constant(0) // the largest sum has no carry
	}
	x, ka := t.known(a)
	y, kb := t.known(b)
	if ka && kb {
		return t.constant(overflow(x, y, width))
	}
	if width == 64 {
		return t.add(value{code: codeOver2, a: a, b: b, may: 1})
	}
	return t.add(value{code: codeOver, a: a, b: b, x: uint64(width), may: 1})
}

func (t *trace) below(a, b int) int {
	x, ka := t.known(a)
	y, kb := t.known(b)
	switch {
	case ka && kb:
		return t.constant(below(x, y))
	case a == b || kb && y == 0:
		return t.constant(0)
	}
	return t.add(value{code: codeBelow, a: a, b: b, may: 1})
}

// index wraps an index of a memory.
func (t *trace) index(a int, words uint64) int {
	switch all := filled(t.may(a)); {
	case all < words:
		return a
	case words&(words-1) == 0:
		return t.and(a, words-1)
	}
	if x, ok := t.known(a); ok {
		return t.constant(x % words)
	}
	return t.add(value{code: codeMod, a: a, x: words, may: filled(words - 1)})
}

func (t *trace) load(signal, index int) int {
	return t.add(value{code: codeLoad, a: index, x: uint64(signal), turn: t.stores[signal], m: ones(t.m.Signals[signal].Width), may: ones(t.m.Signals[signal].Width)})
}

func (t *trace) store(signal, index, v int) {
	t.stores[signal]++
	t.order = append(t.order, t.add(value{code: codeStore, a: index, b: v, x: uint64(signal), turn: t.stores[signal]}))
}

// moment is one phase of a trace: nothing in it changes while it lasts.
type moment struct {
	t        *trace
	sc       *scene
	nets     []net
	buses    []int // by signal: 1 + value; 0 unknown, -1 on the way
	units    []int // by unit: 1 + value
	memories []*memory
	failed   bool // a bus feeds itself, or a memory is not in one piece
}

// net is where bits of a source go: source bits << shift, within mask of a bus.
type net struct {
	source, bus, shift int
	mask               uint64
}

func newMoment(t *trace, sc *scene, memories []*memory) *moment {
	o := &moment{t: t, sc: sc, memories: memories, buses: make([]int, len(t.m.Signals)), units: make([]int, len(t.m.Units))}
	if len(sc.joins) == 0 {
		for i, f := range sc.sources {
			o.nets = append(o.nets, net{i, f.target.Signal, f.target.Lo, f.target.Mask()})
		}
		return o
	}
	w := newWires(t.m)
	for _, j := range sc.joins {
		for k := 0; j.all>>k&1 == 1; k++ {
			w.parent[w.root(w.first[j.a]+j.aLow+k)] = w.root(w.first[j.b] + j.bLow + k)
			if k == 63 {
				break
			}
		}
	}
	for i, f := range sc.sources {
		at := map[[2]int]int{} // bus and shift: index in nets
		for bit := f.target.Lo; bit <= f.target.Hi; bit++ {
			root := w.root(w.first[f.target.Signal] + bit)
			for other, bus := range w.bus {
				if w.root(other) != root {
					continue
				}
				place := other - w.first[bus]
				key := [2]int{bus, place - (bit - f.target.Lo)}
				if _, ok := at[key]; !ok {
					at[key] = len(o.nets)
					o.nets = append(o.nets, net{i, bus, key[1], 0})
				}
				o.nets[at[key]].mask |= 1 << place
			}
		}
	}
	return o
}

func (o *moment) bus(signal int) int {
	switch v := o.buses[signal]; {
	case v > 0:
		return v - 1
	case v < 0:
		o.failed = true
		return o.t.constant(0)
	}
	o.buses[signal] = -1
	sum := o.t.constant(0)
	for _, n := range o.nets {
		if n.bus == signal && !o.failed {
			sum = o.t.or(sum, o.t.shift(o.eval(o.sc.sources[n.source].source), n.shift, n.mask))
		}
	}
	o.buses[signal] = sum + 1
	return sum
}

func (o *moment) unit(i int) int {
	if o.units[i] == 0 {
		v := o.eval(picked(&o.t.m.Units[i], o.sc.lines))
		o.units[i] = v + 1
	}
	return o.units[i] - 1
}

func (o *moment) memory(signal int) bool {
	if o.memories[signal].dense == nil {
		o.failed = true
	}
	return !o.failed
}

// eval follows datapath.eval, node by node.
func (o *moment) eval(e *machine.Expr) int {
	t, all := o.t, ones(e.Width)
	if o.failed || len(t.values) > 4*tooMuch {
		o.failed = true
		return t.constant(0)
	}
	switch e.Op {
	case machine.Const:
		return t.constant(e.Value)
	case machine.Read:
		v := t.now[e.Signal]
		if t.m.Signals[e.Signal].Kind == machine.Bus {
			v = o.bus(e.Signal)
		}
		return t.shift(v, -e.Lo, all)
	case machine.Fetch:
		index := t.index(o.eval(e.Args[0]), t.m.Signals[e.Signal].Words)
		if !o.memory(e.Signal) {
			return t.constant(0)
		}
		return t.shift(t.load(e.Signal, index), -e.Lo, all)
	case machine.Apply:
		return t.shift(o.unit(e.Unit), -e.Lo, all)
	case machine.Carry:
		return o.carry(e.Args[0])
	}
	a := o.eval(e.Args[0])
	switch e.Op {
	case machine.Add:
		return t.plus(a, o.eval(e.Args[1]), all)
	case machine.Sub:
		return t.minus(a, o.eval(e.Args[1]), all)
	case machine.And:
		return t.both(codeAnd, codeAndI, a, o.eval(e.Args[1]))
	case machine.Or:
		return t.or(a, o.eval(e.Args[1]))
	case machine.Xor:
		return t.both(codeXor, codeXorI, a, o.eval(e.Args[1]))
	case machine.Not:
		return t.both(codeXor, codeXorI, a, t.constant(all))
	case machine.Zero:
		return t.zero(a)
	case machine.Sign:
		return t.shift(a, -(e.Args[0].Width - 1), 1)
	case machine.Rol:
		return t.or(t.shift(a, 1, all), t.shift(a, -(e.Width-1), 1))
	case machine.Ror:
		return t.or(t.shift(a, -1, all), t.shift(a, e.Width-1, all))
	case machine.Shl:
		return t.shift(a, 1, all)
	case machine.Shr:
		return t.shift(a, -1, all)
	case machine.Join:
		return t.or(t.shift(a, e.Args[1].Width, all), o.eval(e.Args[1]))
	case machine.Cut:
		return t.shift(a, -e.Lo, all)
	}
	return a
}

func (o *moment) carry(e *machine.Expr) int {
	t := o.t
	if o.failed || len(t.values) > 4*tooMuch {
		o.failed = true
		return t.constant(0)
	}
	switch e.Op {
	case machine.Apply:
		return o.carry(picked(&t.m.Units[e.Unit], o.sc.lines))
	case machine.Add:
		out := t.over(o.eval(e.Args[0]), o.eval(e.Args[1]), e.Width)
		if e.Args[0].Op == machine.Add {
			out = t.or(out, o.carry(e.Args[0]))
		}
		return out
	case machine.Sub:
		out := t.below(o.eval(e.Args[0]), o.eval(e.Args[1]))
		if e.Args[0].Op == machine.Sub {
			out = t.or(out, o.carry(e.Args[0]))
		}
		return out
	}
	return t.constant(0)
}

// capture lets all latches of the phase take in at once; false leaves the
// trace as it was, but for values that nobody reads.
func (o *moment) capture() bool {
	t := o.t
	type store struct{ signal, index, v int }
	next := map[int]int{}
	kept := map[int]uint64{} // by signal: bits that stay
	var stores []store
	for _, f := range o.sc.captures {
		s, mask := f.target.Signal, f.target.Mask()
		v := t.shift(o.eval(f.source), f.target.Lo, mask)
		keep := ^mask
		if f.set {
			keep = ^uint64(0)
		}
		if f.target.Index == nil {
			if have, ok := next[s]; ok {
				next[s] = t.or(have, v)
				kept[s] &= keep
			} else {
				next[s], kept[s] = v, keep
			}
			continue
		}
		for _, other := range stores {
			o.failed = o.failed || other.signal == s
		}
		index := t.index(o.eval(f.target.Index), t.m.Signals[s].Words)
		if !o.memory(s) {
			return false
		}
		if keep&ones(t.m.Signals[s].Width) != 0 {
			v = t.or(t.and(t.load(s, index), keep), v)
		}
		stores = append(stores, store{s, index, v})
	}
	if o.failed {
		return false
	}
	for s := range t.now {
		if v, ok := next[s]; ok {
			t.now[s] = t.or(t.and(t.now[s], kept[s]), v)
		}
	}
	for _, x := range stores {
		t.store(x.signal, x.index, x.v)
	}
	return true
}
