// Package schedule places the steps of every path on phases and weaves the store from the result.
package schedule

import (
	"coilwright/encode/cube"
	"coilwright/lang/diag"
)

// Plan places every path of a machine on phases.
type Plan struct {
	Phases int   // of the ring
	Tested []int // signal numbers of the flags that cubes speak of: bit i of a cube is Tested[i]
	Owners []Owner
}

// Owner is fetch, one instruction variant or the undefined opcodes, with every
// way through it. The paths of an instruction begin with the steps of fetch.
type Owner struct {
	Name        string      // "fetch", "move d=tmp s=acc", "undefined"
	Kind        string      // "fetch", "instruction", "undefined"
	Instruction int         // index into Machine.Instructions, else -1
	Variant     int         // index into its Variants, else -1
	Opcodes     []cube.Cube // that it serves; one for a variant, none for fetch
	At          diag.Place
	Paths       []*Path // shared by variants with the same body
}

// Path is one way through fetch and a body: a choice of arms at each `when`.
// Fetch has no body and no end of its own: Last is 0 there.
type Path struct {
	Flags   cube.Cube // the arms taken; bit i is Plan.Tested[i]
	Steps   []Placed  // in order; the first Fetch of them belong to fetch
	Fetch   int
	Last    int    // last phase of the path (language.md P.7)
	Restart int    // phase of the restart line: Last, or Last+1 with `restart cuts`; 0 without one
	Tests   []Test // the `when`s passed, in order
	chain   func() []Link
}

// Chain is the chain of constraints that sets Last, first to last: worked out
// when asked for, because few are. Fetch has none.
func (p *Path) Chain() []Link {
	if p.chain == nil {
		return nil
	}
	return p.chain()
}

// Test is a `when` that a path passes: before step number Before (from 0).
type Test struct {
	Flag   int // signal
	On     bool
	Before int
	At     diag.Place
	key    testKey
}

// Placed is a step on its phases.
type Placed struct {
	At     diag.Place
	Via    []diag.Place
	Strobe int  // first strobe phase
	Pulse  int  // strobe phases
	None   bool // a deliberate latch of an undriven bus
	On     []Window
}

// place returns where the step names a line that it has on.
func (p *Placed) place(line int) diag.Place {
	for i := range p.On {
		if p.On[i].Line == line {
			return p.On[i].At
		}
	}
	return p.At
}

// Window is the phases From..To in which a line is on for a step. StrobeFrom..
// StrobeTo are its strobe phases within it: phases before are lead, after
// trail. Held windows belong to a `hold`, whose lines stay on from its first
// step to its last: phases From..Lead-1 are on for that reason alone.
type Window struct {
	Line                 int
	From, To             int
	Lead                 int
	StrobeFrom, StrobeTo int
	Held                 bool
	At                   diag.Place // where the step, or the hold, names the line
}

// Link is one constraint of the critical chain: To cannot come before Phases
// phases after From, by Rule.
type Link struct {
	Rule     string // the rule in words: "bus data is free of acc_g"
	From, To string // what is placed: "step 2 (res_g acc_l)"
	FromAt   diag.Place
	ToAt     diag.Place
	Phase    int // where To falls
	Phases   int // distance from From
}
