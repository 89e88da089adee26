package assemble

import (
	"sort"
	"strings"

	"coilwright/encode/machine"
	"coilwright/lang/diag"
	"coilwright/lang/program"
)

// layOut gives every line its place and every label its value.
func (a *assembler) layOut() {
	src := a.src
	for i := range src.Lines {
		l, o := &src.Lines[i], &a.out.Lines[i]
		if a.stopped || len(a.list) >= maxErrors && a.full(i) {
			// What was not looked at still is a line of the listing.
			for ; i < len(src.Lines); i++ {
				a.begin(&src.Lines[i], &a.out.Lines[i])
			}
			return
		}
		a.begin(l, o)
		switch l.Kind {
		case program.Instruction:
			a.label(i, l, o)
			a.instruction(i, l, o)
		case program.Empty, program.Assign, program.Expect:
			a.label(i, l, o)
		case program.Include:
			a.label(i, l, o)
			if src.Incomplete {
				a.doubtAll() // it may be this one that is missing
				a.lost = true
			}
		case program.Broken:
			a.label(i, l, o)
			a.broken(l)
		case program.Text:
			a.label(i, l, o)
			a.bytes(i, l, o, a.characters(l))
		default:
			a.directive(i, l, o)
		}
	}
}

// begin fills in what is so for every line.
func (a *assembler) begin(l *program.Line, o *Line) {
	o.At = a.src.Place(l, l.Code, l.End)
	o.Text = a.src.Files[l.File].Text[l.From:l.To]
	o.Memory, o.Instruction, o.Variant = -1, -1, -1
}

// label gives the label of a line, if it has one, the current address.
func (a *assembler) label(i int, l *program.Line, o *Line) {
	if a.cur >= 0 {
		o.Address = a.mems[a.cur].next
	}
	if l.Label < 0 {
		return
	}
	if int(l.Label) < len(program.Directives()) {
		a.missed = true
	}
	s := &a.sym[l.Label]
	if s.kind != label || int(s.line) != i {
		return
	}
	s.state = doubtful
	if a.cur < 0 {
		a.homeless(l)
		return
	}
	mem := &a.mems[a.cur]
	s.value, s.mem = num{mem.next, false}, int16(a.cur)
	if !mem.doubt && !a.lost {
		s.state = ready
	}
}

// homeless reports, once, that the machine has no memory for a program.
func (a *assembler) homeless(l *program.Line) {
	if !a.nowhere {
		a.list.Errorf("program-memory", a.src.Place(l, l.Code, l.End), "machine %s has no program memory, and nothing says which other one is meant", a.m.Name).
			Hintf("mark one in the definition: memory ram 256 x 8 program; or name one here: in NAME")
	}
	a.nowhere = true
}

func (a *assembler) doubt() {
	if a.cur >= 0 {
		a.mems[a.cur].doubt = true
	}
}

func (a *assembler) doubtAll() {
	for i := range a.mems {
		a.mems[i].doubt = true
	}
}

// broken goes past a line that did not parse: it takes what its mnemonic
// takes in any case, or it is unknown where the next one goes.
func (a *assembler) broken(l *program.Line) {
	a.missed = true
	if l.Name < 0 {
		a.doubt()
		return
	}
	if int(l.Name) < len(program.Directives()) {
		switch a.src.Names[l.Name] {
		case "in":
			a.lost = true
		case "include":
			a.doubtAll()
			a.lost = true
		case "expect":
		default:
			a.doubt()
		}
		return
	}
	a.skip(a.words[a.word[l.Name]].forms)
}

// skip leaves room for one of the forms.
func (a *assembler) skip(forms []*form) {
	if a.cur < 0 {
		return
	}
	mem := &a.mems[a.cur]
	mem.open = false
	if len(forms) == 0 {
		mem.doubt = true
		return
	}
	for _, f := range forms {
		mem.doubt = mem.doubt || f.size != forms[0].size
	}
	if n := uint64(forms[0].size); n <= mem.size-mem.next {
		mem.next += n
	} else {
		mem.doubt = true
	}
}

