package schedule

import (
	"fmt"
	"slices"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// shape is a step without its place: where each line begins and ends,
// counted in phases from the strobe. It is the same wherever the step falls.
type shape struct {
	ok       bool
	pulse    int        // strobe phases of the step
	from, to []int      // by line of the step
	off      []offShape // select lines the step needs off, to the last strobe phase
	undriven []undriven // bus bits the step needs undriven (`none`), counted from the strobe
}

type offShape struct{ line, from int }

// shape works a step out and checks what does not depend on its place.
func (r *rules) shape(n *machine.Node, lines []stepLine, list *diag.List) (*shape, bool) {
	if s, ok := r.shapes[n]; ok {
		return s, s.ok
	}
	s := &shape{pulse: 1, from: make([]int, len(lines)), to: make([]int, len(lines))}
	r.shapes[n] = s
	d := &delays{r: r, lines: lines, at: make([]int, len(lines)), state: make([]int, len(lines))}
	for _, sl := range lines {
		if r.m.Lines[sl.line].Joins {
			d.joins = append(d.joins, sl.line)
		}
		s.pulse = max(s.pulse, r.m.Lines[sl.line].Pulse)
	}
	for i := range lines {
		d.delay(i)
	}
	for i, sl := range lines {
		l := &r.m.Lines[sl.line]
		switch l.Kind {
		case store.Gate, store.Select:
			s.from[i], s.to[i] = -l.Lead-d.at[i], s.pulse-1+l.Trail
		case store.Output:
			s.from[i], s.to[i] = -l.Lead, l.Pulse-1+l.Trail
		default:
			s.to[i] = l.Pulse - 1
		}
	}
	s.ok = r.conflicts(n, lines, d, list)
	if d.loop != nil {
		r.looped(n, lines, d, list)
		s.ok = false // how early lines come on is not known: nothing is said of it
	} else {
		s.ok = r.selects(n, lines, d, s, list) && s.ok
	}
	s.ok = r.none(n, lines, d, s, list) && s.ok
	if s.ok {
		r.unlatched(n, lines, d, list)
	}
	return s, s.ok
}

// delays works out D(g) of language.md P.2 within one step.
type delays struct {
	r     *rules
	lines []stepLine
	joins []int
	at    []int // by line of the step
	state []int // 0 new, 1 on the way, 2 done
	way   []int // lines, by their place in the step, that wait for the one at hand
	loop  []int // lines of the machine, each feeding the next and the last the first; nil without one
}

// delay sets at[i]. Of gates that feed themselves it notes the first loop.
func (d *delays) delay(i int) {
	if d.state[i] == 1 && d.loop == nil {
		loop := d.way[slices.Index(d.way, i):]
		first := slices.Index(loop, slices.Min(loop))
		for _, k := range slices.Concat(loop[first:], loop[:first]) {
			d.loop = append(d.loop, d.lines[k].line)
		}
	}
	if d.state[i] != 0 {
		return
	}
	l := &d.r.m.Lines[d.lines[i].line]
	if l.Kind != store.Gate && l.Kind != store.Select {
		d.state[i] = 2
		return
	}
	d.state[i] = 1
	d.way = append(d.way, i)
	var fed netMask
	if l.Kind == store.Gate {
		fed = d.r.net(d.lines[i].line, d.joins)
	}
	for j, c := range d.lines {
		settle, reads := -1, false
		if l.Kind == store.Select {
			for _, p := range d.r.picks[c.line] {
				if p.Line == d.lines[i].line {
					settle, reads = max(settle, p.Settle), true
				}
			}
		} else if !(d.r.m.Lines[c.line].Joins) {
			for _, u := range d.r.uses[c.line] {
				if fed[u.Signal]&u.Mask != 0 {
					settle, reads = max(settle, u.Settle), true
				}
			}
		}
		if !reads {
			continue
		}
		if d.r.m.Lines[c.line].Kind == store.Gate {
			d.delay(j)
			settle += d.at[j]
		}
		d.at[i] = max(d.at[i], settle)
	}
	d.state[i] = 2
	d.way = d.way[:len(d.way)-1]
}

// looped reports gates of a step that feed each other in a circle.
func (r *rules) looped(n *machine.Node, lines []stepLine, d *delays, list *diag.List) {
	loop := d.loop
	first := r.m.Lines[loop[0]].Name
	text := fmt.Sprintf("gate %s feeds itself in this step", first)
	if len(loop) > 1 {
		var links []string
		for i, l := range loop {
			links = append(links, fmt.Sprintf("%s feeds %s", r.m.Lines[l].Name, r.m.Lines[loop[(i+1)%len(loop)]].Name))
		}
		text += ": " + strings.Join(links, ", ")
	}
	e := list.Errorf("gate-loop", n.Place(loop[0]), "%s%s", text, r.inVariant()).
		Hintf("put a register in between, and use two steps")
	r.suspect(e, n.At, lineNumbers(lines))
	for _, l := range append(loop[:len(loop):len(loop)], d.joins...) { // the same loop in another step has the same cause
		e.Suspect(diag.Cause{Key: "loop of " + r.m.Lines[l].Name})
	}
}

// netMask is bits of buses, by signal.
type netMask map[int]uint64

// drives returns the bus bits that a gate sets as a source: joins are none.
func (r *rules) drives(line int) netMask {
	if n := r.driven[line]; n != nil {
		return n
	}
	out := netMask{}
	l := &r.m.Lines[line]
	for i := range l.Effects {
		t := &l.Effects[i]
		if r.m.Signals[t.Target.Signal].Kind == machine.Bus && !t.Joins(r.m) {
			out[t.Target.Signal] |= t.Target.Mask()
		}
	}
	r.driven[line] = out
	return out
}

// net returns every bus bit that a gate is connected to while the joins are
// on. It is shared: nobody writes to it.
func (r *rules) net(line int, joins []int) netMask {
	if len(joins) == 0 && !r.m.Lines[line].Joins {
		return r.drives(line)
	}
	out := netMask{}
	for s, m := range r.drives(line) {
		out[s] |= m
	}
	l := &r.m.Lines[line]
	for i := range l.Effects {
		t := &l.Effects[i]
		if t.Joins(r.m) {
			e := t.Unfilled()
			out[e.Signal] |= machine.Bits(e.Hi, e.Lo)
			out[t.Target.Signal] |= machine.Bits(t.Target.Lo+e.Hi-e.Lo, t.Target.Lo)
		}
	}
	r.spread(out, joins)
	return out
}

// spread follows joins in both directions, bit by bit, until nothing is added.
func (r *rules) spread(net netMask, joins []int) {
	for changed := len(joins) > 0; changed; {
		changed = false
		for _, j := range joins {
			l := &r.m.Lines[j]
			for i := range l.Effects {
				t := &l.Effects[i]
				if !t.Joins(r.m) {
					continue
				}
				e := t.Unfilled()
				width := machine.Bits(e.Hi-e.Lo, 0)
				a := net[e.Signal] >> e.Lo & width
				b := net[t.Target.Signal] >> t.Target.Lo & width
				if a|b != a {
					net[e.Signal] |= (a | b) << e.Lo
					changed = true
				}
				if a|b != b {
					net[t.Target.Signal] |= (a | b) << t.Target.Lo
					changed = true
				}
			}
		}
	}
}

// filled returns the bus bits that joins hold at 0 because they connect a
// narrower bus to a wider one.
func (r *rules) filled(joins []int) netMask {
	out := netMask{}
	for _, j := range joins {
		l := &r.m.Lines[j]
		for i := range l.Effects {
			t := &l.Effects[i]
			if t.Joins(r.m) && t.Source.Op == machine.Extend {
				e := t.Unfilled()
				out[t.Target.Signal] |= t.Target.Mask() &^ machine.Bits(t.Target.Lo+e.Hi-e.Lo, t.Target.Lo)
			}
		}
	}
	return out
}

// clash returns the bus on which two nets meet where only one source may be.
func (r *rules) clash(a, b netMask) (bus int, ok bool) {
	bus = -1
	for s, m := range a {
		if m&b[s] != 0 && !r.m.Signals[s].Or && (bus < 0 || s < bus) {
			bus = s
		}
	}
	return bus, bus >= 0
}

// conflicts checks the rules that hold within a step wherever it falls: all its lines share a strobe.
func (r *rules) conflicts(n *machine.Node, lines []stepLine, d *delays, list *diag.List) bool {
	m := r.m
	ok := true
	nets := make([]netMask, len(lines))
	for i, sl := range lines {
		if m.Lines[sl.line].Kind != store.Gate || len(r.drives(sl.line)) == 0 {
			continue
		}
		nets[i] = r.net(sl.line, d.joins)
		for j := 0; j < i; j++ {
			if nets[j] == nil {
				continue
			}
			if bus, both := r.clash(nets[i], r.drives(lines[j].line)); both {
				a, b := &m.Lines[lines[j].line], &m.Lines[sl.line]
				e := list.Errorf("bus-two-sources", n.Place(sl.line), "%s and %s both drive bus %s in this step%s", a.Name, b.Name, m.Signals[bus].Name, r.inVariant()).
					Note(a.At, "%s drives it here", a.Name).Note(b.At, "%s drives it here", b.Name)
				r.suspect(e, n.At, lineNumbers(lines))
				if _, apart := r.clash(r.drives(sl.line), r.drives(lines[j].line)); !apart {
					for _, l := range d.joins { // they meet through these alone
						e.Suspect(diag.Cause{Key: "loop of " + r.m.Lines[l].Name})
					}
				}
				e.Hintf("split the step, or declare the bus with `or` if several sources at once are wanted")
				ok = false
			}
		}
	}
	for i, sl := range lines {
		w := &m.Lines[sl.line]
		if w.Kind != store.Latch {
			continue
		}
		for k := range w.Effects {
			t := &w.Effects[k].Target
			name := m.Signals[t.Signal].Name
			for j := 0; j < i; j++ {
				o := &m.Lines[lines[j].line]
				if o.Kind == store.Latch && o.Writes(t.Signal)&t.Mask() != 0 {
					e := list.Errorf("two-transfers", n.Place(sl.line), "%s and %s both set %s in this step%s", o.Name, w.Name, name, r.inVariant()).
						Note(o.At, "%s sets it here", o.Name).Note(w.At, "%s sets it here", w.Name)
					r.suspect(e, n.At, lineNumbers(lines))
					ok = false
				}
			}
			if !r.readWhile(sl.line, t.Signal) {
				continue
			}
			for _, c := range lines {
				for _, u := range r.uses[c.line] {
					if u.Signal == t.Signal && u.Mask&t.Mask() != 0 {
						reader := &m.Lines[c.line]
						e := list.Errorf("latch-race", n.Place(c.line), "%s reads %s while %s latches it%s", reader.Name, name, w.Name, r.inVariant()).
							Note(w.At, "%s latches it here", w.Name)
						r.suspect(e, n.At, lineNumbers(lines))
						if c.line != sl.line {
							e.Note(reader.At, "%s reads it here", reader.Name)
						}
						if m.Signals[t.Signal].Kind == machine.Memory {
							e.Hintf("write two steps: a memory is not read and written in one")
						} else {
							// The same two lines in another step have the same cause: the register has one rank.
							e.Suspect(diag.Cause{Key: "race of " + w.Name + " and " + reader.Name})
							e.Hintf("go through another register, give %s two ranks (buffered)%s", name, r.exceptHint())
						}
						ok = false
						break
					}
				}
			}
		}
	}
	return ok
}

// inVariant names the variant at hand if its operands pick the lines.
func (r *rules) inVariant() string {
	if strings.Contains(r.owner, "=") {
		return " (" + r.owner + ")"
	}
	return ""
}

func (r *rules) exceptHint() string {
	if strings.Contains(r.owner, "=") {
		return ", or take the combination out with except"
	}
	return ", or write two steps"
}

// selects finds the select lines that the step needs off, and checks that those
// it has on come on in time. A gate that reads the unit passes on what a select
// line did before: the line is off as early as the unit needs to settle and the
// value to get through to what the gate feeds, even while the gate is still off.
func (r *rules) selects(n *machine.Node, lines []stepLine, d *delays, s *shape, list *diag.List) bool {
	m := r.m
	var index, need map[int]int
	picks := func(c stepLine) bool { return len(r.picks[c.line]) > 0 }
	if slices.ContainsFunc(lines, picks) {
		index, need = map[int]int{}, map[int]int{}
		for i, sl := range lines {
			index[sl.line] = i
		}
	}
	var order []int
	ok := true
	for i, c := range lines {
		for _, p := range r.picks[c.line] {
			from := -p.Settle
			if m.Lines[c.line].Kind == store.Gate {
				from = s.from[i]
			}
			if k, on := index[p.Line]; on {
				if s.from[k] > from {
					e := list.Errorf("select-late", n.Place(p.Line), "select line %s comes on after %s, which reads unit %s", m.Lines[p.Line].Name, m.Lines[c.line].Name, m.Units[p.Unit].Name).
						Note(m.Lines[p.Line].At, "%s leads by %d", m.Lines[p.Line].Name, m.Lines[p.Line].Lead)
					r.suspect(e, n.At, lineNumbers(lines))
					e.Hintf("give %s a lead of %d", m.Lines[p.Line].Name, m.Lines[p.Line].Lead+s.from[k]-from)
					ok = false
				}
				continue
			}
			from = min(from, -p.Settle-d.at[i])
			have, seen := need[p.Line]
			if !seen {
				order = append(order, p.Line)
			}
			if !seen || from < have {
				need[p.Line] = from
			}
		}
	}
	for _, l := range order {
		s.off = append(s.off, offShape{l, need[l]})
	}
	return ok
}

// none finds the buses that a step with `none` needs undriven, and from when
// on: a unit that reads one has to settle on its 0.
func (r *rules) none(n *machine.Node, lines []stepLine, d *delays, s *shape, list *diag.List) bool {
	if !n.None {
		return true
	}
	m := r.m
	all := netMask{}
	for _, c := range lines {
		if m.Lines[c.line].Kind != store.Latch {
			continue
		}
		for _, u := range r.uses[c.line] {
			if m.Signals[u.Signal].Kind == machine.Bus {
				all[u.Signal] |= u.Mask
				s.undriven = append(s.undriven, undriven{-u.Settle, s.pulse - 1, netMask{u.Signal: u.Mask}})
			}
		}
	}
	for _, g := range lines {
		if m.Lines[g.line].Kind != store.Gate || len(r.drives(g.line)) == 0 {
			continue
		}
		net := r.net(g.line, d.joins)
		for bus := range m.Signals {
			if net[bus]&all[bus] != 0 {
				e := list.Errorf("none-driven", n.Place(g.line), "the step says none, and %s drives bus %s, which a latch of it reads", m.Lines[g.line].Name, m.Signals[bus].Name).
					Hintf("leave out none, or %s", m.Lines[g.line].Name)
				r.suspect(e, n.At, lineNumbers(lines))
				return false
			}
		}
	}
	return true
}

// unlatched warns about a gate whose bus nothing in the step reads (language.md P.9).
func (r *rules) unlatched(n *machine.Node, lines []stepLine, d *delays, list *diag.List) {
	for _, g := range lines {
		l := &r.m.Lines[g.line]
		if l.Kind != store.Gate || g.hold >= 0 {
			continue
		}
		if !r.readBy(g.line, lines, d.joins) {
			list.Warnf("gate-unlatched", n.Place(g.line), "gate %s is on and nothing in this step reads bus %s", l.Name, r.m.Signals[l.Effects[0].Target.Signal].Name).
				Because("gate-unlatched %v %s", n.At, l.Name).
				Hintf("add the latch that is to take it, or leave %s out", l.Name)
		}
	}
}

// heldReads notes which gates of a hold are read in some step inside, on any path.
func (r *rules) heldReads(h *holdState, lines []stepLine) {
	read := r.held[h.node]
	if read == nil {
		read = map[int]bool{}
		r.held[h.node] = read
		r.holds = append(r.holds, h.node)
	}
	var joins []int
	for _, sl := range lines {
		if r.m.Lines[sl.line].Joins {
			joins = append(joins, sl.line)
		}
	}
	for _, l := range h.node.Lines {
		if r.m.Lines[l].Kind == store.Gate && !read[l] {
			read[l] = r.readBy(l, lines, joins)
		}
	}
}

// heldUnlatched warns about held gates that no step inside reads.
func (r *rules) heldUnlatched(list *diag.List) {
	for _, n := range r.holds {
		for _, l := range n.Lines {
			if read, seen := r.held[n][l]; seen && !read {
				g := &r.m.Lines[l]
				list.Warnf("gate-unlatched", n.Place(l), "gate %s is held and no step inside reads bus %s", g.Name, r.m.Signals[g.Effects[0].Target.Signal].Name).
					Because("gate-unlatched %v %s", n.At, g.Name).
					Hintf("name the latch that is to take it in a step inside, or do not hold %s", g.Name)
			}
		}
	}
}

// readBy reports whether a line of the step, other than a join, reads what a gate is connected to.
func (r *rules) readBy(gate int, lines []stepLine, joins []int) bool {
	net := r.net(gate, joins)
	for _, c := range lines {
		if c.line == gate || r.m.Lines[c.line].Joins {
			continue
		}
		for _, u := range r.uses[c.line] {
			if net[u.Signal]&u.Mask != 0 {
				return true
			}
		}
	}
	return false
}

// clear returns the first strobe, s or later, at which no two sources meet on
// buses that lines in force join, and every step with `none` finds its buses undriven.
func (w *walker) clear(lines []stepLine, sh *shape, s int) int {
	dead := w.r.m.Sequencer.Dead
	latest := s
	for _, win := range w.windows {
		latest = max(latest, win.to)
	}
	for ; ; s++ {
		windows := w.windows[:len(w.windows):len(w.windows)]
		nones := w.nones[:len(w.nones):len(w.nones)]
		first := s
		for i, sl := range lines {
			from := s + sh.from[i]
			first = min(first, from)
			windows = append(windows, placedWindow{sl.line, from, s + sh.to[i], len(w.path.Steps)})
		}
		for _, n := range sh.undriven {
			first = min(first, s+n.from)
			nones = append(nones, n.at(s))
		}
		clear := true
		for p := first; p <= latest+dead && clear; p++ {
			clear = w.r.oneSource(windows, p, dead) && w.r.noSource(windows, nones, p)
		}
		if clear {
			return s
		}
	}
}

// undriven is the phases in which a step with `none` finds bus bits undriven.
type undriven struct {
	from, to int
	bits     netMask
}

// at moves n by some phases.
func (n undriven) at(phase int) undriven {
	return undriven{n.from + phase, n.to + phase, n.bits}
}

// noSource reports whether in phase p no source is on where a step wants none.
func (r *rules) noSource(windows []placedWindow, nones []undriven, p int) bool {
	for _, n := range nones {
		if p < n.from || p > n.to {
			continue
		}
		sources, _ := r.nets(windows, p)
		for _, s := range sources {
			for bus, bits := range n.bits {
				if s.net[bus]&bits != 0 {
					return false
				}
			}
		}
	}
	return true
}

// oneSource reports whether in phase p no two different sources are on one bus
// bit, nor within dead phases before it, the joins in force in each phase counted.
func (r *rules) oneSource(windows []placedWindow, p, dead int) bool {
	now, joined := r.nets(windows, p)
	past := now
	for q := p; q >= max(1, p-dead); q-- {
		if q < p {
			var j bool
			past, j = r.nets(windows, q)
			joined = joined || j
		}
		if !joined {
			continue // without a join the rules between lines say it all
		}
		for _, y := range now {
			for _, x := range past {
				if x.line != y.line {
					if _, bad := r.clash(x.net, y.net); bad {
						return false
					}
				}
			}
		}
	}
	return true
}

// sourceNet is every bus bit that a source is connected to in some phase.
type sourceNet struct {
	line int
	net  netMask
}

// nets lists the sources that are on in phase p; joined tells whether a join is on.
func (r *rules) nets(windows []placedWindow, p int) (out []sourceNet, joined bool) {
	var joins []int
	on := map[int]bool{}
	for _, win := range windows {
		if p < win.from || p > win.to || on[win.line] || r.m.Lines[win.line].Kind != store.Gate {
			continue
		}
		on[win.line] = true
		if r.m.Lines[win.line].Joins {
			joins = append(joins, win.line)
		}
		if len(r.drives(win.line)) > 0 {
			out = append(out, sourceNet{line: win.line})
		}
	}
	for i := range out {
		out[i].net = netMask{}
		for s, m := range r.drives(out[i].line) {
			out[i].net[s] = m
		}
		r.spread(out[i].net, joins)
	}
	return out, len(joins) > 0
}

// driven checks rule 7 over the chart of a whole path: what a latch or a gate
// reads from a bus has a source on it in every strobe phase.
func (w *walker) driven() {
	m := w.r.m
	for k := range w.path.Steps {
		st := &w.path.Steps[k]
		missing := map[int][]string{}
		at := map[int]diag.Place{}
		phase := map[int]int{}
		var buses []int
		for p := st.Strobe; p < st.Strobe+st.Pulse; p++ {
			var have netMask
			for _, on := range st.On {
				l := &m.Lines[on.Line]
				if l.Kind != store.Latch && l.Kind != store.Gate || p > on.StrobeTo {
					continue
				}
				uses := w.r.uses[on.Line]
				switch {
				case st.None && l.Kind == store.Latch:
					continue
				case st.None && l.Joins:
					uses = w.r.carried(on.Line)
				}
				for _, u := range uses {
					if m.Signals[u.Signal].Kind != machine.Bus {
						continue
					}
					if have == nil {
						have = w.sources(p)
					}
					if u.Mask&^have[u.Signal] == 0 {
						continue
					}
					if _, dup := phase[u.Signal]; !dup {
						phase[u.Signal] = p
						at[u.Signal] = on.At
						buses = append(buses, u.Signal)
					}
					if phase[u.Signal] == p {
						missing[u.Signal] = append(missing[u.Signal], l.Name)
					}
				}
			}
		}
		for _, b := range buses {
			read := "reads"
			if len(missing[b]) > 1 {
				read = "read"
			}
			e := w.list.Errorf("bus-undriven", at[b], "%s %s bus %s, on which no source is on at the strobe, phase %d",
				and(missing[b]), read, m.Signals[b].Name, phase[b])
			var lines []int
			for _, on := range st.On {
				lines = append(lines, on.Line)
			}
			w.r.suspect(e, st.At, lines)
			if names := w.r.sourceNames(b); names != "" {
				e.Hintf("add a gate (%s), or none if an undriven bus, which reads 0, is wanted", names)
			}
			for _, via := range st.Via {
				e.Note(via, "pasted here")
			}
			w.failed = true
			w.undriven = append(w.undriven, k)
		}
	}
}

// carried is what a bus-to-bus gate reads apart from the buses that it joins:
// a line may have another effect beside.
func (r *rules) carried(line int) []machine.Use {
	alone := *r.m
	l := alone.Lines[line]
	l.Effects = nil
	for _, t := range r.m.Lines[line].Effects {
		if !t.Joins(r.m) {
			l.Effects = append(l.Effects, t)
		}
	}
	alone.Lines = []machine.Line{l}
	uses, _ := alone.Uses()
	return uses[0]
}

// and joins names: "a", "a and b", "a, b and c".
func and(names []string) string {
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return names[0]
}

func (r *rules) sourceNames(bus int) string {
	var names []string
	for i := range r.m.Lines {
		if r.drives(i)[bus] != 0 {
			names = append(names, r.m.Lines[i].Name)
		}
	}
	if len(names) > 5 {
		names = append(names[:5], fmt.Sprintf("and %d more", len(names)-5))
	}
	return strings.Join(names, ", ")
}

// sources returns the bus bits on which some source is on in phase p. The next
// call overwrites them.
func (w *walker) sources(p int) netMask {
	var joins []int
	out := w.r.sourced
	clear(out)
	for _, win := range w.windows {
		if p < win.from || p > win.to {
			continue
		}
		if w.r.m.Lines[win.line].Joins {
			joins = append(joins, win.line)
		}
		for s, m := range w.r.drives(win.line) {
			out[s] |= m
		}
	}
	if len(joins) > 0 {
		for s, m := range w.r.filled(joins) {
			out[s] |= m
		}
		w.r.spread(out, joins)
	}
	return out
}
