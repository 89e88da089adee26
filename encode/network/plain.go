package network

import (
	"cmp"
	"math/bits"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// phaseSet has bit p%64 of word p/64 set for phase p; phases are 1 to 256.
type phaseSet [5]uint64

// group is what rows are told apart by before their phases are looked at.
type group struct {
	owner int
	flags cube.Cube
}

// asking is a group for one opcode cube, with the store rows that have it.
type asking struct {
	group
	opcode cube.Cube
	rank   int // of its group, in order of appearance
	rows   []int32
}

// draft is a row with what it is sorted by.
type draft struct {
	Row
	owner    int
	flagRank int // order in which the owner's flag cubes first appear in the store
}

// gather groups the lines of the store into rows. What an owner needs is
// worked out for each opcode cube by itself; cubes that need the same share a row.
func gather(s *store.Store, driven store.Set) []draft {
	askings, opcodes := askingsOf(s)
	w := &gathering{out: make([]draft, 0, min(3*len(opcodes), len(s.Rows))), lists: phaseLists{}, drawn: make([][]int, len(opcodes)), opcodes: opcodes}
	var lit []litLine
	column := make([]int, len(s.Columns)) // 1 + index into lit
	for i := 0; i < len(askings); {
		owner := askings[i].owner
		first := len(w.out)
		for ; i < len(askings) && askings[i].owner == owner; i++ {
			p := &askings[i]
			lit = lit[:0]
			for _, at := range p.rows {
				r := &s.Rows[at]
				for n, word := range r.Lines {
					for word &= driven[n]; word != 0; word &= word - 1 {
						l := n*64 + bits.TrailingZeros64(word)
						if column[l] == 0 {
							lit = append(lit, litLine{line: l})
							column[l] = len(lit)
						}
						lit[column[l]-1].phases[r.Phase/64] |= 1 << (r.Phase % 64)
					}
				}
			}
			slices.SortFunc(lit, func(a, b litLine) int { return cmp.Compare(a.line, b.line) })
			for _, l := range lit {
				column[l.line] = 0
			}
			w.draw(p, &s.Owners[owner], lit)
		}
		out := w.out[first:]
		slices.SortFunc(out, func(a, b draft) int {
			return cmp.Or(cmp.Compare(a.flagRank, b.flagRank), slices.Compare(a.Phases, b.Phases), slices.Compare(a.Lines, b.Lines))
		})
		for k := range out {
			if slices.Contains(out[k].Opcodes, cube.Cube{}) {
				out[k].Opcodes = nil
			}
		}
	}
	return w.out
}

// askingsOf groups the rows of a store, by owner. opcodes counts, by rank, the
// opcode cubes of a group.
func askingsOf(s *store.Store) (out []asking, opcodes []int) {
	type key struct {
		group
		opcode cube.Cube
	}
	at := map[key]int{}
	ranks := map[group]int{}
	k, i := key{}, -1
	for n := range s.Rows {
		r := &s.Rows[n]
		if now := (key{group{r.Owner, r.Flags}, r.Opcode}); i < 0 || now != k {
			k = now
			var ok bool
			if i, ok = at[k]; !ok {
				i = len(out)
				at[k] = i
				rank, ok := ranks[k.group]
				if !ok {
					rank = len(ranks)
					ranks[k.group] = rank
					opcodes = append(opcodes, 0)
				}
				opcodes[rank]++
				out = append(out, asking{group: k.group, opcode: k.opcode, rank: rank})
			}
		}
		out[i].rows = append(out[i].rows, int32(n))
	}
	slices.SortStableFunc(out, func(a, b asking) int { return cmp.Compare(a.owner, b.owner) })
	return out, opcodes
}

// litLine is a line and the phases in which an asking has it on.
type litLine struct {
	line   int
	phases phaseSet
}

// phaseLists holds each list of phases once: rows share them.
type phaseLists map[phaseSet][]int

func (l phaseLists) of(p phaseSet) []int {
	list, ok := l[p]
	if !ok {
		list = store.Set(p[:]).Columns()
		l[p] = list
	}
	return list
}

// gathering is the rows so far.
type gathering struct {
	out     []draft
	lists   phaseLists
	opcodes []int   // by rank
	drawn   [][]int // by rank, where there are several opcodes: its rows in out
}

// draw adds the rows of one asking: lines of the same phases are a row. lit is
// in the order of the lines.
func (w *gathering) draw(p *asking, o *store.Owner, lit []litLine) {
	for i := range lit {
		if lit[i].line < 0 {
			continue
		}
		phases := lit[i].phases
		lines := []int{lit[i].line}
		for j := i + 1; j < len(lit); j++ {
			if lit[j].line >= 0 && lit[j].phases == phases {
				lines = append(lines, lit[j].line)
				lit[j].line = -1
			}
		}
		list := w.lists.of(phases)
		same := slices.IndexFunc(w.drawn[p.rank], func(k int) bool {
			return &w.out[k].Phases[0] == &list[0] && slices.Equal(w.out[k].Lines, lines)
		})
		if same >= 0 {
			d := &w.out[w.drawn[p.rank][same]]
			d.Opcodes = append(d.Opcodes, p.opcode)
			continue
		}
		if w.opcodes[p.rank] > 1 {
			w.drawn[p.rank] = append(w.drawn[p.rank], len(w.out))
		}
		w.out = append(w.out, draft{
			Row:   Row{Owner: o.Name, Kind: o.Kind, Opcodes: []cube.Cube{p.opcode}, Flags: p.flags, Phases: list, Pulse: -1, Lines: lines},
			owner: p.owner, flagRank: p.rank,
		})
	}
}
