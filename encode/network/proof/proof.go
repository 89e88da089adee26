// Package proof holds a bare list of contacts, diodes, wires and coils against the control store: it closes the contacts, follows the current and demands that exactly the store's lines are active, before anything is soldered.
package proof

import (
	"fmt"
	"slices"

	"coilwright/encode/machine"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// Options of a proof.
type Options struct {
	// Overlap: while the sequencer steps on, both phase wires are powered.
	// Without it none is.
	Overlap bool
	// Detail is how many findings are worked out part by part; the others are
	// counted. 0 = 10.
	Detail int
	// Hardware, if it is there, is what the definition describes: Prove finds
	// where the list contradicts it, and proves for its levels of diodes.
	Hardware *machine.Hardware
}

// Report says what was tried and what was found.
type Report struct {
	// What was tried. An opcode is counted though no relay follows some of its
	// bits: states that differ only in those are one state to the network.
	Opcodes uint64 // that can occur
	Flags   uint64 // combinations of flags
	Phases  int
	States  uint64 // (opcode, flags, phase) that can occur
	Between uint64 // states between two phases
	Moving  uint64 // states in which contacts are in change-over

	Relays   int
	Contacts int // throws with a wire on either side
	Diodes   int
	Wires    int
	Pins     int

	Findings []Finding
	// More counts findings past Options.Detail.
	More int
	// Notes are what is odd and breaks nothing.
	Notes []string
	Late  []Late
}

// Proved reports whether nothing was found.
func (r *Report) Proved() bool { return len(r.Findings) == 0 && r.More == 0 }

// Kind of a finding.
type Kind string

const (
	BadList     Kind = "list"        // what the list says cannot be, or something is missing in it
	Misfit      Kind = "hardware"    // the list contradicts what the definition says of cards and parts
	OpenCoil    Kind = "coil"        // a relay can never pull in
	Suppression Kind = "suppression" // what is to quench a coil does not
	Short       Kind = "short"       // current reaches the return without a coil
	Backfeed    Kind = "back-feed"   // current leaves the card by a phase, opcode or flag wire
	Undecided   Kind = "undecided"   // a relay in a loop of relays holds itself or chatters
	Extra       Kind = "extra"       // a line is on, or may be, that should not be
	Missing     Kind = "missing"     // a line is off, or may be, that should be on
	TooDeep     Kind = "levels"      // more diodes in series than the supply allows
	LiveSwitch  Kind = "switching"   // a contact travels on a live wire
)

// Finding is one thing that is wrong, told for the lowest state in which it is.
type Finding struct {
	Kind   Kind
	Text   string // one sentence without a full stop
	At     State  // the zero State for what holds always
	Where  string // the state in words, "" for what holds always
	States uint64 // in how many states it is so
	Phases []int  // in which phases; 0 is between two phases
	Path   string // the way of the current, terminal by terminal, "" without one
	Notes  []string
	Asked  []diag.Place // where the definition asks for a line that is missing
}

// State is what the network is in.
type State struct {
	Opcode, Flags uint64
	Phase         int // powered; 0 = none
	Second        int // powered too, 0 = none
	Bits          uint64
	Tested        uint64 // opcode bits and flags that are in change-over
}

// TooLarge is returned where trying every state is out of reach: they are too
// many to be tried one by one, and too unlike to be tried as sets.
type TooLarge struct{ Bits, Phases int }

func (e TooLarge) Error() string {
	return fmt.Sprintf("the proof would have to try 2^%d combinations of opcode bits and flags in %d phases, and they are too unlike to be tried together", e.Bits, e.Phases)
}

const (
	// maxLevels is past what any supply can drive through diodes.
	maxLevels = 16
	// fewStates is up to how many states are tried one by one rather than as sets.
	fewStates = 1 << 18
	// maxStates is up to how many are tried one by one if sets take too much.
	maxStates = 1 << 26
)

// Uncovered lists what a proof does not show.
func Uncovered(r *Report) []string {
	out := []string{
		"everything beyond the cards' connectors: the sequencer, the registers and flags, the coils of the lines",
		"voltages, currents and the loads of contacts",
		"times: opcode and flag relays are taken as settled after decode phases, relays that they drive with them",
	}
	if len(r.Late) > 0 {
		var names []string
		for _, x := range r.Late {
			names = append(names, x.Name)
		}
		out = append(out, fmt.Sprintf("the times of relays on phase wires (%s): they are taken to follow at once, and no state is tried in which one is late; that their contacts switch live is let pass", someOf(names, ", ")))
	}
	return append(out,
		"the moments at which flags change that are set from outside",
		"how long coils hold after they are switched off, and the voltage of Zener diodes (that each coil has its suppression, the right way round, is found)",
		"the rows and columns of the cards: a list of wires has none",
		"joints that are dry and parts that are not what the list says",
	)
}

// Prove tries every state that can occur on the list and compares the lines
// that are active with those of the store.
//
// States that cannot occur need not hold: opcodes in s.Free, and phases after
// the restart of a path, unless a flag that is set from outside decides where
// the path ends. In the phases of c.Moving contacts of the named bits and
// flags, and of every relay that depends on them, are taken as made, broken
// and neither (Eichelberger's ternary simulation, IBM J. Res. Dev. 9(2), 1965).
//
// The error is a TooLarge; what is wrong with the list is in the report.
func Prove(l *wiring.List, s *store.Store, c store.Changes, o Options) (*Report, error) {
	if o.Detail == 0 {
		o.Detail = 10
	}
	p, bad, err := prepare(l, s, c, o)
	if err != nil {
		return nil, err
	}
	if o.Hardware != nil {
		p.allowed = min(max(o.Hardware.Diode.Levels, 0), maxLevels)
	}
	groups, total, err := p.run()
	if err != nil {
		return nil, err
	}
	var quenched []Finding
	if h := o.Hardware; h != nil {
		bad = slices.Concat(fits(l, h, s), bad)
		quenched = p.suppression(h.Relay.Suppression)
	}
	open := p.openCoils()
	r := &Report{
		Late:    p.late(),
		Opcodes: p.opcodes(), Flags: 1 << len(s.Flags), Phases: s.Phases,
		States: total.states, Between: total.between, Moving: total.moving,
		Relays: len(l.Relays), Contacts: len(p.circuit.contacts), Diodes: len(l.Diodes), Wires: len(l.Wires), Pins: len(l.Pins),
	}
	if len(bad)+len(quenched)+len(groups) > 0 {
		bad = slices.Concat(bad, open, quenched)
	} else {
		for _, x := range open {
			r.Notes = append(r.Notes, x.Text)
		}
	}
	for _, b := range bad {
		if len(r.Findings) == o.Detail {
			r.More++
			continue
		}
		r.Findings = append(r.Findings, b)
	}
	for _, g := range groups {
		if len(r.Findings) == o.Detail {
			r.More++
			continue
		}
		r.Findings = append(r.Findings, p.tell(g))
	}
	return r, nil
}

// Holds reports whether Prove would find nothing. It stops at the first finding.
func Holds(l *wiring.List, s *store.Store, c store.Changes, o Options) (bool, error) {
	return NewProver(s, c, o).Holds(l)
}

// Prover asks of many lists whether they hold, one after the other. Lists of
// the same parts are cheap: only what wires change is read again. A prover is
// for one goroutine.
type Prover struct{ p *prover }

// NewProver makes a prover for a store.
func NewProver(s *store.Store, c store.Changes, o Options) *Prover {
	return &Prover{newProver(s, c, o)}
}

// Holds is the same as the function.
func (r *Prover) Holds(l *wiring.List) (bool, error) {
	p := r.p
	p.circuit.quiet = true
	if len(p.take(l)) > 0 {
		return false, nil
	}
	if p.bySets {
		p.plans.begin()
		tallies, err := p.runSets()
		if err == nil {
			return len(tallies[0].found) == 0, nil
		}
		if p.moreThan(maxStates) {
			return false, err
		}
	}
	return p.quick(), nil
}

// prepare reads a list; bad is what it cannot be.
func prepare(l *wiring.List, s *store.Store, c store.Changes, o Options) (p *prover, bad []Finding, err error) {
	p = newProver(s, c, o)
	return p, p.take(l), nil
}

func newProver(s *store.Store, c store.Changes, o Options) *prover {
	p := &prover{store: s, changes: c, options: o, circuit: &circuit{}, graph: &graph{}, driven: driven(s), most: maxNodes}
	p.plans = &plans{graph: p.graph}
	return p
}

// take reads a list. A quiet prover gives up at what it cannot be.
func (p *prover) take(l *wiring.List) (bad []Finding) {
	w := p.circuit
	p.list = l
	if !w.parts.same(l) {
		w.parts = readParts(l, p.store)
		w.wires, w.ends = w.wires[:0], w.ends[:0]
		w.parts.lack = p.absent()
		p.question = nil
	}
	bad = slices.Concat(w.unfit, w.read(l))
	p.allowed = min(max(l.Levels, 0), maxLevels)
	if p.allowed != l.Levels {
		bad = append(bad, Finding{Kind: BadList, Text: fmt.Sprintf("the list allows for %d diodes in series; 0 to %d make sense", l.Levels, maxLevels)})
	}
	bad = slices.Concat(bad, w.lack, p.foreign())
	if w.quiet && len(bad) > 0 {
		return bad
	}
	if vars := variables(p); p.question == nil || !slices.Equal(vars, p.vars) {
		p.question = &question{vars: vars}
	}
	p.bySets = p.moreThan(fewStates)
	p.graph.compile(w)
	return bad
}

// moreThan reports whether there are more than so many states to try.
func (p *prover) moreThan(states uint64) bool {
	n := len(p.vars)
	return n > 40 || uint64(p.store.Phases+1)<<n > states
}

// prover is what the parts of a proof share.
type prover struct {
	list    *wiring.List
	store   *store.Store
	changes store.Changes
	options Options
	circuit *circuit
	graph   *graph
	plans   *plans
	*question
	driven  []bool // by column: the control word drives it
	mute    []bool // by column: it has no pin, which is said once
	allowed int    // diodes in series
	bySets  bool   // there are too many states to try them one by one
	most    int    // nodes of sets
	quickly *quickly
}

// question is what the store asks over the variables that are tried. Lists that
// look at the same are asked the same.
type question struct {
	vars    []variable
	asks    *words
	changed []*asked
	jobs    []int // what a quick prover tries, in its order: blocks, then what is in changed
}

func driven(s *store.Store) []bool {
	out := make([]bool, len(s.Columns))
	for _, c := range s.Word.Bits {
		if c >= 0 {
			out[c] = true
		}
	}
	return out
}
