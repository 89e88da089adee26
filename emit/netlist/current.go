package netlist

import (
	"errors"
	"fmt"
	"slices"

	"coilwright/encode/network/wiring"
)

// ErrLoop is wrapped by the error for a network in which current, or the
// relays it pulls in, can run in a circle: no list of sums says what it does.
var ErrLoop = errors.New("only switches can say it")

// maxSteps bounds the ways of current that are followed.
const maxSteps = 1 << 24

// edge is a way for current from one net to another: through a contact, or a diode.
type edge struct {
	from, to int
	contact  int // index into plan.contacts, -1 for a diode
}

// ways is what current can do in a network.
type ways struct {
	*plan
	edges []edge
	out   [][]int // by net: edges that leave it
	used  []bool  // by edge: current can pass it on its way to a line or a coil
	sign  []literal
	sinks []bool // by net: a line or a coil of use hangs there
	steps int

	// of the path that is being followed
	on     []bool // by net: it is on the path
	path   []int
	values []int8 // by signal: 0 = open, 1 = pulled in, -1 = at rest
}

// literal says what a relay follows: relays with the same signal pull in
// together, or one just when the other does not.
type literal struct {
	signal  int
	negated bool
}

// follow finds every way that current can take from an input or the feed to
// a line or a coil, through contacts that can be closed at the same time. Contacts
// carry current both ways, so that a network may hold ways that no state
// opens; those, and those that lead nowhere, are left out.
func follow(p *plan) (*ways, error) {
	w := &ways{plan: p, out: make([][]int, len(p.names)), sinks: make([]bool, len(p.names)), on: make([]bool, len(p.names))}
	link := func(from, to, contact int) {
		// The feed is live whatever flows into it; what reaches the return goes no further.
		if from == to || from == p.ret || to == p.ret || to == p.feed {
			return
		}
		w.out[from] = append(w.out[from], len(w.edges))
		w.edges = append(w.edges, edge{from, to, contact})
	}
	for i, c := range p.contacts {
		link(c.common, c.throw, i)
		link(c.throw, c.common, i)
	}
	for _, d := range p.diodes {
		link(d.from, d.to, -1)
	}
	w.signals()
	for _, n := range driven(p.store) {
		if p.lines[n] >= 0 {
			w.sinks[p.lines[n]] = true
		}
	}
	for _, n := range p.coils {
		if n >= 0 {
			w.sinks[n] = true
		}
	}
	w.used = make([]bool, len(w.edges))
	w.values = make([]int8, len(p.coils))
	useful := w.leading()
	sources := []int{}
	if p.feed >= 0 {
		sources = append(sources, p.feed)
	}
	for _, i := range p.inputs {
		sources = append(sources, i.net)
	}
	for _, s := range sources {
		if !w.run(s, useful) {
			return nil, fmt.Errorf("current has more than %d ways through the network: %w", maxSteps, ErrLoop)
		}
	}
	return w, nil
}

// leading marks the nets from which a sink can be reached, conditions aside.
func (w *ways) leading() []bool {
	into := make([][]int, len(w.names))
	for i, e := range w.edges {
		into[e.to] = append(into[e.to], i)
	}
	useful := slices.Clone(w.sinks)
	var stack []int
	for n, sink := range w.sinks {
		if sink {
			stack = append(stack, n)
		}
	}
	for len(stack) > 0 {
		n := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		for _, e := range into[n] {
			if from := w.edges[e].from; !useful[from] {
				useful[from] = true
				stack = append(stack, from)
			}
		}
	}
	return useful
}

// run follows current from a net; false if there are too many ways.
func (w *ways) run(net int, useful []bool) bool {
	if w.steps++; w.steps > maxSteps {
		return false
	}
	w.on[net] = true
	defer func() { w.on[net] = false }()
	if w.sinks[net] {
		for i := len(w.path) - 1; i >= 0; i-- {
			w.used[w.path[i]] = true
		}
	}
	for _, i := range w.out[net] {
		e := w.edges[i]
		if w.on[e.to] || !useful[e.to] {
			continue
		}
		set := -1
		if e.contact >= 0 {
			c := w.contacts[e.contact]
			s := w.sign[c.relay]
			want := int8(-1)
			if c.made != s.negated {
				want = 1
			}
			if w.values[s.signal] == -want {
				continue
			}
			if w.values[s.signal] == 0 {
				set = s.signal
				w.values[set] = want
			}
		}
		w.path = append(w.path, i)
		ok := w.run(e.to, useful)
		w.path = w.path[:len(w.path)-1]
		if set >= 0 {
			w.values[set] = 0
		}
		if !ok {
			return false
		}
	}
	return true
}

