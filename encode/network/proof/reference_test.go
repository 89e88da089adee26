package proof

import (
	"fmt"
	"sort"

	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// The reference is a second reading of what a proof demands, slow and plain:
// one state at a time, current followed from joint to joint, every relay
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

	number  map[wiring.Terminal]int // the point that a terminal belongs to
	next    [][]hop                 // by point
	pins    []int
	returns []bool // by point: wires join it to the return
	driven  map[int]bool
	coils   [][2]int // by relay: the end that is fed, the end at the return

	// the state
	opcode, flags uint64
	bits, tested  uint64
	phases        map[int]bool
	made, open    []bool // by relay: certainly pulled in, certainly at rest
}

type hop struct {
	to    int
	relay int // a contact of this relay; -1 = a diode
	make  bool
	diode bool
}

func newBench(l *wiring.List, s *store.Store, c store.Changes) *bench {
	b := &bench{list: l, store: s, change: c, number: map[wiring.Terminal]int{}, driven: map[int]bool{}}
	for _, k := range s.Word.Bits {
		b.driven[k] = true
	}
	// Wires and the backplane make points of terminals.
	joined := map[wiring.Terminal][]wiring.Terminal{}
	joint := func(x, y wiring.Terminal) {
		joined[x] = append(joined[x], y)
		joined[y] = append(joined[y], x)
	}
	for _, w := range l.Wires {
		joint(w.From, w.To)
	}
	for i, p := range l.Pins {
		for _, q := range l.Pins[:i] {
			if p.Use.Kind == q.Use.Kind && p.Use.N == q.Use.N && p.Use.Kind != wiring.Spare {
				joint(p.Terminal(), q.Terminal())
			}
		}
	}
	var walk func(t wiring.Terminal, n int)
	walk = func(t wiring.Terminal, n int) {
		if _, ok := b.number[t]; ok {
			return
		}
		b.number[t] = n
		for _, u := range joined[t] {
			walk(u, n)
		}
	}
	at := func(t wiring.Terminal) int {
		if _, ok := b.number[t]; !ok {
			walk(t, len(b.next))
			b.next = append(b.next, nil)
		}
		return b.number[t]
	}
	both := func(x, y wiring.Terminal, h hop) {
		h.to = at(y)
		b.next[at(x)] = append(b.next[at(x)], h)
		h.to = at(x)
		b.next[at(y)] = append(b.next[at(y)], h)
	}
	for _, p := range l.Pins {
		b.pins = append(b.pins, at(p.Terminal()))
	}
	for _, r := range l.Relays {
		a, z := r.Coil()
		b.coils = append(b.coils, [2]int{at(a), at(z)})
	}
	for _, r := range l.Relays {
		for n := 1; n <= r.Poles; n++ {
			c, brk, mk := r.Pole(n)
			at(c)
			at(brk)
			at(mk)
		}
	}
	for _, d := range l.Diodes {
		a, k := d.Ends()
		at(a)
		at(k)
	}
	b.returns = make([]bool, len(b.next))
	for _, p := range l.Pins {
		if p.Use.Kind == wiring.Return {
			b.returns[at(p.Terminal())] = true
		}
	}
	for i, r := range l.Relays {
		if b.returns[b.coils[i][0]] {
			b.coils[i][0], b.coils[i][1] = b.coils[i][1], b.coils[i][0]
		}
		for n := 1; n <= r.Poles; n++ {
			c, brk, mk := r.Pole(n)
			both(c, brk, hop{relay: i})
			both(c, mk, hop{relay: i, make: true})
		}
	}
	for _, d := range l.Diodes {
		a, k := d.Ends()
		if l.Negative {
			a, k = k, a
		}
		b.next[at(a)] = append(b.next[at(a)], hop{to: at(k), relay: -1, diode: true})
	}
	return b
}

