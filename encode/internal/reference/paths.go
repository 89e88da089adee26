package reference

import (
	"fmt"
	"slices"
	"strings"

	"coilwright/lang/definition"
)

// owner is one instruction variant, or the undefined opcodes (cube nil).
type owner struct {
	name  string
	cube  *cube
	idle  bool // runs to the end of the ring without restart
	paths []*path
}

type cube struct{ care, value uint64 }

func (c *cube) matches(v uint64) bool { return v&c.care == c.value }

func (c *cube) meets(d *cube) bool { return (c.value^d.value)&c.care&d.care == 0 }

// path is one way through fetch and a body.
type path struct {
	steps []step
	tests []test
	wait  int // phases kept free after the last strobe

	// worked out when the path is placed
	chart   *chart
	last    int // P.7; idle phases included once the seams are known
	restart int
	on      map[int][]int // lines on in each phase
}

// step is what happens at one strobe.
type step struct {
	lines []int  // without repeats, held lines included
	held  []held // the lines that a `hold` around it keeps on
	none  bool
	wait  int   // phases kept free before its strobe
	arms  []int // tests of the path that it stands in an arm of
	tests int   // tests of the path before it
	fetch bool

	shape  *shape
	id     int // the same in all paths that have this step and all before it in common
	strobe int // worked out
}

// held is a line kept on by a hold; two steps in one hold have the same number.
type held struct{ line, hold int }

// test is a `when` on a path.
type test struct {
	flag string
	on   bool
	node string // which `when` of the tree it is: owner and the arms taken before it
	step int    // steps of the path before it
}

func (p *path) taken(flags uint64, names []string) bool {
	for _, t := range p.tests {
		if (flags>>slices.Index(names, t.flag)&1 == 1) != t.on {
			return false
		}
	}
	return true
}

func (p *path) fork() *path {
	q := *p
	q.steps = slices.Clone(p.steps)
	q.tests = slices.Clone(p.tests)
	return &q
}

// walker unrolls the statements of fetch or of one variant's body.
type walker struct {
	m        *machine
	owner    string           // "fetch" or the variant
	operands map[string][]int // lines that a field operand picks
	fetch    bool
	holds    int
}

// around is what a statement stands in.
type around struct {
	arms  []int
	held  []held
	doing []string
	top   bool
}

// walk appends the statements to each path; a `when` makes two of one.
func (w *walker) walk(stmts []definition.Stmt, paths []*path, in around) []*path {
	for _, stmt := range stmts {
		switch s := stmt.(type) {
		case *definition.Step:
			for _, p := range paths {
				w.step(p, s.Names, in)
			}
		case *definition.Wait:
			for _, p := range paths {
				p.wait = max(p.wait, number(s.Phases))
			}
		case *definition.When:
			var out []*path
			for _, p := range paths {
				out = append(out, w.when(p, s, in)...)
			}
			paths = out
		case *definition.Hold:
			inner := in
			inner.top = false
			inner.held = slices.Clone(in.held)
			lines, none := w.lines(s.Names)
			if none {
				reject("P.14", "none cannot be held")
			}
			w.holds++
			for _, l := range lines {
				if k := w.m.lines[l].kind; k != "gate" && k != "select" && k != "output" {
					reject("P.14", "%s line %s cannot be held", k, w.m.lines[l].name)
				}
				inner.held = append(inner.held, held{l, w.holds})
			}
			before := w.m.steps
			paths = w.walk(s.Body.Stmts, paths, inner)
			if w.m.steps == before {
				reject("P.14", "a hold without a step")
			}
		case *definition.Do:
			seq := w.m.sequences[s.Name.Text]
			if seq == nil {
				reject("N.1", "no sequence %s", s.Name.Text)
			}
			if slices.Contains(in.doing, s.Name.Text) {
				reject("P.14", "sequence %s does itself", s.Name.Text)
			}
			inner := in
			inner.top = false
			inner.doing = append(slices.Clone(in.doing), s.Name.Text)
			paths = w.walk(seq.Body.Stmts, paths, inner)
		case *definition.Except:
			if !in.top || w.fetch {
				reject("E.3", "except stands directly in an instruction")
			}
		case *definition.Pack:
			reject("P.14", "pack is not there yet")
		}
	}
	return paths
}

