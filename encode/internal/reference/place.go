package reference

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// ring is the whole machine on its phases.
type ring struct {
	phases int
	flags  []string
	owners []*owner
}

// furthest is a phase that no path can use (N.5 allows 256).
const furthest = 300

// encode places every path, joins their ends to every beginning, and then
// looks whether some `when` is looked at too early: such a one is strict,
// and everything is placed again.
func (m *machine) encode() *ring {
	strict := map[string]bool{}
	for {
		r := &ring{owners: m.owners()}
		m.strobe = map[int]int{}
		for _, o := range r.owners {
			for _, p := range o.paths {
				m.place(p, strict)
			}
		}
		m.seams(r, strict)
		m.finish(r)
		if m.early(r, strict) {
			continue
		}
		m.steady(r)
		for _, f := range m.flags {
			if m.tested(r, f) {
				r.flags = append(r.flags, f)
			}
		}
		return r
	}
}

func (m *machine) tested(r *ring, flag string) bool {
	for _, o := range r.owners {
		for _, p := range o.paths {
			for _, t := range p.tests {
				if t.flag == flag {
					return true
				}
			}
		}
	}
	return false
}

// place finds the earliest strobe of each step in turn (P.1), then the last phase (P.7).
func (m *machine) place(p *path, strict map[string]bool) {
	last := 0 // strobe phase of the steps so far
	for i := range p.steps {
		s := &p.steps[i]
		if at, ok := m.strobe[s.id]; ok {
			// Placed with a path that is the same up to here (P.12).
			s.strobe = at
			last = at + s.shape.n - 1
			continue
		}
		for s.strobe = last + 1; ; s.strobe++ {
			c := m.draw(p.steps[:i+1])
			text := m.tooEarly(p, c, strict)
			if text == "" {
				text = c.broken()
			}
			if text == "" {
				break
			}
			if s.strobe > furthest {
				panic(rejection{fmt.Sprintf("%s (step %d can never strobe)", text, i+1)})
			}
		}
		m.strobe[s.id] = s.strobe
		last = s.strobe + s.shape.n - 1
	}
	c := m.draw(p.steps)
	p.chart = c
	if text := c.driven(); text != "" {
		panic(rejection{text})
	}
	p.last = max(c.end(), c.latched(m.opcode, len(p.steps))+m.decode)
	for i, t := range p.tests {
		if strict[t.node] {
			if s := c.latched(m.signals[t.flag], p.tests[i].step); s > 0 {
				p.last = max(p.last, s+m.decode)
			}
		}
	}
}

// tooEarly judges the last step of a chart by what counts from phase 1 and
// from the opcode and flags.
func (m *machine) tooEarly(p *path, c *chart, strict map[string]bool) string {
	i := len(c.steps) - 1
	s := c.steps[i]
	if i == 0 && s.strobe < s.wait+1 {
		return "P.14: wait before the first strobe"
	}
	for _, w := range c.windows {
		if w.from < 1 {
			return fmt.Sprintf("P.2: %s would be on before phase 1", m.lines[w.line].name)
		}
	}
	for _, h := range s.held {
		for _, earlier := range c.steps[:i] {
			if slices.Contains(earlier.held, h) {
				// The first step in the hold says from when on.
				if s.strobe+s.shape.first[h.line] < earlier.strobe+earlier.shape.first[h.line] {
					return fmt.Sprintf("P.14: %s is held from later on", m.lines[h.line].name)
				}
				break
			}
		}
	}
	begins := c.begins(i)
	if !s.fetch && begins < c.latched(m.opcode, i)+m.decode {
		return "P.6: before the opcode is decoded"
	}
	for n, t := range p.tests[:s.tests] {
		if !slices.Contains(s.arms, n) && !strict[t.node] {
			continue
		}
		if at := c.latched(m.signals[t.flag], t.step); at > 0 && begins < at+m.decode {
			return fmt.Sprintf("P.6: before %s is decoded", t.flag)
		}
	}
	return ""
}

// begins is the first phase of any window that starts in step i.
func (c *chart) begins(i int) int {
	first := furthest * 2
	for _, w := range c.starts[i] {
		first = min(first, w.from)
	}
	return first
}

