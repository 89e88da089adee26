// Package program reads the program language (.prog) into compact arrays of statements.
package program

import (
	"unicode/utf8"

	"coilwright/lang/diag"
)

// Kind is the kind of a statement.
type Kind uint8

const (
	Empty       Kind = iota // nothing, or a label alone
	Broken                  // it did not parse; one error says why
	Instruction             // Name is the mnemonic, Args are its operands
	Assign                  // Name = Args[0]
	Expect                  // expect Name = Args[0], or expect Name[Args[0]] = Args[1]
	Text                    // text Args[0], a Characters node
	Include                 // include; the lines of the file follow
	// The directives below look like instructions: Name is the directive's own
	// word and Args are what follows, any number of them. A machine may have
	// a mnemonic of that name.
	At
	Byte
	Word
	Space
	In
)

// directives lists the words that begin a directive, by their index in Source.Names.
var directives = [...]struct {
	word string
	kind Kind
}{{"at", At}, {"byte", Byte}, {"word", Word}, {"text", Text}, {"space", Space}, {"in", In}, {"include", Include}, {"expect", Expect}}

// Directives lists the words that begin a directive.
func Directives() []string {
	out := make([]string, len(directives))
	for i, d := range directives {
		out[i] = d.word
	}
	return out
}

// Line is one line of a file with its statement. Offsets count bytes from the
// start of File.Text.
type Line struct {
	Number   uint32 // counts from 1
	From, To uint32 // the line without its end
	Code     uint32 // where the statement or its label begins; To if there is none
	End      uint32 // where the statement ends, before blanks and the comment
	Label    int32  // index into Source.Names, -1 without
	LabelAt  uint32
	Name     int32 // index into Source.Names, -1 without
	NameAt   uint32
	Args     uint32 // index of the first into Source.Args
	Count    uint32
	File     uint16 // index into Source.Files
	Kind     Kind
}

// Op is what a node does.
type Op uint8

const (
	Number     Op = iota // Value
	Name                 // Value is an index into Source.Names
	Characters           // a string: From..To without its quotes
	Add
	Sub
	Mul
	Div
	Neg
	Slice // of the value before the last two the bits from the one down to the other
	Bit   // of the value before the last the bit that it says
	Run   // all whole numbers from the one to the other
)

// Node is one node of an expression in postfix order: what it works on comes
// before it. From and To are where it stands: an operator's sign, a slice's brackets.
type Node struct {
	Value    uint64
	From, To uint32
	Op       Op
}

// Arg is one operand or value: nodes First to End-1 of Source.Nodes, the root
// last, and where it stands as a whole.
type Arg struct {
	First, End uint32
	From, To   uint32
}

// File is one file that was read. Text has no byte-order mark.
type File struct {
	Path  string
	Text  string
	ascii bool
}

// Source is a program with everything it includes.
type Source struct {
	Files []File   // in reading order
	Lines []Line   // of all files, an included file after the line that includes it
	Args  []Arg    //
	Nodes []Node   //
	Names []string // each name once; the directives come first
	// Lost lists names, by index, that stand on broken lines: what they would
	// have declared is unknown.
	Lost []int32
	// Incomplete is true if a file could not be read or was refused: any name
	// may be missing then, and what follows may stand elsewhere.
	Incomplete bool
	Text       diag.Sources // by path, as it was read
	Hash       string       // SHA-256 of the files in reading order, 64 hex digits
}

// Paths lists the files in reading order.
func (s *Source) Paths() []string {
	out := make([]string, len(s.Files))
	for i := range s.Files {
		out[i] = s.Files[i].Path
	}
	return out
}

// Of returns the operands or values of a line.
func (s *Source) Of(l *Line) []Arg { return s.Args[l.Args : l.Args+l.Count] }

// Place turns the bytes from..to of a line into a place.
func (s *Source) Place(l *Line, from, to uint32) diag.Place {
	return s.Files[l.File].place(int(l.Number), int(l.From), int(from), int(to))
}

func (f *File) place(line, start, from, to int) diag.Place {
	column, width := from-start, to-from
	if !f.ascii {
		column, width = utf8.RuneCountInString(f.Text[start:from]), utf8.RuneCountInString(f.Text[from:to])
	}
	return diag.Place{File: f.Path, Line: line, Column: column + 1, Width: max(1, width)}
}
