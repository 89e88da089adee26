package schedule

import (
	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
)

// Changes lists the phases in which contacts of the opcode and of tested flags
// travel: from the first strobe phase of a latch to its last + decode - 1
// (language.md P.6). The opcode is taken as moving as a whole, from whatever
// it was to whatever it will be.
func Changes(m *machine.Machine, p *Plan) store.Changes {
	var out store.Changes
	bit := map[int]int{}
	for i, f := range p.Tested {
		bit[f] = i
		if m.Signals[f].Input {
			out.Inputs |= 1 << i
		}
	}
	opcode := uint64(1)<<m.Opcode.Width() - 1
	seen := map[store.Moving]bool{}
	add := func(v store.Moving) {
		if !seen[v] {
			seen[v] = true
			out.Moving = append(out.Moving, v)
		}
	}
	latches := make([]struct{ bits, flags uint64 }, len(m.Lines))
	for i := range m.Lines {
		l := &m.Lines[i]
		if l.Kind != store.Latch {
			continue
		}
		if slice := machine.Bits(m.Opcode.Hi, m.Opcode.Lo); l.Writes(m.Opcode.Signal)&slice != 0 {
			latches[i].bits = opcode
		}
		for f, b := range bit {
			if l.Writes(f) != 0 {
				latches[i].flags |= 1 << b
			}
		}
	}
	for i := range p.Owners {
		o := &p.Owners[i]
		for _, path := range o.Paths {
			for k := range path.Steps {
				if k < path.Fetch && o.Kind != "fetch" {
					continue
				}
				for _, w := range path.Steps[k].On {
					l := latches[w.Line]
					if l.bits|l.flags == 0 {
						continue
					}
					cubes := o.Opcodes
					if o.Kind == "fetch" {
						cubes = []cube.Cube{{}}
					}
					flags := cube.Cube{Care: path.Flags.Care &^ l.flags, Value: path.Flags.Value &^ l.flags}
					end := p.Phases
					if path.Restart > 0 {
						end = path.Restart
					}
					for phase := w.StrobeFrom; phase < w.StrobeTo+m.Sequencer.Decode; phase++ {
						if phase > end {
							// The ring has gone round: what follows may be any opcode.
							add(store.Moving{Phase: min(phase-end, p.Phases), Bits: l.bits, Tested: l.flags})
							continue
						}
						for _, c := range cubes {
							add(store.Moving{Opcode: c, Flags: flags, Phase: phase, Bits: l.bits, Tested: l.flags})
						}
					}
				}
			}
		}
	}
	return out
}