func (w *walker) when(p *path, s *definition.When, in around) []*path {
	sig := w.m.signals[s.Flag.Text]
	if sig == nil || sig.kind != "flag" {
		reject("N.1", "%s is no flag", s.Flag.Text)
	}
	node := w.owner
	for _, t := range p.tests {
		if t.flag == s.Flag.Text {
			reject("P.12", "%s is already decided: dead arm", s.Flag.Text)
		}
		node += fmt.Sprintf(" %s=%t", t.flag, t.on)
	}
	node += " " + s.Flag.Text
	var out []*path
	for _, on := range []bool{false, true} {
		q := p.fork()
		q.tests = append(q.tests, test{flag: s.Flag.Text, on: on, node: node, step: len(q.steps)})
		inner := in
		inner.top = false
		inner.arms = append(slices.Clone(in.arms), len(q.tests)-1)
		switch {
		case on != s.Not:
			out = append(out, w.walk(s.Then.Stmts, []*path{q}, inner)...)
		case s.Else != nil:
			out = append(out, w.walk(s.Else.Stmts, []*path{q}, inner)...)
		default:
			out = append(out, q)
		}
	}
	return out
}

// lines looks the names of a step or hold up.
func (w *walker) lines(names []definition.Name) (lines []int, none bool) {
	for _, n := range names {
		picked, operand := w.operands[n.Text]
		l, known := w.m.named[n.Text]
		switch {
		case operand:
			lines = append(lines, picked...)
		case known:
			lines = append(lines, l)
		case n.Text == "none":
			none = true
		default:
			reject("N.1", "no line %s", n.Text)
		}
	}
	slices.Sort(lines)
	return slices.Compact(lines), none
}

func (w *walker) step(p *path, names []definition.Name, in around) {
	lines, none := w.lines(names)
	for _, h := range in.held {
		lines = append(lines, h.line)
	}
	slices.Sort(lines)
	lines = slices.Compact(lines)
	for _, n := range lines {
		l := w.m.lines[n]
		if l.kind == "restart" {
			reject("L.7", "restart line %s in a step", l.name)
		}
		if l.kind != "latch" {
			continue
		}
		for b := range l.writes {
			if w.m.bits[b] == w.m.opcode && (!w.fetch || len(in.arms) > 0) {
				reject("P.13", "the opcode is latched outside fetch or in an arm")
			}
		}
	}
	w.m.steps++
	p.steps = append(p.steps, step{
		id: w.m.steps, lines: lines, held: in.held, none: none, wait: p.wait,
		arms: in.arms, tests: len(p.tests), fetch: w.fetch,
		shape: w.m.shape(lines),
	})
	p.wait = 0
}

