package network

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coilwright/encode/cube"
	"coilwright/encode/internal/reference"
)

// TestDealPrice holds the price that the search goes by against that of the
// circuit that is drawn.
func TestDealPrice(t *testing.T) {
	for _, w := range exampleMachines(t) {
		for _, free := range []bool{false, true} {
			d := newDesigner(w.store, w.ch, w.m.Hardware, drivenColumns(w.store), free)
			p := d.conditions(d.search(nil, effort/3), effort*2/3)
			x := d.takeUp(p)
			for _, p := range []*plan{x.lay(), d.deal(p, 300_000)} {
				total, _ := d.total(p)
				if want := d.draw(w.store, p).Price(w.m.Hardware).Total; math.Abs(total-want) > 1e-9 {
					t.Errorf("%s: searched by %.4f, drawn for %.4f", w.name, total, want)
				}
			}
		}
	}
}

// TestRowsAreLiveWhen follows the contacts that lead to each row, for every
// opcode and flags, and holds what the row says of itself against that.
func TestRowsAreLiveWhen(t *testing.T) {
	asked := 0
	for _, w := range exampleMachines(t) {
		for _, style := range Styles {
			c, err := Build(w.store, w.ch, w.m.Hardware, style)
			if err != nil {
				t.Fatal(err)
			}
			bits := w.store.OpcodeBits + len(w.store.Flags)
			for v := range uint64(1) << bits {
				in := pulledIn(c, w.store.OpcodeBits, v)
				for n, s := range c.Signals {
					if s.Kind == ConditionSignal && matchesAny(s.When, v) != in[n] {
						t.Fatalf("%s, %s: condition %d at %b: in %v", w.name, style, s.N, v, in[n])
					}
				}
				for n, r := range c.Rows {
					live := true
					for k, at := range r.Through {
						next := r.Point
						if k+1 < len(r.Through) {
							next = c.Contacts[r.Through[k+1]].Common
						}
						x := c.Contacts[at]
						live = live && (in[x.Signal] && x.Make == next || !in[x.Signal] && x.Break == next)
					}
					if live != (len(r.When) == 0 || matchesAny(r.When, v)) {
						t.Fatalf("%s, %s: row %d (%s) at %b: live %v, and it says %v", w.name, style, n+1, r.Owner, v, live, r.When)
					}
					asked++
				}
			}
		}
	}
	if asked < 50_000 {
		t.Errorf("only %d rows and states", asked)
	}
}

func matchesAny(list []cube.Cube, v uint64) bool {
	return slices.ContainsFunc(list, func(c cube.Cube) bool { return c.Matches(v) })
}

// pulledIn follows the feed through contacts of opcode bits and flags to the
// coils, which all hang on trees of these alone.
func pulledIn(c *Circuit, opcodeBits int, v uint64) []bool {
	in := make([]bool, len(c.Signals))
	for n, s := range c.Signals {
		switch s.Kind {
		case OpcodeSignal:
			in[n] = v>>s.N&1 == 1
		case FlagSignal:
			in[n] = v>>(opcodeBits+s.N)&1 == 1
		}
	}
	live := make([]bool, len(c.Points))
	for n, p := range c.Points {
		live[n] = p.Kind == FeedPoint
	}
	for again := true; again; {
		again = false
		reach := func(from, to int) {
			if from >= 0 && to >= 0 && live[from] && !live[to] {
				live[to], again = true, true
			}
		}
		for _, x := range c.Contacts {
			if c.Signals[x.Signal].Kind != OpcodeSignal && c.Signals[x.Signal].Kind != FlagSignal {
				continue
			}
			side := x.Break
			if in[x.Signal] {
				side = x.Make
			}
			reach(x.Common, side)
		}
		for _, d := range c.Diodes {
			reach(d.From, d.To)
		}
	}
	for n, s := range c.Signals {
		if s.Kind == ConditionSignal {
			in[n] = live[s.Coil]
		}
	}
	return in
}

// TestMinimalIsNoDearerThanShared: more freedom is a larger search, which need
// not come to more.
func TestMinimalIsNoDearerThanShared(t *testing.T) {
	machines := 0
	for seed := uint64(0); machines < 12; seed++ {
		w, ok := weave(t, "random", reference.Random(rand.New(rand.NewPCG(seed, 9))))
		if !ok || w.store.OpcodeBits > 6 || w.store.Phases > 40 {
			continue
		}
		machines++
		var costs []float64
		for _, style := range Styles {
			c, err := build(w.store, w.ch, w.m.Hardware, style, 3_000_000)
			if err != nil {
				t.Fatal(err)
			}
			costs = append(costs, c.Cost.Total)
		}
		if costs[2] > costs[1]+1e-9 || costs[1] > costs[0]+1e-9 {
			t.Errorf("seed %d: plain %.2f, shared %.2f, minimal %.2f", seed, costs[0], costs[1], costs[2])
		}
	}
}
