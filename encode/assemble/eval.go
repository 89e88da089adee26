package assemble

import (
	"slices"
	"strings"

	"coilwright/lang/diag"
	"coilwright/lang/program"
)

// verdict is what became of a value.
type verdict uint8

const (
	good  verdict = iota
	guess         // it hangs on something that was reported: not to be judged
	bad           // there is none; why was reported, or will be elsewhere
	needs         // a constant has to be worked out first
	later         // a label that comes later is needed now
)

// value works an argument out. What is wrong with it is reported once.
func (a *assembler) value(l *program.Line, arg *program.Arg) (num, verdict) {
	if arg.End-arg.First == 1 {
		n := &a.src.Nodes[arg.First]
		if n.Op == program.Number {
			return num{n.Value, false}, good
		}
		if n.Op == program.Name {
			if s := &a.sym[n.Value]; s.state == ready {
				return s.value, good
			}
		}
	}
	return a.settle(l, arg.First, arg.End, false)
}

// now works a value out before all labels are known, for what the places of
// other things depend on.
func (a *assembler) now(l *program.Line, first, end uint32) (num, verdict) {
	return a.settle(l, first, end, true)
}

// settle evaluates nodes, and before that the constants they need.
func (a *assembler) settle(l *program.Line, first, end uint32, early bool) (num, verdict) {
	for {
		v, how, id := a.eval(l, first, end, early)
		switch how {
		case needs:
			if at, ok := a.workOut(id, early); !ok {
				// A constant needs a label that is not known yet.
				a.early(a.nodeAt(l, a.nodeOf(first, end, id)), at)
				return num{}, bad
			}
		case later:
			a.early(a.nodeAt(l, a.nodeOf(first, end, id)), id)
			return num{}, bad
		default:
			return v, how
		}
	}
}

func (a *assembler) nodeOf(first, end uint32, id int32) *program.Node {
	for i := first; i < end; i++ {
		if n := &a.src.Nodes[i]; n.Op == program.Name && n.Value == uint64(id) {
			return n
		}
	}
	return &a.src.Nodes[first]
}

func (a *assembler) early(at diag.Place, id int32) {
	a.list.Errorf("program-forward", at, "this has to be known here, and label %s comes later", short(a.src.Names[id])).
		Note(a.where(&a.sym[id]), "%s is here", short(a.src.Names[id])).
		Hintf("where things go may depend only on what stands above")
}

// workOut works a constant out and those it depends on. It uses a list of
// its own and no recursion, because a chain may be as long as the program. It
// returns false and a label if that label is needed and not known yet.
func (a *assembler) workOut(id int32, early bool) (int32, bool) {
	a.chain = append(a.chain[:0], id)
	a.sym[id].state = working
	for len(a.chain) > 0 {
		id := a.chain[len(a.chain)-1]
		s := &a.sym[id]
		l := &a.src.Lines[s.line]
		arg := &a.src.Of(l)[0]
		v, how, next := a.eval(l, arg.First, arg.End, early)
		switch how {
		case needs:
			a.sym[next].state = working
			a.chain = append(a.chain, next)
			continue
		case later:
			for _, c := range a.chain {
				a.sym[c].state = waiting
			}
			return next, false
		case good:
			s.value, s.state = v, ready
		default:
			s.value, s.state = v, doubtful
		}
		a.chain = a.chain[:len(a.chain)-1]
	}
	return 0, true
}

// constants works out what nothing has asked for yet.
func (a *assembler) constants() {
	for i := range a.src.Lines {
		l := &a.src.Lines[i]
		if l.Kind != program.Assign {
			continue
		}
		if s := &a.sym[l.Name]; s.kind == constant && s.state == waiting {
			a.workOut(l.Name, false)
		}
		if a.full(i) {
			return
		}
	}
}

