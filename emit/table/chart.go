package table

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
)

// ChartOptions says what to chart and how wide.
type ChartOptions struct {
	Instruction string // a mnemonic, "fetch" or "undefined"; "" = everything
	Width       int    // characters; 0 = Width
}

// Instructions lists the mnemonics of a machine as declared, each once.
func Instructions(m *machine.Machine) []string {
	var out []string
	seen := map[string]bool{}
	for _, in := range m.Instructions {
		if !seen[in.Name] {
			seen[in.Name] = true
			out = append(out, in.Name)
		}
	}
	return out
}

// Chart draws paths as on squared paper: lines down, phases across, the steps
// in brackets above, and below each path the chain of constraints that sets
// its length. Without an instruction it draws fetch, every instruction and
// what undefined opcodes do. Variants that share their paths are drawn once.
// An error is the writer's.
func Chart(w io.Writer, m *machine.Machine, p *schedule.Plan, o ChartOptions) error {
	c := &chart{page: newPage(w, o.Width), m: m, plan: p, digits: len(strconv.Itoa(max(p.Phases, 10)))}
	c.legend()
	for _, part := range c.parts(o.Instruction) {
		c.section(part)
	}
	return c.flush()
}

const orSuffix = " (or)"

// chart is a drawing under way.
type chart struct {
	*page
	m      *machine.Machine
	plan   *schedule.Plan
	digits int // width of a cell without its border
}

// part is a drawing and those whose it is.
type part struct {
	owners []*schedule.Owner
	body   string
}

// parts draws the paths of every owner that is asked for, and puts together
// the variants of an instruction that come out alike.
func (c *chart) parts(name string) []*part {
	type key struct {
		instruction int
		body        string
	}
	var out []*part
	alike := map[key]*part{}
	drawn := map[*schedule.Path]string{} // by first path: variants share them all
	for i := range c.plan.Owners {
		o := &c.plan.Owners[i]
		if len(o.Paths) == 0 || name != "" && !c.named(o, name) {
			continue
		}
		body, ok := drawn[o.Paths[0]]
		if !ok {
			body = c.paths(o)
			drawn[o.Paths[0]] = body
		}
		k := key{o.Instruction, body}
		if p := alike[k]; p != nil && o.Kind == "instruction" {
			p.owners = append(p.owners, o)
			continue
		}
		p := &part{[]*schedule.Owner{o}, body}
		alike[k] = p
		out = append(out, p)
	}
	return out
}

func (c *chart) named(o *schedule.Owner, name string) bool {
	if o.Kind == "instruction" {
		return c.m.Instructions[o.Instruction].Name == name
	}
	return o.Kind == name
}

func (c *chart) legend() {
	period := c.m.Sequencer.Period
	c.line("%s", heading(c.m.Name, c.m.Title, c.m.Hash, c.width))
	c.line("Phase chart: a ring of %s of %s", counted(c.plan.Phases, "phase"), duration(period))
	c.line("")
	full := func(mark rune) string { return strings.Repeat(string(mark), c.digits) }
	last := full(markRestart) + " back to phase 1"
	for _, s := range c.m.Signals {
		if s.Kind == machine.Bus && s.Or {
			last += "   " + full(markOr) + " several sources on a bus"
			break
		}
	}
	c.line("  %s strobe   %s lead   %s trail   %s held", full(markStrobe), full(markLead), full(markTrail), full(markHold))
	c.line("  %s", last)
	c.line("  (1) a step of fetch   [2] a step of the body: the phases of its strobe")
}

const (
	markTrail   = '.'
	markLead    = '-'
	markHold    = '='
	markStrobe  = '#'
	markRestart = '<'
	markOr      = '+'
)

var roleMarks = map[store.Role]rune{
	store.Lead: markLead, store.Strobe: markStrobe, store.Trail: markTrail, store.Hold: markHold, store.Return: markRestart,
}

// weight orders the marks where windows of one line overlap.
var weight = map[rune]int{markTrail: 1, markLead: 2, markHold: 3, markStrobe: 4, markRestart: 5}

