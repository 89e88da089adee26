package machine

import (
	"fmt"
	"strings"

	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/number"
)

// The limits of language.md N.5.
const (
	MaxWidth    = 64
	MaxOpcode   = 32
	MaxPhases   = 256
	MaxFlags    = 16
	MaxLines    = 1024
	MaxVariants = 65536
	maxWords    = 1 << 32
)

// Resolve turns a definition into a machine: when it returns without an error,
// every name is resolved, every width is known, every default is filled in and
// the variants of every instruction are listed. With errors it still returns
// what it could resolve (instructions in error are marked Broken), so that the
// schedule of the rest can be checked in the same run.
func Resolve(src *definition.Source) (*Machine, diag.List) {
	r := &resolver{
		m:         &Machine{Hash: src.Hash, Restart: -1, Halt: -1, Opcode: Opcode{Signal: -1}, Undefined: UndefinedRestart},
		src:       src,
		path:      map[string]entity{},
		declared:  map[string]entity{},
		twice:     map[string]bool{},
		fields:    map[string]int{},
		sequences: map[string]*definition.Sequence{},
		muted:     map[string]bool{},
		lost:      map[string]int{},
		brokenKW:  map[string]bool{},
		doubtful:  map[SignalKind]bool{},
		unknown:   map[string]*unknownName{},
		selects:   map[int]diag.Place{},
		usedSeq:   map[string]bool{},
		looped:    map[string]bool{},
		unread:    map[string]bool{},
		sizes:     map[*definition.Sequence]int{},
		cards:     map[string]int{},
		misplaced: map[string]string{},
	}
	r.adopt()
	r.header()
	r.declarations()
	r.units()
	r.lines()
	r.sequencer()
	r.fieldDecls()
	r.sequenceDecls()
	r.bodies()
	r.undefined()
	r.layout()
	r.hardware()
	r.flushUnknown()
	if r.list.Errors() == 0 && len(r.brokenKW) == 0 {
		r.unused()
	}
	return r.m, r.list
}

// once returns the declaration that may stand once, or nil; each further one is an error.
func once[T interface {
	comparable
	definition.Decl
}](r *resolver, keyword string) T {
	var none, first T
	for _, d := range r.src.Decls {
		x, ok := d.(T)
		if !ok {
			continue
		}
		if first != none {
			r.list.Errorf("block-repeated", x.Place(), "%s is given twice", keyword).Note(first.Place(), "first here")
			r.astray("", "keyword "+keyword)
			continue
		}
		first = x
	}
	return first
}

func (r *resolver) top() diag.Place {
	if r.machineSeen != nil {
		return r.machineSeen.At
	}
	if len(r.src.Files) > 0 {
		return diag.Place{File: r.src.Files[0].Path, Line: 1, Column: 1, Width: 1}
	}
	return diag.Place{}
}

func (r *resolver) header() {
	for _, d := range r.src.Decls {
		m, ok := d.(*definition.Machine)
		if !ok {
			continue
		}
		if r.machineSeen != nil {
			r.list.Errorf("machine-once", m.At, "a definition describes one machine").
				Note(r.machineSeen.At, "machine %s is declared first here", r.m.Name)
			r.astray("", "keyword machine")
			continue
		}
		r.machineSeen = m
		r.m.Name, r.m.Title, r.m.At = m.Name.Text, m.Title, m.At
	}
	if r.machineSeen == nil && !r.absent("machine") {
		r.list.Errorf("machine-missing", r.top(), "the definition does not say which machine it is for").
			Hintf("begin with: machine NAME \"what it is\"")
		r.again()
	}
}

// count reads a whole number within lo..hi.
func (r *resolver) count(n definition.Number, what string, lo, hi uint64) (uint64, bool) {
	v, err := number.Value(n.Text)
	if err != nil {
		r.list.Errorf("number-bad", n.At, "%v", err)
		return 0, false
	}
	if v < lo || v > hi {
		r.list.Errorf("number-range", n.At, "%s is %d to %d, not %s", what, lo, hi, n.Text)
		return 0, false
	}
	return v, true
}