// signals finds relays that follow each other: coils on one net, and
// repeaters, whose coil the feed reaches through one contact of another alone.
func (w *ways) signals() {
	into := make([][]int, len(w.names))
	for i, e := range w.edges {
		into[e.to] = append(into[e.to], i)
	}
	input := make([]bool, len(w.names))
	for _, i := range w.inputs {
		input[i.net] = true
	}
	first := map[int]int{} // relay by coil net
	w.sign = make([]literal, len(w.coils))
	known := make([]bool, len(w.coils))
	var find func(relay int) literal
	find = func(relay int) literal {
		if known[relay] {
			return w.sign[relay]
		}
		known[relay] = true
		net := w.coils[relay]
		w.sign[relay] = literal{signal: relay}
		if net < 0 {
			return w.sign[relay]
		}
		if same, ok := first[net]; ok {
			w.sign[relay] = find(same)
			return w.sign[relay]
		}
		first[net] = relay
		if len(into[net]) == 1 && !input[net] {
			if e := w.edges[into[net][0]]; e.from == w.feed && e.contact >= 0 {
				c := w.contacts[e.contact]
				s := find(c.relay)
				w.sign[relay] = literal{s.signal, s.negated == c.made}
			}
		}
		return w.sign[relay]
	}
	for i := range w.coils {
		find(i)
	}
}

// order sorts the nets so that each comes after those that its state depends
// on: where its current comes from, and the coils of the contacts in the way.
func (w *ways) order() ([]int, error) {
	into := make([][]int, len(w.names))
	for i, e := range w.edges {
		if w.used[i] {
			into[e.to] = append(into[e.to], i)
		}
	}
	const unseen, open, done = 0, 1, 2
	state := make([]int, len(w.names))
	var out []int
	var visit func(n int) error
	visit = func(n int) error {
		switch state[n] {
		case done:
			return nil
		case open:
			return fmt.Errorf("current or relays run in a circle at %s: %w", w.names[n], ErrLoop)
		}
		state[n] = open
		for _, i := range into[n] {
			e := w.edges[i]
			if err := visit(e.from); err != nil {
				return err
			}
			if e.contact < 0 {
				continue
			}
			if coil := w.coils[w.contacts[e.contact].relay]; coil >= 0 {
				if err := visit(coil); err != nil {
					return err
				}
			}
		}
		state[n] = done
		out = append(out, n)
		return nil
	}
	for n, sink := range w.sinks {
		if sink {
			if err := visit(n); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// idle lists the parts that no current passes on its way to a line or a coil:
// contacts by their terminals, diodes by name.
func (w *ways) idle() []string {
	contacts := make([]bool, len(w.contacts))
	diodes := map[[2]int]bool{}
	for i, e := range w.edges {
		switch {
		case !w.used[i]:
		case e.contact >= 0:
			contacts[e.contact] = true
		default:
			diodes[[2]int{e.from, e.to}] = true
		}
	}
	var out []string
	for i, c := range w.contacts {
		if !contacts[i] {
			common, breaks, makes := w.list.Relays[c.relay].Pole(c.pole)
			throw := breaks
			if c.made {
				throw = makes
			}
			out = append(out, fmt.Sprintf("%s-%s", common, throw))
		}
	}
	for _, d := range w.diodes {
		if !diodes[[2]int{d.from, d.to}] {
			out = append(out, d.name)
		}
	}
	return out
}

// brought lists what brings current to a net from outside.
func (p *plan) brought(net int) (in []pin) {
	for _, i := range p.inputs {
		if i.net == net {
			in = append(in, i)
		}
	}
	return in
}

// port is the name of an input.
func (m *module) port(i pin) string {
	switch i.kind {
	case wiring.Phase:
		return m.ports.phases[i.n-1]
	case wiring.Opcode:
		return m.ports.opcode[i.n]
	}
	return m.ports.flags[i.n]
}
