package reference

import (
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"coilwright/lang/definition"
)

// signal is a bus, register, flag or memory. Its bits are numbered base ..
// base+width-1 among the bits of all signals (a memory has those of one word:
// which word is meant is not known before the machine runs).
type signal struct {
	name         string
	kind         string // bus, register, flag, memory
	width, base  int
	or, buffered bool
}

type unit struct {
	name   string
	width  int
	settle int
	by     []int // select lines
	values []definition.Expr
}

// reading is what a line or an expression reads: bits and units, each with
// the largest settling time that is passed on the way from it. For a unit
// that includes its own.
type reading struct {
	bits  map[int]int
	units map[string]int
}

type line struct {
	name   string
	kind   string       // gate, latch, select, output, restart, halt
	reads  reading      // joins excepted
	writes map[int]bool // destination bits; of a gate those it is a source of
	joins  [][2]int     // a bus-to-bus gate: bits that become one
	set    bool

	lead, trail, pulse int
}

type choice struct {
	name  string
	bits  string // '0', '1', '?', most significant first
	lines []int
}

type machine struct {
	signals map[string]*signal
	bits    []*signal // the signal of each bit
	units   map[string]*unit
	lines   []*line
	named   map[string]int // line numbers
	fields  map[string][]choice
	widths  map[string]int // of fields

	sequences    map[string]*definition.Sequence
	fetch        *definition.Fetch
	instructions []*definition.Instruction
	undefined    string

	opcode        *signal
	hi, lo        int // the opcode slice
	program       *signal
	flags         []string // declared
	restart, halt int      // lines, -1 without

	lead, trail, decode, dead, phases int // phases 0: not given
	cuts                              bool

	// tables over pairs of lines, so that the rules read as they are written
	delay  [][]int  // settling time from what line a latches to reader b; -1: b reads nothing of it
	clash  [][]bool // latch a must be off while b reads (P.5)
	both   [][]bool // latches a and b write the same bit (L.5)
	shapes map[string]*shape

	steps  int                // numbered so far
	lit    map[string][][]int // sources of each bus bit for the gates that are on
	strobe map[int]int        // of the steps placed so far, by id
}

func number(n definition.Number) int {
	text := strings.ReplaceAll(n.Text, "_", "")
	base := 10
	switch {
	case strings.HasPrefix(text, "0x"):
		text, base = text[2:], 16
	case strings.HasPrefix(text, "0b"):
		text, base = text[2:], 2
	}
	v, err := strconv.ParseUint(text, base, 64)
	if err != nil || v > 1<<40 {
		reject("W", "%q is not a number that can be used here", n.Text)
	}
	return int(v)
}

// pattern spells bits or '?' out, most significant first (E.1).
func pattern(n definition.Number) string {
	text := strings.ReplaceAll(n.Text, "_", "")
	if len(text) > 2 && (text[:2] == "0x" || text[:2] == "0b") {
		each := 4
		if text[1] == 'b' {
			each = 1
		}
		out := ""
		for _, digit := range text[2:] {
			if digit == '?' {
				out += strings.Repeat("?", each)
				continue
			}
			v, err := strconv.ParseUint(string(digit), 16, 8)
			if err != nil {
				reject("E.1", "%q is no bit pattern", n.Text)
			}
			s := strconv.FormatUint(v, 2)
			if len(s) > each {
				reject("E.1", "%q is no bit pattern", n.Text)
			}
			out += strings.Repeat("0", each-len(s)) + s
		}
		return out
	}
	if strings.Trim(text, "01?") != "" {
		reject("E.1", "%q is no bit pattern", n.Text)
	}
	return text
}

