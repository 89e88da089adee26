package schedule

import (
	"fmt"

	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// Every rule of language.md P.3 to P.6 says of two elements of a chart that
// the later may not begin before some phases after the earlier has ended. An
// element is a line that is on, or a select line that a step needs off: it must
// stay off for an interval, so it is an interval like any other.

// after is one such rule seen from the later element: it begins no earlier
// than Gap phases after the end of the earlier one.
type after struct {
	earlier element
	gap     int
	rule    rule
	signal  int // the bus, register, flag or memory it is about, -1 for none
}

// element numbers: 0..L-1 lines on, L..2L-1 select lines needed off.
type element int

type rule int

const (
	ruleStart     rule = iota // no window before phase 1
	ruleSource                // one source on a bus
	ruleOff                   // a latch is off between two strobes
	ruleReadWhile             // nothing reads what latches
	ruleSettle                // what was latched has to settle
	ruleSelect                // select lines are as the step says
)

// rules is what the machine's lines demand of each other, by element.
type rules struct {
	m       *machine.Machine
	uses    [][]machine.Use  // by line
	picks   [][]machine.Pick // by line
	joins   []int            // bus-to-bus gates
	first   [][]after        // by later element: the rules it is under
	shapes  map[*machine.Node]*shape
	owner   string                         // whose body is at hand, for messages
	scratch []span                         // for the path at hand
	sourced netMask                        // for the phase at hand
	writers [][]int                        // by flag or other signal: the lines that set bits of it
	driven  []netMask                      // by line, filled in as asked
	held    map[*machine.Node]map[int]bool // by hold: its gates, and whether a step inside reads them
	holds   []*machine.Node                // in the order met
	causes  []diag.Cause                   // by line, then by signal: filled in as asked
}

func (r *rules) off(line int) element { return element(len(r.m.Lines) + line) }
func (r *rules) elements() int        { return 2 * len(r.m.Lines) }

func newRules(m *machine.Machine) *rules {
	r := &rules{m: m, shapes: map[*machine.Node]*shape{}, held: map[*machine.Node]map[int]bool{}, driven: make([]netMask, len(m.Lines))}
	r.uses, r.picks = m.Uses()
	r.first = make([][]after, r.elements())
	r.scratch = make([]span, r.elements())
	r.sourced = netMask{}
	r.writers = make([][]int, len(m.Signals))
	type reader struct {
		line int
		use  machine.Use
	}
	sources := make([][]reader, len(m.Signals)) // drive a bus; Use.Mask is the bits driven
	latches := make([][]reader, len(m.Signals)) // set a register, flag or memory
	readers := make([][]reader, len(m.Signals))
	for i := range m.Lines {
		l := &m.Lines[i]
		if l.Joins {
			r.joins = append(r.joins, i)
		}
		drives := map[int]uint64{}
		for j := range l.Effects {
			t := &l.Effects[j]
			if !t.Joins(m) {
				drives[t.Target.Signal] |= t.Target.Mask()
			}
		}
		for s := range m.Signals {
			mask, ok := drives[s]
			if !ok {
				continue
			}
			r.writers[s] = append(r.writers[s], i)
			x := reader{i, machine.Use{Signal: s, Mask: mask}}
			if m.Signals[s].Kind == machine.Bus {
				sources[s] = append(sources[s], x)
			} else {
				latches[s] = append(latches[s], x)
			}
		}
		for _, u := range r.uses[i] {
			readers[u.Signal] = append(readers[u.Signal], reader{i, u})
		}
	}
	add := func(later, earlier element, gap int, rule rule, signal int) {
		for k, a := range r.first[later] {
			if a.earlier == earlier {
				if gap > a.gap {
					r.first[later][k] = after{earlier, gap, rule, signal}
				}
				return
			}
		}
		r.first[later] = append(r.first[later], after{earlier, gap, rule, signal})
	}
	for s := range m.Signals {
		if m.Signals[s].Kind == machine.Bus {
			for _, y := range sources[s] {
				for _, x := range sources[s] {
					if x.line != y.line && x.use.Mask&y.use.Mask != 0 && !m.Signals[s].Or {
						add(element(y.line), element(x.line), 1+m.Sequencer.Dead, ruleSource, s)
					}
				}
			}
			continue
		}
		for _, w := range latches[s] {
			for _, rd := range readers[s] {
				if w.use.Mask&rd.use.Mask == 0 {
					continue
				}
				add(element(rd.line), element(w.line), 1+rd.use.Settle, ruleSettle, s)
				if r.readWhile(w.line, s) {
					add(element(w.line), element(rd.line), 1, ruleReadWhile, s)
				}
			}
		}
	}
	for i := range m.Lines {
		if m.Lines[i].Kind == store.Latch {
			add(element(i), element(i), 2, ruleOff, -1)
		}
		if m.Lines[i].Kind == store.Select {
			add(element(i), r.off(i), 1, ruleSelect, -1)
			add(r.off(i), element(i), 1, ruleSelect, -1)
		}
	}
	return r
}

// readWhile reports whether rule 4 forbids reading a signal while the line
// latches it: not for a buffered register nor a `set` line, always for a memory.
func (r *rules) readWhile(line, signal int) bool {
	s := &r.m.Signals[signal]
	return s.Kind == machine.Memory || !s.Buffered && !r.m.Lines[line].Set
}

func (r *rules) line(e element) string {
	if n := len(r.m.Lines); int(e) >= n {
		return r.m.Lines[int(e)-n].Name + " off"
	}
	return r.m.Lines[e].Name
}

// text says a rule in words.
func (r *rules) text(k rule, earlier, later element, signal, gap int) string {
	name := func() string {
		if signal < 0 {
			return ""
		}
		return r.m.Signals[signal].Name
	}
	switch k {
	case ruleStart:
		return fmt.Sprintf("%s may not come on before phase 1", r.line(later))
	case ruleSource:
		if gap > 1 {
			return fmt.Sprintf("bus %s: %s goes off, %d dead, then %s comes on", name(), r.line(earlier), gap-1, r.line(later))
		}
		return fmt.Sprintf("bus %s: %s goes off before %s comes on", name(), r.line(earlier), r.line(later))
	case ruleOff:
		return fmt.Sprintf("latch %s is off for a phase between two strobes", r.line(later))
	case ruleReadWhile:
		return fmt.Sprintf("%s stops reading %s before %s latches it", r.line(earlier), name(), r.line(later))
	case ruleSettle:
		if gap > 1 {
			return fmt.Sprintf("%s, latched by %s, settles for %d before %s reads it", name(), r.line(earlier), gap-1, r.line(later))
		}
		return fmt.Sprintf("%s is latched by %s before %s reads it", name(), r.line(earlier), r.line(later))
	case ruleSelect:
		return fmt.Sprintf("%s is done before %s", r.line(earlier), r.line(later))
	}
	return ""
}
