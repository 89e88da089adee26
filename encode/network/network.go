// Package network turns the store into rows, pulse wires and diodes, and places them on cards.
package network

import (
	"coilwright/encode/cube"
	"coilwright/encode/machine"
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
}

// Pulse is a wire that is powered in several phases, shared by every row that
// needs just these phases.
type Pulse struct {
	Name   string // "P1"
	Phases []int  // ascending, at least two
	Card   int    // index into Cards
	Place  int    // row on the card, from 1
	Pin    int    // where it leaves the card for the contacts of its rows
}

// Row is fed from one wire, through what decides for it, and reaches its columns through diodes.
type Row struct {
	Name    string // "R1"
	Owner   string
	Kind    string      // "fetch", "instruction", "undefined"
	Opcodes []cube.Cube // any of them; none = every opcode
	Flags   cube.Cube
	Phases  []int
	Pulse   int   // index into Pulses, -1 = straight from the phase wire
	Lines   []int // columns, ascending
	Card    int   // index into Cards
	Place   int   // row on the card, from 1
	Pin     int   // where its feed comes in
}

// Card holds pulse wires and rows from place 1 down, and the columns they use.
type Card struct {
	Name    string // "control 1"
	Columns []int  // in the order of the columns on the card, from 1
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
// run from phase wire to pulse wire and from row to column; on a card fed
// positive the current runs the same way, on one fed negative it runs back.
func (m *Matrix) Ends(d Diode) (anode, band string) {
	if d.Pulse >= 0 {
		anode, band = phaseName(d.Phase), m.Pulses[d.Pulse].Name
	} else {
		anode, band = m.Rows[d.Row].Name, m.Columns[d.Line].Name
	}
	if m.Board.Negative {
		anode, band = band, anode
	}
	return anode, band
}
