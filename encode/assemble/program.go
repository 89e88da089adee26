// Package assemble turns a program into the words of its memories.
package assemble

import "coilwright/lang/diag"

// Program is an assembled program as plain data.
type Program struct {
	Machine  string // name of the machine it is for
	Hash     string // SHA-256 of the machine's definition, 64 hex digits
	Name     string // the program's file name without folder and ending
	Source   string // SHA-256 of the program's files in reading order, 64 hex digits
	Memories []Memory
	Lines    []Line // every source line that was read, in reading order
	Symbols  []Symbol
	Expects  []Expect
}

// Memory is what a program puts into one memory.
type Memory struct {
	Signal   int // index into Machine.Signals
	Name     string
	Width    int    // bits a word, 1 to 64
	Words    uint64 // size
	Bytes    int    // bytes a word in an image
	Little   bool   // byte order of an image
	Segments []Segment
}

// Segment is words at consecutive addresses. The segments of a memory are
// sorted, do not overlap and do not touch.
type Segment struct {
	Address uint64 // of the first word
	Words   []uint64
}

// Line is a source line and what it came to.
type Line struct {
	At     diag.Place
	Text   string // as written, without its line end
	Memory int    // index into Memories, -1 if the line puts nothing anywhere
	// Address and Words are what it puts there, a word being a memory word.
	Address     uint64
	Words       []uint64
	Instruction int // index into Machine.Instructions, else -1
	Variant     int // index into its Variants, else -1
}

// Symbol is a label or a constant.
type Symbol struct {
	Name   string
	Value  int64
	Label  bool
	Memory int // of a label: index into Memories, else -1
	At     diag.Place
}

// Expect is a value that a register, flag or memory word must have when the
// program ends.
type Expect struct {
	Text   string // "ram[20]"
	Signal int    // index into Machine.Signals
	Index  uint64 // of a memory word
	Value  uint64
	At     diag.Place
}
