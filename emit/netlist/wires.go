package netlist

import (
	"fmt"
	"slices"

	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// plan is a list as nets with contacts and diodes between them. Nets count
// from 0 in the order in which the list first names a terminal of theirs.
type plan struct {
	list     *wiring.List
	store    *store.Store
	names    []string // of each net: its first terminal
	terms    [][]wiring.Terminal
	contacts []contact
	diodes   []diode
	coils    []int // by relay: the net that pulls it in; -1: nothing is wired to it
	feed     int   // -1: no pin brings it in
	ret      int
	inputs   []pin
	lines    []int // by column: its net, -1 = no pin
}

// contact is one throw of a pole, between two nets.
type contact struct {
	relay, pole   int  // pole from 1
	made          bool // closed while the relay is pulled in
	common, throw int
}

// diode passes activity one way.
type diode struct {
	name     string
	from, to int
}

// pin is an input of the network.
type pin struct {
	kind wiring.Kind
	n    int
	net  int
}

// read joins terminals by wires and by the backplane.
func read(l *wiring.List, s *store.Store) (*plan, error) {
	j := &joiner{index: map[wiring.Terminal]int{}}
	for _, k := range l.Relays {
		a1, a2 := k.Coil()
		j.add(a1, a2)
		for n := 1; n <= k.Poles; n++ {
			j.add(k.Pole(n))
		}
	}
	for _, d := range l.Diodes {
		j.add(d.Ends())
	}
	for _, p := range l.Pins {
		j.add(p.Terminal())
	}
	if j.err != nil {
		return nil, j.err
	}
	wired := make([]bool, len(j.terms))
	for _, w := range l.Wires {
		from, ok := j.index[w.From]
		to, ok2 := j.index[w.To]
		if !ok || !ok2 {
			return nil, fmt.Errorf("the wire %s to %s has an end that is no terminal of the list", w.From, w.To)
		}
		j.join(from, to)
		if from != to {
			wired[from], wired[to] = true, true
		}
	}
	backplane := map[wiring.Use]int{}
	for _, p := range l.Pins {
		if p.Use.Kind == wiring.Spare {
			continue
		}
		u := wiring.Use{Kind: p.Use.Kind, N: p.Use.N}
		if u.Kind == wiring.Feed || u.Kind == wiring.Return {
			u.N = 0
		}
		t := j.index[p.Terminal()]
		if first, ok := backplane[u]; ok {
			j.join(first, t)
		} else {
			backplane[u] = t
		}
	}

	p := &plan{list: l, store: s, feed: -1, ret: -1, lines: make([]int, len(s.Columns))}
	net := make([]int, len(j.terms))
	for i, t := range j.terms {
		if root := j.find(i); root == i {
			net[i] = len(p.names)
			p.names = append(p.names, string(t))
			p.terms = append(p.terms, nil)
		} else {
			net[i] = net[root]
		}
		p.terms[net[i]] = append(p.terms[net[i]], t)
	}
	at := func(kind wiring.Kind, n int) int {
		if i, ok := backplane[wiring.Use{Kind: kind, N: n}]; ok {
			return net[i]
		}
		return -1
	}
	p.feed, p.ret = at(wiring.Feed, 0), at(wiring.Return, 0)
	for n := 1; n <= s.Phases; n++ {
		p.input(wiring.Phase, n, at(wiring.Phase, n))
	}
	for n := range s.OpcodeBits {
		p.input(wiring.Opcode, n, at(wiring.Opcode, n))
	}
	for n := range s.Flags {
		p.input(wiring.Flag, n, at(wiring.Flag, n))
	}
	for n := range s.Columns {
		p.lines[n] = at(wiring.Line, n)
	}

	of := func(t wiring.Terminal) (n int, ok bool) { return net[j.index[t]], wired[j.index[t]] }
	for i, k := range l.Relays {
		used := false
		for n := 1; n <= k.Poles; n++ {
			common, breaks, makes := k.Pole(n)
			c, ok := of(common)
			if !ok {
				continue
			}
			for made, t := range []wiring.Terminal{breaks, makes} {
				if x, ok := of(t); ok {
					used = true
					p.contacts = append(p.contacts, contact{relay: i, pole: n, made: made == 1, common: c, throw: x})
				}
			}
		}
		coil, err := p.coil(k, of, used)
		if err != nil {
			return nil, err
		}
		p.coils = append(p.coils, coil)
	}
	for _, d := range l.Diodes {
		anode, cathode := d.Ends()
		a, ok := of(anode)
		k, ok2 := of(cathode)
		if !ok || !ok2 {
			continue
		}
		if l.Negative {
			a, k = k, a
		}
		p.diodes = append(p.diodes, diode{d.Name, a, k})
	}
	return p, nil
}

// input notes a wire that brings current to the cards.
func (p *plan) input(kind wiring.Kind, n, net int) {
	if net >= 0 {
		p.inputs = append(p.inputs, pin{kind, n, net})
	}
}

// coil returns the net that pulls a relay in; one with nothing on it never does.
func (p *plan) coil(k wiring.Relay, of func(wiring.Terminal) (int, bool), used bool) (int, error) {
	t1, t2 := k.Coil()
	a1, ok1 := of(t1)
	a2, ok2 := of(t2)
	switch {
	case !used:
		return -1, nil
	case a1 == a2:
	case ok2 && a2 == p.ret:
		return a1, nil
	case ok1 && a1 == p.ret:
		return a2, nil
	}
	return -1, fmt.Errorf("the coil of %s does not lie between a wire and the return", k.Name)
}

// joiner finds what hangs together.
type joiner struct {
	index  map[wiring.Terminal]int
	terms  []wiring.Terminal
	parent []int
	err    error
}

func (j *joiner) add(terms ...wiring.Terminal) {
	for _, t := range terms {
		if _, ok := j.index[t]; ok && j.err == nil {
			j.err = fmt.Errorf("the terminal %s stands twice in the list", t)
		}
		j.index[t] = len(j.parent)
		j.terms = append(j.terms, t)
		j.parent = append(j.parent, len(j.parent))
	}
}

func (j *joiner) find(i int) int {
	for j.parent[i] != i {
		j.parent[i] = j.parent[j.parent[i]]
		i = j.parent[i]
	}
	return i
}

// join keeps the lower root, so that nets are named alike on every run.
func (j *joiner) join(a, b int) {
	a, b = j.find(a), j.find(b)
	j.parent[max(a, b)] = min(a, b)
}

// driven lists the columns that the control word drives, ascending.
func driven(s *store.Store) []int {
	var out []int
	for i := range s.Columns {
		if slices.Contains(s.Word.Bits, i) {
			out = append(out, i)
		}
	}
	return out
}
