package machine

import (
	"strings"

	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
)

// lines resolves what each line does, and from that its kind (language.md L.1).
func (r *resolver) lines() {
	for i, d := range r.lineDecls {
		r.line(i, d)
	}
	for i := range r.m.Lines {
		l := &r.m.Lines[i]
		if r.badLine[i] {
			continue
		}
		switch l.Kind {
		case store.Restart:
			r.claim(&r.m.Restart, i, "restart")
		case store.Halt:
			r.claim(&r.m.Halt, i, "halt")
		}
	}
}

func (r *resolver) claim(slot *int, i int, what string) {
	if *slot >= 0 {
		r.list.Errorf("line-once", r.m.Lines[i].At, "one line at most is %s", what).
			Note(r.m.Lines[*slot].At, "%s is one already", r.m.Lines[*slot].Name)
		r.badLine[i] = true
		return
	}
	*slot = i
}

func (r *resolver) line(i int, d *definition.Line) {
	r.here = "declaration " + d.At.String()
	defer func() { r.here = "" }()
	l := &r.m.Lines[i]
	var gates, latches, words int
	bad := false
	for j := range d.Effects {
		e := &d.Effects[j]
		if e.Word != "" {
			words++
			l.Kind = store.Restart
			if e.Word == "halt" {
				l.Kind = store.Halt
			}
			continue
		}
		t, ok := r.transfer(e)
		if !ok {
			bad = true
			continue
		}
		if r.m.Signals[t.Target.Signal].Kind == Bus {
			gates++
		} else {
			latches++
		}
		l.Effects = append(l.Effects, t)
	}
	selectAt, selects := r.selects[i]
	switch {
	case bad:
	case words > 1 || words > 0 && gates+latches > 0:
		r.list.Errorf("line-two-kinds", l.At, "line %s does two things at once: %s", l.Name, "restart and halt stand alone").
			Hintf("split it into two lines")
		bad = true
	case gates > 0 && latches > 0:
		r.list.Errorf("line-two-kinds", l.At, "line %s is a gate and a latch at once: it drives a bus and it captures", l.Name).
			Hintf("split it into two lines")
		r.blame(nameCause(l.Name))
		for _, t := range l.Effects { // one of them may be a bus by mistake, or none
			r.blame(nameCause(r.m.Signals[t.Target.Signal].Name))
		}
		bad = true
	case selects && words+gates+latches > 0:
		r.list.Errorf("line-two-kinds", l.At, "line %s picks the cases of a unit and has an effect of its own", l.Name).
			Note(selectAt, "it is a select line here").Hintf("split it into two lines")
		bad = true
	case gates > 0:
		l.Kind = store.Gate
	case latches > 0:
		l.Kind = store.Latch
	case words > 0:
	case selects:
		l.Kind = store.Select
	default:
		l.Kind = store.Output
	}
	for a := range l.Effects {
		for b := range l.Effects[:a] {
			x, y := &l.Effects[a], &l.Effects[b]
			if !bad && x.Target.Signal == y.Target.Signal && x.Target.Mask()&y.Target.Mask() != 0 &&
				!r.m.Signals[x.Target.Signal].Or {
				r.list.Errorf("two-transfers", x.Target.At, "line %s sets %s twice", l.Name, r.m.Signals[x.Target.Signal].Name).
					Note(y.Target.At, "first here")
				bad = true
			}
		}
		if l.Effects[a].Joins(r.m) {
			l.Joins = true
		}
	}
	r.badLine[i] = bad
	errors := r.list.Errors()
	r.attrs(l, d, bad)
	r.m.Untimed = r.m.Untimed || r.list.Errors() > errors
}

// Mask is the bits of the signal that a target sets.
func (t *Target) Mask() uint64 { return Bits(t.Hi, t.Lo) }

// Joins reports whether a transfer connects two buses through contacts, which
// conduct both ways (language.md L.2): its source is a bus or a slice of one.
func (t *Transfer) Joins(m *Machine) bool {
	e := t.Unfilled()
	return m.Signals[t.Target.Signal].Kind == Bus && e.Op == Read && m.Signals[e.Signal].Kind == Bus
}

// Unfilled is the source without the zeros that fill it up to the target's width.
func (t *Transfer) Unfilled() *Expr {
	if t.Source.Op == Extend {
		return t.Source.Args[0]
	}
	return t.Source
}

// Writes returns the bits of a register, flag, memory or bus that the line sets.
func (l *Line) Writes(signal int) uint64 {
	var m uint64
	for i := range l.Effects {
		if l.Effects[i].Target.Signal == signal {
			m |= l.Effects[i].Target.Mask()
		}
	}
	return m
}

// Bits is a mask of the bits hi..lo.
func Bits(hi, lo int) uint64 {
	return ^uint64(0) >> (63 - (hi - lo)) << lo
}

func (r *resolver) transfer(e *definition.Effect) (Transfer, bool) {
	target, width, ok := r.target(e.Target)
	src := r.expr(e.Source)
	if !ok || src == nil {
		return Transfer{}, false
	}
	src = r.fit(src, width, spell(e.Target), spell(e.Source), r.m.Signals[target.Signal].Name)
	if src == nil {
		return Transfer{}, false
	}
	return Transfer{Source: src, Target: target, At: e.At}, true
}

