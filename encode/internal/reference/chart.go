package reference

import (
	"fmt"
	"slices"
)

// window is the phases from .. to in which a line is on.
type window struct{ line, from, to int }

// chart is steps with their strobes, and the windows that follow from them.
type chart struct {
	m       *machine
	steps   []step
	windows []window
	starts  [][]window // of each step: the windows that start in it
	on      map[int][]int
}

// draw turns placed steps into a chart.
func (m *machine) draw(steps []step) *chart {
	c := &chart{m: m, steps: steps, starts: make([][]window, len(steps))}
	holds := map[held]window{}
	first := map[held]int{}
	var order []held
	for i, s := range steps {
		kept := map[int]bool{}
		for _, h := range s.held {
			kept[h.line] = true
			w, ok := holds[h]
			if !ok {
				w = window{h.line, s.strobe + s.shape.first[h.line], 0}
				first[h] = i
				order = append(order, h)
			}
			w.to = s.strobe + s.shape.last[h.line]
			holds[h] = w
		}
		for _, l := range s.lines {
			if !kept[l] {
				w := window{l, s.strobe + s.shape.first[l], s.strobe + s.shape.last[l]}
				c.windows = append(c.windows, w)
				c.starts[i] = append(c.starts[i], w)
			}
		}
	}
	for _, h := range order {
		c.windows = append(c.windows, holds[h])
		c.starts[first[h]] = append(c.starts[first[h]], holds[h])
	}
	c.light()
	return c
}

// light lists the lines that are on in each phase.
func (c *chart) light() {
	c.on = map[int][]int{}
	for _, w := range c.windows {
		for p := w.from; p <= w.to; p++ {
			if !slices.Contains(c.on[p], w.line) {
				c.on[p] = append(c.on[p], w.line)
			}
		}
	}
}

// end is the last phase in which any line is on.
func (c *chart) end() int {
	end := 0
	for _, w := range c.windows {
		end = max(end, w.to)
	}
	return end
}

// strobed is the last strobe phase of a latch in step i.
func (c *chart) strobed(i, latch int) int { return c.steps[i].strobe + c.m.lines[latch].pulse - 1 }

// latched is the last phase before step end in which a bit of signal s is latched, 0 for never.
func (c *chart) latched(s *signal, end int) int {
	last := 0
	for i := range c.steps[:end] {
		for _, l := range c.steps[i].lines {
			if c.m.lines[l].kind == "latch" && c.m.touches(l, s) {
				last = max(last, c.strobed(i, l))
			}
		}
	}
	return last
}

func (m *machine) touches(l int, s *signal) bool {
	for b := range m.lines[l].writes {
		if m.bits[b] == s {
			return true
		}
	}
	return false
}

// sources lists the gates that are sources of each bus bit in a phase, through
// bus-to-bus gates that are on (L.2, L.3).
func (c *chart) sources(phase int) [][]int {
	var gates []int
	for _, l := range c.on[phase] {
		if c.m.lines[l].kind == "gate" {
			gates = append(gates, l)
		}
	}
	slices.Sort(gates)
	var key []byte
	for _, l := range gates {
		key = append(key, byte(l), byte(l>>8))
	}
	if out, ok := c.m.lit[string(key)]; ok {
		return out
	}
	net := c.m.nets(gates)
	at := make([][]int, len(c.m.bits))
	for _, l := range gates {
		for b := range c.m.lines[l].writes {
			if !slices.Contains(at[net[b]], l) {
				at[net[b]] = append(at[net[b]], l)
			}
		}
	}
	out := make([][]int, len(c.m.bits))
	for b := range out {
		out[b] = at[net[b]]
	}
	c.m.lit[string(key)] = out
	return out
}

// broken is the first of rules 2 to 5 that does not hold, or "". They need no
// phase 1 and no last phase: two charts end to end are judged in the same way.
func (c *chart) broken() string {
	for _, rule := range []func() string{c.strobes, c.buses, c.exclusive, c.settled, c.selects, c.undriven} {
		if text := rule(); text != "" {
			return text
		}
	}
	return ""
}

// buses: never two sources on a bus, and dead phases between two (P.3).
func (c *chart) buses() string {
	m := c.m
	lowest, highest := c.span()
	seen := make([]int, len(m.bits)) // the source last seen on a bit ...
	when := make([]int, len(m.bits)) // ... and in which phase
	for b := range seen {
		seen[b] = -1
	}
	for p := lowest; p <= highest; p++ {
		if !c.gated(p) {
			continue
		}
		for b, list := range c.sources(p) {
			if len(list) == 0 || m.bits[b].kind != "bus" || m.bits[b].or {
				continue
			}
			if len(list) > 1 {
				return fmt.Sprintf("P.3: %s and %s on %s in phase %d", m.lines[list[0]].name, m.lines[list[1]].name, m.bits[b].name, p)
			}
			if seen[b] >= 0 && seen[b] != list[0] && p-when[b]-1 < m.dead {
				return fmt.Sprintf("P.3: %s %d phases after %s on %s", m.lines[list[0]].name, p-when[b], m.lines[seen[b]].name, m.bits[b].name)
			}
			seen[b], when[b] = list[0], p
		}
	}
	return ""
}

