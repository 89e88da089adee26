package reference

import (
	"fmt"
	"maps"
	"slices"
)

// shape is what a step is wherever its strobe falls.
type shape struct {
	n     int         // strobe phases: the longest pulse of its latches and outputs
	first map[int]int // line: start of its window, counted from the strobe
	last  map[int]int // line: end of its window, counted from the strobe
	needs []need
}

// need is a select line that must stay off from a phase, counted from the
// strobe, to the step's last strobe phase.
type need struct{ line, from int }

func (m *machine) shape(lines []int) *shape {
	key := fmt.Sprint(lines)
	if s := m.shapes[key]; s != nil {
		return s
	}
	s := &shape{n: 1, first: map[int]int{}, last: map[int]int{}}
	for _, n := range lines {
		if l := m.lines[n]; l.kind == "latch" || l.kind == "output" {
			s.n = max(s.n, l.pulse)
		}
	}
	m.memories(lines)
	for _, n := range lines {
		switch l := m.lines[n]; l.kind {
		case "gate", "select":
			s.first[n] = -l.lead - m.settling(n, lines, nil)
			s.last[n] = s.n - 1 + l.trail
		case "latch":
			s.last[n] = l.pulse - 1
			s.first[n] = 0
		case "output":
			s.first[n] = -l.lead
			s.last[n] = l.pulse - 1 + l.trail
		case "halt":
			s.first[n], s.last[n] = 0, 0
		}
	}
	for _, n := range lines {
		for _, name := range slices.Sorted(maps.Keys(m.lines[n].reads.units)) {
			from := s.first[n]
			if m.lines[n].kind == "latch" {
				from = -m.lines[n].reads.units[name]
			}
			for _, sel := range m.units[name].by {
				if !slices.Contains(lines, sel) {
					// Off is chosen as on is: nothing that the line did before may
					// still be on its way when what reads in the end does.
					s.needs = append(s.needs, need{sel, min(from, -m.settling(sel, lines, nil))})
				} else if s.first[sel] > from || s.last[sel] < s.n-1 {
					reject("P.6", "select line %s is on too late for %s", m.lines[sel].name, m.lines[n].name)
				}
			}
		}
	}
	m.shapes[key] = s
	return s
}

// memories: none is read and written in one step (P.5).
func (m *machine) memories(lines []int) {
	written := map[*signal]bool{}
	for _, n := range lines {
		for b := range m.lines[n].writes {
			written[m.bits[b]] = true
		}
	}
	for _, n := range lines {
		for b := range m.lines[n].reads.bits {
			if s := m.bits[b]; s.kind == "memory" && written[s] {
				reject("P.5", "%s reads %s, which is written in the same step", m.lines[n].name, s.name)
			}
		}
	}
}

// nets gives each bit the smallest bit that it is one with while lines are on (L.2).
func (m *machine) nets(lines []int) []int {
	net := make([]int, len(m.bits))
	for b := range net {
		net[b] = b
	}
	for again := true; again; {
		again = false
		for _, n := range lines {
			for _, j := range m.lines[n].joins {
				a, b := net[j[0]], net[j[1]]
				if a != b {
					net[j[0]], net[j[1]] = min(a, b), min(a, b)
					again = true
				}
			}
		}
	}
	return net
}

// settling is D(g) of P.2 for a gate or select line g of a step.
func (m *machine) settling(g int, lines, chain []int) int {
	if slices.Contains(chain, g) {
		reject("P.2", "%s feeds itself", m.lines[g].name)
	}
	chain = append(slices.Clone(chain), g)
	net := m.nets(lines)
	line := m.lines[g]
	feeds := map[int]bool{}  // nets that g is a source of
	joined := map[int]bool{} // nets that g joins
	for b := range line.writes {
		feeds[net[b]] = true
	}
	for _, j := range line.joins {
		joined[net[j[0]]] = true
	}
	// A source feeds the bits it is on; what lies beyond a bus-to-bus gate it
	// feeds through that gate, and comes to the same. So nets will do.
	most := 0
	pass := func(c, delay int) {
		if m.lines[c].kind == "gate" {
			delay += m.settling(c, lines, chain)
		}
		most = max(most, delay)
	}
	for _, c := range lines {
		reads := m.lines[c].reads
		for b, delay := range reads.bits {
			if feeds[net[b]] || joined[net[b]] {
				pass(c, delay)
			}
		}
		for _, j := range m.lines[c].joins {
			// Bus-to-bus gates of one net do not feed each other: they are one bus.
			if c != g && feeds[net[j[0]]] {
				pass(c, 0)
			}
		}
		for name, delay := range reads.units {
			if slices.Contains(m.units[name].by, g) {
				pass(c, delay)
			}
		}
	}
	return most
}
