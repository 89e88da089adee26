package machine

// Use is what a line reads: bits of a signal, and the settling times in phases
// passed on the way from the signal to the line.
type Use struct {
	Signal int
	Mask   uint64
	Settle int
}

// Pick is a select line that a line depends on through a unit, and the
// settling times in phases passed on the way, the unit's own included.
type Pick struct {
	Line   int
	Unit   int
	Settle int
}

// Uses lists what each line reads through its sources and the indices of its
// targets, units opened up. A signal that is read on several ways with one
// mask is listed once, with the longest settling time.
func (m *Machine) Uses() (uses [][]Use, picks [][]Pick) {
	w := &useWalk{m: m, units: make([]*useSet, len(m.Units))}
	uses, picks = make([][]Use, len(m.Lines)), make([][]Pick, len(m.Lines))
	for i := range m.Lines {
		s := newUseSet()
		for j := range m.Lines[i].Effects {
			t := &m.Lines[i].Effects[j]
			w.expr(s, t.Source, 0)
			w.expr(s, t.Target.Index, 0)
		}
		uses[i], picks[i] = s.uses, s.picks
	}
	return uses, picks
}

type useWalk struct {
	m     *Machine
	units []*useSet // by unit, with its own settling time included
}

type useSet struct {
	uses   []Use
	picks  []Pick
	useAt  map[[2]uint64]int // signal and mask -> index
	pickAt map[[2]int]int    // line and unit -> index
}

func newUseSet() *useSet {
	return &useSet{useAt: map[[2]uint64]int{}, pickAt: map[[2]int]int{}}
}

func (s *useSet) use(u Use) {
	k := [2]uint64{uint64(u.Signal), u.Mask}
	if i, ok := s.useAt[k]; ok {
		s.uses[i].Settle = max(s.uses[i].Settle, u.Settle)
		return
	}
	s.useAt[k] = len(s.uses)
	s.uses = append(s.uses, u)
}

func (s *useSet) pick(p Pick) {
	k := [2]int{p.Line, p.Unit}
	if i, ok := s.pickAt[k]; ok {
		s.picks[i].Settle = max(s.picks[i].Settle, p.Settle)
		return
	}
	s.pickAt[k] = len(s.picks)
	s.picks = append(s.picks, p)
}

func (w *useWalk) expr(s *useSet, e *Expr, settle int) {
	if e == nil {
		return
	}
	switch e.Op {
	case Read, Fetch:
		s.use(Use{e.Signal, Bits(e.Hi, e.Lo), settle})
	case Apply:
		inner := w.unit(e.Unit)
		for _, u := range inner.uses {
			u.Settle += settle
			s.use(u)
		}
		for _, p := range inner.picks {
			p.Settle += settle
			s.pick(p)
		}
		return
	}
	for _, a := range e.Args {
		w.expr(s, a, settle)
	}
}

func (w *useWalk) unit(i int) *useSet {
	if w.units[i] != nil {
		return w.units[i]
	}
	u := &w.m.Units[i]
	s := newUseSet()
	for _, l := range u.By {
		s.pick(Pick{l, i, u.Settle})
	}
	for _, c := range u.Cases {
		w.expr(s, c, u.Settle)
	}
	w.units[i] = s
	return s
}
