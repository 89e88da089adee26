package schedule

import (
	"fmt"
	"slices"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// MaxPaths bounds the ways through all bodies of a machine: each `when`
// doubles those of its instruction.
const MaxPaths = 65536

// family is the paths of one body, shared by every variant that has it.
type family struct {
	first   int // index into owners, of the first that has it
	idle    bool
	bare    bool     // no restart: the undefined opcodes that idle
	routes  [][]item // through the body; each is walked behind every way through fetch
	walkers []*walker
	tree    *tree
	placed  bool  // all of its paths were, and what they read was looked at
	lasts   []int // the last phases for which the arms were compared
	ok      bool
}

// Encode places every path of a machine. When it returns without an error,
// every rule of language.md section P holds, each strobe is the earliest, and
// Plan.Phases is the length of the ring. Instructions that are Broken are left
// out; with errors the plan is what could be placed, for a chart beside the message.
func Encode(m *machine.Machine) (*Plan, diag.List) {
	var list diag.List
	plan := &Plan{Tested: m.Tested, Phases: m.Sequencer.Phases}
	e := &encoder{m: m, r: newRules(m), list: &list, plan: plan, strict: map[testKey]bool{}, cubes: map[int]int{}}
	for i, f := range m.Tested {
		e.cubes[f] = i
	}
	e.inspect()
	if !m.FetchBroken && e.collect() {
		e.settle()
		e.r.heldUnlatched(e.list)
		e.changes()
		e.ring()
		e.publish()
	}
	e.acquit()
	// The chains of the plan outlive the encoder, and hold on to it.
	e.families, e.heads, e.fetch, e.r.shapes = nil, nil, nil, nil
	if m.Untimed {
		list = slices.DeleteFunc(list, func(d diag.Diagnostic) bool {
			return d.Name == "path-too-long" || d.Name == "select-late" || d.Name == "flag-change"
		})
	}
	return plan, list
}

type encoder struct {
	m      *machine.Machine
	r      *rules
	list   *diag.List
	plan   *Plan
	strict map[testKey]bool
	cubes  map[int]int

	heads    [][]item // the ways through fetch
	fetch    []*walker
	families []*family
	member   []int // by owner: its family, -1 for fetch
}

// inspect looks at every step by itself. What is wrong within a step depends
// neither on fetch nor on the steps before it, so no other error hides it.
func (e *encoder) inspect() {
	e.eachStep(func(n *machine.Node, lines []stepLine) { e.r.shape(n, lines, e.list) })
}

// eachStep visits every step of fetch and of each body once, with its lines,
// those that are held included.
func (e *encoder) eachStep(visit func(n *machine.Node, lines []stepLine)) {
	w := &walker{r: e.r}
	var walk func(nodes []machine.Node)
	walk = func(nodes []machine.Node) {
		for i := range nodes {
			n := &nodes[i]
			switch n.Kind {
			case machine.Step:
				visit(n, w.stepLines(n))
			case machine.Hold:
				w.holds = append(w.holds, holdState{node: n})
				walk(n.Then)
				w.holds = w.holds[:len(w.holds)-1]
			case machine.When:
				walk(n.Else)
				walk(n.Then)
			}
		}
	}
	if !e.m.FetchBroken {
		walk(e.m.Fetch)
	}
	seen := map[*machine.Node]bool{}
	for i := range e.m.Instructions {
		ins := &e.m.Instructions[i]
		for j := range ins.Variants {
			if body := ins.Variants[j].Body; !ins.Broken && len(body) > 0 && !seen[&body[0]] {
				seen[&body[0]] = true
				e.r.owner = ins.Variants[j].Name
				walk(body)
			}
		}
	}
}

// collect lists the owners and their routes.
func (e *encoder) collect() bool {
	m := e.m
	fetch, ok := routes(m.Fetch, MaxPaths)
	if !ok {
		e.list.Errorf("limit-paths", m.FetchAt, "there are more than %d ways through fetch", MaxPaths)
		return false
	}
	e.heads = fetch
	e.plan.Owners = append(e.plan.Owners, Owner{Name: "fetch", Kind: "fetch", Instruction: -1, Variant: -1, At: m.FetchAt})
	e.member = append(e.member, -1)
	total := 0
	add := func(o Owner, nodes []machine.Node, f *family) bool {
		body, ok := routes(nodes, MaxPaths)
		if len(nodes) > 0 {
			total += len(fetch) * len(body)
		}
		if !ok || total > MaxPaths {
			e.list.Errorf("limit-paths", o.At, "there are more than %d ways through fetch and all instructions; %s goes over", MaxPaths, o.Name)
			return false
		}
		f.first = len(e.plan.Owners)
		f.routes = body
		e.families = append(e.families, f)
		return true
	}
	shared := map[*machine.Node]int{}
	empty := -1
	variants := 0
	for i := range m.Instructions {
		variants += len(m.Instructions[i].Variants)
	}
	defined := make([]cube.Cube, 0, variants)
	e.plan.Owners = slices.Grow(e.plan.Owners, variants+1)
	e.member = slices.Grow(e.member, variants+1)
	broken := false
	for i := range m.Instructions {
		ins := &m.Instructions[i]
		if ins.Broken {
			broken = true
			continue
		}
		for j := range ins.Variants {
			v := &ins.Variants[j]
			defined = append(defined, v.Opcode)
			n := len(defined)
			o := Owner{Name: v.Name, Kind: "instruction", Instruction: i, Variant: j, Opcodes: defined[n-1 : n : n], At: ins.At}
			f, ok := empty, empty >= 0
			if len(v.Body) > 0 {
				f, ok = shared[&v.Body[0]]
			}
			if !ok {
				f = len(e.families)
				if !add(o, v.Body, &family{}) {
					return false
				}
				if len(v.Body) > 0 {
					shared[&v.Body[0]] = f
				} else {
					empty = f
				}
			}
			e.plan.Owners = append(e.plan.Owners, o)
			e.member = append(e.member, f)
		}
	}
	if broken {
		return true // which opcodes are undefined is not known
	}
	rest := cube.Complement(defined, m.Opcode.Width())
	if len(rest) == 0 {
		return true
	}
	o := Owner{Name: "undefined", Kind: "undefined", Instruction: -1, Variant: -1, Opcodes: rest, At: m.UndefinedAt}
	if o.At.IsZero() {
		o.At = m.At
	}
	var body []machine.Node
	f := &family{idle: m.Undefined == machine.UndefinedIdle}
	f.bare = f.idle
	if m.Undefined == machine.UndefinedHalt && m.Halt >= 0 {
		body = []machine.Node{{Kind: machine.Step, Lines: []int{m.Halt}, At: o.At}}
	}
	if !add(o, body, f) {
		return false
	}
	e.plan.Owners = append(e.plan.Owners, o)
	e.member = append(e.member, len(e.families)-1)
	return true
}

// settle walks every route. A `when` whose arms would differ while its flag is
// still being decoded is walked again with what follows it held back as well:
// language.md P.6 asks it of the arms alone, but where the arms are of
// different length what follows differs too, and no matrix can tell the arms
// apart while the flag's contacts travel.
func (e *encoder) settle() {
	dirty := make([]bool, len(e.families))
	for i := range dirty {
		dirty[i] = true
	}
	for {
		e.fetch = nil
		for _, r := range e.heads {
			e.fetch = append(e.fetch, e.r.walk(r, e.strict, e.cubes, e.list))
		}
		for _, w := range e.fetch {
			if w.failed {
				e.endless(&e.plan.Owners[0], w)
				// Every path begins with fetch: one message is enough.
				return
			}
			w.path.Fetch = len(w.path.Steps)
		}
		for i, f := range e.families {
			if dirty[i] {
				dirty[i] = false
				e.walkFamily(f)
			}
			for _, w := range f.walkers {
				w.finish()
			}
		}
		e.seam()
		again, fetchAgain := false, false
		for i, f := range e.families {
			if !f.ok {
				continue
			}
			f.compare(e.r)
			for _, key := range f.tree.early(e.m.Sequencer.Decode) {
				if !e.strict[key] {
					e.strict[key] = true
					again, dirty[i] = true, true
					fetchAgain = fetchAgain || e.inFetch(key)
				}
			}
		}
		if !again {
			break
		}
		if fetchAgain {
			for i := range dirty {
				dirty[i] = true
			}
		}
	}
	for _, f := range e.families {
		if f.ok {
			f.placed = true
			for _, w := range f.walkers {
				w.driven()
				f.ok = f.ok && !w.failed
			}
		}
	}
}

func (e *encoder) inFetch(key testKey) bool {
	var in func(nodes []machine.Node) bool
	in = func(nodes []machine.Node) bool {
		for i := range nodes {
			if &nodes[i] == key.node || in(nodes[i].Then) || in(nodes[i].Else) {
				return true
			}
		}
		return false
	}
	return in(e.m.Fetch)
}

func (e *encoder) walkFamily(f *family) {
	f.walkers, f.lasts, f.ok = make([]*walker, 0, len(e.fetch)*len(f.routes)), nil, true
	e.r.owner = e.plan.Owners[f.first].Name
	for _, head := range e.fetch {
		for _, r := range f.routes {
			w := head.body(r)
			if w.failed {
				e.endless(&e.plan.Owners[f.first], w)
				f.ok = false
				return
			}
			f.walkers = append(f.walkers, w)
		}
	}
	f.tree = grow(f.walkers, 0)
}

// endless reports a path that was given up because of its length.
func (e *encoder) endless(o *Owner, w *walker) {
	if w.endless != nil {
		e.list.Errorf("path-too-long", o.At, "%s needs more than %d phases, a ring has %d at most", o.Name, longestPath, machine.MaxPhases).
			Note(w.endless.At, "this is step %d of it", len(w.path.Steps)+1)
	}
}

// compare finds where the arms of each `when` differ, unless no path has become
// longer since it last did.
func (f *family) compare(r *rules) {
	if len(f.walkers) == 1 {
		return
	}
	lasts := make([]int, len(f.walkers))
	for i, w := range f.walkers {
		lasts[i] = w.path.Last
	}
	if !slices.Equal(lasts, f.lasts) {
		f.lasts = lasts
		f.tree.compare(f.leafLines(r))
	}
}

// leafLines gives, for a walker and a phase, every line that is on: fetch,
// body and restart.
func (f *family) leafLines(r *rules) func(w *walker, phase int) store.Set {
	s := store.NewSet(len(r.m.Lines))
	return func(w *walker, phase int) store.Set {
		clear(s)
		for _, win := range w.windows {
			if phase >= win.from && phase <= win.to {
				s.Add(win.line)
			}
		}
		if !f.bare && r.m.Restart >= 0 && phase == w.restartAt() {
			s.Add(r.m.Restart)
		}
		return s
	}
}

func (w *walker) restartAt() int {
	if w.r.m.Sequencer.Cuts {
		return w.path.Last + 1
	}
	return w.path.Last
}

// changes checks rule 9: while the arms of a `when` differ, nothing latches its flag.
func (e *encoder) changes() {
	for _, f := range e.families {
		if f.ok {
			f.tree.changes(e, f)
		}
	}
}

// seam adds idle phases at the end of the paths that need them: rules 2 to 5
// hold from the end of every path into fetch and every body that may follow
// (language.md P.11). For each element it is enough to know the earliest
// interval over all paths that may follow.
func (e *encoder) seam() {
	first := make([]start, e.r.elements())
	armed := map[int]start{}
	strobe := start{}
	earliest := func(s *start, at int) {
		if !s.seen || at < s.at {
			*s = start{at, true}
		}
	}
	for _, f := range e.families {
		if !f.ok {
			return
		}
		for _, w := range f.walkers {
			for _, t := range w.touched {
				earliest(&first[t.element], t.begin)
			}
			for flag, b := range w.armed {
				s := armed[flag]
				earliest(&s, b.at)
				armed[flag] = s
			}
			if len(w.path.Steps) > 0 {
				earliest(&strobe, w.path.Steps[0].Strobe)
			}
		}
		f.compare(e.r)
		f.tree.fresh(func(flag, phase int) {
			s := armed[flag]
			earliest(&s, phase)
			armed[flag] = s
		})
	}
	// By earlier element: the rule under which some later one needs the most.
	type need struct {
		phases int // from the end of the earlier to the end of the path
		rule   after
		later  element
		seen   bool
	}
	needs := make([]need, e.r.elements())
	for later := range e.r.first {
		if !first[later].seen {
			continue
		}
		for _, a := range e.r.first[later] {
			if n := a.gap - first[later].at; !needs[a.earlier].seen || n > needs[a.earlier].phases {
				needs[a.earlier] = need{n, a, element(later), true}
			}
		}
	}
	whole := e.wholeSeams()
	for _, f := range e.families {
		for _, w := range f.walkers {
			best := w.ends[len(w.ends)-1]
			at := func(phase, from int, text func() string) {
				if phase > best.phase {
					best = bound{phase, from, text}
				}
			}
			for _, t := range w.touched {
				if n := &needs[t.element]; n.seen && t.end+n.phases > best.phase {
					at(t.end+n.phases, t.step, func() string {
						return "into the next fetch: " + e.r.text(n.rule.rule, n.rule.earlier, n.later, n.rule.signal, n.rule.gap)
					})
				}
				if int(t.element) >= len(e.m.Lines) {
					continue
				}
				for _, flag := range e.m.Tested {
					if b := armed[flag]; b.seen && e.m.Lines[t.element].Writes(flag) != 0 {
						at(t.end+e.m.Sequencer.Decode-b.at, t.step, func() string {
							return fmt.Sprintf("into the next fetch: flag %s is decoded for %d", e.m.Signals[flag].Name, e.m.Sequencer.Decode)
						})
					}
				}
			}
			if w.waiting > 0 && strobe.seen {
				at(w.done+w.waiting+1-strobe.at, len(w.path.Steps)-1, func() string {
					return fmt.Sprintf("wait %d", w.waiting)
				})
			}
			if whole != nil {
				if need := whole(w); need > best.phase {
					at(need, len(w.path.Steps)-1, func() string {
						return "into the next fetch: one source at a time on buses that are joined, none where none is wanted"
					})
				}
			}
			w.path.Last = best.phase
			w.ends = append(w.ends, best)
		}
	}
}

// wholeSeams returns the length that a path needs for the rules that are no
// matter of two lines: no two sources meet through a bus-to-bus gate, and steps
// with `none` find their buses undriven. It is nil where there is neither.
// Paths that may follow are told apart by their windows alone.
func (e *encoder) wholeSeams() func(w *walker) int {
	type head struct {
		windows []placedWindow
		nones   []undriven
	}
	var heads []head
	seen := map[string]bool{}
	none := false
	for _, f := range e.families {
		for _, w := range f.walkers {
			none = none || len(w.nones) > 0
		}
	}
	if len(e.r.joins) == 0 && !none {
		return nil
	}
	for _, f := range e.families {
		for _, w := range f.walkers {
			if key := fmt.Sprint(w.windows, w.nones); !seen[key] {
				seen[key] = true
				heads = append(heads, head{w.windows, w.nones})
			}
		}
	}
	dead := e.m.Sequencer.Dead
	return func(w *walker) int {
		end := 0
		for _, win := range w.windows {
			end = max(end, win.to)
		}
		for last := w.path.Last; ; last++ {
			clear := true
			for _, h := range heads {
				windows := append([]placedWindow(nil), w.windows...)
				for _, win := range h.windows {
					windows = append(windows, placedWindow{win.line, win.from + last, win.to + last, win.step})
				}
				nones := append([]undriven(nil), w.nones...)
				first := last + 1
				for _, n := range h.nones {
					first = min(first, n.from+last)
					nones = append(nones, n.at(last))
				}
				for p := first; p <= end+dead && clear; p++ {
					clear = e.r.oneSource(windows, p, dead) && e.r.noSource(windows, nones, p)
				}
			}
			if clear {
				return last
			}
		}
	}
}

// ring sets the number of phases and places restart.
func (e *encoder) ring() {
	m := e.m
	need := 1
	if len(e.families) == 0 {
		for _, w := range e.fetch {
			w.finish()
			need = max(need, w.path.Last)
		}
	}
	fixed := m.Sequencer.Phases
	ends := func(f *family, w *walker) int {
		if m.Restart < 0 || f.bare {
			return w.path.Last
		}
		return w.restartAt()
	}
	for _, f := range e.families {
		if !f.ok {
			continue
		}
		for _, w := range f.walkers {
			need = max(need, ends(f, w))
		}
	}
	n := need
	if fixed > 0 {
		n = fixed
	}
	e.plan.Phases = n
	limit := machine.MaxPhases
	if fixed > 0 {
		limit = fixed
	}
	type over struct {
		f   *family
		w   *walker
		end int
	}
	var overs []over
	longest := 0
	for _, f := range e.families {
		if !f.ok {
			continue
		}
		worst := over{f: f}
		for _, w := range f.walkers {
			if end := ends(f, w); end > limit && end > worst.end {
				worst.w, worst.end = w, end
			}
		}
		if worst.w != nil {
			overs = append(overs, worst)
			longest = max(longest, worst.end)
		}
		for _, w := range f.walkers {
			switch {
			case m.Restart < 0 || f.bare:
				w.path.Last = max(n, w.path.Last)
			default:
				w.path.Restart = w.restartAt()
			}
		}
	}
	if len(overs) > 0 {
		// One length is wrong, so it is one error: the longest path with its chain, the others by name.
		var worst over
		var others []string
		for _, o := range overs {
			if worst.w == nil && o.end == longest {
				worst = o
				continue
			}
			others = append(others, fmt.Sprintf("%s%s (%d)", e.plan.Owners[o.f.first].Name, e.arms(o.w.path.Flags), o.end))
		}
		e.tooLong(worst.f, worst.w, worst.end, limit, others)
	}
}

// tooLong reports the longest path that does not fit the ring, with its chain and chart.
func (e *encoder) tooLong(f *family, w *walker, end, limit int, others []string) {
	o := &e.plan.Owners[f.first]
	what := "the ring has %d"
	if e.m.Sequencer.Phases == 0 {
		what = "a ring has %d at most"
	}
	d := e.list.Errorf("path-too-long", o.At, "%s%s needs %d phases, "+what, o.Name, e.arms(w.path.Flags), end, limit)
	if e.m.Sequencer.Phases > 0 {
		d.Note(e.m.Sequencer.At, "the ring is fixed here")
		if end <= machine.MaxPhases {
			d.Hintf("write phases %d, or shorten the chain", end)
		}
	}
	if n := len(others); n > 0 {
		if n > 8 {
			others = append(others[:8:8], fmt.Sprintf("and %d more", n-8))
		}
		d.Note(diag.Place{}, "too long as well (phases): %s", strings.Join(others, ", "))
	}
	for _, l := range w.chain() {
		d.Note(l.ToAt, "phase %d: %s, %d after %s: %s", l.Phase, l.To, l.Phases, l.From, l.Rule)
	}
	if end <= longestPath {
		d.Note(diag.Place{}, "the chart (# strobe, - lead and trail):\n%s", e.sketch(w, end))
	}
}

// arms names the arms taken: " (zero, not carry)".
func (e *encoder) arms(c cube.Cube) string {
	var parts []string
	for i, f := range e.m.Tested {
		if c.Care>>i&1 == 1 {
			name := e.m.Signals[f].Name
			if c.Value>>i&1 == 0 {
				name = "not " + name
			}
			parts = append(parts, name)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

// sketch draws one path, lines down, phases across.
func (e *encoder) sketch(w *walker, end int) string {
	width := 0
	rows := map[int][]byte{}
	for _, p := range w.path.Steps {
		for _, win := range p.On {
			row := rows[win.Line]
			if row == nil {
				row = []byte(strings.Repeat(".", end))
				rows[win.Line] = row
				width = max(width, len(e.m.Lines[win.Line].Name))
			}
			for x := win.From; x <= win.To && x <= end; x++ {
				c := byte('-')
				if x >= win.StrobeFrom && x <= win.StrobeTo {
					c = '#'
				}
				if row[x-1] != '#' {
					row[x-1] = c
				}
			}
		}
	}
	var b strings.Builder
	for l := range e.m.Lines {
		if row := rows[l]; row != nil {
			fmt.Fprintf(&b, "    %-*s %s\n", width, e.m.Lines[l].Name, row)
		}
	}
	return strings.TrimRight(b.String(), "\n")
}

// publish hands the paths to their owners.
func (e *encoder) publish() {
	shared := make([][]*Path, len(e.families))
	for i, f := range e.families {
		shared[i] = make([]*Path, 0, len(f.walkers))
		for _, w := range f.walkers {
			w.path.chain = w.chain
			shared[i] = append(shared[i], w.path)
			w.forget()
		}
	}
	for i := range e.plan.Owners {
		if f := e.member[i]; f >= 0 {
			e.plan.Owners[i].Paths = shared[f]
			continue
		}
		for _, w := range e.fetch {
			e.plan.Owners[i].Paths = append(e.plan.Owners[i].Paths, w.path)
		}
	}
}