func resolve(src *definition.Source) *machine {
	m := &machine{
		signals: map[string]*signal{}, units: map[string]*unit{}, named: map[string]int{},
		fields: map[string][]choice{}, widths: map[string]int{}, sequences: map[string]*definition.Sequence{},
		undefined: "restart", restart: -1, halt: -1,
		lead: 1, trail: 1, decode: 1, shapes: map[string]*shape{}, lit: map[string][][]int{},
	}
	for _, f := range src.Files {
		if len(f.Broken) > 0 {
			reject("grammar", "%s does not parse", f.Path)
		}
	}
	taken := map[string]bool{}
	datapath := func(name string) {
		if taken[name] {
			reject("N.2", "%s is declared twice", name)
		}
		taken[name] = true
	}
	machines, undefineds := 0, 0
	// First everything that others refer to by name.
	for _, decl := range src.Decls {
		switch d := decl.(type) {
		case *definition.Machine:
			machines++
		case *definition.Settings:
			if d.Keyword == "sequencer" {
				m.sequencer(d)
			}
		case *definition.Bus:
			datapath(d.Name.Text)
			m.signal("bus", d.Name, number(d.Width), d.Traits)
		case *definition.Register:
			datapath(d.Name.Text)
			m.signal("register", d.Name, number(d.Width), d.Traits)
		case *definition.Flag:
			datapath(d.Name.Text)
			m.signal("flag", d.Name, 1, d.Traits)
			m.flags = append(m.flags, d.Name.Text)
		case *definition.Memory:
			datapath(d.Name.Text)
			m.signal("memory", d.Name, number(d.Width), d.Traits)
		case *definition.Unit:
			datapath(d.Name.Text)
			m.units[d.Name.Text] = &unit{name: d.Name.Text, width: number(d.Width)}
		case *definition.Line:
			datapath(d.Name.Text)
			m.named[d.Name.Text] = len(m.lines)
			m.lines = append(m.lines, &line{name: d.Name.Text})
		case *definition.Sequence:
			if m.sequences[d.Name.Text] != nil {
				reject("N.2", "sequence %s is declared twice", d.Name.Text)
			}
			m.sequences[d.Name.Text] = d
		case *definition.Fetch:
			if m.fetch != nil {
				reject("N.2", "fetch is declared twice")
			}
			m.fetch = d
		case *definition.Instruction:
			m.instructions = append(m.instructions, d)
		case *definition.Undefined:
			undefineds++
			m.undefined = d.Name.Text
		}
	}
	if machines != 1 {
		reject("N.3", "machine must stand exactly once")
	}
	if undefineds > 1 {
		reject("N.2", "undefined stands twice")
	}
	if m.fetch == nil {
		reject("P.13", "no fetch")
	}
	if m.opcode == nil {
		reject("P.13", "no opcode register")
	}
	if n := m.hi - m.lo + 1; n < 1 || n > 32 || m.hi >= m.opcode.width || m.lo < 0 {
		reject("N.5", "the opcode slice is wrong")
	}
	if len(m.flags) > 16 {
		reject("N.5", "more than 16 flags")
	}
	// Then what refers to names.
	for _, decl := range src.Decls {
		if d, ok := decl.(*definition.Unit); ok {
			m.unit(d)
		}
	}
	for _, u := range m.units {
		for _, v := range u.values {
			if w := m.width(v); w > u.width {
				reject("W.1", "unit %s is narrower than its value", u.name)
			}
			m.read(v, 0, reading{map[int]int{}, map[string]int{}}, []string{u.name})
		}
	}
	for _, decl := range src.Decls {
		if d, ok := decl.(*definition.Line); ok {
			m.line(d)
		}
	}
	for _, decl := range src.Decls {
		if d, ok := decl.(*definition.Field); ok {
			m.field(d)
		}
	}
	m.tables()
	return m
}

func (m *machine) sequencer(d *definition.Settings) {
	seen := map[string]bool{}
	for _, s := range d.Settings {
		if s.Name != nil && seen[s.Name.Text] {
			reject("N.2", "%s is set twice", s.Name.Text)
		} else if s.Name != nil {
			seen[s.Name.Text] = true
		}
		if s.Name == nil || len(s.Values) == 0 {
			reject("settings", "sequencer")
		}
		v := s.Values[0]
		n := 0
		if v.Number != nil && v.Unit == nil && s.Name.Text != "period" && s.Name.Text != "change" {
			n = number(*v.Number)
		}
		switch s.Name.Text {
		case "lead":
			m.lead = n
		case "trail":
			m.trail = n
		case "decode":
			if n < 1 {
				reject("P.6", "decode is at least 1")
			}
			m.decode = n
		case "dead":
			m.dead = n
		case "phases":
			if n < 1 || n > 256 {
				reject("N.5", "phases is 1 to 256")
			}
			m.phases = n
		case "restart":
			if v.Name == nil || v.Name.Text != "cuts" && v.Name.Text != "steers" {
				reject("settings", "restart steers or cuts")
			}
			m.cuts = v.Name.Text == "cuts"
		}
	}
}

