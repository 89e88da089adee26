package assemble

import (
	"unicode/utf8"

	"coilwright/lang/program"
)

// emit works out the words of every line, now that all labels are known.
func (a *assembler) emit() {
	for i := range a.mems {
		a.mems[i].data = make([]uint64, 0, a.mems[i].count)
	}
	src := a.src
	for i := range src.Lines {
		l, o := &src.Lines[i], &a.out.Lines[i]
		if o.Memory < 0 {
			if l.Kind == program.Expect && !(len(a.list) >= maxErrors && a.full(i)) {
				a.expect(l)
			}
			continue
		}
		mem := &a.mems[o.Memory]
		from := len(mem.data)
		if o.Instruction >= 0 {
			f := a.formOf(l, o.Instruction)
			mem.data = mem.data[:from+f.size] // there is room: layOut counted
			o.Words = mem.data[from : from+f.size : from+f.size]
			if len(a.list) < maxErrors || !a.full(i) {
				a.encode(i, l, o, f)
			}
			continue
		}
		switch l.Kind {
		case program.Byte:
			p := packer{mem: mem}
			a.values(i, l, 8, p.add)
			p.flush()
		case program.Word:
			mask := ^uint64(0) >> (64 - mem.width)
			a.values(i, l, mem.width, func(v uint64) { mem.data = append(mem.data, v&mask) })
		case program.Text:
			p := packer{mem: mem}
			a.text(l, p.add)
			p.flush()
		}
		o.Words = mem.data[from:len(mem.data):len(mem.data)]
	}
}

// formOf returns the form that layOut chose.
func (a *assembler) formOf(l *program.Line, ins int) *form {
	forms := a.words[a.word[l.Name]].forms
	for _, f := range forms {
		if f.ins == ins {
			return f
		}
	}
	return forms[0]
}

// encode fills in the words of an instruction.
func (a *assembler) encode(i int, l *program.Line, o *Line, f *form) {
	first := f.base[0]
	rest := o.Words[f.head-1:] // rest[w] is word w of the encoding, for w > 0
	copy(rest[1:], f.base[1:])
	args := a.src.Of(l)
	combination := 0
	for k := range f.operands {
		op, arg := &f.operands[k], &args[k]
		var bits uint64
		if op.field >= 0 {
			c := a.pick(int32(a.src.Nodes[arg.First].Value), op.field)
			bits = a.m.Fields[op.field].Choices[c].Bits
			combination += c * op.stride
		} else {
			v, how := a.value(l, arg)
			if how == bad {
				continue
			}
			if op.relative {
				// A target that far below 0 does not fit either way.
				if d, ok := v.plus(num{o.Address + uint64(f.size), true}); ok {
					v = d
				}
			}
			if how == good && !v.fits(op.width, op.signed) && !(op.relative && a.guessed(o)) {
				a.tooLarge(i, l, f, k, arg, v)
			}
			bits = v.bits()
		}
		for _, p := range op.pieces {
			x := bits >> p.lo & p.mask << p.shift
			if p.word == 0 {
				first |= x
			} else {
				rest[p.word] |= x
			}
		}
	}
	if f.head == 1 {
		o.Words[0] = first
	} else {
		f.split(o.Words, first)
	}
	if f.variants == nil {
		f.table(a.m)
	}
	if f.fields {
		if x := a.excluded(f, args); x >= 0 {
			a.refuse(l, f, x, args)
			return
		}
	}
	v := f.variants[combination]
	if v < 0 {
		v = f.twin(a.m, combination, first)
	}
	o.Variant = int(v)
}

// guessed reports whether the address of a line is a guess.
func (a *assembler) guessed(o *Line) bool {
	for _, r := range a.mems[o.Memory].runs {
		if r.doubt && o.Address >= r.address && o.Address < r.address+r.count {
			return true
		}
	}
	return false
}

func (a *assembler) tooLarge(i int, l *program.Line, f *form, k int, arg *program.Arg, v num) {
	ins := &a.m.Instructions[f.ins]
	op := &ins.Operands[k]
	by := excess(v, op.Width, op.Signed || op.Relative)
	if op.Relative {
		d := a.list.Errorf("program-value", a.argAt(l, arg), "the target is %s words from the end of this instruction, %s for %s", v, by, reach(op.Width, true)).
			Note(op.At, "operand %s is declared here", short(op.Name))
		a.tooFar(d, i, arg)
		return
	}
	d := a.list.Errorf("program-value", a.argAt(l, arg), "%s is %s for operand %s of %s, which takes %s", v, by, short(op.Name), short(ins.Name), reach(op.Width, op.Signed)).
		Note(op.At, "%s is declared here", short(op.Name))
	if !v.neg && !op.Signed {
		text := a.src.Files[l.File].Text[arg.From:arg.To]
		if arg.End-arg.First > 1 {
			text = "(" + text + ")"
		}
		d.Hintf("a slice takes a part of it: %s[%d:0]", short(text), op.Width-1)
	}
	a.blame(d, arg.First, arg.End, func(v num) bool { return v.fits(op.Width, op.Signed) })
}

