package netlist

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math/bits"
	"strings"

	"coilwright/encode/cube"
)

// PhaseForm says how a PLA file has the phase.
type PhaseForm string

const (
	PhaseValues PhaseForm = "values" // one variable of as many values as the ring has phases (.mv)
	PhaseOnehot PhaseForm = "onehot" // one input a phase wire
	PhaseBinary PhaseForm = "binary" // phase - 1 as a binary number, as in an address of the store
)

// PhaseForms lists every form in the order that help texts show them.
func PhaseForms() []PhaseForm { return []PhaseForm{PhaseValues, PhaseOnehot, PhaseBinary} }

// LargestTerms is the most terms a PLA file may have.
const LargestTerms = 1 << 22

// ErrTooLarge is wrapped by the error for a file of more than LargestTerms terms.
var ErrTooLarge = errors.New("too large for a PLA file")

// PLA writes the function in Berkeley PLA form, type fd: a 1 in an output is on,
// a - cannot occur and outranks a 1, a ~ says nothing. Inputs are the opcode
// from its top bit down, the flags, and the phase.
//
// With PhaseOnehot a term that is on looks at its own phase wire alone, as a
// network does: with no wire powered nothing is on, with two what either has
// on. With PhaseBinary numbers past the ring cannot occur.
func PLA(w io.Writer, f *Function, form PhaseForm) error {
	p := &plaWriter{f: f, form: form, out: bufio.NewWriterSize(w, 64<<10)}
	p.on, p.free = len(f.On), len(f.Free)
	if form != PhaseValues {
		p.on, p.free = 0, 0
		for _, t := range f.On {
			p.on += len(t.Phases)
		}
		for _, t := range f.Free {
			p.free += len(p.phases(t.Phases, true))
		}
		if form == PhaseBinary {
			p.free += len(p.phases(p.pastRing(), true))
		}
	}
	if p.on+p.free > LargestTerms {
		return fmt.Errorf("%d terms, at most %d can be written: %w", p.on+p.free, LargestTerms, ErrTooLarge)
	}
	p.header()
	for _, t := range f.On {
		p.terms(t, false)
	}
	for _, t := range f.Free {
		p.terms(t, true)
	}
	if past := p.pastRing(); form == PhaseBinary && len(past) > 0 {
		p.terms(Term{Owner: "past the ring", Phases: past}, true)
	}
	fmt.Fprintln(p.out, ".e")
	return p.out.Flush()
}

type plaWriter struct {
	f        *Function
	form     PhaseForm
	out      *bufio.Writer
	on, free int
	owner    string
}

// phaseBits is how wide the phase is as a binary number.
func (p *plaWriter) phaseBits() int { return bits.Len(uint(p.f.Phases - 1)) }

// pastRing are the phases that the binary number can name and the ring does not have.
func (p *plaWriter) pastRing() []int { return span(p.f.Phases+1, 1<<p.phaseBits()) }

