// Package store is the control store, (opcode, flags, phase) to lines, as plain and self-contained data: the one truth that every artefact is compared with.
package store

import (
	"math/bits"

	"coilwright/encode/cube"
	"coilwright/lang/diag"
)

// Set is a set of columns: bit i%64 of word i/64 is column i.
type Set []uint64

// NewSet returns an empty set for n columns.
func NewSet(n int) Set { return make(Set, (n+63)/64) }

// Has reports whether column i is in the set.
func (s Set) Has(i int) bool { return s[i/64]>>(i%64)&1 == 1 }

// Add puts column i into the set.
func (s Set) Add(i int) { s[i/64] |= 1 << (i % 64) }

// Or adds every column of t.
func (s Set) Or(t Set) {
	for i := range t {
		s[i] |= t[i]
	}
}

// Len counts the columns in the set.
func (s Set) Len() int {
	n := 0
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// Empty reports whether no column is in the set.
func (s Set) Empty() bool {
	for _, w := range s {
		if w != 0 {
			return false
		}
	}
	return true
}

// Equal reports whether both hold the same columns.
func (s Set) Equal(t Set) bool {
	if len(s) != len(t) {
		return false
	}
	for i := range s {
		if s[i] != t[i] {
			return false
		}
	}
	return true
}

// Columns lists the columns in the set in ascending order.
func (s Set) Columns() []int {
	var out []int
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			out = append(out, i*64+bits.TrailingZeros64(w))
		}
	}
	return out
}

// Kind is what a line does (language.md L.1).
type Kind string

const (
	Gate    Kind = "gate"
	Latch   Kind = "latch"
	Select  Kind = "select"
	Output  Kind = "output"
	Restart Kind = "restart"
	Halt    Kind = "halt"
)

// Column is a control line.
type Column struct {
	Name string
	Kind Kind
	Low  bool // active low: only memory words invert
	At   diag.Place
}

// Role says why a line is on in a phase.
type Role string

const (
	Lead   Role = "lead"
	Strobe Role = "strobe"
	Trail  Role = "trail"
	Hold   Role = "hold"
	Return Role = "restart" // the restart line in the last phase of a path
)

// Cause is a step that asks for a column in a row.
type Cause struct {
	Column int
	Step   diag.Place
	Role   Role
}

// Owner is who asks for rows: fetch, one instruction variant, or the undefined opcodes.
type Owner struct {
	Name    string // "fetch", "move d=tmp s=acc", "undefined"
	Kind    string // "fetch", "instruction", "undefined"
	Opcodes []cube.Cube
	At      diag.Place
}

// Row is on for the opcodes and flags that match, in one phase.
type Row struct {
	Owner  int       // index into Owners
	Opcode cube.Cube // over OpcodeBits; fetch rows carry none
	Flags  cube.Cube // bit i is Flags[i]
	Phase  int       // from 1
	Lines  Set
	Causes []Cause
}

// Store is the control store. Lines on = OR of all matching rows.
type Store struct {
	Machine    string
	Title      string
	Hash       string   // SHA-256 of the definition, 64 hex digits
	OpcodeBits int      // width of the opcode slice
	Flags      []string // that some `when` tests, as declared
	Phases     int      // of the ring
	Columns    []Column // as declared
	Owners     []Owner
	Rows       []Row
	Free       []cube.Cube // opcodes whose words the minimiser may choose
	Word       Word
}

// Moving says that in one phase, for these opcodes and flags, relays of the
// opcode or of flags may be in change-over: from the first strobe phase of
// their latch until decode phases after the last.
type Moving struct {
	Opcode cube.Cube
	Flags  cube.Cube // bit i is Flags[i]; none of the moving ones
	Phase  int
	Bits   uint64 // of the opcode that move
	Tested uint64 // flags that move: bit i is Flags[i]
}

// Changes is what contacts may do while phase wires are powered.
type Changes struct {
	Moving []Moving
	// Inputs are flags that are set from outside, at any time: bit i is Flags[i].
	Inputs uint64
}

// Word says how the store lies in memory (language.md S.2, S.3).
type Word struct {
	Address []AddressPart // from address bit 0 up
	Bits    []int         // from data bit 0 up: a column, or -1 for a spare bit (0)
	Split   int           // data bits a chip; 0 = one chip holds the word
	Little  bool          // byte order
	Fill    byte          // past the last address
}

// AddressPart is the phase, the opcode or one flag within an address.
type AddressPart struct {
	Kind PartKind
	Name string // "phase", "opcode" or the flag's name
	Bits int
	Flag int // for a flag: index into Flags, -1 for a flag that no `when` tests
}

// PartKind tells the parts of an address apart.
type PartKind int

const (
	PhasePart PartKind = iota
	OpcodePart
	FlagPart
)

// At returns the lines that are on for an opcode, flags (bit i is Flags[i])
// and phase (from 1). It scans the rows: for whole tables use Table.
func (s *Store) At(opcode, flags uint64, phase int) Set {
	out := NewSet(len(s.Columns))
	for _, r := range s.Rows {
		if r.Phase == phase && r.Opcode.Matches(opcode) && r.Flags.Matches(flags) {
			out.Or(r.Lines)
		}
	}
	return out
}

// AddressBits is the width of an address.
func (s *Store) AddressBits() int {
	n := 0
	for _, p := range s.Word.Address {
		n += p.Bits
	}
	return n
}

// Decode splits an address. Phase is 1 + the phase bits and may lie past the
// ring, where the word is idle.
func (s *Store) Decode(address uint64) (opcode, flags uint64, phase int) {
	phase = 1
	for _, p := range s.Word.Address {
		v := address & (1<<p.Bits - 1)
		address >>= p.Bits
		switch {
		case p.Kind == PhasePart:
			phase = int(v) + 1
		case p.Kind == OpcodePart:
			opcode = v
		case p.Kind == FlagPart && p.Flag >= 0:
			flags |= v << p.Flag
		}
	}
	return opcode, flags, phase
}

// Encode is the inverse of Decode.
func (s *Store) Encode(opcode, flags uint64, phase int) uint64 {
	address, shift := uint64(0), 0
	for _, p := range s.Word.Address {
		v := uint64(0)
		switch {
		case p.Kind == PhasePart:
			v = uint64(phase - 1)
		case p.Kind == OpcodePart:
			v = opcode
		case p.Kind == FlagPart && p.Flag >= 0:
			v = flags >> p.Flag & 1
		}
		address |= v & (1<<p.Bits - 1) << shift
		shift += p.Bits
	}
	return address
}
