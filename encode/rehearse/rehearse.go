package rehearse

import (
	"fmt"
	"slices"

	"coilwright/encode/machine"
	"coilwright/encode/store"
)

// cached bounds what is remembered about (opcode, flags, phase): a memory of
// it is an aid, never the truth.
const cached = 1 << 16

// keptScenes bounds the sets of lines that are remembered.
const keptScenes = 1 << 12

// Rehearsal is a machine between two phases.
//
// In each phase the lines that are on are looked up; select lines, units and
// buses settle to a fixed point, starting from buses at 0; then all latches
// capture at once. Where two sources or two latches meet, the OR of both is
// carried. An index past the end of a memory wraps. The phase in which halt is
// on is not completed: it shows what is on, and nothing captures.
type Rehearsal struct {
	m     *machine.Machine
	s     *store.Store
	c     Control
	setup Setup

	data      datapath
	scratch   []uint64
	values    []uint64 // by signal: registers and flags
	phase     int
	opened    int // instructions begun
	completed int // phases
	ended     bool
	known     bool   // address is known
	address   uint64 // of the instruction
	strobed   int    // last phase in which its opcode was latched, 0 before
	lastWord  uint64 // index of the program word that latches depended on last
	hasWord   bool   // in this instruction

	pending bool   // some input has values left
	next    []int  // by signal: values of Inputs taken
	taken   []bool // by signal: in this instruction
	inputs  []int  // input signals that Inputs names, ascending

	now     *scene // of this phase
	notes   []Note // about inputs taken already for this phase
	cut     []Note // about inputs that restart looked at as it cut the phase after this short
	scenes  map[string]*scene
	looked  map[place]*scene
	nones   *nones // nil until asked
	owners  map[uint64]int
	written []Write
	journal *journal
	fast    *fast
}

type place struct {
	opcode, flags uint64
	phase         int
}

// journal remembers how to take phases back.
type journal struct {
	saved Rehearsal
	next  []int
	taken []bool
	reg   []uint64
	words []word
}

type word struct {
	signal       int
	index, value uint64
}

// New prepares a rehearsal from reset: everything 0 but what setup says, phase
// 1. Values of setup lose the bits that do not fit; an index past the end of a
// memory wraps. m and s belong together, c has to answer alike each time it is
// asked the same, and none of them may change while the rehearsal lasts.
func New(m *machine.Machine, s *store.Store, c Control, setup Setup) *Rehearsal {
	n := len(m.Signals)
	r := &Rehearsal{
		m: m, s: s, c: c, setup: setup, phase: 1, opened: 1,
		values: make([]uint64, n), next: make([]int, n), taken: make([]bool, n),
		scratch: make([]uint64, n),
		scenes:  map[string]*scene{}, looked: map[place]*scene{},
		owners: map[uint64]int{},
		data:   datapath{m: m, values: make([]uint64, n), memories: make([]*memory, n), units: make([]unitValue, len(m.Units))},
	}
	room := uint64(denseWords)
	for i := range m.Signals {
		sig := &m.Signals[i]
		if sig.Kind == machine.Memory {
			r.data.memories[i] = newMemory(sig.Words, sig.Words <= room)
			if sig.Words <= room {
				room -= sig.Words
			}
		}
		if sig.Input && len(setup.Inputs[i]) > 0 {
			r.inputs = append(r.inputs, i)
			r.pending = true
		}
	}
	for i, v := range setup.Values {
		if k := m.Signals[i].Kind; k == machine.Register || k == machine.Flag {
			r.values[i] = v & ones(m.Signals[i].Width)
		}
	}
	for i, words := range setup.Memories {
		mem := r.data.memories[i]
		for _, index := range sorted(words) {
			mem.set(index, words[index]&ones(m.Signals[i].Width))
		}
	}
	r.look()
	return r
}

func sorted(words map[uint64]uint64) []uint64 {
	out := make([]uint64, 0, len(words))
	for i := range words {
		out = append(out, i)
	}
	slices.Sort(out)
	return out
}

// opcode is the slice that the decoder sees now.
func (r *Rehearsal) opcode() uint64 {
	return r.values[r.m.Opcode.Signal] >> r.m.Opcode.Lo & ones(r.m.Opcode.Width())
}

// flags is what the decoder sees of the flags now: bit i is Store.Flags[i].
func (r *Rehearsal) flags() uint64 {
	v := uint64(0)
	for i, f := range r.m.Tested {
		v |= r.values[f] & 1 << i
	}
	return v
}

