// Package definition reads and lays out the definition language (.coil): tokens, syntax tree, parser, formatter.
package definition

import "coilwright/lang/diag"

// Name is an identifier and where it stands.
type Name struct {
	Text string
	At   diag.Place
}

// Number is a number or bit pattern exactly as it was spelt ("0x1F", "0000_01",
// "01??"), and where it stands. What it means depends on where it is used.
type Number struct {
	Text string
	At   diag.Place
}

// File is one source file as a list of declarations that parsed.
type File struct {
	Path  string
	Decls []Decl
	// Broken lists what could not be parsed, so that later stages do not
	// complain about its absence.
	Broken []Broken
}

// Broken is a declaration that was skipped after a syntax error: its keyword
// ("" if unknown), the name it would have declared ("" if unknown) and every
// name among the skipped tokens. One with At alone stands for a whole file or
// include that is missing.
type Broken struct {
	Keyword string
	Name    string
	Names   []string
	At      diag.Place
	// Beside is true if a part of it may be a declaration of its own that has
	// lost its keyword: one of any kind may be missing.
	Beside bool
}

// Decl is one top-level declaration.
type Decl interface {
	// Place is where its keyword stands.
	Place() diag.Place
}

type (
	Include struct {
		At     diag.Place
		Path   string
		PathAt diag.Place
	}
	Machine struct {
		At    diag.Place
		Name  Name
		Title string
	}
	Bus struct {
		At     diag.Place
		Name   Name
		Width  Number
		Traits []Trait
	}
	Register struct {
		At     diag.Place
		Name   Name
		Width  Number
		Traits []Trait
	}
	Flag struct {
		At     diag.Place
		Name   Name
		Traits []Trait
	}
	Memory struct {
		At     diag.Place
		Name   Name
		Words  Number
		Width  Number
		Traits []Trait
	}
	// Unit is either one expression (Value, By and Cases empty) or cases
	// picked by select lines (Value nil).
	Unit struct {
		At     diag.Place
		Name   Name
		Width  Number
		Settle *Number
		Value  Expr
		By     []Name
		Cases  []Case
	}
	Line struct {
		At      diag.Place
		Name    Name
		Effects []Effect
		Attrs   []Attr
	}
	Field struct {
		At      diag.Place
		Name    Name
		Width   Number
		Choices []Choice
	}
	Sequence struct {
		At   diag.Place
		Name Name
		Body Block
	}
	Fetch struct {
		At   diag.Place
		Body Block
	}
	Instruction struct {
		At       diag.Place
		Name     Name
		Operands []Operand
		Words    []Word
		Body     *Block // nil without a block
	}
	Undefined struct {
		At   diag.Place
		Name Name
	}
	Supply struct {
		At     diag.Place
		Values []Value
	}
	// Settings is a block of settings: sequencer, relay, diode, card,
	// connector, store or cost.
	Settings struct {
		At       diag.Place
		Keyword  string
		Name     *Name
		Settings []Setting
	}
)

func (d *Include) Place() diag.Place     { return d.At }
func (d *Machine) Place() diag.Place     { return d.At }
func (d *Bus) Place() diag.Place         { return d.At }
func (d *Register) Place() diag.Place    { return d.At }
func (d *Flag) Place() diag.Place        { return d.At }
func (d *Memory) Place() diag.Place      { return d.At }
func (d *Unit) Place() diag.Place        { return d.At }
func (d *Line) Place() diag.Place        { return d.At }
func (d *Field) Place() diag.Place       { return d.At }
func (d *Sequence) Place() diag.Place    { return d.At }
func (d *Fetch) Place() diag.Place       { return d.At }
func (d *Instruction) Place() diag.Place { return d.At }
func (d *Undefined) Place() diag.Place   { return d.At }
func (d *Supply) Place() diag.Place      { return d.At }
func (d *Settings) Place() diag.Place    { return d.At }

// Trait is a word after a bus, register, flag or memory: buffered, or 15:12 with it.
type Trait struct {
	Name   Name
	Hi, Lo *Number // both nil, or Hi alone, or both
}

// Attr is a word after a line: low, pulse 3.
type Attr struct {
	Name   Name
	Number *Number
}

// Effect is what a line does: "restart", "halt" (Word), or a transfer (Word empty).
type Effect struct {
	At     diag.Place
	Word   string
	Source Expr
	Target *Ref
}