// excluded returns the index of the `except` that takes these operands out, or -1.
func (a *assembler) excluded(f *form, args []program.Arg) int {
	ins := &a.m.Instructions[f.ins]
	for x := range ins.Except {
		e := &ins.Except[x]
		left := int32(a.src.Nodes[args[e.Left].First].Value)
		if e.Right < 0 {
			if a.pick(left, ins.Operands[e.Left].Field) == e.Choice {
				return x
			}
		} else if left == int32(a.src.Nodes[args[e.Right].First].Value) {
			return x
		}
	}
	return -1
}

func (a *assembler) refuse(l *program.Line, f *form, x int, args []program.Arg) {
	ins := &a.m.Instructions[f.ins]
	e := &ins.Except[x]
	at := a.argAt(l, &args[0]).To(a.argAt(l, &args[len(args)-1]))
	left := short(ins.Operands[e.Left].Name)
	right := ""
	if e.Right >= 0 {
		right = short(ins.Operands[e.Right].Name)
	} else {
		right = short(a.m.Fields[ins.Operands[e.Left].Field].Choices[e.Choice].Name)
	}
	a.list.Errorf("program-excluded", at, "%s has no opcode with these operands: `except %s = %s` takes them out", short(ins.Name), left, right).
		Note(e.At, "it is here")
}

// values works out what stands after byte or word.
func (a *assembler) values(i int, l *program.Line, width int, put func(uint64)) {
	args := a.src.Of(l)
	fits := func(v num) bool { return v.fits(width, false) }
	for k := range args {
		arg := &args[k]
		if a.src.Nodes[arg.End-1].Op == program.Run {
			from, to, ok := a.run(l, arg)
			if !ok {
				put(0)
				continue
			}
			for _, end := range [...]num{from, to} {
				if !end.fits(width, false) {
					d := a.list.Errorf("program-value", a.argAt(l, arg), "%s is %s for a %s, which takes %s", end, excess(end, width, false), a.src.Names[l.Name], reach(width, false))
					a.blame(d, arg.First, arg.End, fits)
					break
				}
			}
			step := uint64(1)
			if to.less(from) {
				step = ^uint64(0)
			}
			for v := from.bits(); ; v += step {
				put(v)
				if v == to.bits() {
					break
				}
			}
			continue
		}
		v, how := a.value(l, arg)
		if how == good && !v.fits(width, false) {
			if len(a.list) < maxErrors || !a.full(i) {
				d := a.list.Errorf("program-value", a.argAt(l, arg), "%s is %s for a %s, which takes %s", v, excess(v, width, false), a.src.Names[l.Name], reach(width, false))
				a.blame(d, arg.First, arg.End, fits)
			}
		}
		put(v.bits())
	}
}

// text works out the codes of a string's characters.
func (a *assembler) text(l *program.Line, put func(uint64)) {
	n := &a.src.Nodes[a.src.Of(l)[0].First]
	text := a.src.Files[l.File].Text[n.From:n.To]
	reported := false
	for at, r := range text {
		if r > 0xFF && !reported {
			reported = true // one error a string
			from := n.From + uint32(at)
			a.list.Errorf("program-value", a.src.Place(l, from, from+uint32(utf8.RuneLen(r))), "the code of this character is %d: a byte holds codes up to 255", r).
				Hintf("write the codes of your printer or lamps with byte")
		}
		put(uint64(r))
	}
}

// packer puts bytes into memory words.
type packer struct {
	mem  *memory
	word uint64
	n    int // bytes in word
}

func (p *packer) add(v uint64) {
	v &= 0xFF
	m := p.mem
	if m.perWord == 0 {
		mask := uint64(1)<<m.width - 1
		for i := range m.perByte {
			k := m.perByte - 1 - i
			if m.little {
				k = i
			}
			m.data = append(m.data, v>>(k*m.width)&mask)
		}
		return
	}
	if m.little {
		p.word |= v << (8 * p.n)
	} else {
		p.word |= v << (8 * (m.perWord - 1 - p.n))
	}
	if p.n++; p.n == m.perWord {
		p.flush()
	}
}

func (p *packer) flush() {
	if p.n > 0 {
		p.mem.data = append(p.mem.data, p.word)
		p.word, p.n = 0, 0
	}
}