// sceneAt is what is on for an opcode, flags and a phase.
func (r *Rehearsal) sceneAt(p place) *scene {
	if sc := r.looked[p]; sc != nil {
		return sc
	}
	lines := r.c.Lines(p.opcode, p.flags, p.phase)
	key := make([]byte, 0, 8*len(lines))
	for _, w := range lines {
		for range 8 {
			key = append(key, byte(w))
			w >>= 8
		}
	}
	sc := r.scenes[string(key)]
	if sc == nil {
		if len(r.scenes) >= keptScenes {
			clear(r.scenes)
			clear(r.looked)
		}
		sc = newScene(r.m, slices.Clone(lines))
		r.scenes[string(key)] = sc
	}
	if len(r.looked) >= cached {
		clear(r.looked)
	}
	r.looked[p] = sc
	return sc
}

// look finds the lines of the phase to come. A flag that is an input and that
// the lines depend on takes its next value first.
func (r *Rehearsal) look() {
	if r.pending {
		for i, f := range r.m.Tested {
			if !r.due(f) {
				continue
			}
			p := place{r.opcode(), r.flags(), r.phase}
			other := p
			other.flags ^= 1 << i
			if !r.sceneAt(p).lines.Equal(r.sceneAt(other).lines) {
				r.take(f)
			}
		}
	}
	r.now = r.sceneAt(place{r.opcode(), r.flags(), r.phase})
}

// due reports whether an input has a value left that this instruction may take.
func (r *Rehearsal) due(signal int) bool {
	return r.m.Signals[signal].Input && !r.taken[signal] && r.next[signal] < len(r.setup.Inputs[signal])
}

func (r *Rehearsal) take(signal int) {
	s, list := &r.m.Signals[signal], r.setup.Inputs[signal]
	r.values[signal] = list[r.next[signal]] & ones(s.Width)
	r.next[signal]++
	r.taken[signal] = true
	r.notes = append(r.notes, Note{"input", fmt.Sprintf("%s is set to %d, value %d of %d", s.Name, r.values[signal], r.next[signal], len(list)), s.At})
	r.pending = false
	for _, i := range r.inputs {
		r.pending = r.pending || r.next[i] < len(r.setup.Inputs[i])
	}
}

// settle works out the buses; false if they do not come to rest.
func (r *Rehearsal) settle() bool {
	d, sc := &r.data, r.now
	copy(d.values, r.values)
	d.on = sc.lines
	d.next()
	if len(sc.sources) == 0 {
		return true
	}
	// Without a loop each round settles at least one more bit of a bus.
	rounds := 2
	for i := range r.m.Signals {
		if r.m.Signals[i].Kind == machine.Bus {
			rounds += r.m.Signals[i].Width
		}
	}
	for range rounds {
		copy(r.scratch, r.values)
		for _, f := range sc.sources {
			r.scratch[f.target.Signal] |= d.eval(f.source) << f.target.Lo
		}
		spread(sc.joins, r.scratch)
		still := slices.Equal(r.scratch, d.values)
		copy(d.values, r.scratch)
		d.next()
		if still {
			return true
		}
	}
	return false
}

// capture works out what the latches take in.
func (r *Rehearsal) capture() []Write {
	d, sc := &r.data, r.now
	out := r.written[:0]
	for _, f := range sc.captures {
		w := Write{Signal: f.target.Signal, Mask: f.target.Mask(), Line: f.line}
		w.Value = d.eval(f.source) << f.target.Lo
		if f.set {
			w.Mask = w.Value
		}
		if f.target.Index != nil {
			w.Index = d.memories[w.Signal].wrap(d.eval(f.target.Index))
		}
		out = append(out, w)
	}
	for i := range out {
		for j := range out[:i] {
			if x, y := &out[i], &out[j]; x.Signal == y.Signal && x.Index == y.Index {
				x.Value, y.Value = x.Value|y.Value&x.Mask, y.Value|x.Value&y.Mask
			}
		}
	}
	r.written = out
	return out
}

// wraps notes memory words that do not exist.
func (r *Rehearsal) wraps(notes []Note) []Note {
	for _, x := range r.now.reached {
		s, l := &r.m.Signals[x.signal], &r.m.Lines[x.line]
		index := r.data.eval(x.index)
		if index < s.Words {
			continue
		}
		what := "reads"
		if x.write {
			what = "writes"
		}
		notes = append(notes, Note{"wrap", fmt.Sprintf("%s %s %s[%d], which has words 0 to %d: it is word %d",
			l.Name, what, s.Name, index, s.Words-1, r.data.memories[x.signal].wrap(index)), l.At})
	}
	return notes
}

