package schedule

import (
	"math"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/store"
)

// Weave turns the plan of a machine without errors into its store: one row for
// each (owner, flag cube, phase) with lines on (language.md S.1).
func Weave(m *machine.Machine, p *Plan) *store.Store {
	s := &store.Store{Machine: m.Name, Title: m.Title, Hash: m.Hash, OpcodeBits: m.Opcode.Width(), Phases: p.Phases, Word: m.Word}
	for _, f := range m.Tested {
		s.Flags = append(s.Flags, m.Signals[f].Name)
	}
	for i := range m.Lines {
		l := &m.Lines[i]
		s.Columns = append(s.Columns, store.Column{Name: l.Name, Kind: l.Kind, Low: l.Low, At: l.At})
	}
	s.Word.Address = append([]store.AddressPart(nil), m.Word.Address...)
	for i := range s.Word.Address {
		if s.Word.Address[i].Kind == store.PhasePart {
			s.Word.Address[i].Bits = machine.PhaseBits(p.Phases)
		}
	}
	cache := map[*Path][]store.Row{}
	total := 0
	for i := range p.Owners {
		o := &p.Owners[i]
		if len(o.Paths) == 0 {
			continue
		}
		rows, ok := cache[o.Paths[0]]
		if !ok {
			rows = weaveRows(m, p, o)
			cache[o.Paths[0]] = rows
		}
		total += len(rows) * max(1, len(o.Opcodes))
	}
	s.Owners = make([]store.Owner, 0, len(p.Owners))
	s.Rows = make([]store.Row, 0, total)
	for i := range p.Owners {
		o := &p.Owners[i]
		s.Owners = append(s.Owners, store.Owner{Name: o.Name, Kind: o.Kind, Opcodes: o.Opcodes, At: o.At})
		if o.Kind == "undefined" && m.Undefined == machine.UndefinedFree {
			s.Free = o.Opcodes
		}
		if len(o.Paths) == 0 {
			continue
		}
		cubes := o.Opcodes
		if o.Kind == "fetch" {
			cubes = []cube.Cube{{}}
		}
		for _, c := range cubes {
			for _, r := range cache[o.Paths[0]] {
				r.Owner, r.Opcode = i, c
				s.Rows = append(s.Rows, r)
			}
		}
	}
	return s
}

