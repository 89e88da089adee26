package network

import (
	"cmp"
	"fmt"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// Plain turns a store into the plain style: one row for each (owner, flags,
// set of phases), with pulse wires shared, placed on as many cards of the
// first kind in hw as are necessary. The rows of the result, each powered in
// its phases for its opcodes and flags, put on exactly the lines of s that the
// control word drives; those that other hardware drives (`omit`) are left out.
//
// If a row or pulse wire does not fit on an empty card the matrix is nil and
// the list says what to change: card-row-too-wide, card-pins. Hardware whose
// cards keep every row spare never gets here: the machine stage refuses it.
func Plain(s *store.Store, hw machine.Hardware) (*Matrix, diag.List) {
	m := &Matrix{
		Machine: s.Machine, Title: s.Title, Hash: s.Hash, Style: "plain",
		Phases: s.Phases, OpcodeBits: s.OpcodeBits, Flags: s.Flags, Columns: s.Columns,
		Board: hw.Cards[0],
	}
	driven := store.NewSet(len(s.Columns))
	for _, c := range s.Word.Bits {
		if c >= 0 {
			driven.Add(c)
		}
	}
	for i := range s.Columns {
		if !driven.Has(i) {
			m.Omitted = append(m.Omitted, i)
		}
	}
	drafts := gather(s, driven)
	for _, d := range drafts {
		m.Rows = append(m.Rows, d.Row)
	}
	name(m)
	if list := refuse(m, s, drafts); len(list) > 0 {
		return nil, list
	}
	place(m)
	return m, nil
}

// phaseSet has bit p%64 of word p/64 set for phase p; phases are 1 to 256.
type phaseSet [5]uint64

// draft is a row with what it is sorted by.
type draft struct {
	Row
	owner    int
	flagRank int // order in which the owner's flag cubes first appear in the store
}

// gather groups the lines of the store into rows. What an owner needs is
// worked out for each opcode cube by itself; cubes that need the same share a row.
func gather(s *store.Store, driven store.Set) []draft {
	type condition struct {
		owner int
		flags cube.Cube
	}
	type pattern struct {
		condition
		opcode cube.Cube
	}
	var order []pattern
	ranks := map[condition]int{}
	on := map[pattern]map[int]*phaseSet{}
	for _, r := range s.Rows {
		k := pattern{condition{r.Owner, r.Flags}, r.Opcode}
		lines := on[k]
		if lines == nil {
			lines = map[int]*phaseSet{}
			on[k] = lines
			order = append(order, k)
			if _, ok := ranks[k.condition]; !ok {
				ranks[k.condition] = len(ranks)
			}
		}
		for _, l := range r.Lines.Columns() {
			if !driven.Has(l) {
				continue
			}
			if lines[l] == nil {
				lines[l] = new(phaseSet)
			}
			lines[l][r.Phase/64] |= 1 << (r.Phase % 64)
		}
	}

	type need struct {
		condition
		phases phaseSet
		lines  string
	}
	at := map[need]int{}
	var out []draft
	for _, k := range order {
		byPhases := map[phaseSet][]int{}
		for l, p := range on[k] {
			byPhases[*p] = append(byPhases[*p], l)
		}
		for p, lines := range byPhases {
			slices.Sort(lines)
			n := need{k.condition, p, fmt.Sprint(lines)}
			i, ok := at[n]
			if !ok {
				i = len(out)
				at[n] = i
				o := s.Owners[k.owner]
				out = append(out, draft{
					Row:   Row{Owner: o.Name, Kind: o.Kind, Flags: k.flags, Phases: store.Set(p[:]).Columns(), Pulse: -1, Lines: lines},
					owner: k.owner, flagRank: ranks[k.condition],
				})
			}
			out[i].Opcodes = append(out[i].Opcodes, k.opcode)
		}
	}
	slices.SortFunc(out, func(a, b draft) int {
		return cmp.Or(
			cmp.Compare(a.owner, b.owner), cmp.Compare(a.flagRank, b.flagRank),
			slices.Compare(a.Phases, b.Phases), slices.Compare(a.Lines, b.Lines))
	})
	for i := range out {
		if slices.Contains(out[i].Opcodes, cube.Cube{}) {
			out[i].Opcodes = nil
		}
	}
	return out
}

// name numbers the rows, and makes a pulse wire for each set of several phases in order of first use.
func name(m *Matrix) {
	pulses := map[string]int{}
	for i := range m.Rows {
		r := &m.Rows[i]
		r.Name = fmt.Sprintf("R%d", i+1)
		if len(r.Phases) < 2 {
			continue
		}
		key := fmt.Sprint(r.Phases)
		p, ok := pulses[key]
		if !ok {
			p = len(m.Pulses)
			pulses[key] = p
			m.Pulses = append(m.Pulses, Pulse{Name: fmt.Sprintf("P%d", p+1), Phases: r.Phases})
		}
		r.Pulse = p
	}
}
