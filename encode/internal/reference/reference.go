// Package reference is the slow, obvious meaning of a definition, for tests; it imports nothing else of encode.
//
// It is a second reading of the language's page: names are looked up naively,
// every path is a list of steps, and a step is tried one phase later and
// again one phase later until every rule of section P holds on the chart.
// Letters and numbers such as P.6 name the rules of that page.
package reference

import (
	"fmt"

	"coilwright/lang/definition"
)

// Meaning is what a definition means: which lines are on for every opcode,
// flags and phase.
type Meaning struct {
	Phases     int      // of the ring
	Lines      []string // as declared
	Flags      []string // that some `when` tests, as declared
	OpcodeBits int      // width of the opcode slice
	Paths      []Path   // for debugging: every path of every owner

	owners []*owner
}

// Path is one way through an owner.
type Path struct {
	Owner   string          // "undefined", or the mnemonic and its field values
	Flags   map[string]bool // the arms taken
	Strobes []int           // first strobe phase of each step, fetch first
	Last    int             // last phase (P.7), idle phases included
	Restart int             // phase of the restart line, 0 without one
	On      map[string][]int
}

// On tells which lines are on, in the order of Lines. Bit i of flags is
// Flags[i]; phases count from 1, and past the ring nothing is on.
func (m *Meaning) On(opcode, flags uint64, phase int) []bool {
	on := make([]bool, len(m.Lines))
	if phase < 1 || phase > m.Phases {
		return on
	}
	who := m.owners[len(m.owners)-1] // the undefined opcodes come last
	for _, o := range m.owners {
		if o.cube != nil && o.cube.matches(opcode) {
			who = o
		}
	}
	for _, p := range who.paths {
		if !p.taken(flags, m.Flags) {
			continue
		}
		for _, line := range p.on[phase] {
			on[line] = true
		}
	}
	return on
}

// rejection is how a broken rule travels up to Evaluate.
type rejection struct{ text string }

func reject(rule, format string, args ...any) {
	panic(rejection{rule + ": " + fmt.Sprintf(format, args...)})
}

// Evaluate works out what a definition means. The error says which rule of
// the language's page rejects it.
func Evaluate(src *definition.Source) (meaning *Meaning, err error) {
	defer func() {
		if r := recover(); r != nil {
			no, ok := r.(rejection)
			if !ok {
				panic(r)
			}
			meaning, err = nil, fmt.Errorf("%s", no.text)
		}
	}()
	m := resolve(src)
	ring := m.encode()
	meaning = &Meaning{
		Phases:     ring.phases,
		OpcodeBits: m.hi - m.lo + 1,
		Flags:      ring.flags,
		owners:     ring.owners,
	}
	for _, l := range m.lines {
		meaning.Lines = append(meaning.Lines, l.name)
	}
	for _, o := range ring.owners {
		for _, p := range o.paths {
			out := Path{Owner: o.name, Flags: map[string]bool{}, Last: p.last, Restart: p.restart, On: map[string][]int{}}
			for _, t := range p.tests {
				out.Flags[t.flag] = t.on
			}
			for _, s := range p.steps {
				out.Strobes = append(out.Strobes, s.strobe)
			}
			for phase := 1; phase <= ring.phases; phase++ {
				for _, line := range p.on[phase] {
					name := m.lines[line].name
					out.On[name] = append(out.On[name], phase)
				}
			}
			meaning.Paths = append(meaning.Paths, out)
		}
	}
	return meaning, nil
}
