// Package network turns the store into rows, pulse wires and diodes, and places them on cards.
package network

import (
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// Matrix is the diode matrix in one style, placed on cards.
type Matrix struct {
	Machine    string
	Title      string
	Hash       string // SHA-256 of the definition, 64 hex digits
	Style      string // "plain"
	Phases     int
	OpcodeBits int
	Flags      []string
	Columns    []store.Column
	Omitted    []int        // columns that other hardware drives: they have no diodes
	Board      machine.Card // what every card is: its sizes, fixed pins and which way it is fed
	Pulses     []Pulse
	Rows       []Row
	Cards      []Card
	Diodes     []Diode // in soldering order: card by card, row by row, column by column
	Inverters  []Inverter
	AtCoils    []CoilDiode // every other diode, card by card, relay by relay
}

// Pulse is a wire that is powered in several phases, shared by every row that
// needs just these phases.
type Pulse struct {
	Name   string // "P1"
	Phases []int  // ascending, at least two
	Card   int    // index into Cards
	Place  int    // row on the card, from 1
	Pin    int    // where it leaves for contacts on other cards, or for its relay; 0 = nowhere
	// A pulse relay may stand between: the diodes lead to its coil, "K4:A1", and
	// its contact, "K4:14", feeds the wire. Both are empty where diodes alone make it.
	Coil, Contact string
	point         int
}

// Inverter is the relay that the column of a `low` line ends on.
type Inverter struct {
	Line          int    // column of the matrix
	Coil, Contact string // "K7:A1", where the column ends; "K7:12", which feeds the line
}

// CoilDiode is a diode at the coil of a relay: one that leads a condition into
// it, or one across it.
type CoilDiode struct {
	Name        string
	Card        int    // index into Cards
	Relay       string // "K4"
	Site        int    // of the relay, 0 if it is on another card
	Across      bool   // it suppresses the coil
	Anode, Band string // a terminal, "K4:A2", "Z4:A", or a wire, "tree T7"
}

// Row is fed from one wire, through what decides for it, and reaches its columns through diodes.
type Row struct {
	Name    string // "R1"
	Owner   string
	Kind    string      // "fetch", "instruction", "undefined"
	Opcodes []cube.Cube // any of them; none = every opcode; if they differ in flags these lie above OpcodeBits
	Flags   cube.Cube
	Phases  []int
	Pulse   int    // index into Pulses, -1 = straight from the phase wire
	Lines   []int  // columns, ascending
	Card    int    // index into Cards
	Place   int    // row on the card, from 1; 0 if it has no diodes
	Pin     int    // where its feed comes in from another card; 0 = it is on this one
	Feed    string // what feeds it: "K3:14", or the wire itself, "phase 5"
	Direct  bool   // no diodes: its contact lies on the column
}

// Card holds pulse wires and rows from place 1 down, and the columns they use.
type Card struct {
	Name    string // "control 1"
	Columns []int  // in the order of the columns on the card, from 1
	Leave   []int  // by column: the pin it leaves by; 0 = it stays on the card
	Pins    []Pin  // those in use or fixed, by number
}

// Pin is a pin of a card's connector.
type Pin struct {
	Number int
	Use    string // "acc_l", "phase 5", "pulse P1", "row R3", "ground", "supply"
}

// Diode is one crosspoint.
type Diode struct {
	Name   string // "D1"
	Card   int    // index into Cards
	Place  int    // row on the card, from 1
	Column int    // column on the card, from 1; 0 for a diode of a pulse wire
	Row    int    // index into Rows, or -1
	Pulse  int    // index into Pulses, or -1
	Phase  int    // phase wire that a pulse diode joins to its pulse wire, else 0
	Line   int    // column of the matrix, or -1
	Pin    int    // connector pin of the line or phase wire
}

// Ends names the wires at the anode and at the band (cathode) of d. Signals
// run from phase wire to pulse wire, or to the coil of the relay that makes it,
// and from row to column; on a card fed positive the current runs the same way,
// on one fed negative it runs back.
func (m *Matrix) Ends(d Diode) (anode, band string) {
	if d.Pulse >= 0 {
		anode, band = phaseName(d.Phase), m.Pulses[d.Pulse].Made()
	} else {
		anode, band = m.Rows[d.Row].Name, m.Columns[d.Line].Name
	}
	if m.Board.Negative {
		anode, band = band, anode
	}
	return anode, band
}

// Made names the wire that the diodes of a pulse wire lead to: the wire itself,
// or the coil of its relay.
func (p Pulse) Made() string {
	if relay, _, ok := strings.Cut(p.Coil, ":"); ok {
		return "coil of " + relay
	}
	return p.Name
}

// Network is a circuit as it is soldered: relays, diodes and wires with their
// names, the matrix among them, on cards.
type Network struct {
	Matrix *Matrix
	Relays []Relay // card by card, by site
	Nets   []Net
	Cost   Cost
	// Bound and Because are those of the circuit.
	Bound      float64
	Because    []string
	Parts      []Part
	LeastCards int    // no placement has fewer
	LeastWhy   string // "82 relays, 32 on a card"
	List       *wiring.List
	rowAt      []int // row of the matrix, by row of the circuit
}

// Part is what has to be bought, and how many.
type Part struct {
	Count int
	What  string
}

// Relay is a body and what it is for.
type Relay struct {
	Name         string // "K1"
	Card         int    // index into the cards of the matrix
	Site         int    // on the card, from 1
	Kind         SignalKind
	N            int    // as in Signal
	Signal       int    // index into the circuit's signals
	Follows      string // "opcode bit 3", in words
	Body, Bodies int    // which of those of its signal it is, from 1
	Repeats      bool   // its coil hangs on a contact of the first
	Drives       bool   // pole 1 feeds the coils of those that repeat it
	Coil         string // net at A1
	Poles, Used  int
	Fed          []string    // diodes that lead into its coil
	Suppression  []string    // across its coil: "D31", and "Z1" if a Zener diode is in series
	In           []cube.Cube // what pulls a condition relay in: opcodes in the low OpcodeBits bits, flags above
	coil         int
}

// Net is what wires hold together, card by card.
type Net struct {
	Name  string // "row R3", "phase 5", "line acc_l", "tree T7", "feed", "return"
	Link  int    // number of the wire from card to card, 0 = none
	Cards []NetCard
}

// NetCard is a net on one card: pins, then relays, then diodes. Wires join the
// terminals in a chain; a suppression diode hangs on its own coil.
type NetCard struct {
	Card      int
	Terminals []wiring.Terminal
	Wires     []wiring.Wire
}