func (c *chart) section(p *part) {
	o := p.owners[0]
	c.line("")
	c.line("")
	width := c.m.Opcode.Width()
	switch o.Kind {
	case "instruction":
		c.rule(o.Name, "opcode "+pattern(o.Opcodes[0], width))
		var also []string
		for _, v := range p.owners[1:] {
			name := strings.TrimPrefix(v.Name, c.m.Instructions[v.Instruction].Name+" ")
			also = append(also, name+" "+pattern(v.Opcodes[0], width))
		}
		c.list("   also ", ", ", also)
	case "undefined":
		c.rule("undefined opcodes", string(c.m.Undefined))
		var opcodes []string
		for _, q := range o.Opcodes {
			opcodes = append(opcodes, pattern(q, width))
		}
		c.list("   opcodes ", ", ", opcodes)
	default:
		c.rule(o.Name, "every opcode")
	}
	c.w.WriteString(p.body)
}

// paths draws every path of an owner.
func (c *chart) paths(o *schedule.Owner) string {
	var text strings.Builder
	page := newPage(&text, c.width)
	sheet := &chart{page, c.m, c.plan, c.digits}
	var flags []string
	for _, f := range c.plan.Tested {
		flags = append(flags, c.m.Signals[f].Name)
	}
	for i, p := range o.Paths {
		sheet.line("")
		if p.Flags.Care != 0 {
			sheet.line("path %d of %d: %s", i+1, len(o.Paths), condition(p.Flags, flags))
		}
		sheet.path(p)
		sheet.chain(p)
	}
	page.w.Flush() // a strings.Builder takes everything
	return text.String()
}

// rule is a line across the page with a name at its left and a remark at its right end.
func (c *chart) rule(name, remark string) {
	dashes := max(c.width-len(name)-len(remark)-8, 2)
	c.line("-- %s %s %s --", name, strings.Repeat("-", dashes), remark)
}

// list writes items over as many lines as it takes and breaks none of them.
func (c *chart) list(what, between string, items []string) {
	if len(items) == 0 {
		return
	}
	line, indent := what, strings.Repeat(" ", len(what))
	for i, item := range items {
		if i+1 < len(items) {
			item += between
		}
		if i > 0 && len(line)+len(strings.TrimRight(item, " ")) > c.width {
			c.line("%s", line)
			line = indent
		}
		line += item
	}
	c.line("%s", line)
}

// bar is what stands in the cells of one line; index 0 is phase 1.
type bar struct {
	name  string
	marks []rune
}

func (c *chart) path(p *schedule.Path) {
	end := drawnTo(p)
	bars := c.bars(p, end)
	label := len("phase")
	for _, b := range bars {
		label = max(label, len(b.name))
	}
	// Blocks of equal size read better than a full one and a remainder.
	cells := max((c.width-label-2)/(c.digits+1), 4)
	blocks := (end + cells - 1) / cells
	cells = (end + blocks - 1) / blocks
	idle := 0 // first of the phases before this block in which nothing is to be drawn
	for from := 1; from <= end; from += cells {
		to := min(from+cells-1, end)
		steps := c.steps(p, from, to)
		// The first block stays: what follows it is read as the same path.
		if from > 1 && to < end && strings.TrimSpace(steps) == "" && blank(bars, from, to) {
			if idle == 0 {
				idle = from
			}
			continue
		}
		if idle > 0 {
			c.line("")
			c.line("phases %d-%d: no line is on", idle, from-1)
			idle = 0
		}
		if from > 1 {
			c.line("")
		}
		c.line("%-*s %s", label, "step", steps)
		var head strings.Builder
		for phase := from; phase <= to; phase++ {
			fmt.Fprintf(&head, " %*d", c.digits, phase)
		}
		c.line("%-*s %s", label, "phase", head.String())
		for _, b := range bars {
			marks := b.marks[from-1 : to]
			if !slices.ContainsFunc(marks, func(r rune) bool { return r != 0 }) {
				continue
			}
			var cells strings.Builder
			for _, r := range marks {
				if r == 0 {
					r = ' '
				}
				cells.WriteString("|" + strings.Repeat(string(r), c.digits))
			}
			c.line("%-*s %s|", label, b.name, cells.String())
		}
	}
}