// declarations enters every datapath name and resolves what needs no other.
func (r *resolver) declarations() {
	flags := 0
	var overFlags, overLines *diag.Place
	for _, d := range r.src.Decls {
		switch d := d.(type) {
		case *definition.Bus:
			s := Signal{Name: d.Name.Text, Kind: Bus, At: d.Name.At}
			ok := r.width(&s, d.Width)
			r.traits(&s, d.Traits, "or")
			r.addSignal(s, d.Name, ok)
		case *definition.Register:
			s := Signal{Name: d.Name.Text, Kind: Register, At: d.Name.At}
			ok := r.width(&s, d.Width)
			opcode := r.traits(&s, d.Traits, "opcode", "buffered", "input", "latching")
			r.addSignal(s, d.Name, ok)
			if opcode != nil {
				r.opcode(d, *opcode, ok)
			}
		case *definition.Flag:
			s := Signal{Name: d.Name.Text, Kind: Flag, Width: 1, At: d.Name.At}
			r.traits(&s, d.Traits, "input")
			r.addSignal(s, d.Name, true)
			if flags++; flags > MaxFlags && overFlags == nil {
				overFlags = &d.At
			}
		case *definition.Memory:
			s := Signal{Name: d.Name.Text, Kind: Memory, At: d.Name.At}
			words, ok := r.count(d.Words, "the number of words of a memory", 1, maxWords)
			s.Words = words
			ok = r.width(&s, d.Width) && ok
			r.traits(&s, d.Traits, "program", "little", "big")
			r.addSignal(s, d.Name, ok)
		case *definition.Unit:
			r.declare(d.Name, unitEntity, len(r.m.Units))
			r.m.Units = append(r.m.Units, Unit{Name: d.Name.Text, At: d.Name.At})
			r.unitDecls = append(r.unitDecls, d)
		case *definition.Line:
			r.declare(d.Name, lineEntity, len(r.m.Lines))
			r.m.Lines = append(r.m.Lines, Line{Name: d.Name.Text, Coils: 1, Pulse: 1, At: d.Name.At})
			r.lineDecls = append(r.lineDecls, d)
			if len(r.m.Lines) == MaxLines+1 {
				overLines = &d.At
			}
		}
	}
	if overFlags != nil {
		r.list.Errorf("limit-flags", *overFlags, "a machine has %d flags at most, this has %d", MaxFlags, flags)
	}
	if overLines != nil {
		r.list.Errorf("limit-lines", *overLines, "a machine has %d lines at most, this has %d", MaxLines, len(r.m.Lines))
	}
	r.badUnit = make([]bool, len(r.m.Units))
	r.usedUnit = make([]bool, len(r.m.Units))
	r.badLine = make([]bool, len(r.m.Lines))
	r.usedLine = make([]bool, len(r.m.Lines))
	r.programOnce()
	if r.m.Opcode.Signal < 0 && !r.absent("register") && !r.muted["opcode"] && !r.doubtful[Register] {
		r.list.Errorf("opcode-missing", r.top(), "no register holds the opcode").
			Hintf("write, for example: register ir 8 opcode")
		r.again()
		for _, s := range r.m.Signals {
			if s.Kind == Register && s.Input {
				r.blame(nameCause(s.Name)) // opcode may have been meant
			}
		}
	}
}

func (r *resolver) addSignal(s Signal, n definition.Name, ok bool) {
	r.declare(n, signalEntity, len(r.m.Signals))
	r.m.Signals = append(r.m.Signals, s)
	r.badSignal = append(r.badSignal, !ok)
	r.usedSignal = append(r.usedSignal, false)
}

func (r *resolver) width(s *Signal, n definition.Number) bool {
	w, ok := r.count(n, "the width of "+s.Kind.String()+" "+s.Name+" in bits", 1, MaxWidth)
	s.Width = int(w)
	if !ok {
		r.blame(nameCause(s.Name))
	}
	return ok
}