// eval evaluates nodes in postfix order. For needs and later it also returns
// the name in question, and has reported nothing.
func (a *assembler) eval(l *program.Line, first, end uint32, early bool) (num, verdict, int32) {
	st := a.stack[:0]
	how := good
	nodes := a.src.Nodes[first:end]
	for i := range nodes {
		n := &nodes[i]
		switch n.Op {
		case program.Number:
			st = append(st, num{n.Value, false})
		case program.Name:
			id := int32(n.Value)
			s := &a.sym[id]
			switch {
			case s.state == ready:
			case s.state == doubtful:
				how = guess
			case s.kind == constant && s.state == waiting:
				return num{}, needs, id
			case s.kind == constant:
				a.loop(id)
				s.state = doubtful
				how = guess
			case s.kind == label && early:
				return num{}, later, id
			case s.kind == label: // never reached: the program was too broken
				how = guess
			default:
				a.undefined(l, n)
				return num{}, bad, 0
			}
			st = append(st, s.value)
		case program.Neg:
			st[len(st)-1] = st[len(st)-1].minus()
		case program.Slice, program.Bit:
			hi, lo := st[len(st)-1], st[len(st)-1]
			st = st[:len(st)-1]
			if n.Op == program.Slice {
				hi = st[len(st)-1]
				st = st[:len(st)-1]
			}
			x := st[len(st)-1]
			if hi.neg || lo.neg || hi.mag > 63 || lo.mag > hi.mag {
				if how == good {
					from := a.operand(first + uint32(i))
					if n.Op == program.Slice {
						from = a.operand(from)
					}
					d := a.list.Errorf("program-slice", a.nodeAt(l, n), "a slice goes from an upper to a lower bit of 63 to 0, not from %s to %s", hi, lo)
					if n.Op == program.Bit {
						d.Text = "bits count from 63 to 0, and this is bit " + hi.String()
					}
					if !hi.neg && !lo.neg && hi.mag < lo.mag && lo.mag < 64 {
						d.Hintf("the upper bit comes first: [%s:%s]", lo, hi)
					}
					a.blame(d, from, first+uint32(i), func(v num) bool { return !v.neg && v.mag < 64 })
				}
				return num{}, bad, 0
			}
			st[len(st)-1] = num{x.bits() >> lo.mag & (^uint64(0) >> (63 - (hi.mag - lo.mag))), false}
		default:
			x, y := st[len(st)-2], st[len(st)-1]
			st = st[:len(st)-1]
			ok := true
			switch n.Op {
			case program.Add:
				x, ok = x.plus(y)
			case program.Sub:
				x, ok = x.plus(y.minus())
			case program.Mul:
				x, ok = x.times(y)
			case program.Div:
				if y.mag == 0 {
					if how == good {
						d := a.list.Errorf("program-division", a.nodeAt(l, n), "this divides by zero")
						a.blame(d, a.operand(first+uint32(i)), first+uint32(i), func(v num) bool { return v.mag > 0 })
					}
					return num{}, bad, 0
				}
				x = x.over(y)
			}
			if !ok {
				if how == good {
					a.list.Errorf("program-overflow", a.nodeAt(l, n), "the result does not fit in 64 bits")
				}
				return num{}, bad, 0
			}
			st[len(st)-1] = x
		}
	}
	a.stack = st
	return st[len(st)-1], how, 0
}

// loop reports a constant that depends on itself.
func (a *assembler) loop(id int32) {
	var names []string
	for _, c := range a.chain[slices.Index(a.chain, id):] {
		if len(names) == 5 {
			names = append(names, "...")
			break
		}
		names = append(names, short(a.src.Names[c]))
	}
	names = append(names, short(a.src.Names[id]))
	a.list.Errorf("program-constant-loop", a.where(&a.sym[id]), "%s depends on itself: %s", short(a.src.Names[id]), strings.Join(names, " -> "))
}

// undefined reports a name that means nothing as a value.
func (a *assembler) undefined(l *program.Line, n *program.Node) {
	id := int32(n.Value)
	name := a.src.Names[id]
	if a.mute[id] {
		return
	}
	at := a.nodeAt(l, n)
	if a.word[id] > 0 {
		// Such names come together, behind a byte that should be a mnemonic.
		if a.odd == l {
			return
		}
		a.odd = l
	}
	if int(id) < len(program.Directives()) {
		a.list.Errorf("program-operand", at, "%s is a directive, no value", name)
		return
	}
	if w := &a.words[a.word[id]]; w.forms != nil {
		a.list.Errorf("program-operand", at, "%s is an instruction, no value", short(name)).
			Note(a.m.Instructions[w.forms[0].ins].At, "%s is declared here", short(name))
		return
	} else if w.choice != nil {
		for f, c := range w.choice {
			if c >= 0 {
				a.list.Errorf("program-operand", at, "%s is a value of field %s, no number", short(name), a.m.Fields[f].Name).
					Note(a.m.Fields[f].Choices[c].At, "%s is declared here", short(name))
				return
			}
		}
	}
	if a.src.Incomplete {
		return
	}
	if a.excuses > 0 {
		a.excuses--
		a.mute[id] = true
		return
	}
	d := a.list.Errorf("program-undefined", at, "there is no label or constant %s", short(name)).
		Because("undefined %s", name)
	for i := range a.m.Signals {
		if a.m.Signals[i].Name == name {
			d.Hintf("%s is a %s: its value is not known before the program runs", short(name), a.m.Signals[i].Kind)
			return
		}
	}
	if near := a.nearest(name, a.allDeclared); near != "" {
		d.Hintf("did you mean %s?", near)
	}
}

func (a *assembler) allDeclared() []string {
	if a.declared == nil {
		for id := range a.sym {
			if a.sym[id].kind != unknown {
				a.declared = append(a.declared, a.src.Names[id])
			}
		}
	}
	return a.declared
}
