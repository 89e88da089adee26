package schedule

import (
	"slices"

	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// suspect names what may be wrong where a step is in error: the step, a line of
// it, or what its lines read. acquit takes back what works elsewhere.
func (r *rules) suspect(d *diag.Diagnostic, at diag.Place, lines []int) {
	d.Suspect(machine.StepCause(at))
	for _, l := range lines {
		d.Suspect(r.lineCause(l))
	}
	for _, s := range r.reads(lines) {
		d.Suspect(r.signalCause(s))
	}
}

// lineCause and signalCause keep what is asked for again with every variant.
func (r *rules) lineCause(line int) diag.Cause {
	if r.causes == nil {
		r.causes = make([]diag.Cause, len(r.m.Lines)+len(r.m.Signals))
	}
	if c := &r.causes[line]; c.Key == "" {
		*c = r.m.LineCause(line)
	}
	return r.causes[line]
}

func (r *rules) signalCause(signal int) diag.Cause {
	if r.causes == nil {
		r.causes = make([]diag.Cause, len(r.m.Lines)+len(r.m.Signals))
	}
	if c := &r.causes[len(r.m.Lines)+signal]; c.Key == "" {
		*c = r.m.SignalCause(signal)
	}
	return r.causes[len(r.m.Lines)+signal]
}

// reads lists what lines read, each once, in the order met.
func (r *rules) reads(lines []int) []int {
	var out []int
	for _, l := range lines {
		for _, u := range r.uses[l] {
			if !slices.Contains(out, u.Signal) {
				out = append(out, u.Signal)
			}
		}
	}
	return out
}

func lineNumbers(lines []stepLine) []int {
	out := make([]int, len(lines))
	for i, sl := range lines {
		out[i] = sl.line
	}
	return out
}

// fed reports whether a step has itself a source on every bus that it reads;
// where it stands does not matter then.
func (r *rules) fed(n *machine.Node, lines []stepLine) bool {
	var joins []int
	have := netMask{}
	for _, sl := range lines {
		if r.m.Lines[sl.line].Joins {
			joins = append(joins, sl.line)
		}
		for bus, bits := range r.drives(sl.line) {
			have[bus] |= bits
		}
	}
	for bus, bits := range r.filled(joins) {
		have[bus] |= bits
	}
	r.spread(have, joins)
	for _, sl := range lines {
		l := &r.m.Lines[sl.line]
		if l.Kind != store.Latch && l.Kind != store.Gate || n.None && l.Kind == store.Latch {
			continue
		}
		for _, u := range r.uses[sl.line] {
			if r.m.Signals[u.Signal].Kind == machine.Bus && u.Mask&^have[u.Signal] != 0 {
				return false
			}
		}
	}
	return true
}

// acquit takes from the suspects what works in half as many steps as it is
// suspected in, or more. So one slip in the effect of a line is one error with
// the places as notes, and errors of two steps that only share a good line stay
// apart.
func (e *encoder) acquit() {
	type places map[string]bool // by the cause that a step is
	fails, works := map[string]places{}, map[string]places{}
	note := func(in map[string]places, cause, step string) {
		if in[cause] == nil {
			in[cause] = places{}
		}
		in[cause][step] = true
	}
	for _, d := range *e.list {
		for _, c := range d.Suspects {
			note(fails, c.Key, d.Suspects[0].Key)
		}
	}
	if len(fails) == 0 {
		return
	}
	right := func(at diag.Place, lines []int) {
		step := machine.StepCause(at).Key
		for _, l := range lines {
			note(works, e.r.lineCause(l).Key, step)
		}
		for _, s := range e.r.reads(lines) {
			note(works, e.r.signalCause(s).Key, step)
		}
	}
	e.eachStep(func(n *machine.Node, lines []stepLine) {
		if s := e.r.shapes[n]; s != nil && s.ok && e.r.fed(n, lines) {
			right(n.At, lineNumbers(lines))
		}
	})
	for _, f := range e.families {
		if !f.placed {
			continue
		}
		for _, w := range f.walkers {
			for k := range w.path.Steps {
				if slices.Contains(w.undriven, k) {
					continue
				}
				var lines []int
				for _, on := range w.path.Steps[k].On {
					lines = append(lines, on.Line)
				}
				right(w.path.Steps[k].At, lines)
			}
		}
	}
	for i := range *e.list {
		d := &(*e.list)[i]
		d.Suspects = slices.DeleteFunc(d.Suspects, func(c diag.Cause) bool {
			return 2*len(works[c.Key]) >= len(fails[c.Key]) && len(works[c.Key]) > 0
		})
	}
}