// traits applies the words after a declaration; it returns the opcode trait.
// Only the first unknown one is reported: the rest of such a line is often
// a second declaration that lost its line end, so its names are muted.
func (r *resolver) traits(s *Signal, traits []definition.Trait, known ...string) (opcode *definition.Trait) {
	seen := map[string]diag.Place{}
	for i, t := range traits {
		name := t.Name.Text
		ok := false
		for _, k := range known {
			ok = ok || k == name
		}
		if !ok {
			d := r.list.Errorf("unknown-trait", t.Name.At, "a %s cannot be %s", s.Kind, name)
			if near := diag.Nearest(name, known); near != "" {
				d.Hintf("did you mean %s?", near)
			} else {
				d.Hintf("a %s can be: %s", s.Kind, strings.Join(known, ", "))
			}
			for _, rest := range traits[i:] {
				r.muted[rest.Name.Text] = true
			}
			r.doubtful[s.Kind] = true
			r.blame(nameCause(s.Name))
			// The word may have been either of these: nothing is said for want of it.
			s.Or, s.Buffered = s.Kind == Bus, s.Kind == Register
			return opcode
		}
		if first, ok := seen[name]; ok {
			r.list.Errorf("trait-repeated", t.Name.At, "%s is said twice", name).Note(first, "first here")
			r.blame(nameCause(s.Name))
			r.doubtful[s.Kind] = true
			continue
		}
		seen[name] = t.Name.At
		if t.Hi != nil && name != "opcode" {
			r.list.Errorf("trait-number", t.Hi.At, "%s takes no number", name).Hintf("leave it out")
			r.blame(nameCause(s.Name))
			r.doubtful[s.Kind] = true
			continue
		}
		switch name {
		case "or":
			s.Or = true
		case "opcode":
			opcode = &traits[i]
		case "buffered":
			s.Buffered = true
		case "input":
			s.Input = true
		case "latching":
			s.Latching = true
		case "program":
			s.Program = true
		case "little":
			s.Little = true
		}
	}
	if l, ok := seen["little"]; ok {
		if b, ok := seen["big"]; ok {
			r.list.Errorf("trait-repeated", l, "a memory is little or big, not both").Note(b, "big here")
		}
	}
	return opcode
}

// opcode takes the trait `opcode [hi:lo]` of the register declared last.
func (r *resolver) opcode(d *definition.Register, t definition.Trait, widthOK bool) {
	index := len(r.m.Signals) - 1
	width := r.m.Signals[index].Width
	if r.m.Opcode.Signal >= 0 {
		r.list.Errorf("opcode-once", t.Name.At, "one register holds the opcode").
			Note(r.m.Signals[r.m.Opcode.Signal].At, "%s is declared as the opcode register here", r.m.Signals[r.m.Opcode.Signal].Name)
		r.opcodeDoubt = true
		// Another word may have been meant: nothing is said for want of it.
		r.m.Signals[index].Buffered, r.m.Signals[r.m.Opcode.Signal].Buffered = true, true
		return
	}
	o := Opcode{Signal: index, Hi: width - 1}
	if !widthOK {
		r.m.Opcode = Opcode{Signal: index}
		return
	}
	if t.Hi != nil {
		hi, ok := r.count(*t.Hi, "a bit of register "+d.Name.Text, 0, uint64(width-1))
		lo := hi
		if ok && t.Lo != nil {
			lo, ok = r.count(*t.Lo, "a bit of register "+d.Name.Text, 0, uint64(width-1))
		}
		if !ok {
			r.badSignal[index] = true
			r.m.Opcode = o
			return
		}
		if hi < lo {
			r.list.Errorf("slice-range", t.Hi.At, "the upper bit of a slice comes first").Hintf("write %d:%d", lo, hi)
			r.blame("opcode slice")
			hi, lo = lo, hi
		}
		o.Hi, o.Lo = int(hi), int(lo)
	}
	if o.Width() > MaxOpcode {
		r.list.Errorf("limit-opcode", t.Name.At, "an opcode has %d bits at most, this has %d", MaxOpcode, o.Width()).
			Hintf("decode a slice: opcode %d:%d", o.Hi, o.Hi-MaxOpcode+1)
		o.Lo = o.Hi - MaxOpcode + 1
		r.badSignal[index] = true
	}
	r.m.Opcode = o
}

