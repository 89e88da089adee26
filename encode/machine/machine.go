// Package machine is the resolved machine as plain data, and the checks that need no schedule.
package machine

import (
	"coilwright/encode/cube"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// SignalKind tells what holds or carries bits.
type SignalKind int

const (
	Bus SignalKind = iota
	Register
	Flag
	Memory
)

// Signal is a bus, register, flag or memory.
type Signal struct {
	Name  string
	Kind  SignalKind
	Width int    // bits; of a word for a memory; 1 for a flag
	Words uint64 // of a memory, else 0
	At    diag.Place

	Or       bool // bus: several sources at once are wanted
	Buffered bool // register: two ranks
	Input    bool // register, flag: set from outside
	Latching bool // register: keeps its value without power
	Program  bool // memory: holds the program
	Little   bool // memory: byte order of words over 8 bits
}

// Op is the operation of an expression node.
type Op int

const (
	Const  Op = iota // Value
	Read             // bits Hi..Lo of Signal (a bus, register or flag)
	Fetch            // bits Hi..Lo of Signal (a memory) at Args[0]
	Apply            // bits Hi..Lo of Unit
	Add              // Args[0] + Args[1], modulo 2^Width
	Sub              // Args[0] - Args[1], modulo 2^Width
	And              //
	Or               //
	Xor              //
	Not              // ones' complement
	Carry            // of Args[0]: a sum, difference or unit; Width 1
	Zero             // Args[0] is all zeros; Width 1
	Sign             // top bit of Args[0]; Width 1
	Rol              // by one place
	Ror              //
	Shl              //
	Shr              //
	Join             // Args[0] above Args[1]
	Cut              // bits Hi..Lo of Args[0]
	Extend           // Args[0] with zeros on top
)

// Expr is an expression node. Width is that of its value in bits.
type Expr struct {
	Op     Op
	Width  int
	Args   []*Expr
	Signal int
	Unit   int
	Hi, Lo int
	Value  uint64
	At     diag.Place
}

// Unit is a named function with a settling time. Without select lines Cases has one entry.
type Unit struct {
	Name   string
	Width  int
	Settle int     // phases
	By     []int   // select lines; bit len(By)-1-i of a case number is By[i] on
	Cases  []*Expr // 1<<len(By), by case number
	At     diag.Place
}

// Target is what a transfer sets: bits Hi..Lo of a signal; Index for a memory.
type Target struct {
	Signal int
	Hi, Lo int
	Index  *Expr
	At     diag.Place
}

// Transfer is one effect of a line. Source is as wide as the target.
type Transfer struct {
	Source *Expr
	Target Target
	At     diag.Place
}

// Line is a control line.
type Line struct {
	Name    string
	Kind    store.Kind
	Effects []Transfer
	Low     bool
	Set     bool
	Lead    int // phases; the defaults are filled in
	Trail   int
	Pulse   int // phases the strobe lasts: latches and outputs, else 1
	Coils   int // relay coils the line drives; 1 unless declared
	At      diag.Place
	// Joins is true for a gate between two buses, which joins them both ways.
	Joins bool
}

// NodeKind is the kind of a body node.
type NodeKind int

const (
	Step NodeKind = iota
	When
	Hold
	Pack
	Wait
)

// Node is one statement of a body; `do` is pasted, operands are replaced by the lines they pick.
type Node struct {
	Kind  NodeKind
	Lines []int        // Step, Hold: in the order written, each once
	Where []diag.Place // Step, Hold: by line, the name or operand that brings it
	None  bool         // Step: `none` is among the names
	Flag  int          // When: the signal tested
	Then  []Node       // When: flag on; Hold, Pack: the statements inside
	Else  []Node       // When: flag off (`when not` has been turned round)
	Not   bool         // When: was written `when not`
	Wait  int          // Wait: phases
	At    diag.Place
	Via   []diag.Place // the `do`s it was pasted through, outermost first
}

// Place returns where the statement names a line, or the statement's own place if it does not.
func (n *Node) Place(line int) diag.Place {
	for i, l := range n.Lines {
		if l == line && i < len(n.Where) {
			return n.Where[i]
		}
	}
	return n.At
}

// Operand of an instruction.
type Operand struct {
	Name     string
	Width    int
	Field    int // index into Fields, -1 for a number
	Signed   bool
	Relative bool
	At       diag.Place
}

// Part is a run of bits of an encoding word: a pattern (Operand -1; Care tells
// the fixed bits from those that do not matter) or bits Hi..Lo of an operand.
type Part struct {
	Width       int
	Operand     int
	Care, Value uint64
	Hi, Lo      int
}

// Word is one word of an encoding, most significant part first.
type Word struct {
	Width int
	Parts []Part
}

// Variant is an instruction with its decoded field operands chosen.
type Variant struct {
	Name   string    // "move d=tmp s=acc"
	Values []int     // by operand: index of the field's choice, -1 if not chosen here
	Opcode cube.Cube // over the opcode slice
	Body   []Node    // shared between variants that pick the same lines
}

// Exclusion is an `except`: operand Left equals operand Right, or the choice
// Choice of Left's field (Right -1).
type Exclusion struct {
	Left, Right, Choice int
	At                  diag.Place
}

// Instruction is one declaration with its variants, first operand slowest.
type Instruction struct {
	Name     string
	Operands []Operand
	Words    []Word
	Except   []Exclusion
	Variants []Variant
	At       diag.Place
	// Broken is true if it has errors: its variants may be missing, and later
	// stages leave it out.
	Broken bool
}

// Choice is one value of a field.
type Choice struct {
	Name  string
	Bits  uint64
	Lines []int
	None  bool // stands for `none` in a step
	At    diag.Place
}

// Field of the encoding.
type Field struct {
	Name    string
	Width   int
	Choices []Choice
	At      diag.Place
}

// Undefined says what opcodes without an instruction do (language.md E.5).
type Undefined string

const (
	UndefinedRestart Undefined = "restart"
	UndefinedIdle    Undefined = "idle"
	UndefinedHalt    Undefined = "halt"
	UndefinedFree    Undefined = "free"
)

// Sequencer is the ring.
type Sequencer struct {
	Phases  int // fixed by the definition; 0 = as many as needed
	Lead    int
	Trail   int
	Decode  int
	Dead    int
	Cuts    bool    // restart cuts
	Gap     float64 // s, change-over with no phase wire powered
	Overlap float64 // s, change-over with both powered
	Period  float64 // s a phase
	At      diag.Place
}

// Relay, Diode, Card, Connector, Cost: see language.md, "Settings and their defaults". SI units.
type (
	Relay struct {
		CoilVolts, CoilOhms         float64
		Poles                       int
		Operate, Release, Bounce    float64 // s
		Pickup, Dropout             float64 // fraction of CoilVolts
		ContactAmperes, ContactOhms float64
		Suppression                 string // none, diode, zener
	}
	Diode struct {
		Drop   float64 // V
		Limit  float64 // A
		Levels int
	}
	Card struct {
		Name     string
		Relays   int
		Rows     int
		Columns  int
		Pins     int
		Spare    int  // rows kept free
		Negative bool // feed negative: the band of a diode faces the row
		Fixed    []Pin
		At       diag.Place
	}
	// Pin of a connector that the definition fixes: a line, or "ground" or "supply".
	Pin struct {
		Number int
		Line   int    // -1 for a use that is no line
		Use    string // "ground", "supply" or the line's name
		At     diag.Place
	}
	Cost struct {
		Relay, Contact, Diode, Joint float64
	}
	Hardware struct {
		Relay  Relay
		Diode  Diode
		Supply float64 // V
		Cards  []Card  // at least one: the first carries the matrix
		Cost   Cost
	}
)

// Opcode is the slice of a register that is decoded.
type Opcode struct {
	Signal int
	Hi, Lo int
}

// Width of the slice in bits.
func (o Opcode) Width() int { return o.Hi - o.Lo + 1 }

// Machine is a definition with every name resolved and every default filled in.
type Machine struct {
	Name, Title  string
	At           diag.Place
	Hash         string // SHA-256 of the definition's files in reading order
	Sequencer    Sequencer
	Signals      []Signal
	Units        []Unit
	Lines        []Line
	Fields       []Field
	Opcode       Opcode
	Fetch        []Node
	FetchAt      diag.Place
	FetchBroken  bool // fetch is missing or has errors: nothing can be scheduled
	Instructions []Instruction
	Undefined    Undefined
	UndefinedAt  diag.Place
	Untimed      bool  // some lead, trail, pulse, settling time or setting of the sequencer is in error: that a path is long or late says nothing
	Restart      int   // line, -1 without
	Halt         int   // line, -1 without
	Tested       []int // flags that some `when` tests, as declared
	Word         store.Word
	Hardware     Hardware
}
