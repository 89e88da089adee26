// Package netlist writes the control store and networks for logic tools: Berkeley PLA form and Verilog.
package netlist

import (
	"errors"
	"fmt"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// Function says which lines are active where, as a sum of products, and which
// states cannot occur. Lines that other hardware drives are left out; active
// is 1, for a `low` line too.
type Function struct {
	Machine    string
	Title      string
	Hash       string // SHA-256 of the definition, 64 hex digits
	About      string // "control store", "matrix, plain style"
	OpcodeBits int
	Flags      []string
	Phases     int
	Lines      []string
	On         []Term
	Free       []Term // cannot occur: outranks On; they list no lines
}

// Term is on in its phases where its pattern matches.
type Term struct {
	Owner  string    // whose it is, for a comment
	When   cube.Cube // the opcode in the low OpcodeBits bits, flags above
	Phases []int     // ascending, from 1
	Lines  []int     // ascending, indices into Function.Lines
}

// Product is a row of a network: on in its phases where any of its patterns
// matches; none = always.
type Product struct {
	Owner  string
	When   []cube.Cube // as in Term
	Phases []int
	Lines  []int // columns of the store
}

// ErrNoLines is for a store whose lines are all driven by other hardware.
var ErrNoLines = errors.New("the control word drives no line: there is nothing to describe")

// Store is what the control store says. Inputs are the flags that are set
// from outside: where such a flag decides that a path ends, its later phases
// can occur. The error is ErrNoLines.
func Store(s *store.Store, inputs uint64) (*Function, error) {
	f, columns, err := blank(s, inputs)
	if err != nil {
		return nil, err
	}
	f.About = "control store"
	for _, r := range s.Rows {
		if lines := pick(r.Lines.Columns(), columns); len(lines) > 0 {
			f.On = append(f.On, Term{s.Owners[r.Owner].Name, joint(s, r.Opcode, r.Flags), []int{r.Phase}, lines})
		}
	}
	return f, nil
}

// Network is what the rows of a network say, with the states of the store that cannot occur.
// The error is ErrNoLines.
func Network(s *store.Store, inputs uint64, about string, rows []Product) (*Function, error) {
	f, columns, err := blank(s, inputs)
	if err != nil {
		return nil, err
	}
	f.About = about
	for _, r := range rows {
		lines := pick(r.Lines, columns)
		when := r.When
		if len(when) == 0 {
			when = []cube.Cube{{}}
		}
		for _, c := range when {
			if len(lines) > 0 {
				f.On = append(f.On, Term{r.Owner, c, r.Phases, lines})
			}
		}
	}
	return f, nil
}

// blank is a function that is nowhere on, and the line of each column, -1 for none.
func blank(s *store.Store, inputs uint64) (*Function, []int, error) {
	f := &Function{
		Machine: s.Machine, Title: s.Title, Hash: s.Hash,
		OpcodeBits: s.OpcodeBits, Flags: s.Flags, Phases: s.Phases,
	}
	columns := make([]int, len(s.Columns))
	for i, c := range s.Columns {
		columns[i] = -1
		if slices.Contains(s.Word.Bits, i) {
			columns[i] = len(f.Lines)
			f.Lines = append(f.Lines, c.Name)
		}
	}
	if len(f.Lines) == 0 {
		return nil, nil, ErrNoLines
	}
	for _, c := range s.Free {
		f.Free = append(f.Free, Term{Owner: "opcodes that are free", When: c, Phases: span(1, s.Phases)})
	}
	for _, r := range s.Rows {
		free := slices.ContainsFunc(s.Free, func(c cube.Cube) bool { return r.Opcode.Within(c) })
		if free || r.Flags.Care&inputs != 0 || r.Phase >= s.Phases {
			continue
		}
		for _, c := range r.Lines.Columns() {
			if s.Columns[c].Kind == store.Restart {
				owner := fmt.Sprintf("%s after its restart", s.Owners[r.Owner].Name)
				f.Free = append(f.Free, Term{Owner: owner, When: joint(s, r.Opcode, r.Flags), Phases: span(r.Phase+1, s.Phases)})
			}
		}
	}
	return f, columns, nil
}

func joint(s *store.Store, opcode, flags cube.Cube) cube.Cube {
	return cube.Cube{Care: opcode.Care | flags.Care<<s.OpcodeBits, Value: opcode.Value | flags.Value<<s.OpcodeBits}
}

func pick(columns, lines []int) []int {
	var out []int
	for _, c := range columns {
		if lines[c] >= 0 {
			out = append(out, lines[c])
		}
	}
	slices.Sort(out)
	return out
}

func span(from, to int) []int {
	out := make([]int, 0, to-from+1)
	for ; from <= to; from++ {
		out = append(out, from)
	}
	return out
}

// shortHash is the part of the definition's hash that text artefacts carry (language.md S.7).
func shortHash(hash string) string { return hash[:min(12, len(hash))] }