// Case is one value of a unit: the bits of its select lines, in the order named.
type Case struct {
	Bits  Number
	Value Expr
}

// Choice is one value of a field.
type Choice struct {
	Name  Name
	Bits  Number
	Lines []Name
}

// Operand is NAME:WIDTH (Width set) or NAME:FIELD (Field set).
type Operand struct {
	Name   Name
	Width  *Number
	Field  *Name
	Traits []Name
}

// Word is one word of an encoding, most significant part first.
type Word struct {
	At    diag.Place
	Parts []Part
}

// Part is bits or '?' (Bits set) or an operand, perhaps cut (Ref set).
type Part struct {
	Bits   *Number
	Ref    *Name
	Hi, Lo *Number // nil without a slice; Lo nil for a single bit
}

// Setting is NAME values or PIN = values.
type Setting struct {
	Name   *Name
	Pin    *Number
	Values []Value
}

// Value is a number, perhaps with a unit, or a name.
type Value struct {
	Number *Number
	Unit   *Name
	Name   *Name
}

// Block is the statements between braces. Close is where the closing brace stands.
type Block struct {
	Open, Close diag.Place
	Stmts       []Stmt
}

// Stmt is one statement of a block.
type Stmt interface {
	// Place is where its keyword stands.
	Place() diag.Place
}

type (
	Step struct {
		At    diag.Place
		Names []Name
	}
	// When holds `else when` as an Else block with one When in it.
	When struct {
		At   diag.Place
		Not  bool
		Flag Name
		Then Block
		Else *Block
	}
	Hold struct {
		At    diag.Place
		Names []Name
		Body  Block
	}
	Pack struct {
		At   diag.Place
		Body Block
	}
	Do struct {
		At   diag.Place
		Name Name
	}
	Wait struct {
		At     diag.Place
		Phases Number
	}
	Except struct {
		At          diag.Place
		Left, Right Name
	}
)

func (s *Step) Place() diag.Place   { return s.At }
func (s *When) Place() diag.Place   { return s.At }
func (s *Hold) Place() diag.Place   { return s.At }
func (s *Pack) Place() diag.Place   { return s.At }
func (s *Do) Place() diag.Place     { return s.At }
func (s *Wait) Place() diag.Place   { return s.At }
func (s *Except) Place() diag.Place { return s.At }

// Expr is an expression.
type Expr interface {
	// Place is the range it covers.
	Place() diag.Place
}

type (
	// Binary is left-associative; mixing of operators is left to the machine
	// stage, which is why Group keeps the parentheses.
	Binary struct {
		Op          string // + - & | ^
		OpAt        diag.Place
		Left, Right Expr
	}
	Not struct {
		At diag.Place
		Of Expr
	}
	Group struct {
		At diag.Place
		Of Expr
	}
	Constant struct {
		Number Number
	}
	// Ref is a name, a call (Call true: a function, even with one argument)
	// and the slices or indices after it.
	Ref struct {
		Name   Name
		Call   bool
		Args   []Expr
		Slices []Slice
		At     diag.Place // the whole of it
	}
)

// Slice is [Hi] (Lo nil: an index or a single bit) or [Hi:Lo].
type Slice struct {
	At     diag.Place
	Hi, Lo Expr
}

func (e *Binary) Place() diag.Place   { return e.Left.Place().To(e.Right.Place()) }
func (e *Not) Place() diag.Place      { return e.At.To(e.Of.Place()) }
func (e *Group) Place() diag.Place    { return e.At }
func (e *Constant) Place() diag.Place { return e.Number.At }
func (e *Ref) Place() diag.Place      { return e.At }

// Source is a definition with everything it includes.
type Source struct {
	Files []*File      // in reading order
	Decls []Decl       // of all files, includes pasted where they stand
	Text  diag.Sources // by path
	Hash  string       // SHA-256 of the files in reading order, 64 hex digits
	// Incomplete is true if a file could not be read, was refused or is named
	// by an include that did not parse: any name may be missing then.
	Incomplete bool
}

// Paths lists the files in reading order.
func (s *Source) Paths() []string {
	out := make([]string, len(s.Files))
	for i, f := range s.Files {
		out[i] = f.Path
	}
	return out
}
