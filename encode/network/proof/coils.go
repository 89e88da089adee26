package proof

import (
	"fmt"
	"strings"
)

// reach marks the nets that current from some nets may come to, whatever
// contacts do.
func (g *graph) reach(from ...int) []bool {
	seen := make([]bool, g.w.nets)
	var todo []int
	for _, n := range from {
		if n >= 0 && !seen[n] {
			seen[n] = true
			todo = append(todo, n)
		}
	}
	for len(todo) > 0 {
		n := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, k := range g.out.of(n) {
			if to := int(g.edges[k].to); !seen[to] {
				seen[to] = true
				todo = append(todo, to)
			}
		}
	}
	return seen
}

// against marks the nets from which current may come to a net, those too that
// nothing feeds: the graph knows only what something may make live.
func (w *circuit) against(to int) []bool {
	into := make([][]int, w.nets)
	link := func(from, to int) {
		if from != to && from != w.ret && to != w.feed {
			into[to] = append(into[to], from)
		}
	}
	for _, c := range w.contacts {
		link(c.common, c.throw)
		link(c.throw, c.common)
	}
	for _, d := range w.diodes {
		link(d.from, d.to)
	}
	seen := make([]bool, w.nets)
	seen[to] = true
	todo := []int{to}
	for len(todo) > 0 {
		n := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		for _, from := range into[n] {
			if !seen[from] {
				seen[from] = true
				todo = append(todo, from)
			}
		}
	}
	return seen
}

// switching lists the relays that have a contact in use.
func (p *prover) switching() []bool {
	out := make([]bool, len(p.circuit.relays))
	for _, c := range p.circuit.contacts {
		out[c.relay] = true
	}
	return out
}

// fed marks the nets that current may come to in some state.
func (p *prover) fed() []bool {
	sources := []int{p.circuit.feed}
	for _, u := range p.circuit.allUses {
		sources = append(sources, u.net)
	}
	return p.graph.reach(sources...)
}

// openCoils names the relays that can never pull in though contacts of theirs are
// in use. That is no fault by itself: the lines may be right without. Where
// they are not, it is what to look at first.
func (p *prover) openCoils() []Finding {
	w := p.circuit
	fed := p.fed()
	var out []Finding
	used := p.switching()
	coils, lies := make([]bool, w.nets), make([]int, w.nets)
	for _, n := range w.coils {
		if n >= 0 {
			coils[n] = true
		}
	}
	for t, n := range w.net {
		if w.wired[t] {
			lies[n]++
		}
	}
	type cut struct{ relays, ends []string }
	var order []int
	cuts := map[int]*cut{} // by the net that they begin at, or their own
	for r, name := range w.relays {
		n := w.coils[r]
		switch {
		case !used[r]:
		case w.loose[r] != "":
			out = append(out, Finding{Kind: OpenCoil, Text: fmt.Sprintf("the coil of %s is open: nothing is wired to %s:%s", name, name, w.loose[r])})
		case n >= 0 && !fed[n]:
			at := n
			if len(cuts) < mostCuts {
				at = p.begins(n, lies, coils)
			}
			if cuts[at] == nil {
				cuts[at] = &cut{}
				order = append(order, at)
			}
			t := w.at[r].coil
			if w.net[t] != n {
				t++
			}
			cuts[at].relays = append(cuts[at].relays, name)
			cuts[at].ends = append(cuts[at].ends, string(w.terms[t]))
		}
	}
	for _, at := range order {
		c := cuts[at]
		what, has := "the coil of ", " has no feed"
		if len(c.relays) > 1 {
			what, has = "the coils of ", " have no feed"
		}
		f := Finding{Kind: OpenCoil, Text: what + someOf(c.relays, ", ") + has + ": nothing that brings current in leads to " + someOf(c.ends, ", ")}
		if !coils[at] {
			f.Notes = append(f.Notes, "their ways begin where "+someOf(w.on(at), ", ")+" are joined, and nothing brings current there")
		}
		out = append(out, f)
	}
	return out
}

// begins is the net that most terminals lie on among those that lead to a coil
// and have no feed themselves: where a wire of the supply is missing, most likely.
// It is the net of the coil if nothing leads there.
func (p *prover) begins(coil int, lies []int, coils []bool) int {
	best := coil
	for n, leads := range p.circuit.against(coil) {
		if leads && !coils[n] && lies[n] > 1 && (best == coil || lies[n] > lies[best]) {
			best = n
		}
	}
	return best
}

// mostCuts bounds for how many it is worked out where they begin.
const mostCuts = 100

// across is what quenches the coils on one net.
type across struct {
	single []string // diodes
	double []string // diodes, each with a Zener diode in series
}

