package assemble

import (
	"unicode/utf8"

	"coilwright/encode/machine"
	"coilwright/lang/diag"
	"coilwright/lang/program"
)

// directive does what at, byte, word, space and in say. A mnemonic of the
// same name comes first where it takes what is written.
func (a *assembler) directive(i int, l *program.Line, o *Line) {
	args := a.src.Of(l)
	if forms := a.words[a.word[l.Name]].forms; forms != nil {
		for _, f := range forms {
			if len(f.operands) == len(args) && a.mismatches(f, args) == 0 && !(l.Kind == program.In && a.memoryOf(args) >= 0) {
				a.label(i, l, o)
				a.instruction(i, l, o)
				return
			}
		}
	}
	switch l.Kind {
	case program.In:
		a.in(l, args)
		a.label(i, l, o)
	case program.At:
		a.moveTo(i, l, args)
		a.label(i, l, o)
	case program.Space:
		a.label(i, l, o)
		a.space(i, l, args)
	case program.Byte, program.Word:
		a.label(i, l, o)
		n, ok := a.countValues(l, args)
		if !ok {
			a.doubt()
		} else if l.Kind == program.Byte {
			a.bytes(i, l, o, n)
		} else {
			a.room(i, l, o, n)
		}
	}
}

// one checks that a directive has one argument.
func (a *assembler) one(l *program.Line, args []program.Arg, what string) bool {
	if len(args) == 1 {
		return true
	}
	at := a.named(l)
	if len(args) > 1 {
		at = a.argAt(l, &args[1]).To(a.argAt(l, &args[len(args)-1]))
	}
	a.list.Errorf("program-operands", at, "%s takes %s, and here %s", a.src.Names[l.Name], what, given(len(args)))
	return false
}

func (a *assembler) memoryOf(args []program.Arg) int {
	if len(args) != 1 {
		return -1
	}
	id := a.bare(&args[0])
	if id < 0 || a.sym[id].kind != unknown {
		return -1
	}
	for s := range a.m.Signals {
		if a.m.Signals[s].Kind == machine.Memory && a.m.Signals[s].Name == a.src.Names[id] {
			return s
		}
	}
	return -1
}

func (a *assembler) in(l *program.Line, args []program.Arg) {
	a.lost = true
	if !a.one(l, args, "one memory") {
		return
	}
	var names []string
	text := a.src.Files[l.File].Text[args[0].From:args[0].To]
	for s := range a.m.Signals {
		if a.m.Signals[s].Kind != machine.Memory {
			continue
		}
		if a.m.Signals[s].Name == text {
			a.lost, a.missed = false, false
			a.enter(s)
			return
		}
		names = append(names, a.m.Signals[s].Name)
	}
	d := a.list.Errorf("program-memory", a.argAt(l, &args[0]), "machine %s has no memory %s", a.m.Name, short(text))
	if near := a.nearest(text, func() []string { return names }); near != "" {
		d.Hintf("did you mean %s?", near)
	} else if len(names) > 0 {
		d.Hintf("it has %s", anyOf(names))
	}
}

func (a *assembler) moveTo(i int, l *program.Line, args []program.Arg) {
	if a.cur < 0 {
		a.homeless(l)
		return
	}
	mem := &a.mems[a.cur]
	mem.open, mem.placed = false, i
	mem.doubt = true
	if a.memoryOf(args) >= 0 {
		a.missed = true
	}
	if !a.one(l, args, "one address") {
		return
	}
	v, how := a.now(l, args[0].First, args[0].End)
	if how != good {
		return
	}
	if v.neg || v.mag >= mem.size {
		if !a.lost {
			d := a.list.Errorf("program-past-end", a.argAt(l, &args[0]), "%s has the addresses 0 to %d (0x%X), not %s", a.out.Memories[a.cur].Name, mem.size-1, mem.size-1, v).
				Note(a.m.Signals[mem.signal].At, "%s is declared here", a.out.Memories[a.cur].Name)
			a.blame(d, args[0].First, args[0].End, mem.has)
		}
		return
	}
	mem.next, mem.doubt = v.mag, false
}

func (a *assembler) space(i int, l *program.Line, args []program.Arg) {
	if a.cur < 0 {
		a.homeless(l)
		return
	}
	mem := &a.mems[a.cur]
	mem.open, mem.placed = false, i
	if !a.one(l, args, "the number of words") {
		mem.doubt = true
		return
	}
	v, how := a.now(l, args[0].First, args[0].End)
	switch {
	case how != good:
		mem.doubt = true
	case v.neg:
		a.list.Errorf("program-value", a.argAt(l, &args[0]), "a space of %s words cannot be", v)
		mem.doubt = true
	case v.mag > mem.size-mem.next:
		if !mem.doubt && !a.lost {
			d := a.pastEnd(i, v.mag-(mem.size-mem.next))
			a.blame(d, args[0].First, args[0].End, mem.has)
		}
		a.unsure(i)
		mem.doubt = true
	default:
		mem.next += v.mag
	}
}

// endless is more words than any memory has, with room to multiply.
const endless = 1 << 59

// countValues counts what stands after byte or word. It returns false, and
// has reported why, if that is not known.
func (a *assembler) countValues(l *program.Line, args []program.Arg) (uint64, bool) {
	if len(args) == 0 {
		a.list.Errorf("program-operands", a.named(l), "%s takes values, and here there are none", a.src.Names[l.Name]).
			Hintf("for example: %s 1, 2, 0 .. 15", a.src.Names[l.Name])
		return 0, false
	}
	n, ok := uint64(0), true
	for k := range args {
		arg := &args[k]
		if a.src.Nodes[arg.End-1].Op != program.Run {
			n++
			continue
		}
		from, to, good := a.run(l, arg)
		if !good {
			ok = false
			continue
		}
		d, _ := to.plus(from.minus())
		n = min(n+min(d.mag, endless)+1, endless)
	}
	return n, ok
}