// owners lists fetch and every variant with every path through it, unplaced.
func (m *machine) owners() []*owner {
	w := &walker{m: m, owner: "fetch", fetch: true}
	fetch := w.walk(m.fetch.Body.Stmts, []*path{{}}, around{top: true})
	for _, p := range fetch {
		got := map[int]bool{}
		for _, s := range p.steps {
			for _, l := range s.lines {
				for b := range m.lines[l].writes {
					got[b] = true
				}
			}
		}
		for b := m.opcode.base + m.lo; b <= m.opcode.base+m.hi; b++ {
			if !got[b] {
				reject("P.13", "fetch does not latch the opcode")
			}
		}
	}
	bodies := func(name string, operands map[string][]int, stmts []definition.Stmt) []*path {
		var all []*path
		for _, p := range fetch {
			w := &walker{m: m, owner: name, operands: operands, holds: 1000}
			all = append(all, w.walk(stmts, []*path{p.fork()}, around{top: true})...)
		}
		return all
	}
	var out []*owner
	instruction := map[*owner]int{}
	for i, ins := range m.instructions {
		for _, v := range m.variants(ins) {
			var stmts []definition.Stmt
			if ins.Body != nil {
				stmts = ins.Body.Stmts
			}
			o := &owner{name: v.name, cube: &v.cube}
			o.paths = bodies(v.name, v.operands, stmts)
			merged := false
			for _, other := range out {
				if !other.cube.meets(o.cube) {
					continue
				}
				if instruction[other] == i && *other.cube == *o.cube && same(other.paths, o.paths) {
					merged = true
					continue
				}
				reject("P.9", "%s and %s match the same opcode", other.name, o.name)
			}
			if !merged {
				instruction[o] = i
				out = append(out, o)
			}
		}
	}
	free := false
	for op := uint64(0); op < 1<<(m.hi-m.lo+1) && !free; op++ {
		free = !slices.ContainsFunc(out, func(o *owner) bool { return o.cube.matches(op) })
	}
	if !free {
		return out
	}
	o := &owner{name: "undefined"}
	var stmts []definition.Stmt
	switch m.undefined {
	case "restart", "free":
	case "idle":
		o.idle = true
	case "halt":
		if m.halt < 0 {
			reject("E.5", "undefined halt without a halt line")
		}
		stmts = []definition.Stmt{&definition.Step{Names: []definition.Name{{Text: m.lines[m.halt].name}}}}
	default:
		reject("E.5", "undefined %s", m.undefined)
	}
	o.paths = bodies(o.name, nil, stmts)
	return append(out, o)
}

// same tells whether two variants have the same lines step by step.
func same(a, b []*path) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if len(a[i].steps) != len(b[i].steps) {
			return false
		}
		for j := range a[i].steps {
			if !slices.Equal(a[i].steps[j].lines, b[i].steps[j].lines) {
				return false
			}
		}
	}
	return true
}

type variant struct {
	name     string
	cube     cube
	operands map[string][]int
}