// put takes n words of the current memory for a line. It returns false if
// they are not there.
func (a *assembler) put(i int, o *Line, n uint64) bool {
	mem := &a.mems[a.cur]
	if n > mem.size-mem.next {
		if !mem.doubt && !a.lost {
			a.pastEnd(i, n-(mem.size-mem.next))
		}
		a.unsure(i)
		mem.doubt = true
		return false
	}
	if a.total += n; a.total > maxWords {
		a.stopped = true
		a.list.Errorf("program-too-large", a.at(i), "a program puts down %d words at most", maxWords)
		return false
	}
	o.Memory, o.Address = a.cur, mem.next
	if !mem.open {
		mem.runs = append(mem.runs, span{address: mem.next, from: mem.count, first: i, by: mem.placed, doubt: mem.doubt || a.lost})
		mem.open = true
	}
	r := &mem.runs[len(mem.runs)-1]
	r.count += n
	r.last = i
	r.doubt = r.doubt || mem.doubt || a.lost
	mem.count += int(n)
	mem.next += n
	return true
}

// unsure says that a line is not where its label says: what was meant to be
// there does not fit, and that was reported.
func (a *assembler) unsure(line int) {
	if id := a.src.Lines[line].Label; id >= 0 {
		if s := &a.sym[id]; s.kind == label && int(s.line) == line {
			s.state = doubtful
		}
	}
}

func (a *assembler) pastEnd(line int, by uint64) *diag.Diagnostic {
	mem, words := &a.mems[a.cur], "words"
	if by == 1 {
		words = "word"
	}
	name := a.out.Memories[a.cur].Name
	return a.list.Errorf("program-past-end", a.at(line), "this goes %d %s past the end of %s, whose last address is %d (0x%X)", by, words, name, mem.size-1, mem.size-1).
		Note(a.m.Signals[mem.signal].At, "%s is declared here", name)
}

// instruction chooses the form of an instruction and takes its words.
func (a *assembler) instruction(i int, l *program.Line, o *Line) {
	forms := a.words[a.word[l.Name]].forms
	if forms == nil {
		a.unknownMnemonic(l)
		a.strange++
		a.doubt()
		a.missed = true
		return
	}
	if a.cur < 0 {
		a.homeless(l)
		return
	}
	if !a.m.Signals[a.mems[a.cur].signal].Program {
		if !a.lost && !a.missed {
			a.list.Errorf("program-memory", a.named(l), "an instruction goes into the program memory, and this is in %s", a.out.Memories[a.cur].Name).
				Hint = a.backHint()
		}
		a.lost = true // one error until the next `in`
		return
	}
	a.familiar++
	args := a.src.Of(l)
	f := a.choose(forms, args)
	if f == nil {
		a.misfit(l, args, forms)
		a.skip(forms)
		return
	}
	if a.put(i, o, uint64(f.size)) {
		o.Instruction = f.ins
	}
}

func (a *assembler) backHint() string {
	if p := a.programMemory(); p != nil {
		return "go back to it with: in " + p.Name
	}
	return ""
}

// choose returns the form that takes the operands, by number and type.
func (a *assembler) choose(forms []*form, args []program.Arg) *form {
	for _, f := range forms {
		if len(f.operands) != len(args) {
			continue
		}
		if a.mismatches(f, args) == 0 {
			return f
		}
	}
	return nil
}

func (a *assembler) mismatches(f *form, args []program.Arg) int {
	n := 0
	for k := range args {
		if !a.takes(&f.operands[k], &args[k]) {
			n++
		}
	}
	return n
}

// bare returns the name that an argument consists of, or -1.
func (a *assembler) bare(arg *program.Arg) int32 {
	if arg.End-arg.First == 1 {
		if n := &a.src.Nodes[arg.First]; n.Op == program.Name && arg.To-arg.From == n.To-n.From {
			return int32(n.Value)
		}
	}
	return -1
}