func (r *resolver) target(ref *definition.Ref) (Target, int, bool) {
	none := Target{}
	name := ref.Name.Text
	ent, ok := r.path[name]
	if !ok {
		r.missing(datapathSpace, ref.Name, func() []string { return r.datapathNames(func(e entity) bool { return e.kind == signalEntity }) })
		return none, 0, false
	}
	if ent.kind != signalEntity || ref.Call {
		if ent.kind == lineEntity {
			r.usedLine[ent.index] = true
		} else if ent.kind == unitEntity {
			r.usedUnit[ent.index] = true
		}
		r.list.Errorf("not-a-target", ref.Name.At, "%s cannot be set", r.describe(name, ent)).
			Hintf("a transfer ends at a bus, a register, a flag or a memory word")
		r.blame(nameCause(name))
		return none, 0, false
	}
	s, slices, index, ok := r.signal(ref, ent)
	if !ok {
		return none, 0, false
	}
	if s.Input {
		r.list.Errorf("input-set", ref.Name.At, "%s %s is an input: it is set from outside", s.Kind, name).
			Note(s.At, "declared here")
		r.blame(nameCause(name))
		return none, 0, false
	}
	t := Target{Signal: ent.index, Hi: s.Width - 1, Index: index, At: ref.At}
	if len(slices) > 0 {
		hi, lo, ok := r.slice(slices[0], s.Width, s.Kind.String()+" "+name)
		if !ok || !r.oneSlice(slices) {
			return none, 0, false
		}
		t.Hi, t.Lo = hi, lo
	}
	return t, t.Hi - t.Lo + 1, true
}

// attrNames are the attributes, and which kinds of line take them.
var attrNames = []string{"coils", "lead", "low", "pulse", "set", "trail"}

var attrKinds = map[string][]store.Kind{
	"coils": {store.Gate, store.Latch, store.Select, store.Output, store.Restart, store.Halt},
	"low":   {store.Gate, store.Latch, store.Select, store.Output, store.Restart, store.Halt},
	"lead":  {store.Gate, store.Select, store.Output},
	"trail": {store.Gate, store.Select, store.Output},
	"pulse": {store.Latch, store.Output},
	"set":   {store.Latch},
}

func kindList(kinds []store.Kind) string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = string(k)
	}
	return strings.Join(names, " and ") + " lines"
}

// attrs applies the words after a line. The defaults of lead and trail need
// the sequencer and are filled in by sequencer; -1 marks them here.
func (r *resolver) attrs(l *Line, d *definition.Line, bad bool) {
	l.Lead, l.Trail = -1, -1
	seen := map[string]diag.Place{}
	for i, a := range d.Attrs {
		name := a.Name.Text
		kinds, ok := attrKinds[name]
		if !ok {
			e := r.list.Errorf("unknown-attribute", a.Name.At, "a line has no attribute %s", name)
			if near := diag.Nearest(name, attrNames); near != "" {
				e.Hintf("did you mean %s?", near)
			} else if name == "restart" || name == "halt" {
				e.Hintf("what a line does comes after a colon: line %s : %s", l.Name, name)
			} else {
				e.Hintf("the attributes are %s", strings.Join(attrNames, ", "))
			}
			for _, rest := range d.Attrs[i:] {
				r.muted[rest.Name.Text] = true
			}
			r.blame(r.here, nameCause(l.Name))
			return
		}
		if first, ok := seen[name]; ok {
			r.list.Errorf("trait-repeated", a.Name.At, "%s is said twice", name).Note(first, "first here")
			continue
		}
		seen[name] = a.Name.At
		fits := bad
		for _, k := range kinds {
			fits = fits || k == l.Kind
		}
		if !fits {
			r.list.Errorf("attribute-kind", a.Name.At, "%s is no attribute of a %s line", name, l.Kind).
				Hintf("it belongs to %s", kindList(kinds))
			continue
		}
		if name == "low" || name == "set" {
			if a.Number != nil {
				r.list.Errorf("trait-number", a.Number.At, "%s takes no number", name).Hintf("leave it out")
			}
			l.Low = l.Low || name == "low"
			l.Set = l.Set || name == "set"
			continue
		}
		if a.Number == nil {
			at, found := a.Name.At, ""
			if i+1 < len(d.Attrs) {
				at, found = d.Attrs[i+1].Name.At, ", found "+d.Attrs[i+1].Name.Text
			}
			r.list.Errorf("attribute-number", at, "%s needs a number%s", name, found).Hintf("write, for example: %s 2", name)
			return
		}
		lo, what := uint64(0), "the "+name+" of line "+l.Name+" in phases"
		if name == "pulse" {
			lo = 1
		}
		if name == "coils" {
			lo, what = 1, "the number of coils on line "+l.Name
		}
		v, ok := r.count(*a.Number, what, lo, MaxPhases)
		if !ok {
			continue
		}
		switch name {
		case "lead":
			l.Lead = int(v)
		case "trail":
			l.Trail = int(v)
		case "pulse":
			l.Pulse = int(v)
		case "coils":
			l.Coils = int(v)
		}
	}
}
