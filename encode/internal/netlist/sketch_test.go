package netlist_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// sketch is a network in the making, by dice: chains, trees, pulse wires and
// condition relays in turn, so that lists have more shapes than one builder's.
type sketch struct {
	wiring.List
	s     *store.Store
	r     *rand.Rand
	ret   wiring.Terminal
	feed  wiring.Terminal
	free  map[int][]wiring.Relay // relays of a bit: opcode bits, then flags
	taken map[string]int         // poles in use
}

func (k *sketch) wire(a, b wiring.Terminal) { k.Wires = append(k.Wires, wiring.Wire{From: a, To: b}) }

func (k *sketch) pin(kind wiring.Kind, n int, name string) wiring.Terminal {
	p := wiring.Pin{Name: "J1", Card: "card", Pin: len(k.Pins) + 1, Use: wiring.Use{Kind: kind, N: n, Name: name}}
	k.Pins = append(k.Pins, p)
	return p.Terminal()
}

func (k *sketch) relay(coil wiring.Terminal) wiring.Relay {
	x := wiring.Relay{Name: fmt.Sprintf("K%d", len(k.Relays)+1), Card: "card", Site: len(k.Relays) + 1, Poles: 1 + k.r.IntN(6)}
	k.Relays = append(k.Relays, x)
	a1, a2 := x.Coil()
	if k.r.IntN(4) == 0 {
		a1, a2 = a2, a1
	}
	k.wire(coil, a1)
	k.wire(a2, k.ret)
	return x
}

// diode lets activity pass from one terminal to another.
func (k *sketch) diode(from, to wiring.Terminal) {
	d := wiring.Diode{Name: fmt.Sprintf("D%d", len(k.Diodes)+1), Card: "card"}
	k.Diodes = append(k.Diodes, d)
	a, c := d.Ends()
	if k.Negative {
		a, c = c, a
	}
	k.wire(from, a)
	k.wire(c, to)
}

// pole returns an unused pole of a relay that follows a bit. When the last is
// used up another relay joins, beside the first or as a repeater.
func (k *sketch) pole(bit int) (common, breaks, makes wiring.Terminal) {
	list := k.free[bit]
	last := list[len(list)-1]
	if k.taken[last.Name] == last.Poles-1 && last.Poles > 1 && k.r.IntN(2) == 0 {
		c, _, m := last.Pole(last.Poles)
		k.taken[last.Name]++
		k.wire(k.feed, c)
		k.free[bit] = append(list, k.relay(m))
		return k.pole(bit)
	}
	if k.taken[last.Name] == last.Poles {
		a1, a2 := last.Coil()
		if slices.Contains(k.Wires, wiring.Wire{From: a1, To: k.ret}) {
			a1 = a2
		}
		k.free[bit] = append(list, k.relay(a1))
		return k.pole(bit)
	}
	k.taken[last.Name]++
	return last.Pole(k.taken[last.Name])
}

// chain leads from a terminal through a contact for each literal.
func (k *sketch) chain(at wiring.Terminal, when cube.Cube) wiring.Terminal {
	for _, bit := range k.r.Perm(k.s.OpcodeBits + len(k.s.Flags)) {
		if when.Care>>bit&1 == 0 {
			continue
		}
		c, b, m := k.pole(bit)
		if k.r.IntN(2) == 0 && when.Value>>bit&1 == 1 { // either end may face the phase wire
			c, m = m, c
		}
		k.wire(at, c)
		at = b
		if when.Value>>bit&1 == 1 {
			at = m
		}
	}
	return at
}

type asked struct {
	when  cube.Cube
	lines []int
}

// tree steers a terminal to what the rows ask for.
func (k *sketch) tree(at wiring.Terminal, rows []asked, known uint64, reach func(at wiring.Terminal, lines []int)) {
	care := uint64(0)
	for _, r := range rows {
		care |= r.when.Care &^ known
	}
	if care == 0 {
		lines := map[int]bool{}
		for _, r := range rows {
			for _, l := range r.lines {
				lines[l] = true
			}
		}
		if len(lines) > 0 {
			reach(at, slices.Sorted(maps.Keys(lines)))
		}
		return
	}
	var bits []int
	for b := range 64 {
		if care>>b&1 == 1 {
			bits = append(bits, b)
		}
	}
	bit := bits[k.r.IntN(len(bits))]
	c, b, m := k.pole(bit)
	k.wire(at, c)
	for v, to := range []wiring.Terminal{b, m} {
		var kept []asked
		for _, r := range rows {
			if r.when.Care>>bit&1 == 0 || int(r.when.Value>>bit&1) == v {
				kept = append(kept, r)
			}
		}
		k.tree(to, kept, known|1<<bit, reach)
	}
}

