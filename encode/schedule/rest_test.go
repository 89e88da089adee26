package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
)

// lamps is what a technician sees who puts a lamp on every line and writes down
// the phases: no rule of section P, only which lines are on when. From it the
// tests ask whether what a latch takes in has been at rest for as long as the
// units on the way need.
type lamps struct {
	m     *machine.Machine
	on    []store.Set // by phase; index 0 is before the first
	want  store.Set   // the lines of the step at hand
	base  []int       // by signal: number of its bit 0
	links map[int][][]source
	depth int
}

// source is an effect that drives a bus bit.
type source struct{ line, effect int }

// lay puts paths end to end.
func lay(m *machine.Machine, phases int, paths ...*schedule.Path) (b *lamps, starts []int) {
	b = &lamps{m: m, on: []store.Set{store.NewSet(len(m.Lines))}, links: map[int][][]source{}}
	bits := 0
	for i := range m.Signals {
		b.base = append(b.base, bits)
		bits += m.Signals[i].Width
	}
	b.base = append(b.base, bits)
	at := 0
	for _, p := range paths {
		starts = append(starts, at)
		for _, s := range p.Steps {
			for _, w := range s.On {
				for len(b.on) <= at+w.To {
					b.on = append(b.on, store.NewSet(len(m.Lines)))
				}
				for x := w.From; x <= w.To; x++ {
					b.on[at+x].Add(w.Line)
				}
			}
		}
		at += p.Last // a restart that cuts leaves no time between
		if p.Restart == 0 {
			at = starts[len(starts)-1] + phases
		}
	}
	return b, starts
}

func (b *lamps) lit(line, phase int) bool {
	return phase > 0 && phase < len(b.on) && b.on[phase].Has(line)
}

// sources lists, by bus bit, what drives it in a phase through the joins that are on.
func (b *lamps) sources(phase int) [][]source {
	if out, ok := b.links[phase]; ok {
		return out
	}
	m := b.m
	net := make([]int, b.base[len(m.Signals)])
	for i := range net {
		net[i] = i
	}
	var root func(i int) int
	root = func(i int) int {
		if net[i] != i {
			net[i] = root(net[i])
		}
		return net[i]
	}
	own := make([][]source, len(net))
	for l := range m.Lines {
		if m.Lines[l].Kind != store.Gate || !b.lit(l, phase) {
			continue
		}
		for k := range m.Lines[l].Effects {
			t := &m.Lines[l].Effects[k]
			if e := t.Unfilled(); t.Joins(m) {
				for i := range e.Hi - e.Lo + 1 {
					net[root(b.base[e.Signal]+e.Lo+i)] = root(b.base[t.Target.Signal] + t.Target.Lo + i)
				}
				for i := t.Target.Lo + e.Hi - e.Lo + 1; i <= t.Target.Hi; i++ {
					own[b.base[t.Target.Signal]+i] = append(own[b.base[t.Target.Signal]+i], source{l, k})
				}
				continue
			}
			for i := t.Target.Lo; i <= t.Target.Hi; i++ {
				own[b.base[t.Target.Signal]+i] = append(own[b.base[t.Target.Signal]+i], source{l, k})
			}
		}
	}
	all := make([][]source, len(net))
	for i := range own {
		all[root(i)] = append(all[root(i)], own[i]...)
	}
	out := make([][]source, len(net))
	for i := range out {
		out[i] = slices.Clone(all[root(i)])
		slices.SortFunc(out[i], func(x, y source) int { return (x.line-y.line)*100 + x.effect - y.effect })
		out[i] = slices.Compact(out[i])
	}
	b.links[phase] = out
	return out
}