// pulls says whether a relay is wired so that its coil can pull it in.
func (b *bench) pulls(relay int) bool {
	return b.returns[b.coils[relay][1]] && !b.returns[b.coils[relay][0]]
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
	case h.relay < 0:
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

// dead is what current does not reach.
const dead = -1

// flow returns by how few diodes current reaches each point.
func (b *bench) flow(certain bool) []int {
	out := make([]int, len(b.next))
	for i := range out {
		out[i] = dead
	}
	var walk func(t int, diodes int)
	walk = func(t int, diodes int) {
		if out[t] != dead && out[t] <= diodes {
			return
		}
		out[t] = diodes
		for _, h := range b.next[t] {
			part := h.relay >= 0 || h.diode
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
	for i, p := range b.list.Pins {
		if c, q := b.powered(p.Use); certain && c || !certain && q {
			walk(b.pins[i], 0)
		}
	}
	return out
}

// settle finds what relays do and what is live, from nothing known.
func (b *bench) settle() (certain, possible []int) {
	b.made, b.open = make([]bool, len(b.coils)), make([]bool, len(b.coils))
	for {
		certain, possible = b.flow(true), b.flow(false)
		changed := false
		for i, coil := range b.coils {
			c := b.pulls(i) && certain[coil[0]] != dead
			q := b.pulls(i) && possible[coil[0]] != dead
			if c && !b.made[i] || !q && !b.open[i] {
				changed = true
			}
			b.made[i], b.open[i] = c, !q
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
	for p := 1; p <= s.Phases; p++ {
		for _, k := range b.motions(p) {
			for op := range ops {
				for fl := range fls {
					if op&k.bits != 0 || fl&k.tested != 0 || !b.moves(k, p, op, fl) {
						continue
					}
					b.moving(v, k, op, fl, p)
					if overlap && p < s.Phases && b.moves(k, p+1, op, fl) {
						b.moving(v, k, op, fl, p, p+1)
					}
				}
			}
		}
	}
	return v
}

// motion is what travels at once.
type motion struct{ bits, tested uint64 }

// motions lists all that may travel at once in a phase: any records together.
func (b *bench) motions(phase int) []motion {
	seen := map[motion]bool{}
	var out []motion
	for _, m := range b.change.Moving {
		if m.Phase != phase || m.Bits|m.Tested == 0 {
			continue
		}
		for _, k := range append([]motion{{}}, out...) {
			k.bits |= m.Bits
			k.tested |= m.Tested
			if !seen[k] {
				seen[k] = true
				out = append(out, k)
			}
		}
	}
	return out
}

// moves says whether the records that hold in a state make up a motion, none
// more and none less.
func (b *bench) moves(k motion, phase int, op, fl uint64) bool {
	var sum motion
	for _, m := range b.change.Moving {
		if m.Phase == phase && m.Bits&^k.bits|m.Tested&^k.tested == 0 &&
			(op^m.Opcode.Value)&m.Opcode.Care&^k.bits == 0 && (fl^m.Flags.Value)&m.Flags.Care&^k.tested == 0 {
			sum.bits |= m.Bits
			sum.tested |= m.Tested
		}
	}
	return sum == k
}

// moving tries a state in which contacts travel.
func (b *bench) moving(v verdict, k motion, op, fl uint64, phases ...int) {
	s := b.store
	var must, may store.Set
	for o := range uint64(1) << s.OpcodeBits {
		for f := range uint64(1) << len(s.Flags) {
			if o&^k.bits != op || f&^k.tested != fl || !b.occurs(o, f, phases[len(phases)-1]) {
				continue
			}
			w := store.NewSet(len(s.Columns))
			for _, p := range phases {
				w.Or(s.At(o, f, p))
			}
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
	b.opcode, b.flags, b.bits, b.tested = op, fl, k.bits, k.tested
	none := store.NewSet(len(s.Columns))
	if len(phases) == 1 {
		b.compare(v, none, none)
	}
	b.phases = nil
	_, quiet := b.settle()
	b.compare(v, must, may, phases...)
	b.touch(v, quiet, phases...)
}

func (b *bench) compare(v verdict, must, may store.Set, phases ...int) {
	b.phases = map[int]bool{}
	for _, p := range phases {
		b.phases[p] = true
	}
	certain, possible := b.settle()
	for t, d := range possible {
		if d != dead && b.returns[t] {
			b.blame(v, "short", phases)
			break
		}
	}
	told := map[wiring.Use]bool{}
	for i, p := range b.list.Pins {
		u, t := p.Use, b.pins[i]
		u.Name = ""
		key := func() string { return fmt.Sprintf("%s %d", u.Kind, u.N) }
		switch u.Kind {
		case wiring.Phase, wiring.Opcode, wiring.Flag:
			if _, q := b.powered(u); possible[t] != dead && !q && !told[u] {
				told[u] = true
				b.blame(v, "back-feed "+key(), phases)
			}
		case wiring.Line:
			if told[u] || !b.driven[u.N] {
				continue
			}
			told[u] = true
			on, perhaps := certain[t] != dead, possible[t] != dead
			if b.store.Columns[u.N].Low {
				on, perhaps = !perhaps, !on
			}
			if perhaps && !may.Has(u.N) {
				b.blame(v, "extra "+key(), phases)
			}
			if !on && must.Has(u.N) {
				b.blame(v, "missing "+key(), phases)
			}
			if certain[t] > b.list.Levels {
				b.blame(v, "levels "+key(), phases)
			}
		}
	}
	for i, r := range b.list.Relays {
		if b.pulls(i) && certain[b.coils[i][0]] > b.list.Levels {
			b.blame(v, "levels "+r.Name, phases)
		}
		if b.bits|b.tested == 0 && !b.made[i] && !b.open[i] {
			b.blame(v, "undecided", phases)
		}
	}
}

// touch looks at what contacts in change-over meet.
func (b *bench) touch(v verdict, quiet []int, phases ...int) {
	_, possible := b.settle()
	wired := map[wiring.Terminal]bool{}
	for _, w := range b.list.Wires {
		if w.From != w.To {
			wired[w.From], wired[w.To] = true, true
		}
	}
	for i, r := range b.list.Relays {
		if b.made[i] || b.open[i] {
			continue
		}
		hot := false
		for n := 1; n <= r.Poles; n++ {
			c, brk, mk := r.Pole(n)
			for _, t := range []wiring.Terminal{brk, mk} {
				for _, end := range []wiring.Terminal{c, t} {
					e := b.number[end]
					hot = hot || wired[c] && wired[t] && possible[e] != dead && quiet[e] == dead
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
func verdictOf(s *store.Store, groups []*group, w *circuit) verdict {
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