func (c *chart) gated(phase int) bool {
	return slices.ContainsFunc(c.on[phase], func(l int) bool { return c.m.lines[l].kind == "gate" })
}

func (c *chart) span() (lowest, highest int) {
	for i, w := range c.windows {
		if i == 0 {
			lowest, highest = w.from, w.to
		}
		lowest, highest = min(lowest, w.from), max(highest, w.to)
	}
	return lowest, highest
}

// exclusive: nothing on reads what latches (P.5), and no bit is latched by two lines at once (L.5).
func (c *chart) exclusive() string {
	lowest, highest := c.span()
	for p := lowest; p <= highest; p++ {
		for _, a := range c.on[p] {
			for _, b := range c.on[p] {
				if c.m.clash[a][b] {
					return fmt.Sprintf("P.5: %s reads what %s latches in phase %d", c.m.lines[b].name, c.m.lines[a].name, p)
				}
				if a != b && c.m.both[a][b] {
					return fmt.Sprintf("L.5: %s and %s latch the same bit in phase %d", c.m.lines[a].name, c.m.lines[b].name, p)
				}
			}
		}
	}
	return ""
}

// strobes: one after the other (P.2), waits kept free (P.14), latches off between two (P.4).
func (c *chart) strobes() string {
	for j := range c.steps {
		for i := range c.steps[:j] {
			a, b := c.steps[i], c.steps[j]
			if i == j-1 && b.strobe <= a.strobe+a.shape.n-1+b.wait {
				return fmt.Sprintf("P.2: step %d strobes too early after the step before", j+1)
			}
			for _, l := range b.lines {
				if c.m.lines[l].kind == "latch" && slices.Contains(a.lines, l) && b.strobe < c.strobed(i, l)+2 {
					return fmt.Sprintf("P.4: %s is not off between two strobes", c.m.lines[l].name)
				}
			}
		}
	}
	return ""
}

// settled: what was latched may be read from the next phase plus the settling times on (P.6).
func (c *chart) settled() string {
	for j, b := range c.steps {
		for i, a := range c.steps[:j] {
			for _, w := range a.lines {
				if c.m.lines[w].kind != "latch" {
					continue
				}
				for _, r := range b.lines {
					delay := c.m.delay[w][r]
					if delay >= 0 && b.strobe+b.shape.first[r] < c.strobed(i, w)+1+delay {
						return fmt.Sprintf("P.6: %s reads what %s latched before it settled", c.m.lines[r].name, c.m.lines[w].name)
					}
				}
			}
		}
	}
	return ""
}

// selects: select lines that a step needs off are off (P.6).
func (c *chart) selects() string {
	for j, s := range c.steps {
		for _, n := range s.shape.needs {
			for p := s.strobe + n.from; p <= s.strobe+s.shape.n-1; p++ {
				if slices.Contains(c.on[p], n.line) {
					return fmt.Sprintf("P.6: %s is on in phase %d, step %d needs it off", c.m.lines[n.line].name, p, j+1)
				}
			}
		}
	}
	return ""
}

// undriven: with `none`, what the latches read has no source in the strobe
// phases of the step (L.9), nor while the units settle that read it.
func (c *chart) undriven() string {
	for _, s := range c.steps {
		if !s.none {
			continue
		}
		for _, l := range s.lines {
			if c.m.lines[l].kind != "latch" {
				continue
			}
			for b, delay := range c.m.lines[l].reads.bits {
				if c.m.bits[b].kind != "bus" {
					continue
				}
				for p := s.strobe - delay; p <= s.strobe+s.shape.n-1; p++ {
					if at := c.sources(p)[b]; len(at) > 0 {
						return fmt.Sprintf("L.9: %s is on %s in phase %d, none was asked for", c.m.lines[at[0]].name, c.m.bits[b].name, p)
					}
				}
			}
		}
	}
	return ""
}

// driven: what latches and gates read is driven at the strobe (P.8). Only the
// finished chart can tell, for a later step's lead may drive it.
func (c *chart) driven() string {
	for j, s := range c.steps {
		for _, l := range s.lines {
			line := c.m.lines[l]
			to := s.strobe + s.shape.n - 1
			if line.kind == "latch" {
				if s.none {
					continue
				}
				to = c.strobed(j, l)
			}
			for p := s.strobe; p <= to; p++ {
				at := c.sources(p)
				check := func(b int) string {
					if c.m.bits[b].kind == "bus" && len(at[b]) == 0 {
						return fmt.Sprintf("P.8: %s reads %s, which nothing drives in phase %d", line.name, c.m.bits[b].name, p)
					}
					return ""
				}
				for b := range line.reads.bits {
					if text := check(b); text != "" {
						return text
					}
				}
				for _, join := range line.joins {
					if s.none {
						break // it connects two buses that are meant to be undriven
					}
					if text := check(join[0]); text != "" {
						return text
					}
				}
			}
		}
	}
	return ""
}
