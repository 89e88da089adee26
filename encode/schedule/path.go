package schedule

import (
	"fmt"
	"maps"
	"slices"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// item is one thing that happens on a path, in order.
type item struct {
	kind itemKind
	node *machine.Node
	on   bool // test: which arm
}

type itemKind int

const (
	stepItem itemKind = iota
	waitItem
	testItem
	testEndItem // the arm ends here
	holdItem
	holdEndItem
)

// routes lists every way through nodes: a choice of arms at each `when`, flag
// off first. ok is false if there are more than limit.
func routes(nodes []machine.Node, limit int) (out [][]item, ok bool) {
	out = [][]item{nil}
	extend := func(tails [][]item) bool {
		if len(out)*len(tails) > limit {
			return false
		}
		if len(tails) == 1 {
			// In place: copying each route for each step would take the square of their number.
			for i := range out {
				out[i] = append(out[i], tails[0]...)
			}
			return true
		}
		next := make([][]item, 0, len(out)*len(tails))
		for _, head := range out {
			for _, tail := range tails {
				next = append(next, slices.Concat(head, tail))
			}
		}
		out = next
		return true
	}
	for i := range nodes {
		n := &nodes[i]
		var tails [][]item
		switch n.Kind {
		case machine.Step, machine.Wait:
			one := item{kind: stepItem, node: n}
			if n.Kind == machine.Wait {
				one.kind = waitItem
			}
			for k := range out {
				out[k] = append(out[k], one)
			}
			continue
		case machine.Hold:
			inside, ok := routes(n.Then, limit)
			if !ok {
				return nil, false
			}
			for _, in := range inside {
				tail := append([]item{{kind: holdItem, node: n}}, in...)
				tails = append(tails, append(tail, item{kind: holdEndItem, node: n}))
			}
		case machine.When:
			for _, on := range []bool{false, true} {
				arm := n.Else
				if on {
					arm = n.Then
				}
				inside, ok := routes(arm, limit)
				if !ok {
					return nil, false
				}
				for _, in := range inside {
					tail := append([]item{{kind: testItem, node: n, on: on}}, in...)
					tails = append(tails, append(tail, item{kind: testEndItem, node: n}))
				}
			}
		}
		if !extend(tails) {
			return nil, false
		}
	}
	return out, true
}

// testKey names a `when` on the paths that share the arms taken before it.
type testKey struct {
	node   *machine.Node
	before cube.Cube
}

// span is the intervals of an element on the path so far.
type span struct {
	seen  bool
	begin int // of the first
	end   int // of the last
	step  int // number of the step that the last belongs to
}

// touch is the span of an element that a whole path has on.
type touch struct {
	element          element
	begin, end, step int
}

// start is a first phase, if there is one.
type start struct {
	at   int
	seen bool
}

// bound is one lower bound on a strobe or on the end, and what gave it.
type bound struct {
	phase int
	from  int // number of the step it counts from, -1 for the start of the ring
	text  func() string
}

// holdState is a `hold` that is open.
type holdState struct {
	node  *machine.Node
	first []int // by held line: where its window begins; 0 before the first step inside
	steps int   // steps inside so far
}

// testState is a test that the path has passed.
type testState struct {
	key    testKey
	strobe int // last strobe phase of the flag before the test, 0 without one
	from   int // the step that latched it
	open   bool
}

// walker places one route. When it returns, every predicate of language.md
// section P that concerns one path holds, and each strobe is the earliest for
// which it does.
//
// With the order of the steps fixed, the rules are difference constraints
// s_j >= s_i + w, and their least solution is the longest path from the start
// of the ring (Bellman 1958, for a graph whose edges all run forward one sweep
// is enough). The one rule that is no difference constraint, two sources on
// buses that a third line joins, only ever becomes satisfied as s_j grows, so
// the least solution still exists and stepping up to it finds it.
type walker struct {
	r      *rules
	list   *diag.List
	strict map[testKey]bool
	cubes  map[int]int // flag signal -> bit in a cube

	path     *Path
	last     []span        // by element; scratch that the next walk reuses
	elements []element     // that last holds
	touched  []touch       // the elements of the whole path, for the seam
	armed    map[int]start // by flag: the first phase on in an arm that tests it before it is latched
	holds    []holdState
	tests    []testState
	waiting  int // phases of `wait` since the last strobe
	done     int // last strobe phase so far
	opcode   int // last strobe phase of the opcode, 0 before
	opStep   int
	inBody   bool
	best     bound   // for the step at hand
	causes   []bound // by step: what set its strobe
	ends     []bound // what holds the end of the path back
	windows  []placedWindow
	nones    []undriven
	undriven []int // steps that latch a bus without a source, by number
	failed   bool
	endless  *machine.Node // the step that lies past longestPath
}

// placedWindow is a window in one list, with the step it belongs to.
type placedWindow struct {
	line, from, to, step int
}

// longestPath is the phase past which a path is given up. It is well past the
// longest ring, so that what is merely too long still gets its chart.
const longestPath = 4 * machine.MaxPhases

// walk places the route from the start of the ring.
func (r *rules) walk(route []item, strict map[testKey]bool, cubes map[int]int, list *diag.List) *walker {
	w := &walker{r: r, list: list, strict: strict, cubes: cubes, path: &Path{}, last: r.scratch, opStep: -1}
	w.follow(route)
	return w
}

// body places a body behind fetch, as a path of its own: w stays as it is.
// Fetch is placed once, however many bodies follow it.
func (w *walker) body(route []item) *walker {
	b := *w
	path := *w.path
	b.path, b.last = &path, w.r.scratch
	b.elements, b.touched = make([]element, len(w.touched), len(w.touched)+8), nil
	for i, t := range w.touched {
		b.elements[i] = t.element
		b.last[t.element] = span{true, t.begin, t.end, t.step}
	}
	b.windows, b.nones = slices.Clone(w.windows), slices.Clone(w.nones)
	b.armed = maps.Clone(w.armed)
	b.inBody = true
	path.Fetch = len(path.Steps)
	b.follow(route)
	return &b
}

func (w *walker) follow(route []item) {
	defer w.tidy()
	steps, tests := 0, 0
	for _, it := range route {
		switch it.kind {
		case stepItem:
			steps++
		case testItem:
			tests++
		}
	}
	w.path.Steps, w.causes = room(w.path.Steps, steps), room(w.causes, steps)
	w.path.Tests, w.tests = room(w.path.Tests, tests), room(w.tests, tests)
	for _, it := range route {
		switch it.kind {
		case stepItem:
			w.step(it.node)
		case waitItem:
			w.waiting = max(w.waiting, it.node.Wait)
		case holdItem:
			w.holds = append(w.holds, holdState{node: it.node, first: make([]int, len(it.node.Lines))})
		case holdEndItem:
			w.endHold()
		case testItem:
			w.test(it)
		case testEndItem:
			for i := range w.tests {
				if w.tests[i].key.node == it.node {
					w.tests[i].open = false
				}
			}
		}
		if w.failed {
			return
		}
	}
}

// room returns a copy of a list with room for more.
func room[T any](list []T, more int) []T {
	if len(list)+more == 0 {
		return nil
	}
	return append(make([]T, 0, len(list)+more), list...)
}

// tidy keeps the spans that the path has touched and clears the scratch.
func (w *walker) tidy() {
	w.touched = make([]touch, 0, len(w.elements))
	for _, e := range w.elements {
		s := &w.last[e]
		w.touched = append(w.touched, touch{e, s.begin, s.end, s.step})
		*s = span{}
	}
	w.last, w.elements, w.holds = nil, nil, nil
}

func (w *walker) test(it item) {
	flag := it.node.Flag
	t := testState{key: testKey{it.node, w.path.Flags}, from: -1, open: true}
	for _, i := range w.r.writers[flag] {
		if s := w.last[i]; s.seen && s.end > t.strobe {
			t.strobe, t.from = s.end, s.step
		}
	}
	w.tests = append(w.tests, t)
	v := uint64(0)
	if it.on {
		v = 1
	}
	w.path.Flags = w.path.Flags.With(w.cubes[flag], v)
	w.path.Tests = append(w.path.Tests, Test{Flag: flag, On: it.on, Before: len(w.path.Steps), At: it.node.At, key: t.key})
}

// stepLine is a line of a step, with the hold it comes from (-1 for its own).
type stepLine struct {
	line  int
	hold  int
	index int // within the hold's lines
}

// stepLines is the set of lines of a step, its holds' included.
func (w *walker) stepLines(n *machine.Node) []stepLine {
	out := make([]stepLine, 0, len(n.Lines))
	add := func(s stepLine) {
		if !slices.ContainsFunc(out, func(have stepLine) bool { return have.line == s.line }) {
			out = append(out, s)
		}
	}
	for h := range w.holds {
		for i, l := range w.holds[h].node.Lines {
			add(stepLine{l, h, i})
		}
	}
	for _, l := range n.Lines {
		add(stepLine{l, -1, 0})
	}
	return out
}

func (w *walker) step(n *machine.Node) {
	m := w.r.m
	lines := w.stepLines(n)
	shape, ok := w.r.shape(n, lines, w.list)
	if !ok {
		w.failed = true
		return
	}
	k := len(w.path.Steps)
	w.best = bound{phase: w.done + 1, from: k - 1, text: func() string { return "one strobe after the other" }}
	if k == 0 {
		w.best.from = -1
	}
	if w.waiting > 0 {
		n := w.waiting
		w.at(w.done+n+1, k-1, func() string { return fmt.Sprintf("wait %d", n) })
	}
	for i, sl := range lines {
		l, off := sl.line, shape.from[i]
		isFirst := sl.hold < 0 || w.holds[sl.hold].steps == 0
		if 1-off > w.best.phase {
			w.at(1-off, -1, func() string { return w.r.text(ruleStart, 0, element(l), -1, 0) })
		}
		if !isFirst {
			w.at(w.holds[sl.hold].first[sl.index]-off, w.holdStep(sl.hold), func() string {
				return fmt.Sprintf("%s is held from its first step on", m.Lines[l].Name)
			})
		}
		w.after(element(l), off)
		if isFirst {
			w.decoded(l, off)
		}
	}
	for _, o := range shape.off {
		w.after(w.r.off(o.line), o.from)
	}
	for h := range w.holds {
		w.r.heldReads(&w.holds[h], lines)
	}
	s := w.best.phase
	if len(w.r.joins) > 0 || shape.undriven != nil || len(w.nones) > 0 {
		if clear := w.clear(lines, shape, s); clear > s {
			text := "one source at a time on buses that are joined"
			if shape.undriven != nil || len(w.nones) > 0 {
				text = "an undriven bus for none, one source at a time on buses that are joined"
			}
			w.at(clear, k-1, func() string { return text })
			s = clear
		}
	}
	if s > longestPath {
		w.failed, w.endless = true, n
		return
	}
	w.place(n, lines, shape, s)
	w.causes = append(w.causes, w.best)
}

// at takes a lower bound on the strobe of the step at hand if it is the highest so far.
func (w *walker) at(phase, from int, text func() string) {
	if phase > w.best.phase {
		w.best = bound{phase, from, text}
	}
}

// holdStep is the number of the first step inside an open hold.
func (w *walker) holdStep(h int) int { return len(w.path.Steps) - w.holds[h].steps }

// after applies the rules under which an element that begins off phases from the strobe stands.
func (w *walker) after(e element, off int) {
	for _, a := range w.r.first[e] {
		if before := &w.last[a.earlier]; before.seen {
			if phase := before.end + a.gap - off; phase > w.best.phase {
				w.best = bound{phase, before.step, func() string { return w.r.text(a.rule, a.earlier, e, a.signal, a.gap) }}
			}
		}
	}
}

// decoded keeps a line off until the opcode and the flags it depends on are decoded.
func (w *walker) decoded(l, off int) {
	decode := w.r.m.Sequencer.Decode
	if w.inBody && w.opcode > 0 && w.opcode+decode-off > w.best.phase {
		w.at(w.opcode+decode-off, w.opStep, func() string {
			return fmt.Sprintf("the opcode is decoded for %d before %s comes on", decode, w.r.m.Lines[l].Name)
		})
	}
	for i := range w.tests {
		t := &w.tests[i]
		if t.strobe > 0 && t.strobe+decode-off > w.best.phase && (t.open || w.strict[t.key]) {
			flag := w.r.m.Signals[t.key.node.Flag].Name
			w.at(t.strobe+decode-off, t.from, func() string {
				return fmt.Sprintf("flag %s is decoded for %d before %s comes on", flag, decode, w.r.m.Lines[l].Name)
			})
		}
	}
}

func (w *walker) place(n *machine.Node, lines []stepLine, shape *shape, s int) {
	k := len(w.path.Steps)
	p := Placed{At: n.At, Via: n.Via, Strobe: s, Pulse: shape.pulse, None: n.None, On: make([]Window, 0, len(lines))}
	m := w.r.m
	for i, sl := range lines {
		l := &m.Lines[sl.line]
		from, to := s+shape.from[i], s+shape.to[i]
		if sl.hold >= 0 {
			h := &w.holds[sl.hold]
			if h.steps == 0 {
				h.first[sl.index] = from
			}
			w.mark(sl.line, h.first[sl.index], to, k, sl.hold)
		} else {
			w.mark(sl.line, from, to, k, -1)
		}
		to0 := s + l.Pulse - 1
		if l.Kind == store.Gate || l.Kind == store.Select {
			to0 = s + shape.pulse - 1
		}
		where := n.Place(sl.line)
		if sl.hold >= 0 {
			where = w.holds[sl.hold].node.Place(sl.line)
		}
		p.On = append(p.On, Window{Line: sl.line, From: from, To: to, Lead: from, StrobeFrom: s, StrobeTo: to0, Held: sl.hold >= 0, At: where})
		w.note(element(sl.line), from, to, k)
		if m.Opcode.Signal >= 0 && !w.inBody && l.Writes(m.Opcode.Signal) != 0 {
			w.opcode, w.opStep = s+l.Pulse-1, k
		}
		if sl.hold < 0 || w.holds[sl.hold].steps == 0 {
			w.arm(from)
		}
	}
	for _, o := range shape.off {
		w.note(w.r.off(o.line), s+o.from, s+shape.pulse-1, k)
	}
	for _, n := range shape.undriven {
		w.nones = append(w.nones, n.at(s))
	}
	for h := range w.holds {
		w.holds[h].steps++
	}
	w.path.Steps = append(w.path.Steps, p)
	w.done, w.waiting = s+shape.pulse-1, 0
}

// arm notes that a line comes on which depends on flags latched before this path.
func (w *walker) arm(from int) {
	for i := range w.tests {
		t := &w.tests[i]
		if t.strobe > 0 || !t.open && !w.strict[t.key] {
			continue
		}
		flag := t.key.node.Flag
		if a := w.armed[flag]; !a.seen || from < a.at {
			if w.armed == nil {
				w.armed = map[int]start{}
			}
			w.armed[flag] = start{from, true}
		}
	}
}

// mark adds a window to the list that whole-chart rules look at; those of one
// hold are one window, which belongs to the step that ends it.
func (w *walker) mark(line, from, to, step, hold int) {
	if hold >= 0 && w.holds[hold].steps > 0 {
		for i := len(w.windows) - 1; i >= 0; i-- {
			if w.windows[i].line == line {
				if to >= w.windows[i].to {
					w.windows[i].to, w.windows[i].step = to, step
				}
				return
			}
		}
	}
	w.windows = append(w.windows, placedWindow{line, from, to, step})
}

func (w *walker) note(e element, from, to, step int) {
	s := &w.last[e]
	if !s.seen {
		*s = span{true, from, to, step}
		w.elements = append(w.elements, e)
		return
	}
	s.begin = min(s.begin, from)
	if to >= s.end {
		s.end, s.step = to, step
	}
}

// endHold closes the innermost hold: its lines stay on between the steps inside.
func (w *walker) endHold() {
	h := w.holds[len(w.holds)-1]
	w.holds = w.holds[:len(w.holds)-1]
	if h.steps < 2 {
		return
	}
	first := len(w.path.Steps) - h.steps
	for i, l := range h.node.Lines {
		if h.first[i] == 0 {
			continue // an outer hold has it on already
		}
		// The window of each step reaches back to the one before, so that the
		// chart shows one bar.
		end := 0
		for k := first; k < len(w.path.Steps); k++ {
			on := w.path.Steps[k].On
			for j := range on {
				if on[j].Line == l && on[j].Held {
					if k == first {
						end = h.first[i]
					}
					on[j].From = min(on[j].From, end)
					end = on[j].To + 1
				}
			}
		}
	}
}

// finish sets the last phase of the path (language.md P.7), the seam left aside.
func (w *walker) finish() {
	decode := w.r.m.Sequencer.Decode
	w.best = bound{phase: 0, from: -1}
	last := -1
	for _, win := range w.windows {
		if win.to > w.best.phase {
			w.best, last = bound{phase: win.to, from: win.step}, win.line
		}
	}
	if last >= 0 {
		w.best.text = func() string { return fmt.Sprintf("%s goes off", w.r.m.Lines[last].Name) }
	}
	if w.opcode > 0 {
		w.at(w.opcode+decode, w.opStep, func() string { return fmt.Sprintf("the opcode is decoded for %d before restart", decode) })
	}
	for i := range w.tests {
		t := &w.tests[i]
		if t.strobe > 0 && w.strict[t.key] {
			flag := w.r.m.Signals[t.key.node.Flag].Name
			w.at(t.strobe+decode, t.from, func() string {
				return fmt.Sprintf("flag %s is decoded for %d before restart", flag, decode)
			})
		}
	}
	w.path.Last = w.best.phase
	w.ends = []bound{w.best}
}

// forget drops what is not needed to tell the chain of the path.
func (w *walker) forget() {
	w.touched, w.armed, w.tests, w.windows, w.nones = nil, nil, nil, nil, nil
}

// chain follows what set the end of the path back to the start of the ring.
func (w *walker) chain() []Link {
	var out []Link
	b, to, toAt := w.ends[len(w.ends)-1], "end", diag.Place{}
	for {
		link := Link{To: to, ToAt: toAt, Phase: b.phase, From: "start", Phases: b.phase}
		if b.text != nil {
			link.Rule = b.text()
		}
		if b.from >= 0 {
			from := w.path.Steps[b.from]
			link.From, link.FromAt, link.Phases = w.stepName(b.from), from.At, b.phase-from.Strobe
		}
		out = append(out, link)
		if b.from < 0 {
			break
		}
		to, toAt = w.stepName(b.from), w.path.Steps[b.from].At
		b = w.causes[b.from]
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}

func (w *walker) stepName(k int) string {
	names := ""
	for _, win := range w.path.Steps[k].On {
		if names != "" {
			names += " "
		}
		names += w.r.m.Lines[win.Line].Name
	}
	if len(names) > 40 {
		names = names[:37] + "..."
	}
	return fmt.Sprintf("step %d (%s)", k+1, names)
}
