package proof

import (
	"fmt"
	"sort"

	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// The reference is a second reading of what a proof demands, slow and plain:
// one state at a time, current followed from terminal to terminal, every relay
// unknown until its coil says otherwise. It shares nothing with the proof but
// the data that both are given. Lists have to be sound: what a list cannot be
// is not its business.

// verdict is what is wrong: "kind subject" to the number of states and the first of them.
type verdict map[string]*blame

type blame struct {
	states uint64
	first  string
	order  [7]uint64
}

type bench struct {
	list   *wiring.List
	store  *store.Store
	change store.Changes

	next    map[wiring.Terminal][]hop
	returns map[wiring.Terminal]bool
	driven  map[int]bool
	relay   map[string]wiring.Relay

	// the state
	opcode, flags uint64
	bits, tested  uint64
	phases        map[int]bool
	made, open    map[string]bool // by relay: certainly pulled in, certainly at rest
	certain       map[wiring.Terminal]bool
}

type hop struct {
	to    wiring.Terminal
	relay string // a contact of this relay; "" = always
	make  bool
	diode bool
}

func newBench(l *wiring.List, s *store.Store, c store.Changes) *bench {
	b := &bench{list: l, store: s, change: c,
		next: map[wiring.Terminal][]hop{}, returns: map[wiring.Terminal]bool{},
		driven: map[int]bool{}, relay: map[string]wiring.Relay{}}
	for _, k := range s.Word.Bits {
		b.driven[k] = true
	}
	both := func(x, y wiring.Terminal, h hop) {
		h.to = y
		b.next[x] = append(b.next[x], h)
		h.to = x
		b.next[y] = append(b.next[y], h)
	}
	for _, w := range l.Wires {
		both(w.From, w.To, hop{})
	}
	for i, p := range l.Pins {
		for _, q := range l.Pins[:i] {
			if p.Use.Kind == q.Use.Kind && p.Use.N == q.Use.N && p.Use.Kind != wiring.Spare {
				both(p.Terminal(), q.Terminal(), hop{})
			}
		}
	}
	// The return is what wires alone join to its pin.
	var mark func(t wiring.Terminal)
	mark = func(t wiring.Terminal) {
		if b.returns[t] {
			return
		}
		b.returns[t] = true
		for _, h := range b.next[t] {
			mark(h.to)
		}
	}
	for _, p := range l.Pins {
		if p.Use.Kind == wiring.Return {
			mark(p.Terminal())
		}
	}
	for _, r := range l.Relays {
		b.relay[r.Name] = r
		for n := 1; n <= r.Poles; n++ {
			c, brk, mk := r.Pole(n)
			both(c, brk, hop{relay: r.Name})
			both(c, mk, hop{relay: r.Name, make: true})
		}
	}
	for _, d := range l.Diodes {
		a, k := d.Ends()
		if l.Negative {
			a, k = k, a
		}
		b.next[a] = append(b.next[a], hop{to: k, diode: true})
	}
	return b
}

// powered says whether a pin brings current in: for certain, perhaps.
func (b *bench) powered(u wiring.Use) (certain, perhaps bool) {
	switch u.Kind {
	case wiring.Feed:
		return true, true
	case wiring.Phase:
		return b.phases[u.N], b.phases[u.N]
	case wiring.Opcode:
		if b.bits>>u.N&1 == 1 {
			return false, true
		}
		return b.opcode>>u.N&1 == 1, b.opcode>>u.N&1 == 1
	case wiring.Flag:
		if b.tested>>u.N&1 == 1 {
			return false, true
		}
		return b.flags>>u.N&1 == 1, b.flags>>u.N&1 == 1
	}
	return false, false
}

func (b *bench) closed(h hop, certain bool) bool {
	switch {
	case h.relay == "":
		return true
	case certain && h.make:
		return b.made[h.relay]
	case certain:
		return b.open[h.relay]
	case h.make:
		return !b.open[h.relay]
	}
	return !b.made[h.relay]
}

// flow returns what current reaches, and by how few diodes.
func (b *bench) flow(certain bool) map[wiring.Terminal]int {
	out := map[wiring.Terminal]int{}
	var walk func(t wiring.Terminal, diodes int)
	walk = func(t wiring.Terminal, diodes int) {
		if d, ok := out[t]; ok && d <= diodes {
			return
		}
		out[t] = diodes
		for _, h := range b.next[t] {
			part := h.relay != "" || h.diode
			if b.returns[t] && part || !b.closed(h, certain) {
				continue
			}
			if h.diode {
				walk(h.to, diodes+1)
			} else {
				walk(h.to, diodes)
			}
		}
	}
	for _, p := range b.list.Pins {
		if c, q := b.powered(p.Use); certain && c || !certain && q {
			walk(p.Terminal(), 0)
		}
	}
	return out
}

// settle finds what relays do and what is live, from nothing known.
func (b *bench) settle() (certain, possible map[wiring.Terminal]int) {
	b.made, b.open = map[string]bool{}, map[string]bool{}
	for {
		certain, possible = b.flow(true), b.flow(false)
		changed := false
		for _, r := range b.list.Relays {
			a, z := r.Coil()
			if b.returns[a] {
				a, z = z, a
			}
			_, c := certain[a]
			_, q := possible[a]
			if !b.returns[z] || b.returns[a] {
				c, q = false, false
			}
			if c && !b.made[r.Name] || !q && !b.open[r.Name] {
				changed = true
			}
			b.made[r.Name], b.open[r.Name] = c, !q
		}
		if !changed {
			return certain, possible
		}
	}
}

// occurs says whether a state can come up at all.
func (b *bench) occurs(opcode, flags uint64, phase int) bool {
	for _, c := range b.store.Free {
		if c.Matches(opcode) {
			return false
		}
	}
	for _, r := range b.store.Rows {
		if r.Phase >= phase || !r.Opcode.Matches(opcode) || !r.Flags.Matches(flags) || r.Flags.Care&b.change.Inputs != 0 {
			continue
		}
		for _, c := range r.Lines.Columns() {
			if b.store.Columns[c].Kind == store.Restart {
				return false
			}
		}
	}
	return true
}

// last says whether the path ends in a phase: certainly, or unless an outside flag changes.
func (b *bench) last(opcode, flags uint64, phase int) (sure, perhaps bool) {
	for _, r := range b.store.Rows {
		if r.Phase != phase || !r.Opcode.Matches(opcode) || !r.Flags.Matches(flags) {
			continue
		}
		for _, c := range r.Lines.Columns() {
			if b.store.Columns[c].Kind == store.Restart {
				perhaps = true
				sure = sure || r.Flags.Care&b.change.Inputs == 0
			}
		}
	}
	return sure, perhaps
}

func (b *bench) judge(overlap bool) verdict {
	v := verdict{}
	s := b.store
	ops, fls := uint64(1)<<s.OpcodeBits, uint64(1)<<len(s.Flags)
	word := func(op, fl uint64, phases ...int) store.Set {
		out := store.NewSet(len(s.Columns))
		for _, p := range phases {
			out.Or(s.At(op, fl, p))
		}
		return out
	}
	for op := range ops {
		for fl := range fls {
			b.opcode, b.flags, b.bits, b.tested = op, fl, 0, 0
			try := func(want store.Set, phases ...int) {
				b.compare(v, want, want, phases...)
			}
			if b.occurs(op, fl, 0) {
				try(word(op, fl))
			}
			for p := 1; p <= s.Phases; p++ {
				if !b.occurs(op, fl, p) {
					continue
				}
				try(word(op, fl, p), p)
				if !overlap {
					continue
				}
				sure, perhaps := b.last(op, fl, p)
				if p < s.Phases && !sure {
					try(word(op, fl, p, p+1), p, p+1)
				}
				if p > 1 && (perhaps || p == s.Phases) {
					try(word(op, fl, p, 1), p, 1)
				}
			}
		}
	}
	type moving struct {
		phases       [2]int
		bits, tested uint64
		op, fl       uint64
	}
	seen := map[moving]bool{}
	for _, m := range b.change.Moving {
		if m.Phase < 1 || m.Phase > s.Phases || m.Bits|m.Tested == 0 {
			continue
		}
		for op := range ops {
			for fl := range fls {
				if op&m.Bits != 0 || fl&m.Tested != 0 {
					continue
				}
				// Does the record speak of this state, whatever moves?
				in := func(m store.Moving) bool {
					return (op^m.Opcode.Value)&m.Opcode.Care&^m.Bits == 0 && (fl^m.Flags.Value)&m.Flags.Care&^m.Tested == 0
				}
				if !in(m) {
					continue
				}
				do := func(phases ...int) {
					k := moving{bits: m.Bits, tested: m.Tested, op: op, fl: fl}
					copy(k.phases[:], phases)
					if seen[k] {
						return
					}
					seen[k] = true
					var must, may store.Set
					for o := range ops {
						for f := range fls {
							if o&^m.Bits != op || f&^m.Tested != fl {
								continue
							}
							if !b.occurs(o, f, phases[len(phases)-1]) {
								continue
							}
							w := word(o, f, phases...)
							if must == nil {
								must, may = append(store.Set(nil), w...), append(store.Set(nil), w...)
							}
							may.Or(w)
							for i := range must {
								must[i] &= w[i]
							}
						}
					}
					if must == nil {
						return
					}
					b.opcode, b.flags, b.bits, b.tested = op, fl, m.Bits, m.Tested
					none := store.NewSet(len(s.Columns))
					if len(phases) == 1 {
						b.compare(v, none, none)
					}
					b.phases = nil
					_, quiet := b.settle()
					b.compare(v, must, may, phases...)
					b.touch(v, quiet, phases...)
				}
				do(m.Phase)
				if !overlap {
					continue
				}
				for _, n := range b.change.Moving {
					if n.Phase == m.Phase+1 && n.Phase <= s.Phases && n.Bits == m.Bits && n.Tested == m.Tested && in(n) {
						do(m.Phase, m.Phase+1)
					}
				}
			}
		}
	}
	return v
}

func (b *bench) compare(v verdict, must, may store.Set, phases ...int) {
	b.phases = map[int]bool{}
	for _, p := range phases {
		b.phases[p] = true
	}
	certain, possible := b.settle()
	has := func(m map[wiring.Terminal]int, t wiring.Terminal) bool { _, ok := m[t]; return ok }
	for t := range possible {
		if b.returns[t] {
			b.blame(v, "short", phases)
			break
		}
	}
	told := map[string]bool{}
	for _, p := range b.list.Pins {
		u, t := p.Use, p.Terminal()
		key := fmt.Sprintf("%s %d", u.Kind, u.N)
		switch u.Kind {
		case wiring.Phase, wiring.Opcode, wiring.Flag:
			if _, q := b.powered(u); has(possible, t) && !q && !told[key] {
				told[key] = true
				b.blame(v, "back-feed "+key, phases)
			}
		case wiring.Line:
			if told[key] || !b.driven[u.N] {
				continue
			}
			told[key] = true
			on, perhaps := has(certain, t), has(possible, t)
			if b.store.Columns[u.N].Low {
				on, perhaps = !perhaps, !on
			}
			if perhaps && !may.Has(u.N) {
				b.blame(v, "extra "+key, phases)
			}
			if !on && must.Has(u.N) {
				b.blame(v, "missing "+key, phases)
			}
			if certain[t] > b.list.Levels {
				b.blame(v, "levels "+key, phases)
			}
		}
	}
	for _, r := range b.list.Relays {
		a, z := r.Coil()
		if b.returns[a] {
			a, z = z, a
		}
		if b.returns[z] && !b.returns[a] && certain[a] > b.list.Levels {
			b.blame(v, "levels "+r.Name, phases)
		}
		if b.bits|b.tested == 0 && !b.made[r.Name] && !b.open[r.Name] {
			b.blame(v, "undecided", phases)
		}
	}
}

// touch looks at what contacts in change-over meet.
func (b *bench) touch(v verdict, quiet map[wiring.Terminal]int, phases ...int) {
	_, possible := b.settle()
	wired := map[wiring.Terminal]bool{}
	for _, w := range b.list.Wires {
		if w.From != w.To {
			wired[w.From], wired[w.To] = true, true
		}
	}
	for _, r := range b.list.Relays {
		if b.made[r.Name] || b.open[r.Name] {
			continue
		}
		hot := false
		for n := 1; n <= r.Poles; n++ {
			c, brk, mk := r.Pole(n)
			for _, t := range []wiring.Terminal{brk, mk} {
				for _, end := range []wiring.Terminal{c, t} {
					_, live := possible[end]
					_, was := quiet[end]
					hot = hot || wired[c] && wired[t] && live && !was
				}
			}
		}
		if hot {
			b.blame(v, "switching "+r.Name, phases)
		}
	}
}

func (b *bench) blame(v verdict, what string, phases []int) {
	var ph [2]uint64
	for i, p := range phases {
		ph[i] = uint64(p)
	}
	rank := uint64(0)
	switch {
	case b.bits|b.tested != 0:
		rank = 2
	case len(phases) != 1:
		rank = 1
	}
	order := [7]uint64{rank, b.opcode, b.flags, ph[0], ph[1], b.bits, b.tested}
	x := v[what]
	if x == nil {
		x = &blame{order: order}
		v[what] = x
	}
	x.states++
	if less(order, x.order) {
		x.order = order
	}
	x.first = fmt.Sprint(x.order)
}

func less(a, b [7]uint64) bool {
	for i := range a {
		if a[i] != b[i] {
			return a[i] < b[i]
		}
	}
	return false
}

// verdictOf is the same in the proof's own words. An undecided relay makes
// others unknown; which of them are in the loop the reference does not ask.
func verdictOf(l *wiring.List, s *store.Store, groups []*group, w *circuit) verdict {
	v := verdict{}
	for _, g := range groups {
		what := string(g.kind)
		switch g.kind {
		case Backfeed:
			what += fmt.Sprintf(" %s %d", w.allUses[g.n].kind, w.allUses[g.n].n)
		case Extra, Missing:
			what += fmt.Sprintf(" line %d", g.n)
		case TooDeep:
			if g.n < len(s.Columns) {
				what += fmt.Sprintf(" line %d", g.n)
			} else {
				what += " " + w.relays[g.n-len(s.Columns)]
			}
		case LiveSwitch:
			what += " " + w.relays[g.n]
		}
		f := g.first
		rank := uint64(0)
		switch {
		case f.Bits|f.Tested != 0:
			rank = 2
		case f.Phase == 0 || f.Second != 0:
			rank = 1
		}
		v[what] = &blame{states: g.states, first: fmt.Sprint([7]uint64{rank, f.Opcode, f.Flags, uint64(f.Phase), uint64(f.Second), f.Bits, f.Tested})}
	}
	return v
}

func (v verdict) text(counts bool) []string {
	var out []string
	for k, b := range v {
		if k == "undecided" || !counts {
			out = append(out, k)
		} else {
			out = append(out, fmt.Sprintf("%s: %d states, first %s", k, b.states, b.first))
		}
	}
	sort.Strings(out)
	return out
}
