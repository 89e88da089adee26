package network

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/examples"
	"coilwright/lang/definition"
)

// woven is a definition on its way to a network.
type woven struct {
	name  string
	m     *machine.Machine
	store *store.Store
	ch    store.Changes
}

func weave(t testing.TB, name, text string) (woven, bool) {
	t.Helper()
	src, _ := definition.Load(name+".coil", func(string) ([]byte, error) { return []byte(text), nil })
	m, list := machine.Resolve(src)
	if list.Errors() > 0 {
		return woven{}, false
	}
	p, list := schedule.Encode(m)
	if list.Errors() > 0 {
		return woven{}, false
	}
	return woven{name, m, schedule.Weave(m, p), schedule.Changes(m, p)}, true
}

func exampleMachines(t testing.TB) []woven {
	t.Helper()
	var out []woven
	for _, name := range examples.Names() {
		text, err := examples.FS.ReadFile(name + "/" + name + ".coil")
		if err != nil {
			t.Fatal(err)
		}
		w, ok := weave(t, name, string(text))
		if !ok {
			t.Fatalf("%s has errors", name)
		}
		out = append(out, w)
	}
	return out
}

// joined is what meets at each point of a circuit.
type joined struct {
	contacts, diodes [][]int
}

func joints(c *Circuit) joined {
	j := joined{make([][]int, len(c.Points)), make([][]int, len(c.Points))}
	for i, k := range c.Contacts {
		for _, p := range []int{k.Common, k.Break, k.Make} {
			if p >= 0 {
				j.contacts[p] = append(j.contacts[p], i)
			}
		}
	}
	for i, d := range c.Diodes {
		j.diodes[d.From] = append(j.diodes[d.From], i)
	}
	return j
}

// live follows the current from some points: both ways through closed
// contacts, one way through diodes. The obvious reading of a circuit.
func live(c *Circuit, j joined, from []int, on []bool) []bool {
	out := make([]bool, len(c.Points))
	var reach func(p int)
	reach = func(p int) {
		if p < 0 || out[p] {
			return
		}
		out[p] = true
		for _, i := range j.contacts[p] {
			k := c.Contacts[i]
			other := k.Break
			if on[k.Signal] {
				other = k.Make
			}
			switch p {
			case k.Common:
				reach(other)
			case other:
				reach(k.Common)
			}
		}
		for _, i := range j.diodes[p] {
			reach(c.Diodes[i].To)
		}
	}
	for _, p := range from {
		reach(p)
	}
	return out
}

// light returns the lines that a circuit puts on.
func light(c *Circuit, j joined, s *store.Store, opcode, flags uint64, phase int) store.Set {
	var sources []int
	for i, p := range c.Points {
		if p.Kind == FeedPoint || p.Kind == PhasePoint && p.N == phase {
			sources = append(sources, i)
		}
	}
	state := make([]bool, len(c.Signals))
	for i, g := range c.Signals {
		switch g.Kind {
		case OpcodeSignal:
			state[i] = opcode>>g.N&1 == 1
		case FlagSignal:
			state[i] = flags>>g.N&1 == 1
		}
	}
	for round := 0; ; round++ {
		l := live(c, j, sources, state)
		changed := false
		for i, g := range c.Signals {
			if g.Coil >= 0 && state[i] != l[g.Coil] {
				state[i], changed = l[g.Coil], true
			}
		}
		if !changed || round > len(c.Signals)+2 {
			out := store.NewSet(len(s.Columns))
			for i, p := range c.Points {
				if p.Kind == ColumnPoint && l[i] {
					out.Add(p.N)
				}
				if p.Kind == LowPoint && l[i] == out.Has(p.N) {
					out.Add(0) // seen as a difference below
				}
			}
			return out
		}
	}
}

// occurs reports whether a state can come about: not for free opcodes, nor past
// the restart of a path that depends on no flag set from outside.
func occurs(s *store.Store, ch store.Changes, opcode, flags uint64, phase int) bool {
	for _, f := range s.Free {
		if f.Matches(opcode) {
			return false
		}
	}
	restart := slices.IndexFunc(s.Columns, func(c store.Column) bool { return c.Kind == store.Restart })
	past, inputs := false, false
	for _, r := range s.Rows {
		if !r.Opcode.Matches(opcode) || !r.Flags.Matches(flags) {
			continue
		}
		inputs = inputs || r.Flags.Care&ch.Inputs != 0
		past = past || restart >= 0 && r.Lines.Has(restart) && r.Phase < phase
	}
	return !past || inputs
}