// run returns the ends of a run, which have to be known at once.
func (a *assembler) run(l *program.Line, arg *program.Arg) (from, to num, ok bool) {
	middle := a.middle(arg)
	from, how := a.now(l, arg.First, middle)
	if how != good {
		return from, to, false
	}
	to, how = a.now(l, middle, arg.End-1)
	if how != good {
		return from, to, false
	}
	if _, ok := to.plus(from.minus()); !ok {
		a.list.Errorf("program-overflow", a.argAt(l, arg), "the run from %s to %s is too long", from, to)
		return from, to, false
	}
	return from, to, true
}

// middle returns where the second half of a run begins among its nodes.
func (a *assembler) middle(arg *program.Arg) uint32 { return a.operand(arg.End - 1) }

// operand returns where the value begins whose last node stands before end.
func (a *assembler) operand(end uint32) uint32 {
	want := 1 // values that the nodes from here to the end make
	i := end
	for want > 0 {
		i--
		want--
		switch a.src.Nodes[i].Op {
		case program.Number, program.Name, program.Characters:
		case program.Neg:
			want++
		case program.Slice:
			want += 3
		case program.Bit:
			want += 2
		default:
			want += 2
		}
	}
	return i
}

func (a *assembler) characters(l *program.Line) uint64 {
	n := &a.src.Nodes[a.src.Of(l)[0].First]
	return uint64(utf8.RuneCountInString(a.src.Files[l.File].Text[n.From:n.To]))
}

// bytes takes the words for n bytes.
func (a *assembler) bytes(i int, l *program.Line, o *Line, n uint64) {
	if a.cur < 0 {
		a.homeless(l)
		return
	}
	mem := &a.mems[a.cur]
	if mem.perWord > 0 {
		n = (n + uint64(mem.perWord) - 1) / uint64(mem.perWord)
	} else {
		n *= uint64(mem.perByte)
	}
	a.room(i, l, o, n)
}

// room takes n words for a line of data.
func (a *assembler) room(i int, l *program.Line, o *Line, n uint64) {
	if a.cur < 0 {
		a.homeless(l)
		return
	}
	if n > 0 {
		a.put(i, o, n)
	}
}

// expect resolves a line of expectation.
func (a *assembler) expect(l *program.Line) {
	args := a.src.Of(l)
	name := a.src.Names[l.Name]
	signal := -1
	var names []string
	for s := range a.m.Signals {
		if a.m.Signals[s].Name == name {
			signal = s
		}
		if a.m.Signals[s].Kind != machine.Bus {
			names = append(names, a.m.Signals[s].Name)
		}
	}
	if signal < 0 {
		d := a.list.Errorf("program-expect", a.named(l), "machine %s has no register, flag or memory %s", a.m.Name, short(name)).
			Because("no register %s", name)
		if near := a.nearest(name, func() []string { return names }); near != "" {
			d.Hintf("did you mean %s?", near)
		}
		return
	}
	s := &a.m.Signals[signal]
	declared := func(d *diag.Diagnostic) *diag.Diagnostic { return d.Note(s.At, "%s is declared here", s.Name) }
	e := Expect{Signal: signal, Text: name, At: a.src.Place(l, l.Code, l.End)}
	switch {
	case s.Kind == machine.Bus:
		declared(a.list.Errorf("program-expect", a.named(l), "a bus holds nothing when the program has ended")).
			Hintf("expect takes registers, flags and words of memories")
		return
	case s.Kind == machine.Memory && len(args) == 1:
		declared(a.list.Errorf("program-expect", a.named(l), "memory %s has %d words: which is meant?", s.Name, s.Words)).
			Hintf("expect %s[20] = 7", s.Name)
		return
	case s.Kind != machine.Memory && len(args) == 2:
		declared(a.list.Errorf("program-expect", a.argAt(l, &args[0]), "%s is a %s: only a word of a memory is meant by [ ]", s.Name, s.Kind))
		return
	case s.Kind == machine.Memory:
		v, how := a.value(l, &args[0])
		if how != good {
			return
		}
		if v.neg || v.mag >= s.Words {
			d := declared(a.list.Errorf("program-past-end", a.argAt(l, &args[0]), "%s has the addresses 0 to %d (0x%X), not %s", s.Name, s.Words-1, s.Words-1, v))
			a.blame(d, args[0].First, args[0].End, func(v num) bool { return !v.neg && v.mag < s.Words })
			return
		}
		e.Index = v.mag
		e.Text = name + "[" + a.src.Files[l.File].Text[args[0].From:args[0].To] + "]"
	}
	arg := &args[len(args)-1]
	v, how := a.value(l, arg)
	if how != good {
		return
	}
	if !v.fits(s.Width, false) {
		d := declared(a.list.Errorf("program-value", a.argAt(l, arg), "%s is %s for %s, which takes %s", v, excess(v, s.Width, false), s.Name, reach(s.Width, false)))
		a.blame(d, arg.First, arg.End, func(v num) bool { return v.fits(s.Width, false) })
		return
	}
	e.Value = v.bits() & (^uint64(0) >> (64 - s.Width))
	a.out.Expects = append(a.out.Expects, e)
}
