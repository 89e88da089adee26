package proof

import (
	"cmp"
	"math/bits"
	"runtime"
	"slices"
	"sync"

	"coilwright/encode/network/wiring"
)

// key is one cause as far as the proof can tell causes apart.
type key struct {
	kind Kind
	// what it is about: a column, relay or net, or a use of the backplane
	n int
}

// group is one cause with the states in which it shows.
type group struct {
	key
	first  State
	states uint64
	phases [5]uint64 // a set
}

func (a State) compare(b State) int {
	return cmp.Or(
		cmp.Compare(a.Opcode, b.Opcode), cmp.Compare(a.Flags, b.Flags),
		cmp.Compare(a.Phase, b.Phase), cmp.Compare(a.Second, b.Second),
		cmp.Compare(a.Bits, b.Bits), cmp.Compare(a.Tested, b.Tested),
	)
}

// calm orders states in which nothing travels first: they are told more simply.
func (a State) calm(b State) int {
	rank := func(s State) int {
		switch {
		case s.Bits|s.Tested != 0:
			return 2
		case s.Phase == 0 || s.Second != 0:
			return 1
		}
		return 0
	}
	return cmp.Or(cmp.Compare(rank(a), rank(b)), a.compare(b))
}

// finder is one worker: an engine and what it found.
type finder struct {
	*prover
	*engine
	*tally
	must    []uint64 // by column: the lanes in which the store asks for it
	may     []uint64 // by column: on some side of a change-over
	occur   []uint64
	nothing []uint64 // no line in any lane
	levels  bool     // have to be followed
	phases  []int    // in the order in which they are tried
}

func (p *prover) newFinder(two bool) *finder {
	n := len(p.store.Columns)
	f := &finder{
		prover: p, engine: &engine{}, tally: newTally(p),
		must: make([]uint64, n), may: make([]uint64, n), occur: make([]uint64, p.store.Phases+1), nothing: make([]uint64, n),
	}
	for ph := range p.store.Phases {
		f.phases = append(f.phases, ph+1)
	}
	f.begin(two)
	return f
}

// begin makes a finder ready for the network that the prover has.
func (f *finder) begin(two bool) {
	f.engine.begin(f.graph, two)
	f.levels = !f.graph.flat || f.graph.deepest > f.allowed
	f.wrong = false
}

// moment is the state of a block apart from its lanes.
type moment struct {
	space         space
	block         uint64
	phase, second int
	bits, tested  uint64
}

func (f *finder) report(kind Kind, n int, lanes uint64, m moment) {
	if lanes == 0 {
		return
	}
	if f.hasty {
		f.wrong = true
		return
	}
	opcode, flags := m.space.decode(m.block, bits.TrailingZeros64(lanes))
	at := State{Opcode: opcode, Flags: flags, Phase: m.phase, Second: m.second, Bits: m.bits, Tested: m.tested}
	f.note(kind, n, at, uint64(bits.OnesCount64(lanes)))
}

// tally is what one worker tried and found.
type tally struct {
	found                   map[key]*group
	states, between, moving uint64
	share                   uint64 // states that one of them stands for
	hasty                   bool   // the first finding is enough
	wrong                   bool   // and is there
}

func newTally(p *prover) *tally {
	return &tally{found: map[key]*group{}, share: p.untried(0)}
}

// note counts states in which something is found; at is the lowest of them.
func (t *tally) note(kind Kind, n int, at State, states uint64) {
	k := key{kind, n}
	g := t.found[k]
	if g == nil {
		g = &group{key: k, first: at}
		t.found[k] = g
	} else if at.calm(g.first) < 0 {
		g.first = at
	}
	g.states += states * t.share
	g.phases[at.Phase/64] |= 1 << (at.Phase % 64)
}

// plans are worked out when they are first asked for: most faults show early.
type plans struct {
	graph *graph
	base  *plan // no phase
	lock  sync.Mutex
	made  map[[2]int]*plan
	spare []*plan
}

// begin drops the plans of the network before.
func (p *plans) begin() {
	for _, x := range p.made {
		p.spare = append(p.spare, x)
	}
	if p.base == nil {
		p.base, p.made = &plan{}, map[[2]int]*plan{}
	}
	clear(p.made)
	p.graph.plan(p.base, nil, true)
}

// of is the plan of one phase, or of two at once.
func (p *plans) of(phase, second int) *plan {
	p.lock.Lock()
	defer p.lock.Unlock()
	k := [2]int{phase, second}
	x := p.made[k]
	if x == nil {
		x = &plan{}
		if n := len(p.spare); n > 0 {
			x, p.spare = p.spare[n-1], p.spare[:n-1]
		}
		list := []int{phase, second}
		if second == 0 {
			list = list[:1]
		}
		p.made[k] = p.graph.plan(x, list, false)
	}
	return x
}