func (m *machine) signal(kind string, name definition.Name, width int, traits []definition.Trait) {
	if width < 1 || width > 64 {
		reject("N.5", "%s is %d bits wide", name.Text, width)
	}
	s := &signal{name: name.Text, kind: kind, width: width, base: len(m.bits)}
	for range width {
		m.bits = append(m.bits, s)
	}
	m.signals[s.name] = s
	for _, t := range traits {
		switch t.Name.Text {
		case "or":
			s.or = true
		case "buffered":
			s.buffered = true
		case "program":
			m.program = s
		case "opcode":
			if m.opcode != nil {
				reject("P.13", "two opcode registers")
			}
			m.opcode, m.hi, m.lo = s, width-1, 0
			if t.Hi != nil {
				m.hi = number(*t.Hi)
				m.lo = m.hi
			}
			if t.Lo != nil {
				m.lo = number(*t.Lo)
			}
		}
	}
}

func (m *machine) unit(d *definition.Unit) {
	u := m.units[d.Name.Text]
	if d.Settle != nil {
		u.settle = number(*d.Settle)
	}
	if d.Value != nil {
		u.values = append(u.values, d.Value)
		return
	}
	for _, n := range d.By {
		l, ok := m.named[n.Text]
		if !ok {
			reject("L.1", "%s names no line", n.Text)
		}
		m.lines[l].kind = "select"
		u.by = append(u.by, l)
	}
	seen := map[string]bool{}
	for _, c := range d.Cases {
		p := pattern(c.Bits)
		if len(p) != len(u.by) || strings.Contains(p, "?") || seen[p] {
			reject("W.4", "case %s of unit %s", p, u.name)
		}
		seen[p] = true
		u.values = append(u.values, c.Value)
	}
	if len(seen) != 1<<len(u.by) {
		reject("W.4", "unit %s lacks cases", u.name)
	}
}

// constant tells whether e is a bare number, and which.
func constant(e definition.Expr) (int, bool) {
	c, ok := e.(*definition.Constant)
	if !ok {
		return 0, false
	}
	return number(c.Number), true
}

// slice reads [hi], [hi:lo] as bit numbers.
func slice(s definition.Slice, width int) (hi, lo int) {
	hi, ok := constant(s.Hi)
	if !ok {
		reject("W.1", "the bounds of a slice are numbers")
	}
	lo = hi
	if s.Lo != nil {
		if lo, ok = constant(s.Lo); !ok {
			reject("W.1", "the bounds of a slice are numbers")
		}
	}
	if lo > hi || hi >= width {
		reject("W.1", "[%d:%d] of %d bits", hi, lo, width)
	}
	return hi, lo
}

// cut applies all slices to bits 0 .. width-1.
func cut(list []definition.Slice, width int) (hi, lo int) {
	hi, lo = width-1, 0
	for _, s := range list {
		h, l := slice(s, hi-lo+1)
		hi, lo = lo+h, lo+l
	}
	return hi, lo
}

// span is the bits of a signal that a reference means (the index of a memory apart).
func (m *machine) span(r *definition.Ref) (s *signal, first, last int) {
	s = m.signals[r.Name.Text]
	if s == nil {
		reject("N.1", "%s is not known", r.Name.Text)
	}
	list := r.Slices
	if s.kind == "memory" {
		if len(list) == 0 || list[0].Lo != nil {
			reject("W.4", "memory %s needs an index", s.name)
		}
		list = list[1:]
	}
	hi, lo := cut(list, s.width)
	return s, s.base + lo, s.base + hi
}

// read adds what e reads, delay being the settling time between e and the reader.
// within lists the units around e.
func (m *machine) read(e definition.Expr, delay int, into reading, within []string) {
	switch e := e.(type) {
	case *definition.Binary:
		m.read(e.Left, delay, into, within)
		m.read(e.Right, delay, into, within)
	case *definition.Not:
		m.read(e.Of, delay, into, within)
	case *definition.Group:
		m.read(e.Of, delay, into, within)
	case *definition.Constant:
	case *definition.Ref:
		if e.Call {
			for _, a := range e.Args {
				m.read(a, delay, into, within)
			}
			return
		}
		if u := m.units[e.Name.Text]; u != nil {
			if slices.Contains(within, u.name) {
				reject("W.4", "unit %s reads itself", u.name)
			}
			if old, ok := into.units[u.name]; !ok || old < delay+u.settle {
				into.units[u.name] = delay + u.settle
			}
			for _, v := range u.values {
				m.read(v, delay+u.settle, into, append(append([]string(nil), within...), u.name))
			}
			return
		}
		s, first, last := m.span(e)
		for b := first; b <= last; b++ {
			if old, ok := into.bits[b]; !ok || old < delay {
				into.bits[b] = delay
			}
		}
		if s.kind == "memory" {
			m.read(e.Slices[0].Hi, delay, into, within)
		}
	}
}

