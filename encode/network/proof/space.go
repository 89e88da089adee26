package proof

import (
	"math/bits"

	"coilwright/encode/cube"
)

// variable is an opcode bit or a flag whose values are tried.
type variable struct {
	flag bool
	n    int
}

// variables lists what has to be tried: every flag, and the opcode bits that
// the network or the store looks at. Flags come first, so that states count up
// by opcode.
func variables(p *prover) []variable {
	var seen uint64
	w := p.circuit
	for i, n := range w.opcode {
		if n >= 0 && !w.alone[n] {
			seen |= 1 << i
		}
	}
	for _, r := range p.store.Rows {
		seen |= r.Opcode.Care
	}
	for _, c := range p.store.Free {
		seen |= c.Care
	}
	for _, m := range p.changes.Moving {
		seen |= m.Opcode.Care
	}
	var out []variable
	for i := range p.store.Flags {
		out = append(out, variable{true, i})
	}
	for i := range p.store.OpcodeBits {
		if seen>>i&1 == 1 {
			out = append(out, variable{false, i})
		}
	}
	return out
}

// space numbers the values of its variables: bit i of a number is variable i.
// The lowest six are the lanes of a word.
type space struct {
	vars []variable
	all  uint64 // lanes in use
}

func newSpace(vars []variable) space {
	s := space{vars: vars, all: ^uint64(0)}
	if n := len(vars); n < 6 {
		s.all = 1<<(1<<n) - 1
	}
	return s
}

// blocks is the number of words that the space takes.
func (s space) blocks() uint64 {
	if len(s.vars) <= 6 {
		return 1
	}
	return 1 << (len(s.vars) - 6)
}

// lanePattern[i] has a bit on for every lane with bit i of its number on.
var lanePattern = [6]uint64{
	0xaaaaaaaaaaaaaaaa, 0xcccccccccccccccc, 0xf0f0f0f0f0f0f0f0,
	0xff00ff00ff00ff00, 0xffff0000ffff0000, 0xffffffff00000000,
}

// value is variable i in the lanes of a block.
func (s space) value(i int, block uint64) uint64 {
	if i < 6 {
		return lanePattern[i]
	}
	return -(block >> (i - 6) & 1)
}

// pattern is a cube over a space.
type pattern struct {
	lanes       uint64
	care, value uint64 // over the number of the block
}

func (p pattern) at(block uint64) uint64 {
	if block&p.care != p.value {
		return 0
	}
	return p.lanes
}

// pattern turns a cube of opcode and flags into one over the space. Bits that
// the space does not have are left out.
func (s space) pattern(opcode, flags cube.Cube) pattern {
	p := pattern{lanes: ^uint64(0)}
	for i, v := range s.vars {
		c := opcode
		if v.flag {
			c = flags
		}
		if c.Care>>v.n&1 == 0 {
			continue
		}
		on := c.Value>>v.n&1 == 1
		switch {
		case i >= 6:
			p.care |= 1 << (i - 6)
			if on {
				p.value |= 1 << (i - 6)
			}
		case on:
			p.lanes &= lanePattern[i]
		default:
			p.lanes &^= lanePattern[i]
		}
	}
	return p
}

// decode is the opcode and flags of a lane.
func (s space) decode(block uint64, lane int) (opcode, flags uint64) {
	n := block<<6 | uint64(lane)
	for i, v := range s.vars {
		if n>>i&1 == 0 {
			continue
		}
		if v.flag {
			flags |= 1 << v.n
		} else {
			opcode |= 1 << v.n
		}
	}
	return opcode, flags
}

// without is the space without the variables in change-over, and those apart.
func (s space) without(opcode, flags uint64) (rest, moving []variable) {
	for _, v := range s.vars {
		m := opcode
		if v.flag {
			m = flags
		}
		if m>>v.n&1 == 1 {
			moving = append(moving, v)
		} else {
			rest = append(rest, v)
		}
	}
	return rest, moving
}

// words is the store over a space: which lanes ask for what, and which can occur.
type words struct {
	space  space
	free   []pattern
	rows   [][]wordRow // by phase
	back   [][]pattern // by phase: the path ends, for certain
	unsure [][]pattern // by phase: the path ends unless a flag from outside has changed
}

type wordRow struct {
	pattern
	columns []int
}

func (p *prover) words(s space) *words {
	st := p.store
	w := &words{
		space: s, rows: make([][]wordRow, st.Phases+1),
		back: make([][]pattern, st.Phases+1), unsure: make([][]pattern, st.Phases+1),
	}
	for _, c := range st.Free {
		w.free = append(w.free, s.pattern(c, cube.Cube{}))
	}
	for _, r := range st.Rows {
		if r.Phase < 1 || r.Phase > st.Phases {
			continue
		}
		row := wordRow{pattern: s.pattern(r.Opcode, r.Flags)}
		for _, c := range r.Lines.Columns() {
			if st.Columns[c].Kind == "restart" {
				if r.Flags.Care&p.changes.Inputs == 0 {
					w.back[r.Phase] = append(w.back[r.Phase], row.pattern)
				} else {
					w.unsure[r.Phase] = append(w.unsure[r.Phase], row.pattern)
				}
			}
			if p.driven[c] && !p.mute[c] {
				row.columns = append(row.columns, c)
			}
		}
		w.rows[r.Phase] = append(w.rows[r.Phase], row)
	}
	return w
}

// occurs fills by phase the lanes of a block that can occur; [0] is those of no phase.
func (w *words) occurs(block uint64, out []uint64) {
	live := w.space.all
	for _, f := range w.free {
		live &^= f.at(block)
	}
	out[0] = live
	for phase := 1; phase < len(out); phase++ {
		out[phase] = live
		for _, b := range w.back[phase] {
			live &^= b.at(block)
		}
	}
}

// ends returns the lanes whose path ends in a phase, for certain and perhaps.
func (w *words) ends(block uint64, phase int) (sure, perhaps uint64) {
	for _, b := range w.back[phase] {
		sure |= b.at(block)
	}
	for _, b := range w.unsure[phase] {
		perhaps |= b.at(block)
	}
	return sure, perhaps | sure
}

// add ORs the lanes in which the store asks for each column.
func (w *words) add(block uint64, phase int, out []uint64) {
	for i := range w.rows[phase] {
		r := &w.rows[phase][i]
		lanes := r.at(block)
		if lanes == 0 {
			continue
		}
		for _, c := range r.columns {
			out[c] |= lanes
		}
	}
}

// opcodes counts the opcodes that can occur.
func (p *prover) opcodes() uint64 {
	if len(p.store.Free) == 0 {
		return 1 << p.store.OpcodeBits
	}
	n := uint64(0)
	for _, c := range cube.Complement(p.store.Free, p.store.OpcodeBits) {
		n += 1 << (p.store.OpcodeBits - bits.OnesCount64(c.Care))
	}
	return n
}

// untried is how many opcodes one tried opcode stands for; moving bits do not count.
func (p *prover) untried(moving uint64) uint64 {
	left := (uint64(1)<<p.store.OpcodeBits - 1) &^ moving
	for _, v := range p.vars {
		if !v.flag {
			left &^= 1 << v.n
		}
	}
	return 1 << bits.OnesCount64(left)
}