// weaveRows gives the rows of one owner, opcode left open: by phase, then flags with `not` first.
func weaveRows(m *machine.Machine, p *Plan, o *Owner) []store.Row {
	charts := make([][]cell, len(o.Paths))
	end := 0
	for i, path := range o.Paths {
		charts[i] = chart(m, path, o.Kind == "fetch")
		end = max(end, len(charts[i])-1)
	}
	bit := map[int]int{}
	for i, f := range p.Tested {
		bit[f] = i
	}
	root := branch(o.Paths, indices(len(o.Paths)), 0, bit)
	lit := 0
	for _, c := range charts[0] {
		if c.lines != nil {
			lit++
		}
	}
	rows := make([]store.Row, 0, lit)
	for phase := 1; phase <= end; phase++ {
		root.rows(cube.Cube{}, charts, phase, &rows)
	}
	return rows
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

// cell is what one path has on in one phase.
type cell struct {
	lines  store.Set
	causes []store.Cause
}

// chart expands the windows of a path: of fetch itself, or of a body with its restart.
func chart(m *machine.Machine, path *Path, fetch bool) []cell {
	end := path.Restart
	steps := path.Steps[path.Fetch:]
	if fetch {
		steps = path.Steps
	}
	first := math.MaxInt
	for i := range steps {
		for _, w := range steps[i].On {
			first, end = min(first, w.From), max(end, w.To)
		}
	}
	if path.Restart > 0 && !fetch {
		first = min(first, path.Restart)
	}
	// One block of memory for the causes of all phases, one for their sets.
	out := make([]cell, end+1)
	counts := make([]int, end+2)
	all := 0
	count := func(from, to int) {
		for p := from; p <= to; p++ {
			counts[p]++
			all++
		}
	}
	for i := range steps {
		for _, w := range steps[i].On {
			count(w.From, w.To)
		}
	}
	if !fetch && path.Restart > 0 {
		count(path.Restart, path.Restart)
	}
	causes := make([]store.Cause, all)
	words := (len(m.Lines) + 63) / 64
	sets := make(store.Set, words*max(0, end-first+1))
	for p := first; p <= end; p++ {
		if n := counts[p]; n > 0 {
			out[p] = cell{lines: sets[:words:words], causes: causes[:0:n]}
			causes = causes[n:]
		}
		sets = sets[words:]
	}
	add := func(phase, line int, c store.Cause) {
		out[phase].lines.Add(line)
		c.Column = line
		out[phase].causes = append(out[phase].causes, c)
	}
	for i := range steps {
		for _, w := range steps[i].On {
			for p := w.From; p <= w.To; p++ {
				add(p, w.Line, store.Cause{Step: steps[i].At, Role: w.Role(p)})
			}
		}
	}
	if !fetch && path.Restart > 0 {
		add(path.Restart, m.Restart, store.Cause{Role: store.Return})
	}
	return out
}

// Role says why the line of a window is on in phase p, which lies in it.
func (w Window) Role(p int) store.Role {
	switch {
	case p < w.Lead:
		return store.Hold
	case p < w.StrobeFrom:
		return store.Lead
	case p <= w.StrobeTo:
		return store.Strobe
	}
	return store.Trail
}

// fork is the decision tree over paths, by index.
type fork struct {
	bit     int
	off, on *fork
	leaf    int
}

func branch(paths []*Path, at []int, depth int, bit map[int]int) *fork {
	if len(at) == 1 && depth == len(paths[at[0]].Tests) {
		return &fork{leaf: at[0]}
	}
	var off, on []int
	for _, i := range at {
		if paths[i].Tests[depth].On {
			on = append(on, i)
		} else {
			off = append(off, i)
		}
	}
	return &fork{bit: bit[paths[at[0]].Tests[depth].Flag], leaf: -1,
		off: branch(paths, off, depth+1, bit), on: branch(paths, on, depth+1, bit)}
}

// merge returns the fork for one phase with equal siblings merged.
func (f *fork) merge(charts [][]cell, phase int) *fork {
	if f.off == nil {
		return f
	}
	off, on := f.off.merge(charts, phase), f.on.merge(charts, phase)
	if same(off, on, charts, phase) {
		return off
	}
	return &fork{bit: f.bit, off: off, on: on, leaf: -1}
}

func same(a, b *fork, charts [][]cell, phase int) bool {
	if (a.off == nil) != (b.off == nil) {
		return false
	}
	if a.off == nil {
		return at(charts, a.leaf, phase).Equal(at(charts, b.leaf, phase))
	}
	return a.bit == b.bit && same(a.off, b.off, charts, phase) && same(a.on, b.on, charts, phase)
}

func at(charts [][]cell, path, phase int) store.Set {
	if phase >= len(charts[path]) {
		return nil
	}
	return charts[path][phase].lines
}

func (f *fork) rows(flags cube.Cube, charts [][]cell, phase int, out *[]store.Row) {
	f.merge(charts, phase).emit(flags, charts, phase, out)
}

func (f *fork) emit(flags cube.Cube, charts [][]cell, phase int, out *[]store.Row) {
	if f.off != nil {
		f.off.emit(flags.With(f.bit, 0), charts, phase, out)
		f.on.emit(flags.With(f.bit, 1), charts, phase, out)
		return
	}
	if lines := at(charts, f.leaf, phase); lines != nil {
		*out = append(*out, store.Row{Flags: flags, Phase: phase, Lines: lines, Causes: charts[f.leaf][phase].causes})
	}
}
