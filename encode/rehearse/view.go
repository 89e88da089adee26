// Package rehearse runs the store and the datapath together, phase by phase.
package rehearse

import (
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// Control says which lines are on: the computed store, or a memory image.
// Flags has bit i for Store.Flags[i]; phases count from 1.
type Control interface {
	Lines(opcode, flags uint64, phase int) store.Set
}

// Setup is the state at reset and what comes from outside. Everything else is
// 0 at reset; the first phase is 1.
type Setup struct {
	Values   map[int]uint64            // registers and flags, by signal
	Memories map[int]map[uint64]uint64 // words, by signal and index
	// Inputs gives the values of an input register or flag, by signal: the
	// next one is taken at the first phase of each instruction that reads it,
	// the last one stays.
	Inputs map[int][]uint64
}

// Stop says when a rehearsal ends; it always ends.
type Stop struct {
	Phases       int    // completed phases at most; 0 = no bound of its own
	Instructions int    // at most; 0 = DefaultInstructions
	At           uint64 // end before the instruction at this address, if UseAt
	UseAt        bool
}

// DefaultInstructions bounds a rehearsal whose program never halts.
const DefaultInstructions = 100000

// View is one phase as it can be seen on the lamps.
type View struct {
	Instruction int    // counted from 1
	Address     uint64 // of the instruction: the index with which the program memory was read at the opcode strobe
	Known       bool   // Address is known: the opcode has been strobed
	Owner       int    // index into Store.Owners once the opcode is decoded, else that of fetch
	Phase       int
	Completed   int // phases completed before this one, since reset
	Opcode      uint64
	Flags       uint64
	Lines       store.Set
	// Values is, by signal, what a bus carries in this phase, and what a
	// register or flag holds before the latches of this phase capture. Memories are 0.
	Values []uint64
	Driven []uint64 // by signal: the bits of a bus that have a source
	Writes []Write  // what the latches capture at the end of the phase
	Notes  []Note
	Last   bool // the ring goes back to phase 1 after this phase
	Halt   bool // the halt line is on: the phase is not completed
}

// Write is a capture: bits Mask of a register, flag or memory word become Value.
type Write struct {
	Signal int
	Index  uint64 // of a memory word
	Mask   uint64
	Value  uint64 // within Mask
	Line   int    // that latched it
}

// Note is something the rehearsal has to say about a phase.
type Note struct {
	// Kind is "race" (read and latched at once), "undriven" (latched without a
	// source or `none`), "conflict" (two sources or latches meet: their OR),
	// "wrap" (an index past the end of a memory), "loop" (a bus feeds itself
	// and does not settle), "halt" (a latch is on in the halted phase) or
	// "input" (an input takes its next value).
	Kind string
	Text string
	At   diag.Place // the line's declaration
}

// Reason is why a rehearsal ended.
type Reason string

const (
	Halted           Reason = "halt"
	ReachedAddress   Reason = "address"
	PhaseBound       Reason = "phases"
	InstructionBound Reason = "instructions"
)

// Final is the state at the end.
type Final struct {
	Reason       Reason
	Values       []uint64                  // by signal: registers and flags; buses are 0
	Memories     map[int]map[uint64]uint64 // by signal: words that differ from Setup
	Instructions int                       // completed, a halted one included
	Phases       int                       // completed
	Seconds      float64                   // Phases times the phase period
}
