package network

import (
	"coilwright/encode/cube"
	"coilwright/encode/machine"
)

// Circuit is the decoder before it is placed: points that are electrically one
// wire each, and the contacts and diodes between them. It knows no cards, no
// designators and no poles.
type Circuit struct {
	Style    string
	Points   []Point
	Signals  []Signal
	Contacts []Contact
	Diodes   []Joint
	Rows     []CircuitRow
	Cost     Cost
	// Bound is a proven lower bound on the cost of any network for this store
	// at these prices, and why it holds.
	Bound   float64
	Because []string
}

// PointKind tells what a point is.
type PointKind int

const (
	FeedPoint   PointKind = iota // the side of the supply that phase wires carry
	PhasePoint                   // N: the phase, from 1
	PulsePoint                   // N: number of the pulse wire, from 1
	TreePoint                    // between two contacts, or between a contact and diodes
	RowPoint                     // N: index into Rows
	ColumnPoint                  // N: the column; of a `low` line the coil of its inverting relay
	LowPoint                     // N: the column: what leaves the card for a `low` line
	CoilPoint                    // N: the signal whose coil hangs on it
)

// Point is one wire.
type Point struct {
	Kind   PointKind
	N      int
	Phases []int // PulsePoint: ascending
}

// SignalKind tells what pulls a relay in.
type SignalKind int

const (
	OpcodeSignal    SignalKind = iota // N: bit of the opcode slice
	FlagSignal                        // N: index into Flags
	ConditionSignal                   // a pattern of opcode and flags, through its tree
	InverterSignal                    // N: the `low` column
	PulseSignal                       // N: number of the pulse wire, where a diode more is one too many
)

// Signal is what contacts follow. Each has as many relay bodies as its contacts
// need; the repeaters of an opcode bit or flag hang on a contact of the first.
type Signal struct {
	Kind  SignalKind
	N     int
	Coil  int         // the point that pulls it in; -1 for opcode bits and flags, which come in at the connector
	When  []cube.Cube // ConditionSignal: opcodes in the low OpcodeBits bits, flags above
	Owner string      // ConditionSignal: what it stands for, in words
}

// Contact is a pole in use: Common meets Break while its signal is off, Make while it is on.
type Contact struct {
	Signal              int
	Common, Break, Make int // points; -1 = nothing soldered
}

// Joint is a diode. Signals run From -> To: phase wire to pulse wire, row to
// column. On a card fed positive the anode is at From, on one fed negative at To.
type Joint struct{ From, To int }

// CircuitRow is a point that feeds columns through diodes, or a column that a
// tree ends on directly (Direct).
type CircuitRow struct {
	Point   int
	Wire    int // the phase or pulse point that it is fed from
	Phases  []int
	When    []cube.Cube // opcodes in the low OpcodeBits bits, flags above; none = always
	Owner   string
	Lines   []int
	Direct  bool
	Through []int // contacts from the wire to the row, in order
}

// Cost counts what has to be bought and soldered.
type Cost struct {
	Relays   int // bodies: decode, repeaters, conditions, inverters, pulse relays
	Contacts int // poles in use, those that drive repeaters among them
	Diodes   int // crosspoints and pulse diodes
	Coils    int // suppression diodes: one a body if the relay has them, with a Zener diode two
	Joints   int // soldered ends of all of these
	Total    float64
}

// bodies returns how many relay bodies a signal needs for its contacts, and
// how many poles go to repeaters. The repeaters of an opcode bit or a flag are
// driven by one contact of its first relay; other signals' coils lie side by side.
func (k SignalKind) bodies(contacts, poles int) (bodies, drivers int) {
	if contacts <= poles || k != OpcodeSignal && k != FlagSignal {
		return (contacts + poles - 1) / poles, 0
	}
	if poles == 1 {
		// Every further body hangs on a pole of its own of the first... which has one: coils side by side.
		return contacts, 0
	}
	return 1 + (contacts-(poles-1)+poles-1)/poles, 1
}

// Price counts a circuit at the prices of the definition. A contact has a joint
// at each of its soldered ends, a diode two, a coil two; so has each diode
// across a coil, Zener diodes among them.
func (c *Circuit) Price(hw machine.Hardware) Cost {
	var out Cost
	uses := make([]int, len(c.Signals))
	for _, k := range c.Contacts {
		uses[k.Signal]++
		out.Contacts++
		for _, p := range []int{k.Common, k.Break, k.Make} {
			if p >= 0 {
				out.Joints++
			}
		}
	}
	for i, s := range c.Signals {
		b, d := s.Kind.bodies(uses[i], hw.Relay.Poles)
		out.Relays += b
		out.Contacts += d
		out.Joints += 2*b + 2*d
	}
	out.Diodes = len(c.Diodes)
	out.Coils = suppression(hw) * out.Relays
	out.Joints += 2 * (out.Diodes + out.Coils)
	out.Total = hw.Cost.Relay*float64(out.Relays) + hw.Cost.Contact*float64(out.Contacts) +
		hw.Cost.Diode*float64(out.Diodes+out.Coils) + hw.Cost.Joint*float64(out.Joints)
	return out
}

// suppression is how many diodes stand across a coil.
func suppression(hw machine.Hardware) int {
	return map[string]int{"diode": 1, "zener": 2}[hw.Relay.Suppression]
}
