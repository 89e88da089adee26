package image_test

import (
	"math/rand/v2"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// textbookWords is the control ROM of the educational machine of Malvino and
// Brown, "Digital Computer Electronics", 3rd edition 1993, chapter 10, as
// checks.md 2.1 gives it: [F] from source text, each word re-encoded there from
// its active lines [D].
var textbookWords = []struct {
	lines string
	word  uint16
}{
	{"Ep Lm", 0x5E3}, {"Cp", 0xBE3}, {"CE Li", 0x263},
	{"Lm Ei", 0x1A3}, {"CE La", 0x2C3}, {"", 0x3E3},
	{"Lm Ei", 0x1A3}, {"CE Lb", 0x2E1}, {"La Eu", 0x3C7},
	{"Lm Ei", 0x1A3}, {"CE Lb", 0x2E1}, {"La Su Eu", 0x3CF},
	{"Ea Lo", 0x3F2}, {"", 0x3E3}, {"", 0x3E3}, {"", 0x3E3},
}

// textbook is that ROM as a store: 16 phases and no opcode, so that address and
// phase are one; the word from the top bit down as the book prints it.
func textbook() *store.Store {
	s := &store.Store{
		Machine: "textbook",
		Hash:    "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef",
		Phases:  16,
		Owners:  []store.Owner{{Name: "fetch", Kind: "fetch"}},
		Word:    store.Word{Address: []store.AddressPart{{Kind: store.PhasePart, Name: "phase", Bits: 4}}},
	}
	index := map[string]int{}
	for i, name := range strings.Fields("Cp Ep Lm' CE' Li' Ei' La' Ea Su Eu Lb' Lo'") {
		bare := strings.TrimSuffix(name, "'")
		index[bare] = i
		s.Columns = append(s.Columns, store.Column{Name: bare, Kind: store.Output, Low: bare != name})
		s.Word.Bits = append([]int{i}, s.Word.Bits...)
	}
	for i, w := range textbookWords {
		row := store.Row{Phase: i + 1, Lines: store.NewSet(12)}
		for _, name := range strings.Fields(w.lines) {
			row.Lines.Add(index[name])
		}
		if w.lines != "" {
			s.Rows = append(s.Rows, row)
		}
	}
	return s
}

// randomStore returns a store that need not come from any machine: cubes,
// polarities, layout and the order of the address parts are all by chance.
func randomStore(r *rand.Rand) *store.Store {
	s := &store.Store{
		Machine:    "random",
		Hash:       strings.Repeat("ab", 32),
		OpcodeBits: r.IntN(7),
		Phases:     1 + r.IntN(12),
		Word:       store.Word{Little: r.IntN(2) == 0, Fill: byte(r.Uint32())},
	}
	for i := range r.IntN(4) {
		s.Flags = append(s.Flags, string(rune('a'+i)))
	}
	phaseBits := 0
	for 1<<phaseBits < s.Phases {
		phaseBits++
	}
	parts := []store.AddressPart{
		{Kind: store.PhasePart, Name: "phase", Bits: phaseBits},
		{Kind: store.OpcodePart, Name: "opcode", Bits: s.OpcodeBits},
	}
	for i, f := range s.Flags {
		parts = append(parts, store.AddressPart{Kind: store.FlagPart, Name: f, Bits: 1, Flag: i})
	}
	if r.IntN(3) == 0 {
		parts = append(parts, store.AddressPart{Kind: store.FlagPart, Name: "untested", Bits: 1, Flag: -1})
	}
	r.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
	s.Word.Address = parts

	kinds := []store.Kind{store.Gate, store.Latch, store.Select, store.Output, store.Restart, store.Halt}
	columns := 1 + r.IntN(90)
	for i := range columns {
		s.Columns = append(s.Columns, store.Column{
			Name: "line" + string(rune('0'+i%10)), Kind: kinds[r.IntN(len(kinds))], Low: r.IntN(3) == 0,
		})
	}
	for _, c := range r.Perm(columns) {
		if r.IntN(8) == 0 {
			s.Word.Bits = append(s.Word.Bits, -1)
		}
		if r.IntN(8) != 0 { // else: omitted
			s.Word.Bits = append(s.Word.Bits, c)
		}
	}
	if len(s.Word.Bits) == 0 {
		s.Word.Bits = []int{0}
	}
	if r.IntN(2) == 0 {
		s.Word.Split = 1 + r.IntN(24)
	}
	random := func(width int) cube.Cube {
		care := r.Uint64() & (1<<width - 1)
		return cube.Cube{Care: care, Value: r.Uint64() & care}
	}
	for range r.IntN(60) {
		row := store.Row{
			Opcode: random(s.OpcodeBits), Flags: random(len(s.Flags)),
			Phase: 1 + r.IntN(s.Phases), Lines: store.NewSet(columns),
		}
		for range 1 + r.IntN(4) {
			row.Lines.Add(r.IntN(columns))
		}
		s.Rows = append(s.Rows, row)
	}
	return s
}