// takes reports whether an argument is of the type of an operand.
func (a *assembler) takes(o *operand, arg *program.Arg) bool {
	id := a.bare(arg)
	if o.field >= 0 {
		return id >= 0 && a.pick(id, o.field) >= 0
	}
	// A name that is of the machine is no number.
	return id < 0 || a.word[id] == 0
}

// pick returns the index of a field's choice by name, or -1.
func (a *assembler) pick(id int32, field int) int {
	w := &a.words[a.word[id]]
	if w.choice == nil {
		return -1
	}
	return int(w.choice[field])
}

// unknownMnemonic reports a mnemonic that no instruction has.
func (a *assembler) unknownMnemonic(l *program.Line) {
	id := l.Name
	name := a.src.Names[id]
	d := a.list.Errorf("program-mnemonic", a.named(l), "machine %s has no instruction %s", a.m.Name, short(name)).
		Because("no instruction %s", name)
	// It may be a label without its colon.
	if l.Label < 0 && a.sym[id].kind == unknown {
		a.mute[id] = true
		if args := a.src.Of(l); len(args) > 0 {
			if b := a.bare(&args[0]); b >= 0 && (a.words[a.word[b]].forms != nil || int(b) < len(program.Directives())) {
				a.mute[id] = true
				a.excuses++ // it may be the colon that became a part of the name
				d.Hintf("if %s is a label, a colon follows it: %s: %s", short(name), short(name), a.src.Names[b])
				return
			}
		}
	}
	if near := a.nearest(name, a.mnemonics); near != "" {
		d.Hintf("did you mean %s?", near)
	} else if l.Label < 0 && l.Count == 0 {
		d.Hintf("if %s is a label, a colon follows it", short(name))
	}
	if l.Label < 0 && l.Count == 0 {
		a.excuses++ // the colon may have become a part of the name
	}
}

