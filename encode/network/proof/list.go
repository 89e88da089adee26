package proof

import (
	"fmt"

	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// circuit is the list with terminals joined to nets. Nets are numbers from 0;
// -1 stands for a wire that no pin brings to the cards.
type circuit struct {
	nets     int
	names    []string // a terminal of each net, to speak of it
	contacts []contact
	diodes   []directed
	coils    []int // by relay: the net that pulls it in, -1 = none
	relays   []string
	feed     int
	ret      int
	phase    []int // by phase, [0] unused
	opcode   []int // by bit
	flag     []int
	line     []int
	pins     map[wiring.Use]string // the first pin of a use, Name left out
	throws   int
	alone    []bool            // by net: one terminal, nothing on it
	loose    map[string]string // by relay: an end of its coil that has no wire
	allUses  []use
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
	at, to        wiring.Terminal
}

// text names a contact as current passes it.
func (c contact) text(back bool) string {
	if back {
		return fmt.Sprintf("%s - %s", c.to, c.at)
	}
	return fmt.Sprintf("%s - %s", c.at, c.to)
}

// directed is a diode as activity passes it.
type directed struct {
	from, to int
	text     string
}

type reader struct {
	index  map[wiring.Terminal]int
	parent []int
	terms  []wiring.Terminal
	found  []Finding
}

func (r *reader) bad(format string, args ...any) {
	r.found = append(r.found, Finding{Kind: BadList, Text: fmt.Sprintf(format, args...)})
}

func (r *reader) add(t wiring.Terminal) int {
	if i, ok := r.index[t]; ok {
		r.bad("the terminal %s stands twice in the list", t)
		return i
	}
	i := len(r.parent)
	r.index[t] = i
	r.terms = append(r.terms, t)
	r.parent = append(r.parent, i)
	return i
}

func (r *reader) find(i int) int {
	for r.parent[i] != i {
		r.parent[i] = r.parent[r.parent[i]]
		i = r.parent[i]
	}
	return i
}

// join keeps the lower terminal as the root, so that nets are named alike on every run.
func (r *reader) join(i, j int) {
	i, j = r.find(i), r.find(j)
	if i > j {
		i, j = j, i
	}
	r.parent[j] = i
}

const (
	maxPoles = 999
	// maxPolesInAll bounds what a list of a few bytes a relay can make of memory.
	maxPolesInAll = 1 << 17
)

// read joins terminals by wires and by the backplane, and says what the list
// has that cannot be.
func read(l *wiring.List, s *store.Store) (*circuit, []Finding) {
	r := &reader{index: map[wiring.Terminal]int{}}
	names := map[string]bool{}
	once := func(kind, name string) bool {
		if name == "" {
			r.bad("a %s has no name", kind)
			return false
		}
		if names[name] {
			r.bad("the part %s stands twice in the list", name)
			return false
		}
		names[name] = true
		return true
	}
	w := &circuit{
		feed: -1, ret: -1, pins: map[wiring.Use]string{}, loose: map[string]string{},
		phase: fill(s.Phases+1, -1), opcode: fill(s.OpcodeBits, -1),
		flag: fill(len(s.Flags), -1), line: fill(len(s.Columns), -1),
	}
	type relay struct{ a1, first, poles int }
	var relays []relay
	poles := 0
	for _, k := range l.Relays {
		if !once("relay", k.Name) {
			continue
		}
		if k.Poles < 0 || k.Poles > maxPoles {
			r.bad("the relay %s has %d poles", k.Name, k.Poles)
			k.Poles = 0
		}
		if poles += k.Poles; poles > maxPolesInAll {
			r.bad("the relays have more than %d poles together: from %s on they are left out", maxPolesInAll, k.Name)
			break
		}
		a1, a2 := k.Coil()
		at := relay{a1: r.add(a1), poles: k.Poles}
		r.add(a2)
		at.first = len(r.parent)
		for n := 1; n <= k.Poles; n++ {
			c, b, m := k.Pole(n)
			r.add(c)
			r.add(b)
			r.add(m)
		}
		relays = append(relays, at)
		w.relays = append(w.relays, k.Name)
	}
	var diodes []int
	var diodeNames []string
	for _, d := range l.Diodes {
		if !once("diode", d.Name) {
			continue
		}
		a, k := d.Ends()
		diodes = append(diodes, r.add(a))
		r.add(k)
		diodeNames = append(diodeNames, d.Name)
	}
	backplane := map[wiring.Use]int{}
	for _, p := range l.Pins {
		if names[p.Name] {
			r.bad("the connector %s has the name of a part", p.Name)
			continue
		}
		if _, ok := r.index[p.Terminal()]; ok {
			r.bad("the pin %s stands twice in the list", p.Terminal())
			continue
		}
		i := r.add(p.Terminal())
		u, ok := r.use(p, s)
		if !ok || u.Kind == wiring.Spare {
			continue
		}
		if j, ok := backplane[u]; ok {
			r.join(i, j)
			continue
		}
		backplane[u] = i
		w.pins[u] = string(p.Terminal())
	}
	wired := make([]bool, len(r.parent))
	for n, x := range l.Wires {
		i, okFrom := r.index[x.From]
		j, okTo := r.index[x.To]
		for _, e := range []struct {
			ok   bool
			here wiring.Terminal
		}{{okFrom, x.From}, {okTo, x.To}} {
			if !e.ok {
				r.bad("wire %d from %s to %s: there is no terminal %s", n+1, x.From, x.To, e.here)
			}
		}
		if okFrom && okTo && i != j {
			wired[i], wired[j] = true, true
			r.join(i, j)
		}
	}

	net := make([]int, len(r.parent))
	size := []int{}
	for i := range r.parent {
		if root := r.find(i); root == i {
			net[i] = w.nets
			w.nets++
			w.names = append(w.names, string(r.terms[i]))
			size = append(size, 1)
		} else {
			net[i] = net[root]
			size[net[i]]++
		}
	}
	// A pin says more of a net than any other terminal.
	pinned := make([]bool, w.nets)
	for _, t := range w.pins {
		n := net[r.index[wiring.Terminal(t)]]
		if !pinned[n] || t < w.names[n] {
			w.names[n], pinned[n] = t, true
		}
	}
	w.alone = make([]bool, w.nets)
	for i, n := range size {
		w.alone[i] = n == 1
	}
	at := func(kind wiring.Kind, n int) int {
		i, ok := backplane[wiring.Use{Kind: kind, N: n}]
		if !ok {
			return -1
		}
		return net[i]
	}
	w.feed, w.ret = at(wiring.Feed, 0), at(wiring.Return, 0)
	for _, k := range []struct {
		kind  wiring.Kind
		nets  []int
		first int
	}{{wiring.Phase, w.phase, 1}, {wiring.Opcode, w.opcode, 0}, {wiring.Flag, w.flag, 0}, {wiring.Line, w.line, 0}} {
		for n := k.first; n < len(k.nets); n++ {
			k.nets[n] = at(k.kind, n)
			if k.kind != wiring.Line && k.nets[n] >= 0 {
				w.allUses = append(w.allUses, use{k.kind, n, k.nets[n]})
			}
		}
	}

	for i, d := range diodes {
		a, k := net[d], net[d+1]
		way := "A>K"
		if l.Negative {
			a, k, way = k, a, "K>A"
		}
		if !wired[d] || !wired[d+1] {
			continue // a loose end carries nothing
		}
		w.diodes = append(w.diodes, directed{a, k, diodeNames[i] + " " + way})
	}
	for i, k := range relays {
		contacts := false
		for n := range k.poles {
			t := k.first + 3*n
			for throw := 1; throw <= 2; throw++ {
				contacts = contacts || wired[t] || wired[t+throw]
				if !wired[t] || !wired[t+throw] {
					continue
				}
				w.throws++
				w.contacts = append(w.contacts, contact{
					relay: i, made: throw == 2, common: net[t], throw: net[t+throw],
					at: r.terms[t], to: r.terms[t+throw],
				})
			}
		}
		w.coils = append(w.coils, r.coil(w, w.relays[i], net[k.a1], net[k.a1+1], wired[k.a1], wired[k.a1+1], contacts))
	}
	return w, r.found
}

// coil returns the net that pulls a relay in while it is live: the one that
// faces the return's other side. -1 if nothing can pull it in.
func (r *reader) coil(w *circuit, name string, a1, a2 int, wired1, wired2, contacts bool) int {
	if !wired1 && !wired2 && !contacts {
		return -1 // not in use
	}
	on1, on2 := w.ret >= 0 && a1 == w.ret, w.ret >= 0 && a2 == w.ret
	switch {
	case !wired1 || !wired2:
		w.loose[name] = "A1"
		if wired1 {
			w.loose[name] = "A2"
		}
		return -1 // which matters only if somebody misses the relay
	case a1 == a2:
		r.bad("the coil of %s is bridged: %s:A1 and %s:A2 are one net", name, name, name)
	case on2:
		return a1
	case on1:
		return a2
	case w.ret < 0: // is said once
	default:
		r.bad("the coil of %s has no end at the return: %s:A1 is on the net of %s, %s:A2 on that of %s", name, name, w.names[a1], name, w.names[a2])
	}
	return -1
}

// use checks what a pin is for and returns it without its name, which means nothing to the proof.
func (r *reader) use(p wiring.Pin, s *store.Store) (wiring.Use, bool) {
	u := p.Use
	within := func(what string, least, past int, name func(int) string) bool {
		if u.N < least || u.N >= past {
			if past <= least {
				r.bad("the pin %s is for %s %d, and the machine has none", p.Terminal(), what, u.N)
			} else {
				r.bad("the pin %s is for %s %d; there are %d to %d", p.Terminal(), what, u.N, least, past-1)
			}
			return false
		}
		if name != nil && u.Name != "" && u.Name != name(u.N) {
			r.bad("the pin %s is for %s %s, but number %d is %s", p.Terminal(), what, u.Name, u.N, name(u.N))
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
		r.bad("the pin %s is for %q, which is nothing that a pin can be for", p.Terminal(), u.Kind)
		ok = false
	}
	u.Name = ""
	return u, ok
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
	s, w := p.store, p.circuit
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
		if used && w.phase[n] < 0 {
			bad("no pin brings in phase %d", n)
		}
	}
	p.mute = make([]bool, len(s.Columns))
	for i, c := range s.Columns {
		pin := w.line[i] >= 0
		switch {
		case p.driven[i] && !pin:
			p.mute[i] = true
			if lines.Has(i) || c.Low {
				f := bad("the line %s has no pin", c.Name)
				f.Asked = append(f.Asked, c.At)
			}
		case !p.driven[i] && pin:
			bad("the pin %s is for the line %s, which other hardware drives", w.pins[wiring.Use{Kind: wiring.Line, N: i}], c.Name)
		}
	}
	if w.ret < 0 && len(w.relays) > 0 {
		bad("no pin is the return, and there are relays")
	}
	return out
}
