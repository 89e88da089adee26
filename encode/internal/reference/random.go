package reference

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
)

// part is a line as the generator sees it: coarse, by whole signals, because
// it only has to make most steps sensible, not to judge them.
type part struct {
	name   string
	kind   string
	feeds  string // bus that it drives in full
	joins  [2]string
	needs  []string // buses that it reads
	reads  []string // registers, flags, memories
	writes []string
	units  []string
	set    bool
}

type generator struct {
	r     *rand.Rand
	out   strings.Builder
	width int

	buses     []string
	registers []string
	buffered  map[string]bool
	flags     []string
	parts     []part
	named     map[string]*part
	selects   map[string][]string // unit: its select lines
	reads     map[string][]string // unit: registers and memories
	needs     map[string][]string // unit: buses
	inner     map[string][]string // unit: units

	fields    map[string]fieldText
	sequences []string
	opcodes   []string // patterns taken
	decided   []string // flags that fetch tests
	all       []string // flags
	faulty    string   // a deliberate mistake
}

type fieldText struct {
	width   int
	choices []choiceText
}

type choiceText struct {
	name, bits string
	lines      []string
}

// surroundings is what the statement being made stands in.
type surroundings struct {
	driven map[string]bool // by held gates
	kept   []string        // held lines
	quiet  []string        // flags that must not be latched
	open   []string        // flags that may still be tested
	depth  int
}

func (g *generator) chance(percent int) bool { return g.r.IntN(100) < percent }

func (g *generator) say(format string, args ...any) { fmt.Fprintf(&g.out, format+"\n", args...) }

func pick[T any](g *generator, list []T) T { return list[g.r.IntN(len(list))] }

// Random writes a machine that mostly makes sense. The same state of r gives
// the same text.
func Random(r *rand.Rand) string {
	g := &generator{
		r: r, buffered: map[string]bool{}, named: map[string]*part{}, selects: map[string][]string{},
		reads: map[string][]string{}, needs: map[string][]string{}, inner: map[string][]string{}, fields: map[string]fieldText{},
	}
	if g.chance(10) {
		g.faulty = pick(g, []string{"phases", "dead arm", "opcode", "undriven", "flag", "sources", "race", "double"})
	}
	g.say("machine mill \"a random mill\"")
	g.datapath()
	restart := g.chance(85)
	g.lines(restart)
	g.sequencer(restart)
	g.makeFields()
	g.fetch()
	for range 2 + g.r.IntN(8) {
		g.instruction()
	}
	kinds := []string{"restart", "idle", "free", "halt"}
	if g.named["hlt"] == nil {
		kinds = kinds[:3]
	}
	if k := pick(g, append(kinds, "")); k != "" {
		g.say("undefined %s", k)
	}
	return g.out.String()
}