// run tries every state and returns the causes found, lowest state first.
func (p *prover) run() (out []*group, total tally, err error) {
	p.plans.begin()
	var tallies []*tally
	if p.bySets {
		tallies, err = p.runSets()
	}
	if !p.bySets || err != nil && !p.moreThan(maxStates) {
		tallies, err = p.runLanes(), nil
	}
	if err != nil {
		return nil, total, err
	}
	merged := map[key]*group{}
	for _, f := range tallies {
		total.states += f.states
		total.between += f.between
		total.moving += f.moving
		for k, g := range f.found {
			m := merged[k]
			if m == nil {
				merged[k] = g
				continue
			}
			if g.first.calm(m.first) < 0 {
				m.first = g.first
			}
			m.states += g.states
			for i := range m.phases {
				m.phases[i] |= g.phases[i]
			}
		}
	}
	for _, g := range merged {
		out = append(out, g)
	}
	slices.SortFunc(out, func(a, b *group) int {
		return cmp.Or(a.first.compare(b.first), cmp.Compare(rank(a.kind), rank(b.kind)), cmp.Compare(a.n, b.n))
	})
	return out, total, nil
}

// runSets tries all opcodes and flags at once. It fails if the sets take too much memory.
func (p *prover) runSets() (out []*tally, err error) {
	defer func() {
		if x := recover(); x != nil {
			if _, ok := x.(tooManyNodes); !ok {
				panic(x)
			}
			out, err = nil, TooLarge{Bits: len(p.vars), Phases: p.store.Phases}
		}
	}()
	s := p.newSymbolic()
	s.run()
	return []*tally{s.tally}, nil
}

// ask lists what the store asks, unless it was asked before.
func (p *prover) ask() {
	if p.asks != nil {
		return
	}
	s := newSpace(p.vars)
	p.asks = p.words(s)
	for _, g := range p.travels() {
		p.changed = append(p.changed, p.during(s, g))
	}
}

// runLanes tries the states one by one, 64 to a word.
func (p *prover) runLanes() []*tally {
	p.ask()
	w := p.asks
	blocks := w.space.blocks()
	jobs := make(chan func(*finder, *finder))
	workers := max(1, min(runtime.GOMAXPROCS(0), int(blocks)))
	var tallies []*tally
	var wait sync.WaitGroup
	for range workers {
		still, moving := p.newFinder(len(p.graph.loops) > 0), p.newFinder(true)
		tallies = append(tallies, still.tally, moving.tally)
		wait.Add(1)
		go func() {
			defer wait.Done()
			for job := range jobs {
				job(still, moving)
			}
		}()
	}
	const run = 16 // blocks in one job
	for from := uint64(0); from < blocks; from += run {
		jobs <- func(f, _ *finder) {
			for b := from; b < min(from+run, blocks); b++ {
				f.still(w, b)
			}
		}
	}
	for _, g := range p.changed {
		jobs <- func(_, f *finder) { f.travel(g) }
	}
	close(jobs)
	wait.Wait()
	return tallies
}

// quickly is the finders that a prover keeps from one list to the next.
type quickly struct{ still, moving *finder }

// quick tries the states one by one until one is wrong, and reports whether
// none is. Where the list before went wrong the next one most likely does, so
// that is tried first.
func (p *prover) quick() bool {
	p.ask()
	p.plans.begin()
	blocks := int(p.asks.space.blocks())
	if p.jobs == nil {
		for i := range blocks + len(p.changed) {
			p.jobs = append(p.jobs, i)
		}
		if !p.bySets {
			for _, a := range p.changed {
				a.keep()
			}
		}
	}
	if p.quickly == nil {
		p.quickly = &quickly{p.newFinder(true), p.newFinder(true)}
		p.quickly.still.hasty, p.quickly.moving.hasty = true, true
	}
	still, moving := p.quickly.still, p.quickly.moving
	still.begin(len(p.graph.loops) > 0)
	moving.begin(true)
	for i, job := range p.jobs {
		if job < blocks {
			still.still(p.asks, uint64(job))
		} else {
			moving.travel(p.changed[job-blocks])
		}
		if still.wrong || moving.wrong {
			toFront(p.jobs, i)
			return false
		}
	}
	return true
}

func toFront(s []int, i int) {
	x := s[i]
	copy(s[1:i+1], s[:i])
	s[0] = x
}

func rank(k Kind) int {
	return slices.Index([]Kind{Short, Backfeed, Undecided, Extra, Missing, TooDeep, LiveSwitch}, k)
}

