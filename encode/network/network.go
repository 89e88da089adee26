// Package network turns the store into rows, pulse wires and diodes, and places them on cards.
package network

import (
	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// Matrix is the diode matrix in one style, placed on cards.
type Matrix struct {
	Machine    string
	Hash       string
	Style      string // "plain"
	Phases     int
	OpcodeBits int
	Flags      []string
	Columns    []store.Column
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
}

// Card holds rows and pulse wires from place 1 down, and the columns they use.
type Card struct {
	Name    string // "control 1"
	Columns []int  // in the order of the columns on the card, from 1
	Pins    []Pin  // by number
}

// Pin is a pin of a card's connector.
type Pin struct {
	Number int
	Use    string // what it carries: a line, a phase or pulse wire, "row R3", "ground", "supply"
}

// Diode is one crosspoint. From and To are the wires it joins, current flowing from From to To.
type Diode struct {
	Name   string // "D1"
	Card   int    // index into Cards
	Place  int    // row on the card, from 1
	Column int    // column on the card, from 1; 0 for a diode of a pulse wire
	Row    int    // index into Rows, or -1
	Pulse  int    // index into Pulses, or -1
	Phase  int    // phase wire that a pulse diode comes from, else 0
	Line   int    // column of the matrix, or -1
	Pin    int    // connector pin of the line, 0 without
}
