package proof

import (
	"fmt"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// large is a machine of 12 opcode bits, 4 flags and 32 phases: 256 condition
// relays at the ends of a tree, about 500 rows and 2,000 diodes.
func large() (*sketch, *store.Store, store.Changes) {
	const bits, tree, phases, lines = 12, 8, 32, 64
	s := &store.Store{Machine: "large", OpcodeBits: bits, Phases: phases, Flags: []string{"a", "b", "c", "d"}}
	for i := range lines {
		s.Columns = append(s.Columns, store.Column{Name: fmt.Sprintf("l%d", i), Kind: store.Gate})
		s.Word.Bits = append(s.Word.Bits, i)
	}
	k := newSketch(s)
	var follow []wiring.Relay
	for i := range bits {
		follow = append(follow, k.relay(k.pin(wiring.Opcode, i), 1<<min(i, tree)+40))
	}
	var flags []wiring.Relay
	for i := range s.Flags {
		flags = append(flags, k.relay(k.pin(wiring.Flag, i), 99))
	}
	ends := []wiring.Terminal{k.feed}
	for i := range tree {
		r := follow[bits-1-i]
		var next []wiring.Terminal
		for n, e := range ends {
			c, brk, mk := r.Pole(n + 1)
			k.wire(e, c)
			next = append(next, brk, mk)
		}
		k.taken[r.Name] = len(ends)
		ends = next
	}
	for i := range k.Relays {
		k.Relays[i].Poles = 300
	}
	// The state of a relay's own store word is not looked at by these.
	for i, e := range ends {
		top := cube.Cube{}
		for b := range tree {
			top = top.With(bits-1-b, uint64(i>>(tree-1-b)&1))
		}
		r := k.relay(e, 4)
		for n := range 2 {
			row := store.Row{Opcode: top, Phase: 3 + (i*7+n*13)%(phases-2), Lines: store.NewSet(lines)}
			at := k.contact(r, true, k.pin(wiring.Phase, row.Phase))
			if f := (i + n) % 8; f < 4 && i < 128 {
				row.Flags = row.Flags.With(f, 1)
				at = k.contact(flags[f], true, at)
			}
			if b := (i + n) % 16; b < 4 && i >= 192 {
				row.Opcode = row.Opcode.With(b, 0)
				at = k.contact(follow[b], false, at)
			}
			for d := range 4 {
				c := (i*5 + n*11 + d*17) % lines
				if !row.Lines.Has(c) {
					row.Lines.Add(c)
					k.diode(at, k.pin(wiring.Line, c))
				}
			}
			s.Rows = append(s.Rows, row)
		}
	}
	ch := store.Changes{Moving: []store.Moving{
		{Phase: 1, Bits: 1<<bits - 1}, {Phase: 2, Bits: 1<<bits - 1},
	}}
	return k, s, ch
}

// BenchmarkLargeAsSets tries the same as sets of states.
func BenchmarkLargeAsSets(b *testing.B) {
	k, s, c := large()
	for b.Loop() {
		p, _, err := prepare(&k.List, s, c, Options{})
		if err != nil {
			b.Fatal(err)
		}
		p.bySets = true
		groups, _, err := p.run()
		if err != nil || len(groups) > 0 {
			b.Fatal(groups, err)
		}
		b.ReportMetric(float64(p.most), "nodes-allowed")
	}
}

// BenchmarkLarge tries 2 million states. On the two cores that CI has it is to
// stay under two seconds.
func BenchmarkLarge(b *testing.B) {
	k, s, c := large()
	for b.Loop() {
		r, err := Prove(&k.List, s, c, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if !r.Proved() {
			b.Fatal(r.Findings[0].Text, r.Findings[0].Where, r.Findings[0].Path)
		}
		b.ReportMetric(float64(r.States), "states")
		b.ReportMetric(float64(r.Contacts), "contacts")
		b.ReportMetric(float64(r.Diodes), "diodes")
	}
}