func (p *plaWriter) header() {
	f := p.f
	fmt.Fprintf(p.out, "# %s: %s in Berkeley PLA form, sha256 %s\n", f.Machine, f.About, shortHash(f.Hash))
	if f.Title != "" {
		fmt.Fprintf(p.out, "# %s\n", f.Title)
	}
	fmt.Fprint(p.out, "# In: the opcode from its top bit down, the flags, the phase.\n"+
		"# Out: 1 = the line is active, also if it is a low one; - = cannot occur (free\n"+
		"# opcodes, phases after a restart), which outranks a 1.\n")
	n := newNames()
	ports := newPorts(n, f.OpcodeBits, f.Flags, f.Phases, f.Lines)
	inputs := ports.condition()
	switch p.form {
	case PhaseValues:
		fmt.Fprintf(p.out, "# The phase is one variable of %d values, phase 1 first.\n", f.Phases)
		fmt.Fprintf(p.out, ".mv %d %d %d %d\n", len(inputs)+2, len(inputs), f.Phases, len(f.Lines))
	case PhaseOnehot:
		fmt.Fprint(p.out, "# The phase is one input a wire. With none powered nothing is on, with two what\n"+
			"# either has on.\n")
		inputs = append(inputs, ports.phases...)
	case PhaseBinary:
		fmt.Fprint(p.out, "# The phase less 1 is a binary number, its top bit first.\n")
		for i := p.phaseBits() - 1; i >= 0; i-- {
			inputs = append(inputs, n.give(fmt.Sprintf("phase_bit_%d", i)))
		}
	}
	if p.form != PhaseValues {
		fmt.Fprintf(p.out, ".i %d\n.o %d\n", len(inputs), len(f.Lines))
	}
	fmt.Fprint(p.out, ".type fd\n")
	if len(inputs) > 0 {
		fmt.Fprintf(p.out, ".ilb %s\n", strings.Join(inputs, " "))
	}
	fmt.Fprintf(p.out, ".ob %s\n.p %d\n", strings.Join(ports.lines, " "), p.on+p.free)
}

// phases returns the phase part of the terms that are necessary for a list of phases.
func (p *plaWriter) phases(list []int, free bool) []string {
	switch p.form {
	case PhaseValues:
		part := []byte(strings.Repeat("0", p.f.Phases))
		for _, n := range list {
			part[n-1] = '1'
		}
		return []string{string(part)}
	case PhaseOnehot:
		other := "-"
		if free { // exactly this wire: the others may ask for something
			other = "0"
		}
		var out []string
		for _, n := range list {
			out = append(out, strings.Repeat(other, n-1)+"1"+strings.Repeat(other, p.f.Phases-n))
		}
		return out
	}
	var out []string
	for _, c := range blocks(list, free) {
		out = append(out, dashes(c, p.phaseBits()))
	}
	return out
}

// blocks turns phases into binary numbers, or, where they are free, runs of
// them into the aligned blocks that they hold.
func blocks(list []int, joined bool) []cube.Cube {
	var out []cube.Cube
	for i := 0; i < len(list); {
		n, size := list[i]-1, 1
		for joined && n%(2*size) == 0 && i+2*size <= len(list) && list[i+2*size-1] == n+2*size {
			size *= 2
		}
		care := ^uint64(0) &^ uint64(size-1)
		out = append(out, cube.Cube{Care: care, Value: uint64(n)})
		i += size
	}
	return out
}

// dashes writes a pattern with a - for a bit that does not matter.
func dashes(c cube.Cube, width int) string { return strings.ReplaceAll(c.Text(width), "?", "-") }

func (p *plaWriter) terms(t Term, free bool) {
	f := p.f
	if t.Owner != p.owner {
		p.owner = t.Owner
		fmt.Fprintf(p.out, "# %s\n", t.Owner)
	}
	opcode := cube.Cube{Care: t.When.Care & (1<<f.OpcodeBits - 1), Value: t.When.Value & (1<<f.OpcodeBits - 1)}
	in := dashes(opcode, f.OpcodeBits)
	for i := range f.Flags {
		flag := cube.Cube{Care: t.When.Care >> (f.OpcodeBits + i) & 1, Value: t.When.Value >> (f.OpcodeBits + i) & 1}
		in += dashes(flag, 1)
	}
	out := []byte(strings.Repeat("~", len(f.Lines)))
	if free {
		out = []byte(strings.Repeat("-", len(f.Lines)))
	}
	for _, l := range t.Lines {
		out[l] = '1'
	}
	for _, phase := range p.phases(t.Phases, free) {
		if p.form == PhaseValues {
			if in != "" {
				fmt.Fprintf(p.out, "%s|", in)
			}
			fmt.Fprintf(p.out, "%s|%s\n", phase, out)
			continue
		}
		fmt.Fprintf(p.out, "%s%s %s\n", in, phase, out)
	}
}