// blank reports that no bar has a mark in the phases from..to.
func blank(bars []bar, from, to int) bool {
	for _, b := range bars {
		if slices.ContainsFunc(b.marks[from-1:to], func(r rune) bool { return r != 0 }) {
			return false
		}
	}
	return true
}

// drawnTo is the last phase of a drawing. A path ends with the last line that
// goes off (language.md P.7), so a step without lines may fall past its end.
// Fetch has no end of its own.
func drawnTo(p *schedule.Path) int {
	if p.Last > 0 {
		return max(p.Last, p.Restart)
	}
	end := 0
	for _, s := range p.Steps {
		end = max(end, s.Strobe+s.Pulse-1)
		for _, w := range s.On {
			end = max(end, w.To)
		}
	}
	return end
}

// bars works out the marks of every line that is on somewhere on the path, as
// declared, and then of every bus that has several sources on at once.
func (c *chart) bars(p *schedule.Path, end int) []bar {
	lines := make([]bar, len(c.m.Lines))
	put := func(line, phase int, mark rune) {
		b := &lines[line]
		if b.marks == nil {
			b.marks = make([]rune, end)
		}
		if weight[mark] > weight[b.marks[phase-1]] {
			b.marks[phase-1] = mark
		}
	}
	held := map[int]schedule.Window{} // by line: its window in the step before
	for _, s := range p.Steps {
		for _, w := range s.On {
			for phase := w.From; phase <= w.To; phase++ {
				put(w.Line, phase, roleMarks[w.Role(phase)])
			}
			if before, ok := held[w.Line]; ok && w.Held && before.To >= w.From-1 {
				for phase := before.StrobeTo + 1; phase < w.StrobeFrom; phase++ {
					put(w.Line, phase, markHold)
				}
			}
			if w.Held {
				held[w.Line] = w
			} else {
				delete(held, w.Line)
			}
		}
	}
	if p.Restart > 0 && c.m.Restart >= 0 {
		put(c.m.Restart, p.Restart, markRestart)
	}
	buses := make([]bar, len(c.m.Signals))
	for phase := 1; phase <= end; phase++ {
		on := func(line int) bool { return lines[line].marks != nil && lines[line].marks[phase-1] != 0 }
		for bus, n := range c.sources(on) {
			if n < 2 || !c.m.Signals[bus].Or {
				continue
			}
			b := &buses[bus]
			if b.marks == nil {
				b.marks = make([]rune, end)
			}
			b.marks[phase-1] = markOr
		}
	}
	var out []bar
	for i, b := range lines {
		if b.marks != nil {
			b.name = c.m.Lines[i].Name
			out = append(out, b)
		}
	}
	for i, b := range buses {
		if b.marks != nil {
			b.name = c.m.Signals[i].Name + orSuffix
			out = append(out, b)
		}
	}
	return out
}

// sources counts the gates that are on for each bus. Buses that a gate joins
// are one bus while it is on, and such a gate is no source itself.
func (c *chart) sources(on func(line int) bool) map[int]int {
	parent := make([]int, len(c.m.Signals))
	for i := range parent {
		parent[i] = i
	}
	root := func(i int) int {
		for parent[i] != i {
			i = parent[i]
		}
		return i
	}
	for i, l := range c.m.Lines {
		if !l.Joins || !on(i) {
			continue
		}
		for _, e := range l.Effects {
			if e.Source.Op == machine.Read && c.m.Signals[e.Source.Signal].Kind == machine.Bus {
				parent[root(e.Source.Signal)] = root(e.Target.Signal)
			}
		}
	}
	count := map[int]int{}
	for i, l := range c.m.Lines {
		if l.Kind != store.Gate || l.Joins || !on(i) {
			continue
		}
		driven := map[int]bool{}
		for _, e := range l.Effects {
			driven[root(e.Target.Signal)] = true
		}
		for bus := range driven {
			count[bus]++
		}
	}
	out := map[int]int{}
	for i, s := range c.m.Signals {
		if s.Kind == machine.Bus {
			out[i] = count[root(i)]
		}
	}
	return out
}