// width of e; -1 for a constant, which takes the other side's.
func (m *machine) width(e definition.Expr) int {
	switch e := e.(type) {
	case *definition.Constant:
		return -1
	case *definition.Group:
		return m.width(e.Of)
	case *definition.Not:
		w := m.width(e.Of)
		if w < 0 {
			reject("W.2", "~ on a bare constant")
		}
		return w
	case *definition.Binary:
		if left, ok := e.Left.(*definition.Binary); ok && strings.Contains("+-", left.Op) != strings.Contains("+-", e.Op) {
			reject("W.2", "%s and %s mixed", left.Op, e.Op)
		}
		l, r := m.width(e.Left), m.width(e.Right)
		m.fits(e.Left, r)
		m.fits(e.Right, l)
		return max(l, r)
	case *definition.Ref:
		if !e.Call {
			if u := m.units[e.Name.Text]; u != nil {
				hi, lo := cut(e.Slices, u.width)
				return hi - lo + 1
			}
			_, first, last := m.span(e)
			return last - first + 1
		}
		w := make([]int, len(e.Args))
		for i, a := range e.Args {
			if w[i] = m.width(a); w[i] < 0 {
				reject("W.3", "a constant has no width of its own in %s()", e.Name.Text)
			}
		}
		total := 0
		switch e.Name.Text {
		case "carry", "zero", "sign":
			total = 1
		case "rol", "ror", "shl", "shr":
			total = w[0]
		case "join":
			if len(w) != 2 {
				reject("W.3", "join() takes two")
			}
			total = w[0] + w[1]
		default:
			reject("W.3", "no function %s()", e.Name.Text)
		}
		if e.Name.Text != "join" && len(w) != 1 {
			reject("W.3", "%s() takes one", e.Name.Text)
		}
		if e.Name.Text == "carry" {
			m.carries(e.Args[0])
		}
		hi, lo := cut(e.Slices, total)
		return hi - lo + 1
	}
	panic("an expression of an unknown kind")
}

// fits checks a constant against the width it takes.
func (m *machine) fits(e definition.Expr, width int) {
	if v, ok := constant(e); ok && width >= 0 && bits.Len(uint(v)) > width {
		reject("W.2", "%d does not fit %d bits", v, width)
	}
}

// carries checks that x has a carry: a + b, a + b + flag, a - b or a unit (W.3).
func (m *machine) carries(x definition.Expr) {
	for {
		g, ok := x.(*definition.Group)
		if !ok {
			break
		}
		x = g.Of
	}
	switch x := x.(type) {
	case *definition.Ref:
		if !x.Call && len(x.Slices) == 0 && m.units[x.Name.Text] != nil {
			return
		}
	case *definition.Binary:
		left, nested := x.Left.(*definition.Binary)
		if !nested && (x.Op == "+" || x.Op == "-") {
			return
		}
		if nested && x.Op == "+" && left.Op == "+" && m.width(x.Right) == 1 {
			return
		}
	}
	reject("W.3", "carry() of something without a carry")
}