// trimmed is a chart whose phase 1 stands at phase by+1; only what can matter
// between phases from and to is kept.
func (c *chart) trimmed(by, from, to int) *chart {
	out := &chart{m: c.m}
	for _, s := range c.steps {
		end := s.strobe + s.shape.n - 1
		begin := s.strobe
		for l := range s.shape.last {
			end = max(end, s.strobe+s.shape.last[l])
			begin = min(begin, s.strobe+s.shape.first[l])
		}
		for _, n := range s.shape.needs {
			begin = min(begin, s.strobe+n.from)
		}
		for _, l := range s.lines {
			for _, delay := range c.m.lines[l].reads.bits {
				begin = min(begin, s.strobe-delay) // what `none` asks of a bus
			}
		}
		if end >= from && begin <= to {
			s.strobe += by
			out.steps = append(out.steps, s)
		}
	}
	for _, w := range c.windows {
		if w.to >= from && w.from <= to {
			out.windows = append(out.windows, window{w.line, w.from + by, w.to + by})
		}
	}
	return out
}

func (c *chart) key() string {
	var b strings.Builder
	for _, s := range c.steps {
		fmt.Fprint(&b, s.lines, s.none, s.strobe, " ")
	}
	fmt.Fprint(&b, c.windows)
	return b.String()
}

// seams adds idle phases at the end of each path until rules 2 to 5 hold from
// there into every path that may follow (P.11).
func (m *machine) seams(r *ring, strict map[string]bool) {
	reach := m.dead + m.decode + 2 // no rule looks further across the seam
	for _, u := range m.units {
		reach += u.settle
	}
	heads := map[string]*chart{}
	var all []*path
	for _, o := range r.owners {
		for _, p := range o.paths {
			all = append(all, p)
			head := p.chart.trimmed(0, 0, reach)
			heads[head.key()] = head
		}
	}
	keys := slices.Sorted(maps.Keys(heads))
	known := map[string]int{}
	idles := map[*path]int{}
	for _, p := range all {
		idle := 0
		tail := p.chart.trimmed(-p.last, p.last-reach, p.last)
		if n, ok := known[tail.key()]; ok {
			idle = n
		} else {
			for _, k := range keys {
				for text := ""; ; idle++ {
					if text = m.joined(tail, heads[k], idle).broken(); text == "" {
						break
					}
					if idle > furthest {
						reject("P.11", "no idle phases are enough: %s", text)
					}
				}
			}
			known[tail.key()] = idle
		}
		for _, q := range all {
			for m.unready(p, q, idle, strict) {
				idle++
			}
		}
		idles[p] = idle
	}
	for p, idle := range idles {
		p.last += idle
	}
}

// joined puts a head behind a tail whose last phase is 0, with idle phases between.
func (m *machine) joined(tail, head *chart, idle int) *chart {
	later := head.trimmed(idle, 0, furthest*2)
	c := &chart{m: m, steps: slices.Concat(tail.steps, later.steps), windows: slices.Concat(tail.windows, later.windows)}
	c.light()
	return c
}

// unready tells whether q begins too early after p for a wait at the end of p
// or for the flags that p latched and q looks at.
func (m *machine) unready(p, q *path, idle int, strict map[string]bool) bool {
	end := p.last + idle
	c, d := p.chart, q.chart
	if n := len(p.steps); n > 0 {
		last := p.steps[n-1].strobe + p.steps[n-1].shape.n - 1
		if end+q.steps[0].strobe < last+p.wait+1 {
			return true
		}
	}
	for n, t := range q.tests {
		sig := m.signals[t.flag]
		at := c.latched(sig, len(p.steps))
		if at == 0 || d.latched(sig, t.step) > 0 {
			continue
		}
		for i, s := range q.steps {
			within := slices.Contains(s.arms, n) || strict[t.node] && n < s.tests
			if within && end+d.begins(i) < at+m.decode {
				return true
			}
		}
		if strict[t.node] && end+q.last < at+m.decode {
			return true
		}
	}
	return false
}