// steps draws the brackets above the phases from..to. Each cell has its left
// border and a place for the number; a border that two steps share is a bar.
func (c *chart) steps(p *schedule.Path, from, to int) string {
	cell := c.digits + 1
	row := []byte(strings.Repeat(" ", cell*(to-from+1)+1))
	border := func(at int, mark byte) {
		if row[at] != ' ' {
			mark = '|'
		}
		row[at] = mark
	}
	for i, s := range p.Steps {
		first, last := s.Strobe, s.Strobe+s.Pulse-1
		if last < from || first > to {
			continue
		}
		open, closed := byte('['), byte(']')
		if i < p.Fetch {
			open, closed = '(', ')'
		}
		left, right := max(first, from), min(last, to)
		border((left-from)*cell, open)
		copy(row[(left-from)*cell+1:], fmt.Sprintf("%*d", c.digits, i+1))
		border((right-from+1)*cell, closed)
	}
	return string(row)
}

// chain says what sets the length of a path, one constraint a line, each with
// the phase it leads to.
func (c *chart) chain(p *schedule.Path) {
	if p.Last == 0 {
		return
	}
	n := max(p.Last, p.Restart)
	text := fmt.Sprintf("%s, %s", counted(n, "phase"), duration(float64(n)*c.m.Sequencer.Period))
	switch {
	case p.Restart == 0:
		text += ": the whole ring, " + c.whole()
	case p.Restart > p.Last:
		text += ", the last for a restart that cuts"
	}
	c.line("  %s", text)
	for rest := p.Chain(); len(rest) > 0; {
		l := rest[0]
		from, _, _ := strings.Cut(l.From, " (")
		text := fmt.Sprintf("%s, %d after %s: %s", l.To, l.Phases, from, l.Rule)
		first := fmt.Sprintf("    phase %*d: ", c.digits, l.Phase)
		run := 1
		if n := alike(rest); n >= leastRun {
			run = n
			last := rest[n-1]
			least, most := l.Phases, l.Phases
			for _, link := range rest[:n] {
				least, most = min(least, link.Phases), max(most, link.Phases)
			}
			apart := strconv.Itoa(least)
			if most > least {
				apart += " to " + strconv.Itoa(most)
			}
			text = fmt.Sprintf("steps %d to %d, each %s after the one before: %s", numbered(l.To), numbered(last.To), apart, l.Rule)
			first = fmt.Sprintf("    phases %d-%d: ", l.Phase, last.Phase)
		}
		rest = rest[run:]
		for _, line := range wrap(first, strings.Repeat(" ", len(first)), text, c.width) {
			c.line("%s", line)
		}
	}
	for i, s := range p.Steps {
		if s.Strobe > n {
			c.line("    step %d turns nothing on and would fall after the end: it is not waited for", i+1)
		}
	}
}

// whole says why a path without restart goes on to the end of the ring.
func (c *chart) whole() string {
	if c.m.Restart < 0 {
		return "for there is no restart line"
	}
	return "for undefined opcodes idle"
}

// leastRun is how many links of a chain that say the same are drawn as one.
const leastRun = 4

// alike counts the links at the start of a chain that lead by one rule from
// each step to the next.
func alike(chain []schedule.Link) int {
	n := 0
	for n < len(chain) {
		l := chain[n]
		if step := numbered(l.To); l.Rule != chain[0].Rule || step == 0 || numbered(l.From) != step-1 {
			break
		}
		n++
	}
	return n
}

// numbered is the number of a step in a link, "step 3 (acc_g tmp_l)"; 0 for
// the start and the end of a path.
func numbered(end string) int {
	name, _, _ := strings.Cut(end, " (")
	number, ok := strings.CutPrefix(name, "step ")
	n, err := strconv.Atoi(number)
	if !ok || err != nil {
		return 0
	}
	return n
}

// duration writes seconds as a person would: "20 ms", "1.28 s".
func duration(seconds float64) string {
	switch {
	case seconds >= 1e4: // 'g' would turn to powers of ten
		return strconv.FormatFloat(seconds, 'f', 0, 64) + " s"
	case seconds >= 1:
		return strconv.FormatFloat(seconds, 'g', 4, 64) + " s"
	case seconds >= 1e-3 || seconds == 0:
		return strconv.FormatFloat(seconds*1e3, 'g', 4, 64) + " ms"
	}
	return strconv.FormatFloat(seconds*1e6, 'g', 4, 64) + " us"
}