// variants lists the opcodes of an instruction: one for each combination of
// the values of its field operands (section E).
func (m *machine) variants(ins *definition.Instruction) []variant {
	type place struct {
		bit     int // of the first word
		operand string
		from    int // bit of the operand
	}
	width := map[string]int{}
	field := map[string]string{}
	for _, o := range ins.Operands {
		if _, ok := width[o.Name.Text]; ok {
			reject("N.2", "operand %s stands twice", o.Name.Text)
		}
		if _, ok := m.named[o.Name.Text]; ok || m.signals[o.Name.Text] != nil || m.units[o.Name.Text] != nil {
			reject("N.1", "operand %s hides a datapath name", o.Name.Text)
		}
		if o.Width != nil {
			width[o.Name.Text] = number(*o.Width)
			continue
		}
		w, ok := m.widths[o.Field.Text]
		if !ok {
			reject("N.1", "no field %s", o.Field.Text)
		}
		width[o.Name.Text], field[o.Name.Text] = w, o.Field.Text
	}
	used := map[string]int{} // "operand bit": times
	fixed := strings.Repeat("?", m.opcode.width)
	first := map[string]int{} // bits of an operand in the first word
	inside := map[string]bool{}
	var places []place
	if len(ins.Words) > 1 && m.program == nil {
		reject("E.2", "%s has a second word but no memory holds the program", ins.Name.Text)
	}
	for n, word := range ins.Words {
		want := m.opcode.width
		if n > 0 {
			want = m.bits[m.program.base].width
		}
		var digits string
		var from []place
		for _, part := range word.Parts {
			if part.Bits != nil {
				digits += pattern(*part.Bits)
				for len(from) < len(digits) {
					from = append(from, place{})
				}
				continue
			}
			w, ok := width[part.Ref.Text]
			if !ok {
				reject("E.2", "%s is no operand of %s", part.Ref.Text, ins.Name.Text)
			}
			hi, lo := w-1, 0
			if part.Hi != nil {
				hi = number(*part.Hi)
				lo = hi
			}
			if part.Lo != nil {
				lo = number(*part.Lo)
			}
			if hi >= w || lo > hi {
				reject("E.2", "operand %s has no bits %d:%d", part.Ref.Text, hi, lo)
			}
			for b := hi; b >= lo; b-- {
				used[fmt.Sprint(part.Ref.Text, " ", b)]++
				digits += "?"
				from = append(from, place{operand: part.Ref.Text, from: b})
			}
		}
		if len(digits) != want {
			reject("E.2", "word %d of %s is %d bits, not %d", n+1, ins.Name.Text, len(digits), want)
		}
		if n > 0 {
			continue
		}
		fixed = digits
		for i := range digits {
			bit := want - 1 - i
			in := bit >= m.lo && bit <= m.hi
			if !in && digits[i] != '?' {
				reject("E.2", "%s fixes a bit outside the opcode slice", ins.Name.Text)
			}
			if from[i].operand == "" {
				continue
			}
			from[i].bit = bit
			places = append(places, from[i])
			first[from[i].operand]++
			if in {
				inside[from[i].operand] = true
			}
		}
	}
	for name, w := range width {
		for b := range w {
			if used[fmt.Sprint(name, " ", b)] != 1 {
				reject("E.2", "bit %d of operand %s of %s is not there once", b, name, ins.Name.Text)
			}
		}
	}
	base := variant{name: ins.Name.Text, operands: map[string][]int{}}
	for i := range fixed {
		if bit := len(fixed) - 1 - i; fixed[i] != '?' && bit >= m.lo && bit <= m.hi {
			base.cube.care |= 1 << (bit - m.lo)
			base.cube.value |= uint64(fixed[i]-'0') << (bit - m.lo)
		}
	}
	type partial struct {
		variant
		values map[string]string
	}
	list := []partial{{base, map[string]string{}}}
	for _, o := range ins.Operands {
		name := o.Name.Text
		if field[name] == "" || !inside[name] {
			continue
		}
		var next []partial
		for _, v := range list {
			for _, c := range m.fields[field[name]] {
				out := partial{variant{name: v.name + " " + name + "=" + c.name, cube: v.cube, operands: map[string][]int{}}, map[string]string{}}
				for k, x := range v.operands {
					out.operands[k] = x
				}
				for k, x := range v.values {
					out.values[k] = x
				}
				out.values[name] = c.name
				if first[name] == width[name] {
					out.operands[name] = c.lines
				}
				for _, at := range places {
					if at.operand != name || at.bit < m.lo || at.bit > m.hi {
						continue
					}
					digit := c.bits[len(c.bits)-1-at.from]
					if digit == '?' {
						continue
					}
					out.cube.care |= 1 << (at.bit - m.lo)
					out.cube.value |= uint64(digit-'0') << (at.bit - m.lo)
				}
				next = append(next, out)
			}
		}
		list = next
	}
	var stmts []definition.Stmt
	if ins.Body != nil {
		stmts = ins.Body.Stmts
	}
	var out []variant
	for _, v := range list {
		gone := false
		for _, s := range stmts {
			e, ok := s.(*definition.Except)
			if !ok {
				continue
			}
			if field[e.Left.Text] == "" {
				reject("E.3", "except: %s is no field operand", e.Left.Text)
			}
			right := e.Right.Text
			if _, ok := width[right]; ok {
				if field[right] == "" {
					reject("E.3", "except: %s is no field operand", right)
				}
				right = v.values[right]
			} else if !slices.ContainsFunc(m.fields[field[e.Left.Text]], func(c choice) bool { return c.name == right }) {
				reject("E.3", "except: %s is no value of %s", right, e.Left.Text)
			}
			if left, ok := v.values[e.Left.Text]; ok && left == right {
				gone = true
			}
		}
		if !gone {
			out = append(out, v.variant)
		}
	}
	return out
}