func (g *generator) sequencer(restart bool) {
	var list []string
	add := func(percent int, format string, args ...any) {
		if g.chance(percent) {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	add(50, "lead %d", g.r.IntN(3))
	add(50, "trail %d", g.r.IntN(3))
	add(50, "decode %d", 1+g.r.IntN(4))
	add(40, "dead %d", g.r.IntN(3))
	if restart {
		switch g.r.IntN(10) {
		case 0, 1, 2:
			list = append(list, "restart cuts")
		case 3:
			list = append(list, "restart steers")
		}
		add(15, "phases %d", 12+g.r.IntN(40))
	} else {
		list = append(list, fmt.Sprintf("phases %d", 24+g.r.IntN(30)))
	}
	if g.faulty == "phases" {
		list = slices.DeleteFunc(list, func(s string) bool { return strings.HasPrefix(s, "phases") })
		list = append(list, fmt.Sprintf("phases %d", 5+g.r.IntN(8)))
	}
	if len(list) > 0 {
		g.say("sequencer { %s }", strings.Join(list, ", "))
	}
}

func (g *generator) datapath() {
	g.width = pick(g, []int{4, 6, 8})
	g.buses = []string{"data", "addr", "aux"}[:1+g.r.IntN(3)]
	for _, b := range g.buses {
		trait := ""
		if g.chance(15) {
			trait = " or"
		}
		g.say("bus %s %d%s", b, g.width, trait)
	}
	g.registers = []string{"acc", "tmp", "res", "arg", "pc", "nxt"}
	g.registers = g.registers[:3+g.r.IntN(4)]
	for _, r := range g.registers {
		trait := ""
		if g.chance(25) {
			trait = " buffered"
			g.buffered[r] = true
		}
		if g.chance(10) {
			trait += " latching"
		}
		g.say("register %s %d%s", r, g.width, trait)
	}
	if g.chance(40) {
		g.registers = append(g.registers, "sw")
		g.say("register sw %d input", g.width)
	}
	g.flags = []string{"zero", "carry", "sign"}[:g.r.IntN(4)]
	if len(g.flags) == 0 && g.chance(60) {
		g.flags = []string{"zero"}
	}
	for _, f := range g.flags {
		g.say("flag %s", f)
	}
	if g.chance(30) {
		g.flags = append(g.flags[:len(g.flags):len(g.flags)], "key")
		if len(g.flags) > 3 {
			g.flags = g.flags[len(g.flags)-3:]
		}
		g.say("flag key input")
	}
	if g.chance(80) {
		g.say("memory ram 16 x %d program", g.width)
	} else {
		g.say("memory rom 16 x %d program", g.width)
		g.say("memory ram 16 x %d", g.width)
	}
	g.all = g.flags
	for i, n := 0, g.r.IntN(4); i < n; i++ {
		g.unit(i)
	}
}

// operand is something to read, noted for the unit or line that reads it.
func (g *generator) operand(reads, needs, units *[]string) string {
	switch n := g.r.IntN(10); {
	case n < 5:
		r := pick(g, g.registers)
		*reads = append(*reads, r)
		return r
	case n < 8 || len(g.reads) == 0 || units == nil:
		b := pick(g, g.buses)
		*needs = append(*needs, b)
		return b
	default:
		u := pick(g, g.unitNames())
		*units = append(*units, u)
		return u
	}
}

func (g *generator) unitNames() []string {
	var out []string
	for _, u := range []string{"inc", "alu", "mix"} {
		if _, ok := g.reads[u]; ok {
			out = append(out, u)
		}
	}
	return out
}

func (g *generator) unit(i int) {
	name := []string{"inc", "alu", "mix"}[i]
	var reads, needs, units []string
	value := func() string {
		a := g.operand(&reads, &needs, &units)
		switch g.r.IntN(6) {
		case 0:
			return a + " + 1"
		case 1:
			return "~" + a
		case 2:
			return pick(g, []string{"rol", "shr"}) + "(" + a + ")"
		default:
			return a + " " + pick(g, []string{"+", "-", "&", "|", "^"}) + " " + g.operand(&reads, &needs, &units)
		}
	}
	settle := ""
	if g.chance(65) {
		settle = fmt.Sprintf(" settle %d", g.r.IntN(4))
	}
	if by := g.r.IntN(3); by > 0 && g.chance(75) {
		// A select line may serve two units.
		var names []string
		if i > 0 && g.chance(20) {
			for _, u := range g.unitNames() {
				names = append(names, g.selects[u]...)
			}
			names = names[:min(1, len(names))]
		}
		for len(names) < by {
			n := fmt.Sprintf("%s_s%d", name, len(names))
			names = append(names, n)
			g.parts = append(g.parts, part{name: n, kind: "select"})
		}
		g.say("unit %s %d%s by %s {", name, g.width, settle, strings.Join(names, " "))
		for v := range 1 << by {
			g.say("    %0*b = %s", by, v, value())
		}
		g.say("}")
		g.selects[name] = names
	} else {
		g.say("unit %s %d%s = %s", name, g.width, settle, value())
	}
	g.reads[name], g.needs[name], g.inner[name] = reads, needs, units
}

// follow adds what reading the units means.
func (g *generator) follow(p *part) {
	for i := 0; i < len(p.units); i++ {
		u := p.units[i]
		p.reads = append(p.reads, g.reads[u]...)
		p.needs = append(p.needs, g.needs[u]...)
		for _, v := range g.inner[u] {
			if !slices.Contains(p.units, v) {
				p.units = append(p.units, v)
			}
		}
	}
}

// line declares one and remembers it.
func (g *generator) line(p part, effect string) {
	if slices.ContainsFunc(g.parts, func(q part) bool { return q.name == p.name && q.kind != "select" }) {
		return
	}
	g.follow(&p)
	attr := ""
	if effect != "" {
		attr = " : " + effect
	}
	switch p.kind {
	case "gate", "select":
		if g.chance(12) {
			attr += fmt.Sprintf(" lead %d", g.r.IntN(4))
		}
		if g.chance(12) {
			attr += fmt.Sprintf(" trail %d", g.r.IntN(4))
		}
	case "latch":
		if g.chance(12) {
			attr += fmt.Sprintf(" pulse %d", 1+g.r.IntN(3))
		}
		if p.set {
			attr += " set"
		}
	case "output":
		if g.chance(50) {
			attr += fmt.Sprintf(" pulse %d", 1+g.r.IntN(3))
		}
		if g.chance(25) {
			attr += fmt.Sprintf(" lead %d", g.r.IntN(3))
		}
		if g.chance(25) {
			attr += fmt.Sprintf(" trail %d", g.r.IntN(3))
		}
	}
	if g.chance(10) {
		attr += " low"
	}
	if g.chance(10) {
		attr += fmt.Sprintf(" coils %d", 1+g.r.IntN(4))
	}
	g.say("line %s%s", p.name, attr)
	if p.kind != "select" {
		g.parts = append(g.parts, p)
	}
}

func (g *generator) lines(restart bool) {
	for _, p := range slices.Clone(g.parts) {
		g.line(p, "")
	}
	w := g.width
	half := w / 2
	for i, r := range g.registers {
		bus := pick(g, g.buses)
		if i < 3 {
			bus = "data"
		}
		g.line(part{name: r + "_g", kind: "gate", feeds: bus, reads: []string{r}}, r+" -> "+bus)
		if g.chance(20) {
			bus := pick(g, g.buses)
			g.line(part{name: r + "_h", kind: "gate", feeds: bus, reads: []string{r}}, fmt.Sprintf("%s[%d:0] -> %s", r, half-1, bus))
		}
		if r == "sw" {
			continue
		}
		bus = pick(g, g.buses)
		if i < 3 {
			bus = "data"
		}
		g.line(part{name: r + "_l", kind: "latch", needs: []string{bus}, writes: []string{r}}, bus+" -> "+r)
		if units := g.unitNames(); len(units) > 0 && g.chance(50) {
			u := pick(g, units)
			p := part{name: r + "_u", kind: "latch", units: []string{u}, writes: []string{r}}
			effect := u + " -> " + r
			for _, f := range g.flags {
				if f != "key" && g.chance(30) {
					effect += fmt.Sprintf(", zero(%s) -> %s", u, f)
					p.writes = append(p.writes, f)
				}
			}
			g.line(p, effect)
		}
		if g.chance(15) {
			g.line(part{name: r + "_c", kind: "latch", writes: []string{r}}, "0 -> "+r)
		}
		if g.chance(20) {
			effect := bus + " -> " + r
			p := part{name: r + "_o", kind: "latch", needs: []string{bus}, writes: []string{r}, set: true}
			if g.chance(40) {
				effect = r + " | " + bus + " -> " + r
				p.reads = []string{r}
			}
			g.line(p, effect)
		}
		if g.chance(15) {
			g.line(part{name: r + "_p", kind: "latch", needs: []string{bus}, writes: []string{r}},
				fmt.Sprintf("%s[%d:%d] -> %s[%d:0]", bus, w-1, half, r, w-half-1))
		}
		if g.chance(10) {
			p := part{name: r + "_x", kind: "latch", writes: []string{r}}
			effect := g.operand(&p.reads, &p.needs, &p.units) + " ^ " + g.operand(&p.reads, &p.needs, nil) + " -> " + r
			g.line(p, effect)
		}
	}
	if g.chance(20) {
		// Two gates that share a bus, each with its own half.
		r, b := pick(g, g.registers), pick(g, g.buses)
		g.line(part{name: "low_g", kind: "gate", reads: []string{r}}, fmt.Sprintf("%s[%d:0] -> %s[%d:0]", r, half-1, b, half-1))
		g.line(part{name: "high_g", kind: "gate", feeds: b, reads: []string{r}}, fmt.Sprintf("%s -> %s[%d:%d]", "0", b, w-1, half)+fmt.Sprintf(", %s[%d:0] -> %s[%d:0]", r, half-1, b, half-1))
	}
	for _, f := range g.flags {
		if f == "key" {
			continue
		}
		if g.chance(70) {
			b := pick(g, g.buses)
			g.line(part{name: f + "_l", kind: "latch", needs: []string{b}, writes: []string{f}}, pick(g, []string{"zero(" + b + ")", b + "[0]", "sign(" + b + ")"})+" -> "+f)
		}
		if units := g.unitNames(); len(units) > 0 && g.chance(50) {
			u := pick(g, units)
			g.line(part{name: f + "_u", kind: "latch", units: []string{u}, writes: []string{f}}, pick(g, []string{"zero", "carry", "sign"})+"("+u+") -> "+f)
		}
		if g.chance(25) {
			g.line(part{name: f + "_c", kind: "latch", writes: []string{f}}, pick(g, []string{"0", "1"})+" -> "+f)
		}
		if g.chance(15) {
			b := pick(g, g.buses)
			g.line(part{name: f + "_y", kind: "latch", needs: []string{b}, reads: []string{"acc", f}, writes: []string{"tmp"}}, fmt.Sprintf("acc + %s + %s -> tmp", b, f))
		}
	}
	index := pick(g, append([]string{"pc", "addr", "aux"}, g.buses...))
	memory := part{name: "ram_g", kind: "gate", feeds: "data", reads: []string{"ram"}}
	if !slices.Contains(g.buses, index) || index == "data" {
		index = pick(g, g.registers)
		memory.reads = append(memory.reads, index)
	} else {
		memory.needs = []string{index}
	}
	g.line(memory, "ram["+index+"] -> data")
	store := part{name: "ram_l", kind: "latch", needs: []string{"data"}, writes: []string{"ram"}, reads: slices.Clone(memory.reads[1:])}
	store.needs = append(store.needs, memory.needs...)
	g.line(store, "data -> ram["+index+"]")
	if g.chance(15) {
		g.line(part{name: "ram_x", kind: "latch", needs: memory.needs, reads: memory.reads, writes: []string{"tmp"}}, "ram["+index+"] + 1 -> tmp")
	}
	for _, u := range g.unitNames() {
		if g.chance(80) {
			b := pick(g, g.buses)
			g.line(part{name: u + "_g", kind: "gate", feeds: b, units: []string{u}}, u+" -> "+b)
		}
	}
	for i, a := range g.buses {
		for _, b := range g.buses[i+1:] {
			if !g.chance(60) {
				continue
			}
			if g.chance(50) {
				a, b = b, a
			}
			effect := a + " -> " + b
			p := part{name: a + "_" + b, kind: "gate", joins: [2]string{a, b}}
			if g.chance(15) {
				effect = fmt.Sprintf("%s[%d:0] -> %s[%d:0]", a, half-1, b, half-1)
				p.joins = [2]string{}
				p.needs = []string{a}
			}
			g.line(p, effect)
		}
	}
	for _, n := range []string{"bell", "lamp"}[:g.r.IntN(3)] {
		g.line(part{name: n, kind: "output"}, "")
	}
	if g.chance(65) {
		g.line(part{name: "hlt", kind: "halt"}, "halt")
	}
	if restart {
		g.line(part{name: "rst", kind: "restart"}, "restart")
	}
	for i := range g.parts {
		g.named[g.parts[i].name] = &g.parts[i]
	}
}

func (g *generator) list(ok func(p *part) bool) []*part {
	var out []*part
	for i := range g.parts {
		if ok(&g.parts[i]) {
			out = append(out, &g.parts[i])
		}
	}
	return out
}

// trouble tells whether the lines of a step get in each other's way.
func (g *generator) trouble(lines []string, in surroundings) bool {
	fed := map[string]int{}
	one := map[string]string{}
	root := func(b string) string {
		for one[b] != "" {
			b = one[b]
		}
		return b
	}
	written := map[string]int{}
	carries := map[string][]string{} // bus: buses that gates carry it on to
	for _, n := range lines {
		p := g.named[n]
		if p.joins[0] != "" && root(p.joins[0]) != root(p.joins[1]) {
			one[root(p.joins[0])] = root(p.joins[1])
		}
	}
	for _, n := range lines {
		p := g.named[n]
		if p.kind == "gate" && p.feeds != "" {
			fed[root(p.feeds)]++
			for _, b := range p.needs {
				carries[root(b)] = append(carries[root(b)], root(p.feeds))
			}
		}
		for _, w := range p.writes {
			written[w]++
			if slices.Contains(in.quiet, w) || written[w] > 1 {
				return true
			}
			for _, m := range lines {
				if slices.Contains(g.named[m].reads, w) && !g.buffered[w] && !p.set {
					return true
				}
			}
		}
	}
	for _, n := range fed {
		if n > 1 {
			return true
		}
	}
	for _, b := range g.buses {
		// With three buses, three moves find every way back.
		reached := carries[root(b)]
		for range g.buses {
			for _, c := range reached {
				reached = append(reached, carries[c]...)
			}
			reached = slices.Compact(slices.Sorted(slices.Values(reached)))
		}
		if slices.Contains(reached, root(b)) {
			return true
		}
	}
	return false
}

// step makes the lines of one; must is what it has to have.
func (g *generator) step(in surroundings, must ...string) []string {
	careless := g.faulty == "sources" && g.chance(10) || g.faulty == "race" && g.chance(10)
	for range 40 {
		lines := slices.Clone(must)
		if len(must) == 0 {
			outputs := g.list(func(p *part) bool { return p.kind == "output" || p.kind == "halt" })
			if len(outputs) > 0 && g.chance(5) {
				lines = append(lines, pick(g, outputs).name)
			} else {
				latches := g.list(func(p *part) bool { return p.kind == "latch" })
				for range 1 + g.r.IntN(8)/6 {
					lines = append(lines, pick(g, latches).name)
				}
			}
		}
		if g.faulty == "double" && g.chance(15) {
			// Another latch of the same register, perhaps of other bits of it.
			first := g.named[lines[0]]
			more := g.list(func(p *part) bool {
				return p.kind == "latch" && len(first.writes) > 0 && slices.Contains(p.writes, first.writes[0])
			})
			if len(more) > 0 {
				lines = append(lines, pick(g, more).name)
				careless = true
			}
		}
		if !(g.faulty == "undriven" && g.chance(15)) {
			if !g.drive(&lines, in) {
				continue
			}
		}
		for _, n := range lines {
			for _, u := range g.named[n].units {
				for _, s := range g.selects[u] {
					if g.chance(50) && !slices.Contains(in.kept, s) {
						lines = append(lines, s)
					}
				}
			}
		}
		if o := g.list(func(p *part) bool { return p.kind == "output" || p.kind == "select" }); len(o) > 0 && g.chance(10) {
			lines = append(lines, pick(g, o).name)
		}
		slices.Sort(lines)
		lines = slices.Compact(lines)
		g.r.Shuffle(len(lines), func(i, j int) { lines[i], lines[j] = lines[j], lines[i] })
		if careless || !g.trouble(slices.Concat(lines, in.kept), in) {
			return lines
		}
	}
	return nil
}

// drive adds gates until every bus that is read is driven.
func (g *generator) drive(lines *[]string, in surroundings) bool {
	driven := map[string]bool{}
	for b := range in.driven {
		driven[b] = true
	}
	for i := 0; i < len(*lines); i++ {
		if p := g.named[(*lines)[i]]; p.kind == "gate" {
			driven[p.feeds] = p.feeds != ""
			if p.joins[0] != "" {
				driven[p.joins[1]] = true
			}
		}
	}
	for i := 0; i < len(*lines); i++ {
		p := g.named[(*lines)[i]]
		needs := slices.Clone(p.needs)
		if p.joins[0] != "" {
			needs = append(needs, p.joins[0])
		}
		for _, b := range needs {
			if driven[b] {
				continue
			}
			gates := g.list(func(p *part) bool {
				return p.kind == "gate" && (p.feeds == b || p.joins[1] == b && !driven[p.joins[0]] || p.joins[0] == b && !driven[p.joins[1]]) && len(*lines) < 7
			})
			if len(gates) == 0 {
				return false
			}
			chosen := pick(g, gates)
			if chosen.joins[0] == b {
				// The other side is what needs a source.
				if !g.other(lines, driven, chosen.joins[1]) {
					return false
				}
			}
			*lines = append(*lines, chosen.name)
			driven[b] = true
		}
	}
	return true
}

// other puts a simple source onto a bus.
func (g *generator) other(lines *[]string, driven map[string]bool, bus string) bool {
	gates := g.list(func(p *part) bool { return p.kind == "gate" && p.feeds == bus && len(p.needs) == 0 })
	if driven[bus] || len(gates) == 0 {
		return false
	}
	*lines = append(*lines, pick(g, gates).name)
	driven[bus] = true
	return true
}

func (g *generator) makeFields() {
	simple := func(p *part) bool { return p.feeds == "data" && len(p.needs) == 0 && len(p.units) == 0 }
	declare := func(name string, from []*part, more int) {
		if len(from) < 2 || !g.chance(75) {
			return
		}
		g.r.Shuffle(len(from), func(i, j int) { from[i], from[j] = from[j], from[i] })
		width := 1 + g.r.IntN(2)
		n := min(len(from), 1<<width, 2+g.r.IntN(3))
		codes := g.r.Perm(1 << width)
		f := fieldText{width: width}
		seen := map[string]bool{}
		for i := range n {
			p := from[i]
			value := strings.SplitN(p.name, "_", 2)[0]
			if seen[value] {
				value = fmt.Sprint(value, i)
			}
			seen[value] = true
			c := choiceText{name: "v" + value, bits: fmt.Sprintf("%0*b", width, codes[i]), lines: []string{p.name}}
			if outs := g.list(func(p *part) bool { return p.kind == "output" }); len(outs) > 0 && g.chance(10) {
				c.lines = append(c.lines, outs[0].name)
			}
			if more > 0 && g.chance(more) {
				c.lines = nil
			}
			f.choices = append(f.choices, c)
		}
		g.fields[name] = f
		var list []string
		for _, c := range f.choices {
			s := c.name + " = " + c.bits
			if len(c.lines) > 0 {
				s += " : " + strings.Join(c.lines, " ")
			}
			list = append(list, s)
		}
		g.say("field %s %d { %s }", name, width, strings.Join(list, ", "))
	}
	declare("from", g.list(func(p *part) bool { return p.kind == "gate" && simple(p) }), 0)
	declare("to", g.list(func(p *part) bool {
		return p.kind == "latch" && slices.Equal(p.needs, []string{"data"}) && len(p.writes) == 1 && len(p.reads) == 0 && !p.set
	}), 10)
	declare("how", g.list(func(p *part) bool { return p.kind == "select" || p.kind == "output" }), 30)
}

// fetch declares the opcode register, how it is fetched, and the sequences.
func (g *generator) fetch() {
	width := 3 + g.r.IntN(min(g.width, 8)-2)
	hi, lo := width-1, 0
	if width > 6 || g.chance(40) {
		size := 2 + g.r.IntN(min(width, 6)-1)
		lo = g.r.IntN(width - size + 1)
		hi = lo + size - 1
		g.say("register ir %d opcode %d:%d", width, hi, lo)
	} else {
		g.say("register ir %d opcode", width)
	}
	g.opcodes = []string{fmt.Sprint(width), fmt.Sprint(hi), fmt.Sprint(lo)}
	halves := g.chance(20)
	strobe := func(name, effect string) {
		pulse := ""
		if g.chance(10) {
			pulse = " pulse 2"
		}
		g.say("line %s : %s%s", name, effect, pulse)
		g.named[name] = &part{name: name, kind: "latch", needs: []string{"data"}, writes: []string{"ir"}}
	}
	cut := (hi + lo + 1) / 2
	if halves && cut > lo {
		strobe("irh_l", fmt.Sprintf("data[%d:0] -> ir[%d:%d]", width-1-cut, width-1, cut))
		strobe("irl_l", fmt.Sprintf("data[%d:0] -> ir[%d:0]", cut-1, cut-1))
	} else {
		halves = false
		strobe("ir_l", fmt.Sprintf("data[%d:0] -> ir", width-1))
	}
	if g.chance(15) {
		g.say("line ir_g : ir -> data")
		g.parts = append(g.parts, part{name: "ir_g", kind: "gate", feeds: "data", reads: []string{"ir"}})
		for i := range g.parts {
			g.named[g.parts[i].name] = &g.parts[i]
		}
	}
	quiet := slices.Clone(g.flags)
	top := surroundings{quiet: quiet}
	for i := range 1 + g.r.IntN(2) {
		name := fmt.Sprintf("run%d", i)
		var steps []string
		for range 1 + g.r.IntN(2) {
			if s := g.step(top); s != nil {
				steps = append(steps, "    step "+strings.Join(s, " "))
			}
		}
		if len(steps) == 0 {
			continue
		}
		g.say("sequence %s {\n%s\n}", name, strings.Join(steps, "\n"))
		g.sequences = append(g.sequences, name)
	}
	g.say("fetch {")
	if g.chance(5) {
		g.say("    wait %d", g.r.IntN(4))
	}
	if g.chance(15) {
		g.put(g.step(top), 1)
	}
	if len(g.flags) > 0 && g.chance(18) {
		f := g.flags[0]
		g.decided = []string{f}
		g.flags = g.flags[1:]
		g.when(f, surroundings{quiet: quiet, depth: 2}, 1)
	}
	opcode := []string{"ir_l"}
	if halves {
		opcode = []string{"irh_l"}
	}
	if g.chance(15) {
		opcode = append(opcode, pick(g, g.list(func(p *part) bool { return p.kind == "latch" })).name)
	}
	step := g.step(top, opcode...)
	if step == nil {
		step = g.step(top, opcode[0])
	}
	g.put(step, 1)
	if halves {
		if g.chance(30) {
			g.put(g.step(top), 1)
		}
		g.put(g.step(top, "irl_l"), 1)
	}
	if len(g.sequences) > 0 && g.chance(60) {
		g.say("    do %s", g.sequences[0])
	}
	if g.chance(10) {
		g.say("    wait %d", g.r.IntN(4))
	}
	if len(g.flags) > 0 && g.decided == nil && g.chance(10) {
		f := g.flags[0]
		g.decided = []string{f}
		g.flags = g.flags[1:]
		g.when(f, surroundings{quiet: quiet, depth: 2}, 1)
	}
	g.say("}")
	if g.faulty == "dead arm" && len(quiet) > 0 {
		g.flags = quiet
	}
}

func (g *generator) put(lines []string, depth int) {
	if lines != nil {
		g.say("%sstep %s", strings.Repeat("    ", depth), strings.Join(lines, " "))
	}
}

// when makes one; the arms hold statements, or are empty. It returns the flags
// that are tested on some way through it.
func (g *generator) when(flag string, in surroundings, indent int) (tested []string) {
	tab := strings.Repeat("    ", indent)
	inner := in
	inner.depth++
	if !(g.faulty == "flag" && g.chance(50)) {
		inner.quiet = append(slices.Clone(in.quiet), flag)
	}
	not := ""
	if g.chance(30) {
		not = "not "
	}
	g.say("%swhen %s%s {", tab, not, flag)
	tested = append(g.body(inner, indent+1, g.r.IntN(3)), flag)
	switch n := g.r.IntN(10); {
	case n < 4:
		g.say("%s}", tab)
	case n < 5 && len(inner.open) > 0:
		f := inner.open[0]
		deeper := inner
		deeper.open = inner.open[1:]
		deeper.quiet = append(slices.Clone(inner.quiet), f)
		g.say("%s} else when %s {", tab, f)
		tested = append(append(tested, f), g.body(deeper, indent+1, 1)...)
		g.say("%s}", tab)
	default:
		g.say("%s} else {", tab)
		tested = append(tested, g.body(inner, indent+1, 1+g.r.IntN(2))...)
		g.say("%s}", tab)
	}
	return tested
}

// body makes n statements and returns the flags that they test.
func (g *generator) body(in surroundings, indent, n int) (tested []string) {
	tab := strings.Repeat("    ", indent)
	for range n {
		k := g.r.IntN(100)
		switch {
		case k < 18 && len(in.open) > 0 && in.depth < 4:
			inner := in
			i := g.r.IntN(len(in.open))
			inner.open = slices.Delete(slices.Clone(in.open), i, i+1)
			flags := g.when(in.open[i], inner, indent)
			in = g.after(in, flags)
			tested = append(tested, flags...)
		case k < 32 && in.depth < 4:
			flags := g.hold(in, indent)
			in = g.after(in, flags)
			tested = append(tested, flags...)
		case k < 38:
			g.say("%swait %d", tab, g.r.IntN(5))
		case k < 48 && len(g.sequences) > 0 && len(in.kept) == 0:
			g.say("%sdo %s", tab, pick(g, g.sequences))
		case k < 64 && g.behind(in, indent):
		case k < 68:
			latches := g.list(func(p *part) bool {
				return p.kind == "latch" && len(p.needs) > 0 && !slices.ContainsFunc(p.needs, func(b string) bool { return in.driven[b] }) && !slices.Contains(p.writes, "ram") && !g.trouble(append([]string{p.name}, in.kept...), in)
			})
			if len(latches) == 0 {
				break
			}
			lines := []string{pick(g, latches).name}
			joins := g.list(func(p *part) bool {
				return p.joins[0] != "" && !in.driven[p.joins[0]] && !in.driven[p.joins[1]] && !slices.Contains(in.kept, p.name)
			})
			if len(joins) > 0 && g.chance(60) {
				lines = append(lines, pick(g, joins).name)
			}
			g.say("%sstep none %s", tab, strings.Join(lines, " "))
		default:
			g.put(g.step(in), indent)
		}
	}
	return tested
}

// behind makes two steps that read a unit through a gate, the first with a
// select line that the second leaves off.
func (g *generator) behind(in surroundings, indent int) bool {
	chosen := func(p *part) (out []string) {
		for _, u := range p.units {
			for _, s := range g.selects[u] {
				if !slices.Contains(in.kept, s) {
					out = append(out, s)
				}
			}
		}
		return out
	}
	gates := g.list(func(p *part) bool { return p.kind == "gate" && !in.driven[p.feeds] && len(chosen(p)) > 0 })
	if len(gates) == 0 {
		return false
	}
	gate := pick(g, gates)
	latches := g.list(func(p *part) bool { return p.kind == "latch" && slices.Contains(p.needs, gate.feeds) })
	if len(latches) == 0 {
		return false
	}
	off := pick(g, chosen(gate))
	first := g.step(in, pick(g, latches).name, gate.name, off)
	second := g.step(in, pick(g, latches).name, gate.name)
	if first == nil || second == nil {
		return false
	}
	second = slices.DeleteFunc(second, func(n string) bool { return n == off })
	if g.chance(25) {
		tab := strings.Repeat("    ", indent)
		g.say("%shold %s {", tab, gate.name)
		drop := func(n string) bool { return n == gate.name }
		g.put(slices.DeleteFunc(first, drop), indent+1)
		g.put(slices.DeleteFunc(second, drop), indent+1)
		g.say("%s}", tab)
		return true
	}
	g.put(first, indent)
	g.put(second, indent)
	return true
}

// after is where a statement stands once flags were tested: they may not be
// tested again, and latching them would often change the arms half-way.
func (g *generator) after(in surroundings, flags []string) surroundings {
	if !(g.faulty == "dead arm" && g.chance(40)) {
		in.open = slices.DeleteFunc(slices.Clone(in.open), func(f string) bool { return slices.Contains(flags, f) })
	}
	if !(g.faulty == "flag" && g.chance(50)) {
		in.quiet = slices.Concat(in.quiet, flags)
	}
	return in
}

func (g *generator) hold(in surroundings, indent int) []string {
	can := g.list(func(p *part) bool {
		switch p.kind {
		case "gate":
			return p.feeds != "" && len(p.needs) == 0 && !in.driven[p.feeds]
		case "select", "output":
			return !slices.Contains(in.kept, p.name)
		}
		return false
	})
	if len(can) == 0 {
		return nil
	}
	inner := in
	inner.depth++
	inner.kept = slices.Clone(in.kept)
	inner.driven = map[string]bool{}
	for b := range in.driven {
		inner.driven[b] = true
	}
	var names []string
	for range 1 + g.r.IntN(2) {
		p := pick(g, can)
		if slices.Contains(names, p.name) || p.feeds != "" && inner.driven[p.feeds] {
			continue
		}
		names = append(names, p.name)
		inner.kept = append(inner.kept, p.name)
		if p.feeds != "" {
			inner.driven[p.feeds] = true
		}
		for _, u := range p.units {
			for _, s := range g.selects[u] {
				if g.chance(50) && !slices.Contains(inner.kept, s) {
					names = append(names, s)
					inner.kept = append(inner.kept, s)
				}
			}
		}
	}
	tab := strings.Repeat("    ", indent)
	before := g.out.String()
	g.say("%shold %s {", tab, strings.Join(names, " "))
	tested := g.body(inner, indent+1, 1+g.r.IntN(2))
	g.say("%s}", tab)
	if made := g.out.String()[len(before):]; !strings.Contains(made, "step ") && !strings.Contains(made, "do ") && g.chance(90) {
		g.out.Reset()
		g.out.WriteString(before)
		return nil
	}
	return tested
}

// instruction makes one with an encoding that is still free, if it finds one.
func (g *generator) instruction() {
	var width, hi, lo int
	fmt.Sscan(g.opcodes[0], &width)
	fmt.Sscan(g.opcodes[1], &hi)
	fmt.Sscan(g.opcodes[2], &lo)
	name := fmt.Sprintf("op%d", len(g.opcodes)-3)
	type operand struct {
		name, of string
		width    int
		field    string
	}
	for range 30 {
		cells := make([]string, width) // from bit 0 up: 0, 1, ?, or operand bits
		for b := range cells {
			cells[b] = pick(g, []string{"0", "1"})
			if b < lo || b > hi || g.chance(12) {
				cells[b] = "?"
			}
		}
		var operands []operand
		size := hi - lo + 1
		at := lo
		for _, f := range []string{"to", "from", "how"} {
			model, ok := g.fields[f]
			if !ok || !g.chance(40) || at+model.width > hi || at+model.width-lo >= size {
				continue
			}
			o := operand{name: f[:1] + "_x", of: f, width: model.width, field: f}
			for b := range model.width {
				cells[at+b] = fmt.Sprintf("%s[%d]", o.name, b)
			}
			at += model.width
			operands = append(operands, o)
		}
		// A number operand takes what lies outside the slice, or some of it.
		var outside []int
		for b := range cells {
			if cells[b] == "?" && g.chance(70) {
				outside = append(outside, b)
			}
		}
		if len(outside) > 0 && g.chance(40) {
			o := operand{name: "n_x", of: fmt.Sprint(len(outside)), width: len(outside)}
			for i, b := range outside {
				cells[b] = fmt.Sprintf("n_x[%d]", i)
			}
			operands = append(operands, o)
		}
		match := ""
		for b := hi; b >= lo; b-- {
			if c := cells[b]; c == "0" || c == "1" {
				match += c
			} else {
				match += "?"
			}
		}
		clear := true
		for _, other := range g.opcodes[3:] {
			meets := true
			for i := range match {
				if match[i] != '?' && other[i] != '?' && match[i] != other[i] {
					meets = false
				}
			}
			clear = clear && !meets
		}
		if !clear && !(g.faulty == "opcode" && g.chance(20)) {
			continue
		}
		g.opcodes = append(g.opcodes, match)
		var word []string
		digits := ""
		flush := func() {
			if digits != "" {
				word = append(word, digits)
				digits = ""
			}
		}
		for b := width - 1; b >= 0; b-- {
			if len(cells[b]) == 1 {
				digits += cells[b]
				continue
			}
			flush()
			// A whole operand in one piece is written without slices.
			o := operands[slices.IndexFunc(operands, func(o operand) bool { return strings.HasPrefix(cells[b], o.name+"[") })]
			whole := b-o.width+1 >= 0
			for i := 0; whole && i < o.width; i++ {
				whole = cells[b-i] == fmt.Sprintf("%s[%d]", o.name, o.width-1-i)
			}
			if whole {
				word = append(word, o.name)
				b -= o.width - 1
				continue
			}
			word = append(word, cells[b])
		}
		flush()
		words := strings.Join(word, " ")
		if g.chance(25) {
			operands = append(operands, operand{name: "k_x", of: fmt.Sprint(g.width), width: g.width})
			words += ", k_x"
		}
		var list []string
		for _, o := range operands {
			list = append(list, o.name+":"+o.of)
		}
		head := fmt.Sprintf("instruction %s %s = %s", name, strings.Join(list, ", "), words)
		in := surroundings{open: g.flags}
		if g.chance(60) {
			in.quiet = g.decided
		}
		var picks []string
		for _, o := range operands {
			if o.field != "" {
				picks = append(picks, o.name)
			}
		}
		if len(picks) == 0 && g.chance(12) {
			g.say("%s", head)
			return
		}
		g.say("%s {", head)
		has := func(f string) bool { return slices.Contains(picks, f[:1]+"_x") }
		switch {
		case has("to") && has("from"):
			if g.chance(85) {
				g.say("    except t_x = f_x")
			}
			if g.chance(20) {
				g.say("    except f_x = %s", pick(g, g.fields["from"].choices).name)
			}
			g.body(in, 1, g.r.IntN(2))
			g.say("    step t_x f_x")
		case has("to"):
			if g.chance(30) {
				g.say("    except t_x = %s", pick(g, g.fields["to"].choices).name)
			}
			if src := g.source("data", "to"); src != "" {
				g.say("    step t_x %s", src)
			}
		case has("from"):
			if dst := g.list(func(p *part) bool {
				return p.kind == "latch" && slices.Equal(p.needs, []string{"data"}) && !g.readBy("from", p.writes)
			}); len(dst) > 0 {
				g.say("    step %s f_x", pick(g, dst).name)
			}
		}
		if has("how") {
			if s := g.step(in); s != nil {
				g.say("    step %s h_x", strings.Join(s, " "))
			}
		}
		flags := g.body(in, 1, 1+g.r.IntN(4))
		in.quiet = slices.Concat(in.quiet, flags)
		if late := g.list(func(p *part) bool {
			return p.kind == "latch" && len(p.writes) > 0 && slices.Contains(g.all, p.writes[0]) && !slices.Contains(in.quiet, p.writes[0])
		}); len(late) > 0 && g.chance(30) {
			// A flag latched last is what the next fetch may test too early.
			g.put(g.step(in, pick(g, late).name), 1)
		}
		g.say("}")
		return
	}
}

// source is a simple gate onto a bus that reads nothing that the field's lines write.
func (g *generator) source(bus, field string) string {
	var written []string
	for _, c := range g.fields[field].choices {
		for _, l := range c.lines {
			written = append(written, g.named[l].writes...)
		}
	}
	gates := g.list(func(p *part) bool {
		return p.kind == "gate" && p.feeds == bus && len(p.needs) == 0 && len(p.units) == 0 &&
			!slices.ContainsFunc(p.reads, func(r string) bool { return slices.Contains(written, r) && !g.buffered[r] })
	})
	if len(gates) == 0 {
		return ""
	}
	return pick(g, gates).name
}

// readBy tells whether a line of the field reads what is written.
func (g *generator) readBy(field string, writes []string) bool {
	for _, c := range g.fields[field].choices {
		for _, l := range c.lines {
			for _, r := range g.named[l].reads {
				if slices.Contains(writes, r) && !g.buffered[r] {
					return true
				}
			}
		}
	}
	return false
}