func compare(t *testing.T, w woven, style string, c *Circuit, random *rand.Rand) {
	t.Helper()
	s := w.store
	j := joints(c)
	driven := store.NewSet(len(s.Columns))
	for _, b := range s.Word.Bits {
		if b >= 0 {
			driven.Add(b)
		}
	}
	check := func(opcode, flags uint64, phase int) bool {
		if style == "minimal" && !occurs(s, w.ch, opcode, flags, phase) {
			return true
		}
		want := s.At(opcode, flags, phase)
		for i := range want {
			want[i] &= driven[i]
		}
		got := light(c, j, s, opcode, flags, phase)
		if !got.Equal(want) {
			t.Errorf("%s %s: opcode %0*b flags %b phase %d: lines %v, the store says %v", w.name, style, s.OpcodeBits, opcode, flags, phase, got.Columns(), want.Columns())
			return false
		}
		return true
	}
	if s.OpcodeBits+len(s.Flags) <= 6 {
		for o := range uint64(1) << s.OpcodeBits {
			for f := range uint64(1) << len(s.Flags) {
				for p := 1; p <= s.Phases; p++ {
					if !check(o, f, p) {
						return
					}
				}
			}
		}
		return
	}
	for _, r := range s.Rows { // every row, with what it leaves open drawn at random
		for range 3 {
			o := random.Uint64()&(1<<s.OpcodeBits-1)&^r.Opcode.Care | r.Opcode.Value
			f := random.Uint64()&(1<<len(s.Flags)-1)&^r.Flags.Care | r.Flags.Value
			if !check(o, f, r.Phase) || !check(o, f, 1+random.IntN(s.Phases)) {
				return
			}
		}
	}
}

func TestCircuitsDoWhatTheStoreSays(t *testing.T) {
	random := rand.New(rand.NewPCG(4, 4))
	for _, w := range exampleMachines(t) {
		last := 0.0
		for _, style := range Styles {
			c, err := Build(w.store, w.ch, w.m.Hardware, style)
			if err != nil {
				t.Fatal(err)
			}
			compare(t, w, style, c, random)
			if last > 0 && c.Cost.Total > last+1e-9 {
				t.Errorf("%s: %s costs %.2f, more than the style before it, %.2f", w.name, style, c.Cost.Total, last)
			}
			if c.Bound > c.Cost.Total {
				t.Errorf("%s %s: costs %.2f, less than the bound %.2f", w.name, style, c.Cost.Total, c.Bound)
			}
			last = c.Cost.Total
			t.Log(w.name, style, fmt.Sprintf("%+v bound %.2f", c.Cost, c.Bound))
		}
	}
}

func TestCircuitsOfRandomMachines(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	machines, low, free, conditions := 0, 0, 0, 0
	for seed := uint64(0); machines < 25; seed++ {
		w, ok := weave(t, fmt.Sprint("random", seed), reference.Random(rand.New(rand.NewPCG(seed, 9))))
		if !ok || w.store.OpcodeBits > 6 || w.store.Phases > 40 {
			continue
		}
		machines++
		for _, style := range Styles {
			c, err := build(w.store, w.ch, w.m.Hardware, style, 1_000_000)
			if err != nil {
				t.Fatal(err)
			}
			compare(t, w, style, c, random)
			for _, g := range c.Signals {
				switch g.Kind {
				case InverterSignal:
					low++
				case ConditionSignal:
					conditions++
				}
			}
			if len(w.store.Free) > 0 {
				free++
			}
		}
	}
	if low == 0 || free == 0 || conditions == 0 {
		t.Errorf("too plain a sample: %d low lines, %d with free opcodes, %d conditions", low, free, conditions)
	}
}

// TestPriceOfSuppression: each relay takes one diode or, with a Zener diode in
// series, two, and each is priced with both its joints.
func TestPriceOfSuppression(t *testing.T) {
	hw := hardware(machine.Card{Name: "control", Rows: 40, Columns: 24, Pins: 64})
	price := map[string]Cost{}
	for _, how := range []string{"none", "diode", "zener"} {
		hw.Relay.Suppression = how
		c, n, list := placed(t, tally(), "plain", hw)
		if len(list) > 0 {
			t.Fatal(list)
		}
		if c.Cost.Diodes+c.Cost.Coils != len(n.List.Diodes) {
			t.Errorf("%s: %d diodes are priced, %d are listed", how, c.Cost.Diodes+c.Cost.Coils, len(n.List.Diodes))
		}
		price[how] = c.Cost
	}
	none := price["none"]
	for how, each := range map[string]int{"diode": 1, "zener": 2} {
		more := each * none.Relays
		want := none
		want.Coils, want.Joints = more, none.Joints+2*more
		want.Total += float64(more) * (hw.Cost.Diode + 2*hw.Cost.Joint)
		got := price[how]
		if math.Abs(got.Total-want.Total) > 1e-9 {
			t.Errorf("%s costs %.2f, want %.2f", how, got.Total, want.Total)
		}
		if got.Total = want.Total; got != want {
			t.Errorf("%s: %+v, want %+v", how, got, want)
		}
	}
}
