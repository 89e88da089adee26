package proof

import (
	"fmt"
	"slices"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// teller is the network in one state, with the ways that current takes.
type teller struct {
	*prover
	*engine
	at State
}

// watch settles the network in one state.
func (p *prover) watch(at State) *teller {
	t := &teller{p, newEngine(p.graph, true), at}
	w := p.circuit
	set := func(net int, certain, possible bool) {
		if net < 0 {
			return
		}
		if certain {
			t.certain.source[net] = 1
		}
		if possible {
			t.possible.source[net] = 1
		}
	}
	set(w.feed, true, true)
	for i, n := range w.opcode {
		on, moves := at.Opcode>>i&1 == 1, at.Bits>>i&1 == 1
		set(n, on && !moves, on || moves)
	}
	for i, n := range w.flag {
		on, moves := at.Flags>>i&1 == 1, at.Tested>>i&1 == 1
		set(n, on && !moves, on || moves)
	}
	base := p.graph.plan(&plan{}, nil, true)
	t.settle(base)
	t.save()
	var phases []int
	for _, ph := range []int{at.Phase, at.Second} {
		if ph > 0 {
			phases = append(phases, ph)
			set(w.phase[ph], true, true)
		}
	}
	t.settle(p.graph.plan(&plan{}, phases, true))
	return t
}

// way finds the cheapest way from a source to a net; cost is 0 or 1 an edge,
// or below 0 where there is no way through. A found way may be empty.
func (t *teller) way(r *rail, to int, cost func(edge) int) (edges []edge, from int, ok bool) {
	g := t.g
	const far = 1 << 30
	dist := fill(g.w.nets, far)
	via := make([]*edge, g.w.nets)
	var near, next []int
	// Phases first: what is wrong in a phase most likely comes from its wire.
	for _, u := range slices.Backward(t.circuit.allUses) {
		if r.source[u.net]&1 == 1 && dist[u.net] > 0 {
			dist[u.net] = 0
			near = append(near, u.net)
		}
	}
	slices.Reverse(near)
	if f := g.w.feed; f >= 0 && dist[f] > 0 {
		dist[f] = 0
		near = append(near, f)
	}
	done := make([]bool, g.w.nets)
	for d := 0; len(near) > 0; d++ {
		for i := 0; i < len(near); i++ {
			n := near[i]
			if done[n] {
				continue
			}
			done[n] = true
			for _, k := range g.out.of(n) {
				x := &g.edges[k]
				c := cost(*x)
				if c < 0 || d+c >= dist[x.to] {
					continue
				}
				dist[x.to], via[x.to] = d+c, x
				if c == 0 {
					near = append(near, int(x.to))
				} else {
					next = append(next, int(x.to))
				}
			}
		}
		near, next = next, nil
	}
	if dist[to] == far {
		return nil, 0, false
	}
	n := to
	for via[n] != nil {
		edges = append(edges, *via[n])
		n = int(via[n].from)
	}
	slices.Reverse(edges)
	return edges, n, true
}

func closedOn(r *rail) func(edge) int {
	return func(x edge) int {
		if r.ctl[x.ctl]&1 == 0 {
			return -1
		}
		return 0
	}
}

// text names the part that an edge passes, in the direction of the way.
func (t *teller) text(x edge) string {
	if x.part < 0 {
		way := "A>K"
		if t.list.Negative {
			way = "K>A"
		}
		return t.circuit.lying[t.circuit.diodes[-1-x.part].number].name + " " + way
	}
	c := t.circuit.contacts[x.part]
	return t.circuit.text(c, int(x.from) != c.common)
}

// spell writes a way from its source to a terminal.
func (t *teller) spell(edges []edge, from int, end string) string {
	parts := []string{t.source(from)}
	for _, x := range edges {
		parts = append(parts, t.text(x))
	}
	return strings.Join(append(parts, end), " -> ")
}

// source names the powered pin of a net.
func (t *teller) source(net int) string {
	if net == t.circuit.feed {
		return t.pin(wiring.Feed, 0)
	}
	for _, u := range t.circuit.allUses {
		if u.net == net && t.powered(u) {
			return t.pin(u.kind, u.n)
		}
	}
	return t.circuit.name(net)
}

func (t *teller) powered(u use) bool {
	switch u.kind {
	case wiring.Opcode:
		return (t.at.Opcode|t.at.Bits)>>u.n&1 == 1
	case wiring.Flag:
		return (t.at.Flags|t.at.Tested)>>u.n&1 == 1
	}
	return u.n == t.at.Phase || u.n == t.at.Second
}

// pin writes a pin with what it is for: "J1:5 phase 5".
func (p *prover) pin(kind wiring.Kind, n int) string {
	name := p.circuit.pins[wiring.Use{Kind: kind, N: n}]
	switch kind {
	case wiring.Line:
		return fmt.Sprintf("%s line %s", name, p.store.Columns[n].Name)
	case wiring.Flag:
		return fmt.Sprintf("%s flag %s", name, p.store.Flags[n])
	case wiring.Opcode:
		return fmt.Sprintf("%s opcode bit %d", name, n)
	case wiring.Phase:
		return fmt.Sprintf("%s phase %d", name, n)
	}
	return fmt.Sprintf("%s %s", name, kind)
}

// tell works a finding out.
func (p *prover) tell(g *group) Finding {
	t := p.watch(g.first)
	f := Finding{Kind: g.kind, At: g.first, Where: p.where(g.first), States: g.states, Phases: store.Set(g.phases[:]).Columns()}
	w := p.circuit
	travels := g.first.Bits|g.first.Tested != 0
	flow := func(to int, end string) {
		if edges, from, ok := t.way(t.possible, to, closedOn(t.possible)); ok {
			f.Path = t.spell(edges, from, end)
			f.Notes = append(f.Notes, t.reasons(edges)...)
		}
	}
	switch g.kind {
	case Short:
		f.Text = "current reaches the return without a coil"
		flow(w.ret, p.pin(wiring.Return, 0))
	case Backfeed:
		u := w.allUses[g.n]
		f.Text = fmt.Sprintf("the card feeds %s backwards", strings.SplitN(p.pin(u.kind, u.n), " ", 2)[1])
		flow(u.net, p.pin(u.kind, u.n))
	case Undecided:
		f.Text = fmt.Sprintf("%s is in a loop of relays: it holds itself or chatters, and nothing decides", w.relays[g.n])
		flow(w.coils[g.n], "coil of "+w.relays[g.n])
	case TooDeep:
		what, to, end := "", 0, ""
		if g.n < len(w.line) {
			what, to, end = p.store.Columns[g.n].Name, w.line[g.n], p.pin(wiring.Line, g.n)
		} else {
			r := g.n - len(w.line)
			what, to, end = "the coil of "+w.relays[r], w.coils[r], "coil of "+w.relays[r]
		}
		f.Text = fmt.Sprintf("%s is fed through more diodes in series than %d", what, p.allowed)
		edges, from, ok := t.way(t.certain, to, func(x edge) int {
			if t.certain.ctl[x.ctl]&1 == 0 {
				return -1
			}
			if x.diode {
				return 1
			}
			return 0
		})
		if ok {
			f.Path = t.spell(edges, from, end)
		}
	case LiveSwitch:
		f.Text = fmt.Sprintf("a contact of %s travels on a live wire", w.relays[g.n])
		for _, c := range w.contacts {
			if c.relay != g.n {
				continue
			}
			for _, n := range []int{c.common, c.throw} {
				if f.Path == "" && t.possible.live[n]&^t.saved[1].live[n]&1 == 1 {
					flow(n, w.text(c, false))
				}
			}
		}
	case Extra, Missing:
		p.tellLine(t, g, &f, travels, flow)
	}
	return f
}

// tellLine tells why a line is on or off.
func (p *prover) tellLine(t *teller, g *group, f *Finding, travels bool, flow func(int, string)) {
	col := p.store.Columns[g.n]
	to, end := p.circuit.line[g.n], p.pin(wiring.Line, g.n)
	on := g.kind == Extra
	switch {
	case on && travels:
		f.Text = col.Name + " may come on while contacts travel"
	case on:
		f.Text = col.Name + " is on and should not be"
	case travels:
		f.Text = col.Name + " may drop out while contacts travel"
	default:
		f.Text = col.Name + " is off and should be on"
	}
	if !on {
		f.Asked = p.asked(g.first, g.n)
	}
	if on != col.Low {
		flow(to, end)
	} else {
		f.Notes = append(f.Notes, t.nearest(to, end)...)
	}
	if !on {
		f.Notes = append(f.Notes, t.ends()...)
		f.Notes = append(f.Notes, t.unwired()...)
		f.Notes = append(f.Notes, t.loose(to, end)...)
	}
	if !col.Low {
		return
	}
	f.Notes = append(f.Notes, fmt.Sprintf("%s is low: its pin is live while it is off", col.Name))
	if on {
		return
	}
	for _, c := range p.circuit.contacts {
		n := p.circuit.coils[c.relay]
		if !c.made && n >= 0 && (c.common == to || c.throw == to) {
			f.Notes = append(f.Notes, t.nearest(n, "coil of "+p.circuit.relays[c.relay])...)
			return
		}
	}
}

// maxReasons bounds how far a finding goes into why relays stand as they do.
const maxReasons = 3

// reasons tells how the relays on a way are pulled in, where it is not by an
// opcode or flag wire straight.
func (t *teller) reasons(edges []edge) []string {
	var out []string
	seen := map[int]bool{}
	for _, x := range edges {
		if x.part < 0 {
			continue
		}
		c := t.circuit.contacts[x.part]
		if seen[c.relay] || len(out) == maxReasons {
			continue
		}
		seen[c.relay] = true
		if t.certain.ctl[1+2*c.relay]&1 != t.possible.ctl[1+2*c.relay]&1 {
			out = append(out, t.circuit.relays[c.relay]+" is "+t.open())
			continue
		}
		if c.made {
			out = append(out, t.pulled(c.relay)...)
			continue
		}
		for _, why := range t.rests(c.relay) {
			out = append(out, t.circuit.relays[c.relay]+" is at rest: "+why)
		}
	}
	return out
}

// open is how a relay stands that is not known to be pulled in or at rest.
func (t *teller) open() string {
	if t.at.Bits|t.at.Tested != 0 {
		return "in change-over, or depends on what is"
	}
	return "not decided"
}

func (t *teller) pulled(relay int) []string {
	n := t.circuit.coils[relay]
	if n < 0 {
		return nil
	}
	edges, from, ok := t.way(t.possible, n, closedOn(t.possible))
	if !ok || len(edges) == 0 {
		return nil
	}
	name := t.circuit.relays[relay]
	return []string{fmt.Sprintf("%s is pulled in: %s", name, t.spell(edges, from, "coil of "+name))}
}

// nearest tells how far the current gets on the way that lacks the least.
func (t *teller) nearest(to int, end string) []string {
	return t.lacking(to, end, map[int]bool{})
}

// lacking is nearest, but for relays of which it is told why they are at rest.
func (t *teller) lacking(to int, end string, told map[int]bool) []string {
	edges, from, ok := t.way(t.certain, to, func(x edge) int {
		if t.certain.ctl[x.ctl]&1 == 0 {
			return 1
		}
		return 0
	})
	if !ok {
		out := []string{"nothing that is live leads to " + end + ", whatever the contacts do: " + t.upstream(to) + t.now()}
		return append(out, t.stops(to, end)...)
	}
	out := []string{"the way that lacks the least: " + t.spell(edges, from, end)}
	seen := map[int]bool{}
	for _, x := range edges {
		if t.certain.ctl[x.ctl]&1 == 1 || x.part < 0 {
			continue
		}
		c := t.circuit.contacts[x.part]
		state := "at rest"
		switch {
		case t.certain.ctl[1+2*c.relay]&1 == 1:
			state = "pulled in"
		case t.possible.ctl[1+2*c.relay]&1 == 1:
			state = t.open()
		}
		name := t.circuit.relays[c.relay]
		if end := t.circuit.loose[c.relay]; end != "" {
			state += fmt.Sprintf(": nothing is wired to %s:%s", name, end)
		}
		out = append(out, fmt.Sprintf("open there: %s, for %s is %s", t.text(x), name, state))
		if state == "pulled in" && !seen[c.relay] {
			seen[c.relay] = true
			out = append(out, t.pulled(c.relay)...)
		}
		if n := t.circuit.coils[c.relay]; state == "at rest" && n >= 0 && !t.outside(n) && !told[c.relay] && len(told) < maxReasons {
			told[c.relay] = true
			out = append(out, t.lacking(n, "coil of "+name, told)...)
		}
	}
	return out
}

// outside reports whether a wire of the backplane brings current to a net.
func (t *teller) outside(net int) bool {
	return net == t.circuit.feed || slices.ContainsFunc(t.circuit.allUses, func(u use) bool { return u.net == net })
}

// now names the wires of the phases that are powered.
func (t *teller) now() string {
	out := ""
	for _, ph := range []int{t.at.Phase, t.at.Second} {
		if ph > 0 && t.circuit.phase[ph] >= 0 {
			out += ", and what is live is " + t.pin(wiring.Phase, ph)
		}
	}
	return out
}

// maxUpstream bounds the wires that are named as leading somewhere.
const maxUpstream = 6

// upstream names the wires of the backplane that lead to a net.
func (t *teller) upstream(to int) string {
	seen := t.circuit.against(to)
	var pins []string
	for _, u := range t.circuit.allUses {
		if seen[u.net] {
			pins = append(pins, t.pin(u.kind, u.n))
		}
	}
	more := ""
	switch n := len(pins); {
	case n == 0:
		return "no pin that brings current in leads there at all" + t.island(to)
	case n > maxUpstream:
		pins, more = pins[:maxUpstream], fmt.Sprintf(" and %d more", n-maxUpstream)
	}
	return "what leads there is " + strings.Join(pins, ", ") + more
}

// island names the parts that lead to a net and are fed by nothing.
func (t *teller) island(to int) string {
	w := t.circuit
	seen := make([]bool, w.nets)
	seen[to] = true
	var names []string
	added := map[int]bool{}
	reach := func(part, from, to int, text string) bool {
		if !seen[to] || added[part] || from == to || to == w.feed {
			return false
		}
		added[part], seen[from] = true, true
		names = append(names, text)
		return true
	}
	for again := true; again; {
		again = false
		for i, d := range w.diodes {
			again = reach(-1-i, d.from, d.to, t.text(edge{part: int32(-1 - i)})) || again
		}
		for i, c := range w.contacts {
			again = reach(i, c.common, c.throw, w.text(c, false)) || again
			again = reach(i, c.throw, c.common, w.text(c, true)) || again
		}
	}
	return strings.Join(listed(", only ", names, ""), "")
}

// ends tells where current comes to that goes no further, the longest way
// first: where a part or a wire is missing, it stops short of it.
func (t *teller) ends() []string {
	g, w := t.g, t.circuit
	dist := fill(w.nets, -1)
	via := make([]*edge, w.nets)
	var todo []int
	for n, x := range t.certain.source {
		if x&1 == 1 {
			dist[n] = 0
			todo = append(todo, n)
		}
	}
	on := make([]bool, w.nets) // to a net, a coil or a line
	for i := 0; i < len(todo); i++ {
		n := todo[i]
		for _, k := range g.out.of(n) {
			if x := &g.edges[k]; t.certain.ctl[x.ctl]&1 == 1 && dist[x.to] < 0 {
				dist[x.to], via[x.to] = dist[n]+1, x
				on[n] = true
				todo = append(todo, int(x.to))
			}
		}
	}
	for _, list := range [][]int{w.coils, w.line} {
		for _, n := range list {
			if n >= 0 {
				on[n] = true
			}
		}
	}
	var names []string
	for _, n := range slices.Backward(todo) {
		if via[n] != nil && !on[n] {
			names = append(names, t.far(*via[n]))
		}
	}
	return listed("current comes to ", names, " and goes no further")
}

// far is the terminal at which current leaves a contact or a diode.
func (t *teller) far(x edge) string {
	w := t.circuit
	if x.part < 0 {
		end := w.lying[w.diodes[-1-x.part].number].first
		if !t.list.Negative {
			end++
		}
		return string(w.terms[end])
	}
	c := w.contacts[x.part]
	if int(x.from) == c.common {
		return string(w.terms[c.to])
	}
	return string(w.terms[c.at])
}

// listed is a note about some names, or none without any.
func listed(before string, names []string, after string) []string {
	switch n := len(names); {
	case n == 0:
		return nil
	case n > maxUpstream:
		names, after = names[:maxUpstream], fmt.Sprintf(" and %d more%s", n-maxUpstream, after)
	}
	return []string{before + strings.Join(names, ", ") + after}
}

// loose names diodes that are in the list and carry nothing, and contacts on
// the way to a net that have a wire on one side alone.
func (t *teller) loose(to int, end string) []string {
	w := t.circuit
	towards := w.against(to)
	out := append(t.hanging(towards, end), t.starts(to, towards)...)
	for _, d := range w.lying {
		var ends []string
		for _, i := range []int{d.first, d.first + 1} {
			if !w.wired[i] {
				ends = append(ends, string(w.terms[i]))
			}
		}
		text := "nothing is wired to " + strings.Join(ends, " and ")
		if len(ends) > 0 && len(out) < maxReasons && !slices.ContainsFunc(out, func(s string) bool { return strings.HasPrefix(s, text+",") }) {
			out = append(out, text)
		}
	}
	return out
}

// asked lists where the definition asks for a line in a state.
func (p *prover) asked(at State, column int) []diag.Place {
	var out []diag.Place
	for _, r := range p.store.Rows {
		if r.Phase != at.Phase && r.Phase != at.Second {
			continue
		}
		opcode := cube.Cube{Care: r.Opcode.Care &^ at.Bits, Value: r.Opcode.Value &^ at.Bits}
		flags := cube.Cube{Care: r.Flags.Care &^ at.Tested, Value: r.Flags.Value &^ at.Tested}
		if !opcode.Matches(at.Opcode&^at.Bits) || !flags.Matches(at.Flags&^at.Tested) || !r.Lines.Has(column) {
			continue
		}
		for _, c := range r.Causes {
			if c.Column == column && !c.Step.IsZero() && !slices.Contains(out, c.Step) {
				out = append(out, c.Step)
			}
		}
	}
	if len(out) == 0 && !p.store.Columns[column].At.IsZero() {
		out = append(out, p.store.Columns[column].At)
	}
	return out
}

// where writes a state in words.
func (p *prover) where(at State) string {
	s := p.store
	var parts []string
	if s.OpcodeBits > 0 {
		known := uint64(1)<<s.OpcodeBits - 1
		text := group4(cube.Cube{Care: known &^ at.Bits, Value: at.Opcode & known &^ at.Bits}.Text(s.OpcodeBits))
		switch at.Bits {
		case 0:
			parts = append(parts, "opcode "+text+" ("+p.owner(at.Opcode)+")")
		case known:
			parts = append(parts, "opcode in change-over")
		default:
			parts = append(parts, "opcode in change-over "+text)
		}
	}
	for i, name := range s.Flags {
		switch {
		case at.Tested>>i&1 == 1:
			parts = append(parts, name+" in change-over")
		default:
			parts = append(parts, fmt.Sprintf("%s %d", name, at.Flags>>i&1))
		}
	}
	switch {
	case at.Second > 0:
		parts = append(parts, fmt.Sprintf("phases %d and %d together", at.Phase, at.Second))
	case at.Phase > 0:
		parts = append(parts, fmt.Sprintf("phase %d", at.Phase))
	default:
		parts = append(parts, "between two phases")
	}
	return strings.Join(parts, ", ")
}

// owner names who decides what an opcode does.
func (p *prover) owner(opcode uint64) string {
	for _, o := range p.store.Owners {
		if o.Kind == "fetch" {
			continue
		}
		for _, c := range o.Opcodes {
			if c.Matches(opcode) {
				return o.Name
			}
		}
	}
	return "no instruction"
}

// group4 sets bits in fours from the right, as the language writes them.
func group4(s string) string {
	var b strings.Builder
	for i, c := range s {
		if i > 0 && (len(s)-i)%4 == 0 {
			b.WriteByte('_')
		}
		b.WriteRune(c)
	}
	return b.String()
}
