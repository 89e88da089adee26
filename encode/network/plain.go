package network

import (
	"cmp"
	"fmt"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

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
