package network

import (
	"math/bits"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// phases of a set; see phaseSet in plain.go.
func (s *phaseSet) add(p int)     { s[p/64] |= 1 << (p % 64) }
func (s phaseSet) has(p int) bool { return s[p/64]>>(p%64)&1 == 1 }
func (s phaseSet) empty() bool    { return s == phaseSet{} }
func (s phaseSet) phases() []int  { return store.Set(s[:]).Columns() }
func (s phaseSet) len() int       { return store.Set(s[:]).Len() }
func (s phaseSet) within(t phaseSet) bool {
	for i := range s {
		if s[i]&^t[i] != 0 {
			return false
		}
	}
	return true
}

func (s phaseSet) and(t phaseSet) phaseSet {
	for i := range s {
		s[i] &= t[i]
	}
	return s
}

func (s phaseSet) or(t phaseSet) phaseSet {
	for i := range s {
		s[i] |= t[i]
	}
	return s
}

func (s phaseSet) minus(t phaseSet) phaseSet {
	for i := range s {
		s[i] &^= t[i]
	}
	return s
}

// piece is a cube of (opcode, flags) on which the store does not vary: opcode
// in the low bits, flags above.
type piece struct {
	at     cube.Cube
	group  string     // the owner's name without its operands
	owner  int        // index into the store's owners, -1 for fetch alone
	live   phaseSet   // phases that can occur; in the others nothing is demanded
	on     []phaseSet // by driven line: the live phases in which it is on
	frozen []uint64   // by phase: bits of `at` that are in change-over; nil if none ever is
}

// frozenIn returns the bits that are in change-over in some live phase of the set.
func (p *piece) frozenIn(w phaseSet) uint64 {
	if p.frozen == nil {
		return 0
	}
	var out uint64
	for i, word := range w.and(p.live) {
		for ; word != 0; word &= word - 1 {
			out |= p.frozen[i*64+bits.TrailingZeros64(word)]
		}
	}
	return out
}

// cut splits the states of a store into pieces. With free, states that cannot
// occur demand nothing: opcodes in Free, and the phases after the restart of a
// path, unless the path turns on a flag that may change by itself.
func cut(s *store.Store, ch store.Changes, driven []int, free bool) []piece {
	flagsMask := uint64(1)<<len(s.Flags) - 1
	rows := make([][]int, len(s.Owners))
	var fetch []int
	for i, r := range s.Rows {
		if s.Owners[r.Owner].Kind == "fetch" {
			fetch = append(fetch, i)
		} else {
			rows[r.Owner] = append(rows[r.Owner], i)
		}
	}
	restart := -1
	for i, c := range s.Columns {
		if c.Kind == store.Restart {
			restart = i
		}
	}
	index := map[int]int{}
	for i, l := range driven {
		index[l] = i
	}
	all := phaseSet{}
	for p := 1; p <= s.Phases; p++ {
		all.add(p)
	}
	moving := map[int][]store.Moving{}
	for _, m := range ch.Moving {
		moving[m.Phase] = append(moving[m.Phase], m)
	}

	var out []piece
	for o, owner := range s.Owners {
		if owner.Kind == "fetch" {
			continue
		}
		byOpcode := map[cube.Cube][]int{}
		for _, i := range rows[o] {
			byOpcode[s.Rows[i].Opcode] = append(byOpcode[s.Rows[i].Opcode], i)
		}
		for _, opcode := range owner.Opcodes {
			mine := append(append([]int(nil), fetch...), byOpcode[opcode]...)
			for _, flags := range leaves(s, mine) {
				p := piece{owner: o, group: strings.SplitN(owner.Name, " ", 2)[0], live: all, on: make([]phaseSet, len(driven))}
				p.at = cube.Cube{Care: opcode.Care | flags.Care<<s.OpcodeBits, Value: opcode.Value | flags.Value<<s.OpcodeBits}
				end, inputs := 0, uint64(0)
				for _, i := range mine {
					r := &s.Rows[i]
					if !flags.Within(r.Flags) {
						continue
					}
					for _, l := range r.Lines.Columns() {
						if k, ok := index[l]; ok {
							p.on[k].add(r.Phase)
						}
						if l == restart && (end == 0 || r.Phase < end) {
							end = r.Phase
						}
					}
					if r.Flags.Care&ch.Inputs != 0 {
						inputs |= r.Flags.Care
					}
				}
				if free && end > 0 && inputs == 0 {
					p.live = phaseSet{}
					for q := 1; q <= end; q++ {
						p.live.add(q)
					}
				}
				if free && isFree(s, opcode) {
					p.live = phaseSet{}
				}
				for k := range p.on {
					p.on[k] = p.on[k].and(p.live)
				}
				for q := 1; q <= s.Phases; q++ {
					for _, m := range moving[q] {
						if m.Opcode.Meets(opcode) && m.Flags.Meets(flags) {
							if p.frozen == nil {
								p.frozen = make([]uint64, s.Phases+1)
							}
							p.frozen[q] |= m.Bits | m.Tested&flagsMask<<s.OpcodeBits
						}
					}
				}
				out = append(out, p)
			}
		}
	}
	return out
}

func isFree(s *store.Store, opcode cube.Cube) bool {
	for _, f := range s.Free {
		if opcode.Within(f) {
			return true
		}
	}
	return false
}

// leaves splits the flags into disjoint cubes, none of which a row matches in part.
func leaves(s *store.Store, rows []int) []cube.Cube {
	var distinct []cube.Cube
	seen := map[cube.Cube]bool{}
	for _, i := range rows {
		if c := s.Rows[i].Flags; c.Care != 0 && !seen[c] {
			seen[c] = true
			distinct = append(distinct, c)
		}
	}
	var out []cube.Cube
	var split func(at cube.Cube)
	split = func(at cube.Cube) {
		for _, c := range distinct {
			if open := c.Care &^ at.Care; open != 0 && c.Meets(at) {
				n := bits.TrailingZeros64(open)
				split(at.With(n, 0))
				split(at.With(n, 1))
				return
			}
		}
		out = append(out, at)
	}
	split(cube.Cube{})
	return out
}