// Next does one phase and, unless v is nil, fills v, which then shares nothing
// with the rehearsal but the set of lines. It returns false, and leaves v
// alone, once the machine has halted.
func (r *Rehearsal) Next(v *View) bool {
	if r.ended {
		return false
	}
	sc := r.now
	for _, s := range sc.inputs {
		if r.due(s) {
			r.take(s)
		}
	}
	at := place{r.opcode(), r.flags(), r.phase}
	still := r.settle()
	if sc.opcode {
		r.strobed = r.phase
	}
	if sc.word != nil {
		r.lastWord, r.hasWord = r.data.eval(sc.word), true
	}
	if sc.opcode && !r.known {
		switch {
		case sc.address != nil:
			r.address, r.known = r.data.eval(sc.address), true
		case r.hasWord:
			r.address, r.known = r.lastWord, true
		}
		if r.known {
			r.address = r.programWord(r.address)
		}
	}
	var writes []Write
	if !sc.halt {
		writes = r.capture()
	}
	if v != nil {
		r.fill(v, at, still, writes)
	}
	r.notes = r.notes[:0]
	if sc.halt {
		r.ended = true
		return true
	}
	for _, w := range writes {
		r.write(w)
	}
	r.completed++
	last := sc.restart || r.phase >= r.s.Phases
	r.advance(last)
	last = r.arrive(last)
	if v != nil {
		v.Last = last
		v.Notes = append(v.Notes, r.cut...)
	}
	r.cut = nil
	return true
}

// programWord wraps an index of the program memory.
func (r *Rehearsal) programWord(index uint64) uint64 {
	for i := range r.m.Signals {
		if s := &r.m.Signals[i]; s.Kind == machine.Memory && s.Program {
			return r.data.memories[i].wrap(index)
		}
	}
	return index
}

func (r *Rehearsal) write(w Write) {
	if mem := r.data.memories[w.Signal]; mem != nil {
		old := mem.at(w.Index)
		if r.journal != nil {
			r.journal.words = append(r.journal.words, word{w.Signal, w.Index, old})
		}
		mem.set(w.Index, old&^w.Mask|w.Value)
		return
	}
	r.values[w.Signal] = r.values[w.Signal]&^w.Mask | w.Value
}

// advance goes to the next phase, or to phase 1 of the next instruction.
func (r *Rehearsal) advance(last bool) {
	if !last {
		r.phase++
		return
	}
	r.phase = 1
	r.opened++
	r.known, r.address, r.strobed, r.hasWord, r.lastWord = false, 0, 0, false, 0
	clear(r.taken)
}

// arrive looks at the phase to come. If restart is on in it and cuts it short,
// the ring is at 1 before it counts: then, and if last is set, it returns true.
func (r *Rehearsal) arrive(last bool) bool {
	r.look()
	if last || r.phase == 1 || !r.m.Sequencer.Cuts || !r.now.restart || r.now.halt {
		return last
	}
	r.cut, r.notes = r.notes, nil
	r.advance(true)
	r.look()
	return true
}

// fill shows the phase as it is before the latches capture.
func (r *Rehearsal) fill(v *View, at place, still bool, writes []Write) {
	sc := r.now
	n := len(r.data.values)
	both := make([]uint64, n+len(sc.driven)) // one array for two: views are many
	copy(both, r.data.values)
	copy(both[n:], sc.driven)
	*v = View{
		Instruction: r.opened, Address: r.address, Known: r.known, Owner: r.owner(at), Phase: r.phase,
		Completed: r.completed, Opcode: at.opcode, Flags: at.flags, Lines: sc.lines,
		Values: both[:n:n], Driven: both[n:], Writes: slices.Clone(writes),
		Notes: slices.Clone(r.notes), Halt: sc.halt,
	}
	if !still {
		first := sc.sources[0]
		v.Notes = append(v.Notes, Note{"loop", fmt.Sprintf("bus %s does not come to rest: a gate feeds itself", r.m.Signals[first.target.Signal].Name), r.m.Lines[first.line].At})
	}
	v.Notes = append(v.Notes, sc.notes...)
	if sc.halt {
		if n := len(sc.captures); n > 0 {
			l := &r.m.Lines[sc.captures[0].line]
			v.Notes = append(v.Notes, Note{"halt", fmt.Sprintf("%s is on in the phase in which the machine halts: what it takes in is not shown", l.Name), l.At})
		}
		return
	}
	if r.nones == nil && len(sc.undriven) > 0 {
		r.nones = newNones(r.m)
	}
	for _, u := range sc.undriven {
		if !r.nones.says(r.s, at, u.line) {
			v.Notes = append(v.Notes, u.note)
		}
	}
	v.Notes = r.wraps(v.Notes)
	for i := range writes {
		for j := range writes[:i] {
			x, y := &writes[j], &writes[i]
			if x.Line != y.Line && x.Signal == y.Signal && r.data.memories[x.Signal] != nil && x.Index == y.Index {
				l := &r.m.Lines[y.Line]
				v.Notes = append(v.Notes, Note{"conflict", fmt.Sprintf("%s and %s both set %s[%d], which takes the OR of the two",
					r.m.Lines[x.Line].Name, l.Name, r.m.Signals[x.Signal].Name, x.Index), l.At})
			}
		}
	}
}