// astray tells of diodes that look as if they were to lie across a coil, and
// miss it or the return by one end.
func (p *prover) astray(coils map[int][]string) []string {
	w, fed := p.circuit, p.fed()
	zeners := map[int]bool{}
	for _, d := range w.lying {
		if strings.HasPrefix(d.name, "Z") {
			zeners[w.net[d.first]], zeners[w.net[d.first+1]] = true, true
		}
	}
	var out []string
	for _, d := range w.lying {
		from, to := d.first, d.first+1
		if p.list.Negative {
			from, to = to, from
		}
		a, b := w.net[from], w.net[to]
		switch {
		case a == w.ret && coils[b] == nil && b != w.ret && !zeners[b] && !fed[b]:
			out = append(out, fmt.Sprintf("%s meets no coil", w.terms[to]))
		case coils[b] != nil && a != w.ret && !zeners[a] && !fed[a]:
			out = append(out, fmt.Sprintf("%s does not meet the return", w.terms[from]))
		}
	}
	return out
}

// suppression finds the diodes across coils, which no line depends on: whether
// each coil has what the definition asks for, and the right way round. One that
// lets the supply through is a short circuit and is found as such.
func (p *prover) suppression(want string) []Finding {
	w := p.circuit
	if w.ret < 0 {
		return nil
	}
	name := func(d directed) string { return w.lying[d.number].name }
	zener := func(d directed) bool { return strings.HasPrefix(name(d), "Z") }
	ends := map[int]int{} // diode leads, by net
	contacts := map[int]bool{}
	for _, d := range w.diodes {
		ends[d.from]++
		ends[d.to]++
	}
	for _, c := range w.contacts {
		contacts[c.common], contacts[c.throw] = true, true
	}
	at := map[int][]directed{}
	for _, d := range w.diodes {
		if d.from != d.to {
			at[d.from] = append(at[d.from], d)
			at[d.to] = append(at[d.to], d)
		}
	}
	other := func(d directed, net int) int {
		if d.from == net {
			return d.to
		}
		return d.from
	}
	var out []Finding
	bad := func(note, format string, args ...any) {
		out = append(out, Finding{Kind: Suppression, Text: fmt.Sprintf(format, args...), Notes: []string{note}})
	}
	// A bridged part is across nothing, and still stands in the list.
	for _, d := range w.diodes {
		if d.from == d.to && zener(d) {
			bad("take out the wire that bridges it", "the Zener diode %s is bridged: both its ends are one net", name(d))
		}
	}
	coils := map[int][]string{}
	var bare []string // relays without a diode
	var nets []int
	for r, n := range w.coils {
		if n >= 0 {
			if coils[n] == nil {
				nets = append(nets, n)
			}
			coils[n] = append(coils[n], w.relays[r])
		}
	}
	for _, n := range nets {
		relays := someOf(coils[n], ", ")
		coil := "the coil of "
		if len(coils[n]) > 1 {
			coil = "the coils of "
		}
		relays = coil + relays
		var have across
		wrong := false
		for _, d := range at[n] {
			middle := other(d, n)
			if middle == w.ret {
				if d.to == n {
					have.single = append(have.single, name(d))
				}
				continue
			}
			if ends[middle] != 2 || contacts[middle] {
				continue
			}
			e := at[middle][0]
			if e == d {
				e = at[middle][1]
			}
			if other(e, middle) != w.ret {
				continue
			}
			a, b := d, e // the diode, the Zener diode
			if zener(a) {
				a, b = b, a
			}
			quench := func(x directed) bool { return x.to == n || x.from == w.ret }
			switch {
			case zener(a) || !zener(b):
				continue
			case quench(a) && !quench(b):
				have.double = append(have.double, name(a))
			case quench(a):
				wrong = true
				bad(fmt.Sprintf("turn %s round", name(b)), "the Zener diode %s across %s points as %s does: it never holds the voltage, and the relay lets go late", name(b), relays, name(a))
			case quench(b):
				wrong = true
				bad(fmt.Sprintf("turn %s and %s round", name(a), name(b)), "%s and %s across %s are both the wrong way round: nothing quenches the coil", name(a), name(b), relays)
			default:
				wrong = true // a short circuit, found by the current
			}
		}
		if wrong {
			continue
		}
		most := len(coils[n])
		switch {
		case want == "zener" && len(have.double) < most && len(have.single) > 0:
			bad("put the Zener diode in series, or the relay lets go late", "%s is across %s alone: the definition says suppression zener", someOf(have.single, ", "), relays)
		case want == "zener" && len(have.double) < most, want == "diode" && len(have.single)+len(have.double) < most:
			if len(have.single)+len(have.double) == 0 {
				bare = append(bare, coils[n]...)
				break
			}
			todo := "put in those that are missing"
			if astray := p.astray(coils); len(astray) > 0 {
				todo = someOf(astray, "; ")
			}
			bad(todo, "%s have %s across together: the definition says suppression %s, one each", relays, number(len(have.single)+len(have.double), "diode"), want)
		}
	}
	if len(bare) > 0 {
		coil := "the coil of "
		if len(bare) > 1 {
			coil = "the coils of "
		}
		todo := "put it in, or the coil burns the contacts that switch it"
		if astray := p.astray(coils); len(astray) > 0 {
			todo = someOf(astray, "; ")
		}
		bad(todo, "no diode is across %s%s: the definition says suppression %s", coil, someOf(bare, ", "), want)
	}
	return out
}