func (m *machine) line(d *definition.Line) {
	l := m.lines[m.named[d.Name.Text]]
	l.reads = reading{map[int]int{}, map[string]int{}}
	l.writes = map[int]bool{}
	selects := l.kind == "select"
	for _, e := range d.Effects {
		kind := e.Word
		if e.Word == "" {
			kind = m.transfer(l, e)
		}
		if l.kind != "" && (l.kind != kind || e.Word != "") {
			reject("L.1", "line %s is %s and %s", l.name, l.kind, kind)
		}
		l.kind = kind
	}
	if l.kind == "" {
		l.kind = "output"
	}
	if selects && len(d.Effects) > 0 {
		reject("L.1", "select line %s has an effect", l.name)
	}
	switch n := m.named[l.name]; l.kind {
	case "restart":
		if m.restart >= 0 {
			reject("L.7", "two restart lines")
		}
		m.restart = n
	case "halt":
		if m.halt >= 0 {
			reject("L.7", "two halt lines")
		}
		m.halt = n
	}
	l.pulse = 1
	if l.kind == "gate" || l.kind == "select" {
		l.lead, l.trail = m.lead, m.trail
	}
	for _, a := range d.Attrs {
		n := -1
		if a.Number != nil {
			n = number(*a.Number)
		}
		windowed := l.kind == "gate" || l.kind == "select" || l.kind == "output"
		ok := true
		switch a.Name.Text {
		case "lead":
			l.lead, ok = n, windowed && n >= 0
		case "trail":
			l.trail, ok = n, windowed && n >= 0
		case "pulse":
			l.pulse, ok = n, (l.kind == "latch" || l.kind == "output") && n >= 1
		case "set":
			l.set, ok = true, l.kind == "latch" && n < 0
		case "low":
			ok = n < 0
		case "coils":
			ok = n >= 0
		default:
			ok = false
		}
		if !ok {
			reject("L.8", "%s on line %s", a.Name.Text, l.name)
		}
	}
}

// transfer adds one effect to a line and says what kind that makes it.
func (m *machine) transfer(l *line, e definition.Effect) (kind string) {
	target, first, last := m.span(e.Target)
	width := last - first + 1
	w := m.width(e.Source)
	m.fits(e.Source, width)
	if w > width {
		reject("W.1", "line %s: %d bits onto %d", l.name, w, width)
	}
	if target.kind == "memory" {
		m.read(e.Target.Slices[0].Hi, 0, l.reads, nil)
		m.width(e.Target.Slices[0].Hi)
	}
	if target.kind == "bus" {
		if r, ok := e.Source.(*definition.Ref); ok && !r.Call && m.signals[r.Name.Text] != nil && m.signals[r.Name.Text].kind == "bus" {
			_, from, to := m.span(r)
			for i := 0; from+i <= to; i++ {
				l.joins = append(l.joins, [2]int{from + i, first + i})
			}
			return "gate"
		}
	}
	m.read(e.Source, 0, l.reads, nil)
	for b := first; b <= last; b++ {
		if l.writes[b] {
			reject("L.5", "line %s sets a bit of %s twice", l.name, target.name)
		}
		l.writes[b] = true
	}
	if target.kind == "bus" {
		return "gate"
	}
	return "latch"
}

func (m *machine) field(d *definition.Field) {
	if _, ok := m.fields[d.Name.Text]; ok {
		reject("N.2", "field %s is declared twice", d.Name.Text)
	}
	width := number(d.Width)
	m.widths[d.Name.Text] = width
	seen := map[string]bool{}
	list := []choice{}
	for _, c := range d.Choices {
		out := choice{name: c.Name.Text, bits: pattern(c.Bits)}
		if len(out.bits) != width {
			reject("E.1", "field %s: %s is not %d bits", d.Name.Text, out.name, width)
		}
		if seen[out.name] {
			reject("N.2", "field %s: %s stands twice", d.Name.Text, out.name)
		}
		seen[out.name] = true
		for _, n := range c.Lines {
			l, ok := m.named[n.Text]
			if !ok {
				reject("N.1", "field %s: no line %s", d.Name.Text, n.Text)
			}
			out.lines = append(out.lines, l)
		}
		list = append(list, out)
	}
	m.fields[d.Name.Text] = list
}

// tables works out, for each pair of lines, what one does to what the other reads.
func (m *machine) tables() {
	for _, a := range m.lines {
		delay := make([]int, len(m.lines))
		clash := make([]bool, len(m.lines))
		both := make([]bool, len(m.lines))
		for i, b := range m.lines {
			delay[i] = -1
			if a.kind != "latch" {
				continue
			}
			for bit := range a.writes {
				if d, ok := b.reads.bits[bit]; ok {
					delay[i] = max(delay[i], d)
					if !a.set && !m.bits[bit].buffered {
						clash[i] = true
					}
				}
				if b.kind == "latch" && b.writes[bit] {
					both[i] = true
				}
			}
		}
		m.delay = append(m.delay, delay)
		m.clash = append(m.clash, clash)
		m.both = append(m.both, both)
	}
}