// rest says why the value of e is not one and the same, and right, from one
// phase to another; "" if it is.
func (b *lamps) rest(e *machine.Expr, from, to int) string {
	if e == nil {
		return ""
	}
	if b.depth++; b.depth > 50 {
		b.depth--
		return "feeds itself"
	}
	defer func() { b.depth-- }()
	m := b.m
	switch e.Op {
	case machine.Apply:
		u := &m.Units[e.Unit]
		for p := from - u.Settle; p <= to; p++ {
			for _, s := range u.By {
				if b.lit(s, p) != b.want.Has(s) {
					return fmt.Sprintf("select line %s of %s in phase %d", m.Lines[s].Name, u.Name, p)
				}
			}
		}
		for _, c := range u.Cases {
			if text := b.rest(c, from-u.Settle, to); text != "" {
				return u.Name + ": " + text
			}
		}
		return ""
	case machine.Read, machine.Fetch:
		s := &m.Signals[e.Signal]
		if s.Kind == machine.Bus {
			return b.busRest(e, from, to)
		}
		for l := range m.Lines {
			if m.Lines[l].Writes(e.Signal)&machine.Bits(e.Hi, e.Lo) == 0 {
				continue
			}
			for p := from; p < to; p++ {
				// The page lets a step read what its own lines latch with two ranks or `set`.
				own := b.want.Has(l) && (s.Buffered || m.Lines[l].Set)
				if b.lit(l, p) && !own {
					return fmt.Sprintf("%s changes after phase %d", s.Name, p)
				}
			}
		}
	}
	for _, a := range e.Args {
		if text := b.rest(a, from, to); text != "" {
			return text
		}
	}
	return ""
}

func (b *lamps) busRest(e *machine.Expr, from, to int) string {
	m := b.m
	for i := e.Lo; i <= e.Hi; i++ {
		bit := b.base[e.Signal] + i
		if m.Signals[e.Signal].Or {
			continue // the page lets any sources meet there, those of two steps as well
		}
		now := b.sources(to)[bit]
		for p := from; p < to; p++ {
			if !slices.Equal(b.sources(p)[bit], now) {
				return fmt.Sprintf("bus %s[%d] has other sources in phase %d than in %d", m.Signals[e.Signal].Name, i, p, to)
			}
		}
		for _, s := range now {
			if t := &m.Lines[s.line].Effects[s.effect]; !t.Joins(m) {
				if text := b.rest(t.Source, from, to); text != "" {
					return fmt.Sprintf("%s: %s", m.Lines[s.line].Name, text)
				}
			}
		}
	}
	return ""
}

// latches judges every strobe of a path that stands at a phase.
func (b *lamps) latches(p *schedule.Path, at int) string {
	for k, s := range p.Steps {
		b.want = store.NewSet(len(b.m.Lines))
		for _, w := range s.On {
			b.want.Add(w.Line)
		}
		for _, w := range s.On {
			l := &b.m.Lines[w.Line]
			if l.Kind != store.Latch {
				continue
			}
			for i := range l.Effects {
				t := &l.Effects[i]
				for _, e := range []*machine.Expr{t.Source, t.Target.Index} {
					if text := b.rest(e, at+w.StrobeFrom, at+w.StrobeTo); text != "" {
						return fmt.Sprintf("step %d: %s strobes in %d..%d: %s", k+1, l.Name, at+w.StrobeFrom, at+w.StrobeTo, text)
					}
				}
			}
		}
	}
	return ""
}

// TestAtRest holds random machines to what the rules are there for: what a
// latch takes in is at rest. It knows none of the rules, so it does not share
// a misreading of the page with the encoder and the reference.
func TestAtRest(t *testing.T) {
	want := 1000
	if testing.Short() {
		want = 40
	}
	wrong, strobes := 0, 0
	for seed, valid := uint64(0), 0; valid < want; seed++ {
		text := reference.Random(rand.New(rand.NewPCG(seed, 3)))
		m, list := machine.Resolve(load(t, "random.coil", text))
		if list.Errors() > 0 {
			continue
		}
		plan, list := schedule.Encode(m)
		if list.Errors() > 0 {
			continue
		}
		valid++
		var all []*schedule.Path
		for _, o := range plan.Owners {
			if o.Kind != "fetch" {
				all = append(all, o.Paths...)
			}
		}
		for i, p := range all {
			q := all[(i*7+3)%len(all)]
			b, starts := lay(m, plan.Phases, p, q)
			for j, path := range []*schedule.Path{p, q} {
				strobes += len(path.Steps)
				if no := b.latches(path, starts[j]); no != "" {
					t.Errorf("seed %d: %s\n%s", seed, no, number(text))
					if wrong++; wrong >= 3 {
						t.FailNow()
					}
				}
			}
		}
	}
	t.Logf("%d strobes of %d machines", strobes, want)
}
