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
	for _, l := range m.Lines {
		c.label = max(c.label, len(l.Name))
	}
	for _, s := range m.Signals {
		if s.Kind == machine.Bus && s.Or {
			c.label = max(c.label, len(s.Name)+len(orSuffix))
		}
	}
	c.label = max(c.label, len("phase"))
	c.cells = max((c.width-c.label-2)/(c.digits+1), 4)
	c.legend()
	for _, g := range gather(p) {
		if o.Instruction == "" || c.named(g[0], o.Instruction) {
			c.section(g)
		}
	}
	return c.flush()
}

const orSuffix = " (or)"

// chart is a drawing under way.
type chart struct {
	*page
	m      *machine.Machine
	plan   *schedule.Plan
	label  int // width of the names at the left
	digits int // width of a cell without its border
	cells  int // phases in a block
}

// gather puts together the variants of an instruction that share their paths.
func gather(p *schedule.Plan) [][]*schedule.Owner {
	type key struct {
		instruction int
		first       *schedule.Path
	}
	var out [][]*schedule.Owner
	at := map[key][]int{}
	for i := range p.Owners {
		o := &p.Owners[i]
		if len(o.Paths) == 0 {
			continue
		}
		k := key{o.Instruction, o.Paths[0]}
		same := slices.IndexFunc(at[k], func(g int) bool { return slices.Equal(out[g][0].Paths, o.Paths) })
		if same >= 0 && o.Kind == "instruction" {
			g := at[k][same]
			out[g] = append(out[g], o)
			continue
		}
		at[k] = append(at[k], len(out))
		out = append(out, []*schedule.Owner{o})
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
	marks := []string{
		full(markStrobe) + " strobe", full(markLead) + " lead", full(markTrail) + " trail",
		full(markHold) + " held", full(markRestart) + " back to phase 1",
	}
	for _, s := range c.m.Signals {
		if s.Kind == machine.Bus && s.Or {
			marks = append(marks, full(markOr)+" several sources on a bus")
			break
		}
	}
	for _, l := range wrap("  ", "  ", strings.Join(marks, "   "), c.width) {
		c.line("%s", l)
	}
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

// weight orders the marks where windows of one line overlap.
var weight = map[rune]int{markTrail: 1, markLead: 2, markHold: 3, markStrobe: 4, markRestart: 5}

func (c *chart) section(owners []*schedule.Owner) {
	o := owners[0]
	c.line("")
	c.line("")
	width := c.m.Opcode.Width()
	switch o.Kind {
	case "instruction":
		c.rule(o.Name, "opcode "+pattern(o.Opcodes[0], width))
		var also []string
		for _, v := range owners[1:] {
			name := strings.TrimPrefix(v.Name, c.m.Instructions[v.Instruction].Name+" ")
			also = append(also, name+" "+pattern(v.Opcodes[0], width))
		}
		c.list("also ", also)
	case "undefined":
		c.rule("undefined opcodes", string(c.m.Undefined))
		var opcodes []string
		for _, q := range o.Opcodes {
			opcodes = append(opcodes, pattern(q, width))
		}
		c.list("opcodes ", opcodes)
	default:
		c.rule(o.Name, "every opcode")
	}
	for i, p := range o.Paths {
		c.line("")
		if p.Flags.Care != 0 {
			var flags []string
			for _, f := range c.plan.Tested {
				flags = append(flags, c.m.Signals[f].Name)
			}
			c.line("path %d of %d: %s", i+1, len(o.Paths), condition(p.Flags, flags))
		}
		c.path(p)
		c.chain(p)
	}
}

// rule is a line across the page with a name at its left and a remark at its right end.
func (c *chart) rule(name, remark string) {
	dashes := max(c.width-len(name)-len(remark)-8, 2)
	c.line("-- %s %s %s --", name, strings.Repeat("-", dashes), remark)
}

// list writes names separated by commas over as many lines as it takes.
func (c *chart) list(what string, names []string) {
	if len(names) == 0 {
		return
	}
	for i := range names {
		names[i] = strings.ReplaceAll(names[i], " ", "\x00") // a name is not broken
	}
	text := strings.Join(names, ", ")
	for _, l := range wrap("   "+what, strings.Repeat(" ", 3+len(what)), text, c.width) {
		c.line("%s", strings.ReplaceAll(l, "\x00", " "))
	}
}

// bar is what stands in the cells of one line; index 0 is phase 1.
type bar struct {
	name  string
	marks []rune
}

func (c *chart) path(p *schedule.Path) {
	end := max(p.Last, p.Restart)
	for _, s := range p.Steps {
		end = max(end, s.Strobe+s.Pulse-1)
		for _, w := range s.On {
			end = max(end, w.To)
		}
	}
	bars := c.bars(p, end)
	for from := 1; from <= end; from += c.cells {
		to := min(from+c.cells-1, end)
		if from > 1 {
			c.line("")
		}
		c.steps(p, from, to)
		var head strings.Builder
		for phase := from; phase <= to; phase++ {
			fmt.Fprintf(&head, " %*d", c.digits, phase)
		}
		c.line("%-*s %s", c.label, "phase", head.String())
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
			c.line("%-*s %s|", c.label, b.name, cells.String())
		}
	}
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
	for _, s := range p.Steps {
		for _, w := range s.On {
			for phase := w.From; phase <= w.To; phase++ {
				mark := markTrail
				switch {
				case phase >= w.StrobeFrom && phase <= w.StrobeTo:
					mark = markStrobe
				case w.Held:
					mark = markHold
				case phase < w.StrobeFrom:
					mark = markLead
				}
				put(w.Line, phase, mark)
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
func (c *chart) steps(p *schedule.Path, from, to int) {
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
	c.line("%-*s %s", c.label, "step", row)
}

// chain says what sets the length of a path, one constraint a line, each with
// the phase it leads to.
func (c *chart) chain(p *schedule.Path) {
	if p.Last == 0 {
		return
	}
	n := max(p.Last, p.Restart)
	text := fmt.Sprintf("%s, %s", counted(n, "phase"), duration(float64(n)*c.m.Sequencer.Period))
	if p.Restart == 0 && p.Last < c.plan.Phases {
		text += fmt.Sprintf(", then nothing is on to the end of the ring in phase %d", c.plan.Phases)
	}
	c.line("  %s", text)
	for _, l := range p.Chain {
		from, _, _ := strings.Cut(l.From, " (")
		text := fmt.Sprintf("%s, %d after %s: %s", l.To, l.Phases, from, l.Rule)
		first := fmt.Sprintf("    phase %*d: ", c.digits, l.Phase)
		for _, line := range wrap(first, strings.Repeat(" ", len(first)), text, c.width) {
			c.line("%s", line)
		}
	}
}

// duration writes seconds as a person would: "20 ms", "1.28 s".
func duration(seconds float64) string {
	switch {
	case seconds >= 1:
		return strconv.FormatFloat(seconds, 'g', 4, 64) + " s"
	case seconds >= 1e-3 || seconds == 0:
		return strconv.FormatFloat(seconds*1e3, 'g', 4, 64) + " ms"
	}
	return strconv.FormatFloat(seconds*1e6, 'g', 4, 64) + " us"
}