// draw builds a network that does what a store says.
func draw(s *store.Store, lines []int, r *rand.Rand) *wiring.List {
	k := &sketch{s: s, r: r, free: map[int][]wiring.Relay{}, taken: map[string]int{}}
	k.Machine, k.Hash, k.Style, k.Levels, k.Negative = s.Machine, s.Hash, "by dice", 9, r.IntN(2) == 0
	k.ret, k.feed = k.pin(wiring.Return, 0, ""), k.pin(wiring.Feed, 0, "")
	for i := range s.OpcodeBits {
		k.free[i] = []wiring.Relay{k.relay(k.pin(wiring.Opcode, i, ""))}
	}
	for i, f := range s.Flags {
		k.free[s.OpcodeBits+i] = []wiring.Relay{k.relay(k.pin(wiring.Flag, i, f))}
	}
	phases := make([]wiring.Terminal, s.Phases+1)
	for p := 1; p <= s.Phases; p++ {
		phases[p] = k.pin(wiring.Phase, p, "")
	}

	// Each phase does its rows by a tree or by chains; rows of several phases
	// that agree may get a pulse wire.
	sums := make([][]wiring.Terminal, len(s.Columns)) // what reaches a line
	reach := func(at wiring.Terminal, lines []int) {
		for _, l := range lines {
			sums[l] = append(sums[l], at)
		}
	}
	rows := make([][]asked, s.Phases+1)
	pulses := map[string][]int{}
	byKey := map[string]asked{}
	for _, r := range s.Rows {
		a := asked{when: cube.Cube{Care: r.Opcode.Care | r.Flags.Care<<s.OpcodeBits, Value: r.Opcode.Value | r.Flags.Value<<s.OpcodeBits}}
		for _, l := range r.Lines.Columns() {
			if slices.Contains(lines, l) {
				a.lines = append(a.lines, l)
			}
		}
		key := fmt.Sprint(a)
		pulses[key] = append(pulses[key], r.Phase)
		byKey[key] = a
	}
	for _, key := range slices.Sorted(maps.Keys(pulses)) {
		a, list := byKey[key], pulses[key]
		slices.Sort(list)
		list = slices.Compact(list)
		if len(list) == 1 || r.IntN(3) > 0 {
			for _, p := range list {
				rows[p] = append(rows[p], a)
			}
			continue
		}
		wire := k.pin(wiring.Spare, 0, "")
		for _, p := range list {
			k.diode(phases[p], wire)
		}
		reach(k.chain(wire, a.when), a.lines)
	}
	for p := 1; p <= s.Phases; p++ {
		switch {
		case r.IntN(2) == 0:
			k.tree(phases[p], rows[p], 0, reach)
		default:
			for _, a := range rows[p] {
				if r.IntN(8) > 0 {
					reach(k.chain(phases[p], a.when), a.lines)
					continue
				}
				x := k.relay(k.chain(k.feed, a.when)) // a condition relay
				c, _, m := x.Pole(1)
				k.wire(phases[p], c)
				reach(m, a.lines)
			}
		}
	}
	for _, l := range lines {
		out := k.pin(wiring.Line, l, s.Columns[l].Name)
		if s.Columns[l].Low {
			if len(sums[l]) == 0 {
				k.wire(k.feed, out)
				continue
			}
			x := wiring.Relay{Name: fmt.Sprintf("K%d", len(k.Relays)+1), Card: "card", Site: len(k.Relays) + 1, Poles: 1}
			k.Relays = append(k.Relays, x)
			a1, a2 := x.Coil()
			k.wire(a2, k.ret)
			c, b, _ := x.Pole(1)
			k.wire(k.feed, c)
			k.wire(b, out)
			out = a1
		}
		// A line that one place alone feeds, which feeds no other, needs no diode.
		alone := len(sums[l]) == 1
		for m := range sums {
			alone = alone && (m == l || len(sums[l]) == 0 || !slices.Contains(sums[m], sums[l][0]))
		}
		for _, from := range sums[l] {
			if alone {
				k.wire(from, out)
				continue
			}
			k.diode(from, out)
		}
	}
	return &k.List
}