func (r *resolver) programOnce() {
	first := -1
	for i, s := range r.m.Signals {
		if !s.Program {
			continue
		}
		if first >= 0 {
			r.list.Errorf("program-once", s.At, "one memory holds the program").
				Note(r.m.Signals[first].At, "%s is declared as the program memory here", r.m.Signals[first].Name)
			continue
		}
		first = i
	}
}

// program returns the program memory, or nil.
func (m *Machine) program() *Signal {
	for i := range m.Signals {
		if m.Signals[i].Program {
			return &m.Signals[i]
		}
	}
	return nil
}

// units resolves the functions, and refuses those that feed themselves.
func (r *resolver) units() {
	for i, d := range r.unitDecls {
		u := &r.m.Units[i]
		if w, ok := r.count(d.Width, "the width of unit "+u.Name+" in bits", 1, MaxWidth); ok {
			u.Width = int(w)
		} else {
			r.badUnit[i] = true
		}
		if d.Settle != nil {
			if s, ok := r.count(*d.Settle, "the settling time of unit "+u.Name+" in phases", 0, MaxPhases); ok {
				u.Settle = int(s)
			} else {
				r.m.Untimed = true
			}
		}
		for _, n := range d.By {
			ent, ok := r.path[n.Text]
			switch {
			case !ok:
				r.missing(datapathSpace, n, func() []string { return r.datapathNames(lineNames) })
				r.badUnit[i] = true
			case ent.kind != lineEntity:
				r.list.Errorf("not-a-line", n.At, "%s is no line: a unit's cases are picked by select lines", r.describe(n.Text, ent)).
					Hintf("declare a line without an effect: line NAME")
				r.blame(nameCause(n.Text))
				r.badUnit[i] = true
			default:
				for _, l := range u.By {
					if l == ent.index {
						r.list.Errorf("select-repeated", n.At, "%s picks the cases of unit %s twice", n.Text, u.Name)
						r.badUnit[i] = true
					}
				}
				if _, ok := r.selects[ent.index]; !ok {
					r.selects[ent.index] = n.At
				}
				u.By = append(u.By, ent.index)
			}
		}
		if len(d.By) > 10 {
			r.list.Errorf("select-limit", d.By[10].At, "a unit has 10 select lines at most")
			r.badUnit[i] = true
		}
	}
	// Widths of all units are known now, so values may name units in any order.
	for i, d := range r.unitDecls {
		r.unitCases(i, d)
	}
	r.unitLoops()
}

func (r *resolver) unitCases(i int, d *definition.Unit) {
	u := &r.m.Units[i]
	fit := func(e definition.Expr) *Expr {
		x := r.expr(e)
		if x == nil || r.badUnit[i] {
			return nil
		}
		return r.fit(x, u.Width, "unit "+u.Name, spell(e), u.Name)
	}
	if d.Value != nil {
		u.Cases = []*Expr{fit(d.Value)}
		if u.Cases[0] == nil {
			r.badUnit[i] = true
		}
		return
	}
	if len(d.By) == 0 || len(d.By) > 10 {
		return
	}
	size := 1 << len(d.By)
	u.Cases = make([]*Expr, size)
	at := make([]diag.Place, size)
	bad := r.badUnit[i]
	for _, c := range d.Cases {
		x := fit(c.Value)
		p, err := number.Bits(c.Bits.Text)
		switch {
		case err != nil:
			r.list.Errorf("number-bad", c.Bits.At, "%v", err)
			bad = true
			continue
		case p.Care != p.Mask():
			r.list.Errorf("case-bits", c.Bits.At, "a case of a unit is one setting of its select lines: no ? here")
			bad = true
			continue
		case p.Width != len(d.By) && r.badUnit[i]:
			bad = true // a select line may be one too many
			continue
		case p.Width != len(d.By):
			r.list.Errorf("case-bits", c.Bits.At, "unit %s has %s, this case has %s",
				u.Name, plural(len(d.By), "select line"), plural(p.Width, "bit")).Because("select lines of unit %s", u.Name)
			bad = true
			continue
		case !at[p.Value].IsZero():
			r.list.Errorf("case-repeated", c.Bits.At, "case %s of unit %s is given twice", c.Bits.Text, u.Name).
				Note(at[p.Value], "first here")
			bad = true
			continue
		}
		at[p.Value] = c.Bits.At
		u.Cases[p.Value] = x
		bad = bad || x == nil
	}
	if !bad {
		missing := 0
		first := ""
		for v := range u.Cases {
			if at[v].IsZero() {
				if missing++; missing == 1 {
					first = fmt.Sprintf("%0*b", len(d.By), v)
				}
			}
		}
		if missing > 0 {
			e := r.list.Errorf("case-missing", d.Name.At, "unit %s does not say what it does for %s", u.Name, first)
			if missing > 1 {
				e.Text += " and " + plural(missing-1, "other case")
			}
			e.Hintf("each setting of %s needs a case, for example: %s = 0", byNames(d), first)
			bad = true
		}
	}
	r.badUnit[i] = r.badUnit[i] || bad
}