// owner is who asks for lines in this phase: fetch until the opcode is decoded.
func (r *Rehearsal) owner(at place) int {
	if r.strobed == 0 || r.phase < r.strobed+r.m.Sequencer.Decode {
		return r.find(func(o *store.Owner) bool { return o.Kind == "fetch" })
	}
	if i, ok := r.owners[at.opcode]; ok {
		return i
	}
	if len(r.owners) >= cached {
		clear(r.owners)
	}
	i := r.find(func(o *store.Owner) bool {
		if o.Kind == "fetch" {
			return false
		}
		for _, c := range o.Opcodes {
			if c.Matches(at.opcode) {
				return true
			}
		}
		return false
	})
	r.owners[at.opcode] = i
	return i
}

func (r *Rehearsal) find(is func(*store.Owner) bool) int {
	return max(0, slices.IndexFunc(r.s.Owners, func(o store.Owner) bool { return is(&o) }))
}

// Run goes on until stop or halt, and calls each, unless it is nil, with every
// phase; a view is each's to keep. Bounds count from reset. UseAt is not looked at before the
// first instruction of a run: a program that comes round to where it began can
// be stopped there.
func (r *Rehearsal) Run(stop Stop, each func(*View)) Final {
	first := r.opened
	for {
		if reason, done := r.stopped(stop, first); done {
			return r.final(reason)
		}
		if each == nil {
			r.Next(nil)
			continue
		}
		v := new(View)
		if r.Next(v) {
			each(v)
		}
	}
}

func (r *Rehearsal) stopped(stop Stop, first int) (Reason, bool) {
	bound := stop.Instructions
	if bound <= 0 {
		bound = DefaultInstructions
	}
	switch {
	case r.ended:
		return Halted, true
	case r.phase == 1 && stop.UseAt && r.opened > first && r.ahead(stop.At):
		return ReachedAddress, true
	case r.opened > bound:
		return InstructionBound, true
	case stop.Phases > 0 && r.completed >= stop.Phases:
		return PhaseBound, true
	}
	return "", false
}

// ahead reports whether the instruction to come stands at an address: it runs
// until the opcode is strobed, and takes that back.
func (r *Rehearsal) ahead(address uint64) bool {
	j := &journal{saved: *r, reg: slices.Clone(r.values), next: slices.Clone(r.next), taken: slices.Clone(r.taken)}
	j.saved.notes = slices.Clone(r.notes)
	r.journal = j
	opened := r.opened
	found := false
	for r.opened == opened && !found && !r.ended {
		r.Next(nil)
		if r.opened == opened && r.known {
			found = r.address == address
			break
		}
	}
	for i := len(j.words) - 1; i >= 0; i-- {
		w := j.words[i]
		r.data.memories[w.signal].set(w.index, w.value)
	}
	scratch, values, next, taken := r.data, r.values, r.next, r.taken
	*r = j.saved
	r.data, r.values, r.next, r.taken = scratch, values, next, taken
	copy(r.values, j.reg)
	copy(r.next, j.next)
	copy(r.taken, j.taken)
	return found
}

func (r *Rehearsal) final(reason Reason) Final {
	f := Final{
		Reason: reason, Values: slices.Clone(r.values), Memories: map[int]map[uint64]uint64{},
		Instructions: r.opened - 1, Phases: r.completed, Seconds: float64(r.completed) * r.m.Sequencer.Period,
	}
	if r.ended {
		f.Instructions++
	}
	for i, mem := range r.data.memories {
		if mem == nil {
			continue
		}
		before := map[uint64]uint64{}
		words := r.setup.Memories[i]
		for _, index := range sorted(words) {
			before[mem.wrap(index)] = words[index] & ones(r.m.Signals[i].Width)
		}
		if diff := mem.differences(before); len(diff) > 0 {
			f.Memories[i] = diff
		}
	}
	return f
}