// finish works out the ring and draws every path to its end.
func (m *machine) finish(r *ring) {
	for _, o := range r.owners {
		for _, p := range o.paths {
			need := p.last
			if m.restart >= 0 && m.cuts && !o.idle {
				need++
			}
			r.phases = max(r.phases, need)
		}
	}
	if m.phases == 0 && m.restart < 0 {
		reject("P.7", "phases is required without a restart line")
	}
	if r.phases > 256 || m.phases > 0 && r.phases > m.phases {
		reject("P.9", "a path needs %d phases", r.phases)
	}
	if m.phases > 0 {
		r.phases = m.phases
	}
	for _, o := range r.owners {
		for _, p := range o.paths {
			p.on = map[int][]int{}
			maps.Copy(p.on, p.chart.on)
			if m.restart < 0 || o.idle {
				p.last = r.phases
				continue
			}
			p.restart = p.last
			if m.cuts {
				p.restart++
			}
			p.on[p.restart] = append(slices.Clone(p.on[p.restart]), m.restart)
		}
	}
	for _, o := range r.owners {
		for _, p := range o.paths {
			for _, lines := range p.on {
				slices.Sort(lines)
			}
		}
	}
}

// fork is a `when` of one owner: the paths of its two sides.
type fork struct {
	flag        string
	node        string
	sides       [2][]*path
	first, last int // phases in which the sides differ, 0 for never
}

// forks lists the `when`s of an owner. Two paths are compared if no other
// flag tells them apart.
func (m *machine) forks(r *ring, o *owner) []*fork {
	found := map[string]*fork{}
	for _, p := range o.paths {
		for _, t := range p.tests {
			f := found[t.node]
			if f == nil {
				f = &fork{flag: t.flag, node: t.node}
				found[t.node] = f
			}
			side := 0
			if t.on {
				side = 1
			}
			f.sides[side] = append(f.sides[side], p)
		}
	}
	var out []*fork
	for _, node := range slices.Sorted(maps.Keys(found)) {
		f := found[node]
		for _, a := range f.sides[0] {
			for _, b := range f.sides[1] {
				if !compatible(a, b, f.flag) {
					continue
				}
				for phase := 1; phase <= r.phases; phase++ {
					if slices.Equal(a.on[phase], b.on[phase]) {
						continue
					}
					if f.first == 0 || phase < f.first {
						f.first = phase
					}
					f.last = max(f.last, phase)
				}
			}
		}
		out = append(out, f)
	}
	return out
}

// compatible: no flag but the one asked about is on for one and off for the other.
func compatible(a, b *path, but string) bool {
	for _, t := range a.tests {
		for _, u := range b.tests {
			if t.flag == u.flag && t.flag != but && t.on != u.on {
				return false
			}
		}
	}
	return true
}

// early finds `when`s whose sides differ before the flag is decoded and makes
// them strict.
func (m *machine) early(r *ring, strict map[string]bool) bool {
	more := false
	for _, o := range r.owners {
		for _, f := range m.forks(r, o) {
			if f.first == 0 || strict[f.node] {
				continue
			}
			sig := m.signals[f.flag]
			own := f.sides[0][0]
			step := 0
			for _, t := range own.tests {
				if t.node == f.node {
					step = t.step
				}
			}
			at := own.chart.latched(sig, step)
			yes := at > 0 && f.first < at+m.decode
			for _, before := range r.owners {
				for _, p := range before.paths {
					if s := p.chart.latched(sig, len(p.steps)); at == 0 && s > 0 && p.last+f.first < s+m.decode {
						yes = true
					}
				}
			}
			if yes {
				strict[f.node] = true
				more = true
			}
		}
	}
	return more
}

// steady: while the sides of a `when` differ, nothing latches its flag (P.10),
// nor between the test and the first difference: the store would choose the
// side by the new value.
func (m *machine) steady(r *ring) {
	for _, o := range r.owners {
		for _, f := range m.forks(r, o) {
			for _, p := range slices.Concat(f.sides[0], f.sides[1]) {
				for _, t := range p.tests {
					if t.node != f.node {
						continue
					}
					for _, after := range p.steps[t.step:] {
						for _, l := range after.lines {
							if f.first > 0 && after.strobe <= f.last && m.lines[l].kind == "latch" && m.touches(l, m.signals[f.flag]) {
								reject("P.10", "%s latches %s between its test and phase %d, where its arms differ", m.lines[l].name, f.flag, f.last)
							}
						}
					}
				}
				for phase := f.first; f.first > 0 && phase <= f.last; phase++ {
					for _, l := range p.on[phase] {
						if m.lines[l].kind == "latch" && m.touches(l, m.signals[f.flag]) {
							reject("P.10", "%s latches %s while its arms differ in phase %d", m.lines[l].name, f.flag, phase)
						}
					}
				}
			}
		}
	}
}
