package rehearse

import (
	"fmt"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// scene is what follows from a set of lines alone, whatever the registers
// hold: which bits of which bus have a source, who fights whom, and what the
// latches depend on.
type scene struct {
	lines    store.Set
	sources  []flow  // what gates put onto buses
	joins    []joint // buses that gates join
	captures []flow  // what latches take in
	halt     bool
	restart  bool
	driven   []uint64 // by signal: the bits of a bus that have a source
	notes    []Note   // races and conflicts
	undriven []undriven
	reached  []reading // memory words that latches depend on
	opcode   bool      // the opcode is latched
	address  *machine.Expr
	word     *machine.Expr // index of the program word the latches depend on
	inputs   []int         // input registers and flags that something on reads
}

// flow is one transfer of a line that is on.
type flow struct {
	line   int
	source *machine.Expr
	target *machine.Target
	set    bool
}

// joint connects width bits of two buses.
type joint struct {
	a, aLow, b, bLow int
	all              uint64 // width ones
}

type undriven struct {
	line int
	note Note
}

// reading is a memory word that something on reads or writes.
type reading struct {
	line   int
	signal int
	index  *machine.Expr
	write  bool
}

// bit numbers of all buses, and which of them are connected (union by root).
type wires struct {
	first  []int // by signal: number of bit 0
	parent []int
	bus    []int // by bit: its bus
}

func newWires(m *machine.Machine) *wires {
	w := &wires{first: make([]int, len(m.Signals))}
	for i := range m.Signals {
		if m.Signals[i].Kind != machine.Bus {
			continue
		}
		w.first[i] = len(w.parent)
		for range m.Signals[i].Width {
			w.parent = append(w.parent, len(w.parent))
			w.bus = append(w.bus, i)
		}
	}
	return w
}

func (w *wires) root(b int) int {
	for w.parent[b] != b {
		w.parent[b] = w.parent[w.parent[b]]
		b = w.parent[b]
	}
	return b
}

type builder struct {
	m  *machine.Machine
	sc *scene
	w  *wires
}

// newScene works a set of lines out.
func newScene(m *machine.Machine, lines store.Set) *scene {
	sc := &scene{lines: lines, driven: make([]uint64, len(m.Signals))}
	b := &builder{m: m, sc: sc, w: newWires(m)}
	filled := make([]uint64, len(m.Signals))
	for _, i := range lines.Columns() {
		l := &m.Lines[i]
		switch l.Kind {
		case store.Halt:
			sc.halt = true
		case store.Restart:
			sc.restart = true
		}
		for k := range l.Effects {
			t := &l.Effects[k]
			switch {
			case t.Joins(m):
				e := t.Unfilled()
				n := e.Hi - e.Lo + 1
				sc.joins = append(sc.joins, joint{e.Signal, e.Lo, t.Target.Signal, t.Target.Lo, ones(n)})
				for j := range n {
					b.w.parent[b.w.root(b.w.first[e.Signal]+e.Lo+j)] = b.w.root(b.w.first[t.Target.Signal] + t.Target.Lo + j)
				}
				filled[t.Target.Signal] |= t.Target.Mask() &^ (ones(n) << t.Target.Lo)
			case l.Kind == store.Gate:
				sc.sources = append(sc.sources, flow{i, t.Source, &t.Target, false})
			default:
				sc.captures = append(sc.captures, flow{i, t.Source, &t.Target, l.Set})
				op := m.Opcode
				if t.Target.Signal == op.Signal && t.Target.Mask()&(ones(op.Width())<<op.Lo) != 0 {
					sc.opcode = true
				}
			}
		}
	}
	b.drive(filled)
	b.reads()
	b.overlaps()
	b.depend()
	return sc
}

// drive finds the bits that have a source, and those that have two.
func (b *builder) drive(filled []uint64) {
	m, w := b.m, b.w
	type holder struct {
		line  int
		known bool
	}
	owner := make([]holder, len(w.parent))
	or := make([]bool, len(w.parent)) // by root: all its buses are wired ORs
	for i := range or {
		or[i] = true
	}
	for bit, bus := range w.bus {
		if !m.Signals[bus].Or {
			or[w.root(bit)] = false
		}
	}
	said := map[[3]int]bool{}
	for _, f := range b.sc.sources {
		for j := f.target.Lo; j <= f.target.Hi; j++ {
			r := w.root(w.first[f.target.Signal] + j)
			switch {
			case !owner[r].known:
				owner[r] = holder{f.line, true}
			case owner[r].line != f.line && !or[r]:
				key := [3]int{owner[r].line, f.line, f.target.Signal}
				if !said[key] {
					said[key] = true
					first, second := &m.Lines[owner[r].line], &m.Lines[f.line]
					b.sc.note("conflict", second.At, "%s and %s are both on bus %s, which carries the OR of the two",
						first.Name, second.Name, m.Signals[f.target.Signal].Name)
				}
			}
		}
	}
	for bit, bus := range w.bus {
		if owner[w.root(bit)].known {
			b.sc.driven[bus] |= 1 << (bit - w.first[bus])
		}
	}
	for bus, bits := range filled {
		b.sc.driven[bus] |= bits
	}
}

func (sc *scene) note(kind string, at diag.Place, format string, args ...any) {
	sc.notes = append(sc.notes, Note{Kind: kind, Text: fmt.Sprintf(format, args...), At: at})
}

// reads finds registers that are read and latched at once, and inputs that are read.
func (b *builder) reads() {
	m := b.m
	latched := make([]uint64, len(m.Signals))
	by := make([][]flow, len(m.Signals))
	for _, f := range b.sc.captures {
		if s := &m.Signals[f.target.Signal]; !s.Buffered && !f.set {
			latched[f.target.Signal] |= f.target.Mask()
			by[f.target.Signal] = append(by[f.target.Signal], f)
		}
	}
	input := make([]bool, len(m.Signals))
	said := map[[3]int]bool{}
	for _, line := range b.sc.lines.Columns() {
		l := &m.Lines[line]
		read := func(e *machine.Expr) {
			bits := ones(e.Hi-e.Lo+1) << e.Lo
			if m.Signals[e.Signal].Input {
				input[e.Signal] = true
			}
			if latched[e.Signal]&bits == 0 {
				return
			}
			for _, f := range by[e.Signal] {
				key := [3]int{line, e.Signal, f.line}
				if f.target.Mask()&bits == 0 || said[key] {
					continue
				}
				said[key] = true
				w := &m.Lines[f.line]
				if f.line == line {
					b.sc.note("race", w.At, "%s reads %s while it latches it", w.Name, m.Signals[e.Signal].Name)
				} else {
					b.sc.note("race", w.At, "%s latches %s while %s reads it", w.Name, m.Signals[e.Signal].Name, l.Name)
				}
			}
		}
		units := map[int]bool{}
		for k := range l.Effects {
			b.visit(l.Effects[k].Source, units, read)
			b.visit(l.Effects[k].Target.Index, units, read)
		}
	}
	for s, read := range input {
		if read {
			b.sc.inputs = append(b.sc.inputs, s)
		}
	}
}

// visit calls read for each node that reads a signal; units are opened once.
func (b *builder) visit(e *machine.Expr, units map[int]bool, read func(*machine.Expr)) {
	if e == nil {
		return
	}
	switch e.Op {
	case machine.Read, machine.Fetch:
		read(e)
	case machine.Apply:
		if !units[e.Unit] {
			units[e.Unit] = true
			b.visit(picked(&b.m.Units[e.Unit], b.sc.lines), units, read)
		}
	}
	for _, a := range e.Args {
		b.visit(a, units, read)
	}
}

// overlaps finds two latches that set the same bits. Words of a memory may
// differ and are compared when their indices are known.
func (b *builder) overlaps() {
	said := map[[2]int]bool{}
	for i, f := range b.sc.captures {
		for _, g := range b.sc.captures[:i] {
			s := &b.m.Signals[f.target.Signal]
			if f.line == g.line || f.target.Signal != g.target.Signal || s.Kind == machine.Memory ||
				f.target.Mask()&g.target.Mask() == 0 || said[[2]int{g.line, f.line}] {
				continue
			}
			said[[2]int{g.line, f.line}] = true
			l := &b.m.Lines[f.line]
			b.sc.note("conflict", l.At, "%s and %s both set %s, which takes the OR of the two", b.m.Lines[g.line].Name, l.Name, s.Name)
		}
	}
}

// depend follows what the latches take in back to where it comes from.
func (b *builder) depend() {
	m, sc := b.m, b.sc
	wide := make([]bool, len(sc.sources))
	for _, line := range sc.lines.Columns() {
		if m.Lines[line].Kind != store.Latch {
			continue
		}
		clear(wide)
		need := make([]uint64, len(m.Signals)) // bits of buses
		units := map[int]bool{}
		var direct []uint64
		opcode := false
		reader := line
		read := func(e *machine.Expr) {
			switch s := &m.Signals[e.Signal]; s.Kind {
			case machine.Bus:
				need[e.Signal] |= ones(e.Hi-e.Lo+1) << e.Lo
			case machine.Memory:
				b.reach(reading{reader, e.Signal, e.Args[0], false})
				if s.Program {
					if sc.word == nil {
						sc.word = e.Args[0]
					}
					if opcode && sc.address == nil {
						sc.address = e.Args[0]
					}
				}
			}
		}
		for _, f := range sc.captures {
			if f.line != line {
				continue
			}
			opcode = opcode || sc.opcode && f.target.Signal == m.Opcode.Signal
			if f.target.Index != nil {
				b.reach(reading{line, f.target.Signal, f.target.Index, true})
			}
		}
		for _, f := range sc.captures {
			if f.line == line {
				b.visit(f.source, units, read)
				b.visit(f.target.Index, units, read)
			}
		}
		direct = append(direct, need...)
		for again := true; again; {
			again = false
			b.spread(need)
			for i, f := range sc.sources {
				if !wide[i] && need[f.target.Signal]&f.target.Mask() != 0 {
					wide[i], again = true, true
					reader = f.line
					b.visit(f.source, units, read)
				}
			}
		}
		for bus := range m.Signals {
			missing := need[bus] &^ sc.driven[bus]
			if missing == 0 {
				continue
			}
			l := &m.Lines[line]
			what := "bus " + m.Signals[bus].Name
			if missing != ones(m.Signals[bus].Width) {
				what = ranges(missing) + " of " + what
			}
			text := fmt.Sprintf("%s takes in %s, which nothing drives and which reads 0", l.Name, what)
			if direct[bus]&missing == 0 {
				text = fmt.Sprintf("what %s takes in depends on %s, which nothing drives and which reads 0", l.Name, what)
			}
			sc.undriven = append(sc.undriven, undriven{line, Note{"undriven", text, l.At}})
		}
	}
}

// ranges writes the bits of a mask as "bits 7:4" or "bits 7:4, 0".
func ranges(mask uint64) string {
	var parts []string
	for hi := 63; hi >= 0; hi-- {
		if mask>>hi&1 == 0 {
			continue
		}
		lo := hi
		for lo > 0 && mask>>(lo-1)&1 == 1 {
			lo--
		}
		if lo == hi {
			parts = append(parts, fmt.Sprint(hi))
		} else {
			parts = append(parts, fmt.Sprintf("%d:%d", hi, lo))
		}
		hi = lo
	}
	if len(parts) == 1 && !strings.Contains(parts[0], ":") {
		return "bit " + parts[0]
	}
	return "bits " + strings.Join(parts, ", ")
}

func (b *builder) reach(r reading) {
	for _, old := range b.sc.reached {
		if old.index == r.index && old.signal == r.signal && old.write == r.write {
			return
		}
	}
	b.sc.reached = append(b.sc.reached, r)
}

// spread carries bits over joins in both directions until nothing is added.
func (b *builder) spread(bits []uint64) { spread(b.sc.joins, bits) }

func spread(joins []joint, bits []uint64) {
	for changed := len(joins) > 0; changed; {
		changed = false
		for _, j := range joins {
			x, y := bits[j.a]>>j.aLow&j.all, bits[j.b]>>j.bLow&j.all
			if x != y {
				bits[j.a] |= y << j.aLow
				bits[j.b] |= x << j.bLow
				changed = true
			}
		}
	}
}
