package proof

import (
	"fmt"
	"slices"

	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// circuit is the list with terminals joined to nets. Nets are numbers from 0;
// -1 stands for a wire that no pin brings to the cards.
type circuit struct {
	*parts
	nets     int
	net      []int // by terminal
	wired    []bool
	alone    []bool // by net: one terminal, nothing on it
	contacts []contact
	diodes   []directed
	coils    []int // by relay: the net that pulls it in, -1 = none
	feed     int
	ret      int
	phase    []int // by phase, [0] unused
	opcode   []int // by bit
	flag     []int
	line     []int
	loose    []string // by relay: an end of its coil that has no wire
	allUses  []use
	named    []string // a terminal of each net, once somebody speaks of it

	quiet  bool  // say nothing of what the list cannot be but that it cannot be
	parent []int // by terminal: the way to the root of its net
	wires  []wiring.Wire
	ends   [][2]int // of wires: terminals, -1 = none
	found  []Finding
}

// use is one wire of the backplane that brings current to the cards.
type use struct {
	kind wiring.Kind
	n    int
	net  int
}

// contact is one throw of a pole.
type contact struct {
	relay         int
	made          bool // closed while the relay is pulled in, else while it is at rest
	common, throw int  // nets
	at, to        int  // terminals
}

// directed is a diode as activity passes it.
type directed struct{ from, to, number int }

// text names a contact as current passes it.
func (w *circuit) text(c contact, back bool) string {
	at, to := w.terms[c.at], w.terms[c.to]
	if back {
		at, to = to, at
	}
	return fmt.Sprintf("%s - %s", at, to)
}

// parts is the terminals of a list as they lie on the bench, before any wire.
type parts struct {
	list      wiring.List // what they were read from, without wires
	terms     []wiring.Terminal
	index     map[wiring.Terminal]int
	backplane []int // by terminal: the way to the root of what the backplane joins
	at        []placed
	relays    []string
	lying     []laid                // diodes
	pins      map[wiring.Use]string // the first pin of a use, Name left out
	first     map[wiring.Use]int    // and its terminal
	where     map[wiring.Kind][]int // by number: the same, -1 = none
	unfit     []Finding
	lack      []Finding
}

// placed is where the terminals of a relay start.
type placed struct{ coil, poles, first int }

// laid is where those of a diode do.
type laid struct {
	name  string
	first int
}

// same reports whether a list has the same parts.
func (q *parts) same(l *wiring.List) bool {
	return q != nil && slices.Equal(q.list.Relays, l.Relays) && slices.Equal(q.list.Diodes, l.Diodes) && slices.Equal(q.list.Pins, l.Pins)
}

func unfit(found *[]Finding, format string, args ...any) {
	*found = append(*found, Finding{Kind: BadList, Text: fmt.Sprintf(format, args...)})
}

func (q *parts) bad(format string, args ...any) { unfit(&q.unfit, format, args...) }

func (q *parts) add(t wiring.Terminal) int {
	if i, ok := q.index[t]; ok {
		q.bad("the terminal %s stands twice in the list", t)
		return i
	}
	i := len(q.terms)
	q.index[t] = i
	q.terms = append(q.terms, t)
	q.backplane = append(q.backplane, i)
	return i
}

func root(parent []int, i int) int {
	for parent[i] != i {
		parent[i] = parent[parent[i]]
		i = parent[i]
	}
	return i
}

// join keeps the lower terminal as the root, so that nets are named alike on every run.
func join(parent []int, i, j int) {
	i, j = root(parent, i), root(parent, j)
	if i > j {
		i, j = j, i
	}
	parent[j] = i
}

const (
	maxPoles = 999
	// maxPolesInAll bounds what a list of a few bytes a relay can make of memory.
	maxPolesInAll = 1 << 17
)

// readParts lists terminals, and says what parts and pins cannot be.
func readParts(l *wiring.List, s *store.Store) *parts {
	q := &parts{
		list:  wiring.List{Relays: slices.Clone(l.Relays), Diodes: slices.Clone(l.Diodes), Pins: slices.Clone(l.Pins)},
		index: map[wiring.Terminal]int{}, pins: map[wiring.Use]string{}, first: map[wiring.Use]int{},
		where: map[wiring.Kind][]int{
			wiring.Phase: fill(s.Phases+1, -1), wiring.Opcode: fill(s.OpcodeBits, -1), wiring.Flag: fill(len(s.Flags), -1),
			wiring.Line: fill(len(s.Columns), -1), wiring.Feed: fill(1, -1), wiring.Return: fill(1, -1),
		},
	}
	names := map[string]bool{}
	once := func(kind, name string) bool {
		if name == "" {
			q.bad("a %s has no name", kind)
			return false
		}
		if names[name] {
			q.bad("the part %s stands twice in the list", name)
			return false
		}
		names[name] = true
		return true
	}
	poles := 0
	for _, k := range l.Relays {
		if !once("relay", k.Name) {
			continue
		}
		if k.Poles < 0 || k.Poles > maxPoles {
			q.bad("the relay %s has %d poles", k.Name, k.Poles)
			k.Poles = 0
		}
		if poles += k.Poles; poles > maxPolesInAll {
			q.bad("the relays have more than %d poles together: from %s on they are left out", maxPolesInAll, k.Name)
			break
		}
		a1, a2 := k.Coil()
		at := placed{coil: q.add(a1), poles: k.Poles}
		q.add(a2)
		at.first = len(q.terms)
		for n := 1; n <= k.Poles; n++ {
			c, b, m := k.Pole(n)
			q.add(c)
			q.add(b)
			q.add(m)
		}
		q.at = append(q.at, at)
		q.relays = append(q.relays, k.Name)
	}
	for _, d := range l.Diodes {
		if !once("diode", d.Name) {
			continue
		}
		a, k := d.Ends()
		q.lying = append(q.lying, laid{d.Name, q.add(a)})
		q.add(k)
	}
	for _, p := range l.Pins {
		t := p.Terminal()
		if names[p.Name] {
			q.bad("the connector %s has the name of a part", p.Name)
			continue
		}
		if _, ok := q.index[t]; ok {
			q.bad("the pin %s stands twice in the list", t)
			continue
		}
		i := q.add(t)
		u, ok := q.use(p, s)
		if !ok || u.Kind == wiring.Spare {
			continue
		}
		if j, ok := q.first[u]; ok {
			join(q.backplane, i, j)
			continue
		}
		q.first[u] = i
		if at := q.where[u.Kind]; at != nil {
			at[u.N] = i
		}
		q.pins[u] = string(t)
	}
	return q
}

func (w *circuit) bad(format string, args ...any) {
	if w.quiet {
		w.found = append(w.found, Finding{Kind: BadList})
		return
	}
	unfit(&w.found, format, args...)
}

// join joins terminals by wires and by the backplane, and says what wires there
// are that cannot be. Wires that stand where they stood in the list before are
// not looked up again.
func (w *circuit) join(wires []wiring.Wire) {
	w.parent = append(w.parent[:0], w.backplane...)
	w.wired = cleared(w.wired, len(w.terms))
	for n := range wires {
		x := &wires[n]
		if n == len(w.wires) {
			w.wires = append(w.wires, wiring.Wire{})
			w.ends = append(w.ends, [2]int{-1, -1})
		}
		was, e := &w.wires[n], &w.ends[n]
		if was.From != x.From || e[0] < 0 {
			e[0] = w.terminal(n, x, x.From)
		}
		if was.To != x.To || e[1] < 0 {
			e[1] = w.terminal(n, x, x.To)
		}
		was.From, was.To = x.From, x.To
		if i, j := e[0], e[1]; i >= 0 && j >= 0 && i != j {
			w.wired[i], w.wired[j] = true, true
			join(w.parent, i, j)
		}
	}
}

func (w *circuit) terminal(n int, x *wiring.Wire, here wiring.Terminal) int {
	if i, ok := w.index[here]; ok {
		return i
	}
	w.bad("wire %d from %s to %s: there is no terminal %s", n+1, x.From, x.To, here)
	return -1
}

// read takes the wires of a list whose parts are read, and says what the list
// has that cannot be.
func (w *circuit) read(l *wiring.List) []Finding {
	w.found = w.found[:0]
	w.join(l.Wires)
	w.net = sized(w.net, len(w.terms))
	w.alone = w.alone[:0]
	w.named = nil
	w.nets = 0
	for i := range w.net {
		if r := root(w.parent, i); r == i {
			w.net[i] = w.nets
			w.nets++
			w.alone = append(w.alone, true)
		} else {
			w.net[i] = w.net[r]
			w.alone[w.net[i]] = false
		}
	}
	w.allUses = w.allUses[:0]
	bring := func(kind wiring.Kind, nets []int) []int {
		nets = nets[:0]
		for n, t := range w.where[kind] {
			if t < 0 {
				nets = append(nets, -1)
				continue
			}
			nets = append(nets, w.net[t])
			switch kind {
			case wiring.Phase, wiring.Opcode, wiring.Flag:
				w.allUses = append(w.allUses, use{kind, n, w.net[t]})
			}
		}
		return nets
	}
	w.phase, w.opcode, w.flag = bring(wiring.Phase, w.phase), bring(wiring.Opcode, w.opcode), bring(wiring.Flag, w.flag)
	w.line = bring(wiring.Line, w.line)
	one := func(kind wiring.Kind) int {
		if t := w.where[kind][0]; t >= 0 {
			return w.net[t]
		}
		return -1
	}
	w.feed, w.ret = one(wiring.Feed), one(wiring.Return)

	w.diodes = w.diodes[:0]
	for i, d := range w.lying {
		a, k := d.first, d.first+1
		if !w.wired[a] || !w.wired[k] {
			continue // a loose end carries nothing
		}
		if l.Negative {
			a, k = k, a
		}
		w.diodes = append(w.diodes, directed{w.net[a], w.net[k], i})
	}
	w.contacts, w.coils, w.loose = w.contacts[:0], w.coils[:0], w.loose[:0]
	for i, k := range w.at {
		contacts := false
		for n := range k.poles {
			t := k.first + 3*n
			for throw := 1; throw <= 2; throw++ {
				contacts = contacts || w.wired[t] || w.wired[t+throw]
				if !w.wired[t] || !w.wired[t+throw] {
					continue
				}
				w.contacts = append(w.contacts, contact{
					relay: i, made: throw == 2, common: w.net[t], throw: w.net[t+throw], at: t, to: t + throw,
				})
			}
		}
		net, loose := w.coil(i, contacts)
		w.coils, w.loose = append(w.coils, net), append(w.loose, loose)
	}
	return w.found
}

// name is a terminal of a net, to speak of it. A pin says more of a net than
// any other terminal.
func (w *circuit) name(net int) string {
	if w.named != nil {
		return w.named[net]
	}
	w.named = make([]string, w.nets)
	for i, n := range w.net {
		if w.named[n] == "" {
			w.named[n] = string(w.terms[i])
		}
	}
	pinned := make([]bool, w.nets)
	for u, t := range w.pins {
		n := w.net[w.first[u]]
		if !pinned[n] || t < w.named[n] {
			w.named[n], pinned[n] = t, true
		}
	}
	return w.named[net]
}

// coil returns the net that pulls a relay in while it is live: the one that
// faces the return's other side. -1 if nothing can pull it in; loose is the end
// that has no wire.
func (w *circuit) coil(relay int, contacts bool) (net int, loose string) {
	t := w.at[relay].coil
	a1, a2, wired1, wired2 := w.net[t], w.net[t+1], w.wired[t], w.wired[t+1]
	name := w.relays[relay]
	if !wired1 && !wired2 && !contacts {
		return -1, "" // not in use
	}
	on1, on2 := w.ret >= 0 && a1 == w.ret, w.ret >= 0 && a2 == w.ret
	switch {
	case !wired1 || !wired2:
		// It matters only if somebody misses the relay.
		if wired1 {
			return -1, "A2"
		}
		return -1, "A1"
	case a1 == a2:
		w.bad("the coil of %s is bridged: %s:A1 and %s:A2 are one net", name, name, name)
	case on2:
		return a1, ""
	case on1:
		return a2, ""
	case w.ret < 0: // is said once
	case w.quiet:
		w.bad("")
	default:
		w.bad("the coil of %s has no end at the return: %s:A1 is on the net of %s, %s:A2 on that of %s", name, name, w.name(a1), name, w.name(a2))
	}
	return -1, ""
}

// use checks what a pin is for and returns it without its name, which means nothing to the proof.
func (q *parts) use(p wiring.Pin, s *store.Store) (wiring.Use, bool) {
	u := p.Use
	within := func(what string, least, past int, name func(int) string) bool {
		if u.N < least || u.N >= past {
			if past <= least {
				q.bad("the pin %s is for %s %d, and the machine has none", p.Terminal(), what, u.N)
			} else {
				q.bad("the pin %s is for %s %d; there are %d to %d", p.Terminal(), what, u.N, least, past-1)
			}
			return false
		}
		if name != nil && u.Name != "" && u.Name != name(u.N) {
			q.bad("the pin %s is for %s %s, but number %d is %s", p.Terminal(), what, u.Name, u.N, name(u.N))
			return false
		}
		return true
	}
	ok := true
	switch u.Kind {
	case wiring.Phase:
		ok = within("phase", 1, s.Phases+1, nil)
	case wiring.Opcode:
		ok = within("opcode bit", 0, s.OpcodeBits, nil)
	case wiring.Flag:
		ok = within("flag", 0, len(s.Flags), func(n int) string { return s.Flags[n] })
	case wiring.Line:
		ok = within("line", 0, len(s.Columns), func(n int) string { return s.Columns[n].Name })
	case wiring.Feed, wiring.Return:
		u.N = 0
	case wiring.Link, wiring.Spare:
	default:
		q.bad("the pin %s is for %q, which is nothing that a pin can be for", p.Terminal(), u.Kind)
		ok = false
	}
	u.Name = ""
	return u, ok
}

// sized is a slice of a length, with anything in it.
func sized[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

// cleared is a slice of a length with nothing in it.
func cleared[T any](s []T, n int) []T {
	s = sized(s, n)
	clear(s)
	return s
}

func fill(n, v int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// absent says once what pins are missing altogether, so that it is not said
// again for every state.
func (p *prover) absent() []Finding {
	s, q := p.store, p.circuit.parts
	pin := func(kind wiring.Kind, n int) bool {
		_, ok := q.pins[wiring.Use{Kind: kind, N: n}]
		return ok
	}
	var out []Finding
	bad := func(format string, args ...any) *Finding {
		out = append(out, Finding{Kind: BadList, Text: fmt.Sprintf(format, args...)})
		return &out[len(out)-1]
	}
	phases := make([]bool, s.Phases+1)
	lines := store.NewSet(len(s.Columns))
	for _, r := range s.Rows {
		for _, c := range r.Lines.Columns() {
			if p.driven[c] {
				lines.Add(c)
				if r.Phase >= 1 && r.Phase <= s.Phases {
					phases[r.Phase] = true
				}
			}
		}
	}
	for n, used := range phases {
		if used && !pin(wiring.Phase, n) {
			bad("no pin brings in phase %d", n)
		}
	}
	p.mute = make([]bool, len(s.Columns))
	for i, c := range s.Columns {
		pinned := pin(wiring.Line, i)
		if p.driven[i] && !pinned {
			p.mute[i] = true
			if lines.Has(i) || c.Low {
				f := bad("the line %s has no pin", c.Name)
				f.Asked = append(f.Asked, c.At)
			}
		}
	}
	if !pin(wiring.Return, 0) && len(q.relays) > 0 {
		bad("no pin is the return, and there are relays")
	}
	return out
}