// still tries a block of opcodes and flags with every contact at rest where it belongs.
func (f *finder) still(w *words, block uint64) {
	f.feed(w.space, block, nil)
	f.settle(f.plans.base)
	f.save()
	if f.levels {
		f.layers(f.plans.base, f.allowed)
		f.saveLayers()
	}
	w.occurs(block, f.occur)
	m := moment{space: w.space, block: block}
	clear(f.must)
	f.between += uint64(bits.OnesCount64(f.occur[0])) * f.share
	f.compare(f.occur[0], f.must, f.must, m)
	for i, ph := range f.phases {
		if f.wrong {
			return
		}
		m.phase = ph
		clear(f.must)
		w.add(block, ph, f.must)
		f.states += uint64(bits.OnesCount64(f.occur[ph])) * f.share
		f.try(f.plans.of(ph, 0), f.occur[ph], m)
		if f.wrong {
			toFront(f.phases, i)
		}
	}
	if !f.options.Overlap {
		return
	}
	for ph := 1; ph <= f.store.Phases; ph++ {
		sure, perhaps := w.ends(block, ph)
		m.phase = ph
		if ph < f.store.Phases {
			m.second = ph + 1
			f.pair(w, f.occur[ph]&f.occur[ph+1]&^sure, m)
		} else {
			perhaps = ^uint64(0)
		}
		if ph > 1 && perhaps != 0 {
			m.second = 1
			f.pair(w, f.occur[ph]&perhaps, m)
		}
	}
}

// pair tries two phases at once: the lines of both.
func (f *finder) pair(w *words, lanes uint64, m moment) {
	if lanes == 0 {
		return
	}
	clear(f.must)
	w.add(m.block, m.phase, f.must)
	w.add(m.block, m.second, f.must)
	f.between += uint64(bits.OnesCount64(lanes)) * f.share
	f.try(f.plans.of(m.phase, m.second), lanes, m)
}

// try powers the phases of a plan, compares, and goes back to no phase.
func (f *finder) try(p *plan, lanes uint64, m moment) {
	if lanes == 0 {
		return
	}
	f.power(p)
	f.settle(p)
	if f.levels {
		f.layers(p, f.allowed)
	}
	f.compare(lanes, f.must, f.must, m)
	f.cut(p)
	f.restore(p)
	if f.levels {
		f.restoreLayers(p)
	}
}

// compare holds the lanes of a settled network against what the store demands
// for certain (must) and allows (may).
func (f *finder) compare(lanes uint64, must, may []uint64, m moment) {
	w := f.g.w
	c, q := f.certain.live, f.possible.live
	if w.ret >= 0 {
		f.report(Short, 0, q[w.ret]&lanes, m)
	}
	for i, u := range w.allUses {
		if back := q[u.net] & lanes; back != 0 {
			f.report(Backfeed, i, back&^f.powers(u, m), m)
		}
	}
	for i := range must {
		if !f.driven[i] || f.mute[i] {
			continue
		}
		n := w.line[i]
		if n < 0 {
			continue
		}
		on, perhaps := c[n], q[n]
		if f.store.Columns[i].Low {
			on, perhaps = ^q[n], ^c[n]
		}
		if x := perhaps &^ may[i] & lanes; x != 0 {
			f.report(Extra, i, x, m)
		}
		if x := must[i] &^ on & lanes; x != 0 {
			f.report(Missing, i, x, m)
		}
	}
	if m.bits|m.tested == 0 {
		for _, r := range f.g.loops {
			f.report(Undecided, int(r), f.possible.ctl[1+2*r]&^f.certain.ctl[1+2*r]&lanes, m)
		}
	}
	if f.levels {
		f.deep(lanes, m)
	}
}

// deep reports what is live only through more diodes than are allowed: lines
// and the coils of relays.
func (f *finder) deep(lanes uint64, m moment) {
	w := f.g.w
	near := f.depth[f.allowed].live
	for i, n := range w.line {
		if n >= 0 && f.driven[i] && !f.mute[i] {
			f.report(TooDeep, i, f.certain.live[n]&^near[n]&lanes, m)
		}
	}
	for r, n := range w.coils {
		if n >= 0 {
			f.report(TooDeep, len(w.line)+r, f.certain.live[n]&^near[n]&lanes, m)
		}
	}
}

// powers returns the lanes in which a wire of the backplane is powered from outside, or may be.
func (f *finder) powers(u use, m moment) uint64 {
	switch u.kind {
	case wiring.Phase:
		if u.n == m.phase || u.n == m.second {
			return ^uint64(0)
		}
		return 0
	case wiring.Opcode:
		if m.bits>>u.n&1 == 1 {
			return ^uint64(0)
		}
	case wiring.Flag:
		if m.tested>>u.n&1 == 1 {
			return ^uint64(0)
		}
	}
	for i, v := range m.space.vars {
		if v.flag == (u.kind == wiring.Flag) && v.n == u.n {
			return m.space.value(i, m.block)
		}
	}
	return 0
}