func (a *assembler) mnemonics() []string {
	seen := map[string]bool{}
	var out []string
	for i := range a.m.Instructions {
		if n := a.m.Instructions[i].Name; !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return append(out, program.Directives()...)
}

// nearest looks for the name that was meant; the same letters in another case
// come first.
func (a *assembler) nearest(name string, candidates func() []string) string {
	if a.hints > maxHints {
		return ""
	}
	list := candidates()
	a.hints += len(list)
	best := ""
	for _, c := range list {
		if strings.EqualFold(c, name) && (best == "" || c < best) {
			best = c
		}
	}
	if best != "" {
		return best
	}
	return diag.Nearest(name, list)
}

// misfit reports operands that no form takes, at the one that is wrong if
// there is just one.
func (a *assembler) misfit(l *program.Line, args []program.Arg, forms []*form) {
	name := a.src.Names[l.Name]
	var same []*form
	for _, f := range forms {
		if len(f.operands) == len(args) {
			same = append(same, f)
		}
	}
	var best *form
	least, ties := 0, 0
	for _, f := range same {
		n := a.mismatches(f, args)
		switch {
		case best == nil || n < least:
			best, least, ties = f, n, 1
		case n == least:
			ties++
		}
	}
	if best != nil && ties == 1 {
		for k := range args {
			if !a.takes(&best.operands[k], &args[k]) {
				a.wrongOperand(l, best, k, &args[k])
				return
			}
		}
	}
	for k := range args {
		if id := a.bare(&args[k]); id >= 0 && a.mute[id] {
			return
		}
	}
	if len(same) == 0 {
		var counts []int
		for _, f := range forms {
			counts = append(counts, len(f.operands))
		}
		sort.Ints(counts)
		at := a.named(l)
		if most := counts[len(counts)-1]; len(args) > most {
			at = a.argAt(l, &args[most]).To(a.argAt(l, &args[len(args)-1]))
		} else if len(args) > 0 {
			at = a.src.Place(l, args[len(args)-1].To, args[len(args)-1].To)
		}
		d := a.list.Errorf("program-operands", at, "%s takes %s, and here %s", short(name), number(counts), given(len(args)))
		a.usages(d, forms)
		return
	}
	d := a.list.Errorf("program-operands", a.argAt(l, &args[0]).To(a.argAt(l, &args[len(args)-1])), "no form of %s takes these operands", short(name))
	a.usages(d, forms)
}

func given(n int) string {
	switch n {
	case 0:
		return "there are none"
	case 1:
		return "there is 1"
	}
	return "there are " + plural(n, "")[:len(plural(n, ""))-2]
}

// number says how many operands there can be.
func number(counts []int) string {
	var list []string
	for i, n := range counts {
		if i > 0 && counts[i-1] == n {
			continue
		}
		switch n {
		case 0:
			list = append(list, "no operand")
		default:
			list = append(list, plural(n, "operand"))
		}
	}
	return anyOf(list)
}

// usages adds what the forms take: as the hint if there is one, else as notes.
func (a *assembler) usages(d *diag.Diagnostic, forms []*form) {
	for k, f := range forms {
		text := a.usage(f)
		if len(forms) == 1 {
			d.Hint = text
			return
		}
		if k == 4 {
			d.Note(diag.Place{}, "and %d more forms", len(forms)-k)
			return
		}
		d.Note(a.m.Instructions[f.ins].At, "%s", text)
	}
}

// usage says how an instruction is written: "move d, s: d is acc or tmp, s is 8 bits".
func (a *assembler) usage(f *form) string {
	ins := &a.m.Instructions[f.ins]
	if len(ins.Operands) == 0 {
		return "write " + short(ins.Name) + " alone"
	}
	var names, types []string
	for k := range ins.Operands {
		names = append(names, short(ins.Operands[k].Name))
		if k < 3 {
			types = append(types, short(ins.Operands[k].Name)+" is "+a.kind(ins, k, 4))
		}
	}
	if len(names) > 6 {
		names = append(names[:6], "...")
	}
	return "write " + short(ins.Name) + " " + strings.Join(names, ", ") + ": " + strings.Join(types, "; ")
}

// kind says what an operand can be.
func (a *assembler) kind(ins *machine.Instruction, k, most int) string {
	o := &ins.Operands[k]
	if o.Field < 0 {
		if o.Relative {
			return "a target address, " + reach(o.Width, true) + " words away"
		}
		return "a number of " + reach(o.Width, o.Signed)
	}
	var names []string
	for i, c := range a.m.Fields[o.Field].Choices {
		if i == most {
			names = append(names, "...")
			break
		}
		names = append(names, short(c.Name))
	}
	return anyOf(names)
}

// wrongOperand reports an argument that is not of the type of its operand.
func (a *assembler) wrongOperand(l *program.Line, f *form, k int, arg *program.Arg) {
	ins := &a.m.Instructions[f.ins]
	o := &ins.Operands[k]
	id := a.bare(arg)
	if id >= 0 && a.mute[id] {
		return
	}
	text := short(a.src.Files[l.File].Text[arg.From:arg.To])
	if o.Field < 0 {
		what := "no number"
		if w := &a.words[a.word[id]]; w.choice != nil {
			for fi, c := range w.choice {
				if c >= 0 {
					what = "a value of field " + a.m.Fields[fi].Name
					break
				}
			}
		} else if w.forms != nil {
			what = "an instruction"
		}
		a.list.Errorf("program-operand", a.argAt(l, arg), "operand %s of %s is %s; %s is %s", short(o.Name), short(ins.Name), a.kind(ins, k, 8), text, what).
			Note(o.At, "%s is declared here", short(o.Name))
		return
	}
	d := a.list.Errorf("program-operand", a.argAt(l, arg), "operand %s of %s is %s, not %s", short(o.Name), short(ins.Name), a.kind(ins, k, 8), text).
		Note(o.At, "%s is declared here", short(o.Name))
	if id >= 0 {
		var names []string
		for _, c := range a.m.Fields[o.Field].Choices {
			names = append(names, c.Name)
		}
		if near := a.nearest(a.src.Names[id], func() []string { return names }); near != "" {
			d.Hintf("did you mean %s?", near)
		}
	}
}