// byNames lists the select lines of a unit: "sub inv".
func byNames(d *definition.Unit) string {
	names := make([]string, len(d.By))
	for i, n := range d.By {
		names[i] = n.Text
	}
	return strings.Join(names, " ")
}

// fit makes e as wide as its target, for which the declaration of owner
// answers. A wider one is an error with a slice as hint.
func (r *resolver) fit(e *Expr, width int, target, spelt, owner string) *Expr {
	if e == nil || width == 0 {
		return nil
	}
	if e.Width == 0 {
		return r.sized(e, width, target)
	}
	if e.Width > width {
		d := r.list.Errorf("width-too-wide", e.At, "%s is %s, %s has %d", spelt, plural(e.Width, "bit"), target, width)
		if e.Op == Read || e.Op == Fetch || e.Op == Apply {
			d.Hintf("take a slice: %s[%d:0]", spelt, width-1)
		}
		r.blame(append(r.widest(e, width), widthCause(owner))...)
		if r.here != "" {
			r.blame(r.here)
		}
		return nil
	}
	return extend(e, width)
}

// widest is the causes in what an expression reads that is wider than width.
func (r *resolver) widest(e *Expr, width int) []string {
	var out []string
	switch {
	case e.Width <= width:
		return nil
	case e.Op == Read || e.Op == Fetch:
		return []string{widthCause(r.m.Signals[e.Signal].Name)}
	case e.Op == Apply:
		return []string{widthCause(r.m.Units[e.Unit].Name)}
	}
	for _, a := range e.Args {
		out = append(out, r.widest(a, width)...)
	}
	return out
}

// unitLoops refuses units that read themselves, directly or through others.
func (r *resolver) unitLoops() {
	state := make([]int, len(r.m.Units)) // 0 new, 1 on the way, 2 done
	var visit func(u int) bool
	var walk func(e *Expr) bool
	walk = func(e *Expr) bool {
		if e == nil {
			return true
		}
		if e.Op == Apply && !visit(e.Unit) {
			return false
		}
		for _, a := range e.Args {
			if !walk(a) {
				return false
			}
		}
		return true
	}
	visit = func(u int) bool {
		switch state[u] {
		case 1:
			return false
		case 2:
			return true
		}
		state[u] = 1
		for _, c := range r.m.Units[u].Cases {
			if !walk(c) {
				if state[u] == 1 {
					r.list.Errorf("unit-loop", r.m.Units[u].At, "unit %s reads itself, directly or through another unit", r.m.Units[u].Name).
						Hintf("put a register in between")
				}
				state[u] = 2
				r.badUnit[u] = true
				r.m.Units[u].Cases = nil // so that nothing downstream runs in circles
				return true
			}
		}
		state[u] = 2
		return true
	}
	for u := range r.m.Units {
		visit(u)
	}
}
