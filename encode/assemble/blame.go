package assemble

import (
	"fmt"
	"sort"

	"coilwright/lang/diag"
	"coilwright/lang/program"
)

const (
	// maxUses bounds the places that one error names.
	maxUses = 3
	// maxDepth bounds how far one error is followed through constants, which
	// may be as many as the program has lines.
	maxDepth = 100
	// fewStrange is how many unknown mnemonics may be slips, whatever else the
	// program has.
	fewStrange = 5
)

// blame looks for what made an error at one place an error at others too, so
// that one wrong number is told once: among the names in nodes first to end-1 a
// constant that by itself fits no better, or a label that was put too far away.
func (a *assembler) blame(d *diag.Diagnostic, first, end uint32, fits func(num) bool) {
	if id := a.badConstant(first, end, fits); id >= 0 {
		s := &a.sym[id]
		d.Because("constant %s", a.src.Names[id]).Note(a.where(s), "%s is %s", short(a.src.Names[id]), s.value)
		if a.blamed == nil {
			a.blamed = map[string]int32{}
		}
		a.blamed[d.Root] = id
		return
	}
	for _, n := range a.src.Nodes[first:end] {
		if n.Op != program.Name {
			continue
		}
		if s := &a.sym[n.Value]; s.kind == label && s.state == ready && !fits(s.value) {
			d.Because("labels beyond line %d", a.placedBy(int(s.mem), int(s.line))).
				Note(a.where(s), "%s is at %s", short(a.src.Names[n.Value]), addresses(s.value.mag, s.value.mag))
			return
		}
	}
}

// badConstant follows constants to the one whose own number does not fit, -1
// without.
func (a *assembler) badConstant(first, end uint32, fits func(num) bool) int32 {
	found := int32(-1)
	for i := first; i < end; i++ {
		n := &a.src.Nodes[i]
		if n.Op == program.Slice || n.Op == program.Bit {
			return -1 // a large constant cut to size is what was meant
		}
	}
	depth := 0
	for i := first; i < end && depth < maxDepth; i++ {
		n := &a.src.Nodes[i]
		if n.Op != program.Name {
			continue
		}
		if s := &a.sym[n.Value]; s.kind == constant && s.state == ready && !fits(s.value) {
			found = int32(n.Value)
			arg := &a.src.Of(&a.src.Lines[s.line])[0]
			first, end = arg.First, arg.End
			i = first - 1
			depth++
		}
	}
	return found
}

// placedBy returns the `at` or `space` that a line comes after in its memory, -1
// if all from the start follows on.
func (a *assembler) placedBy(mem, line int) int {
	runs := a.mems[mem].runs
	i := sort.Search(len(runs), func(i int) bool { return runs[i].last >= line })
	if i < len(runs) {
		return runs[i].by
	}
	return a.mems[mem].placed
}

// tooFar is blame for a distance that does not fit: whatever lies between the
// ends, they were put too far apart by the same line.
func (a *assembler) tooFar(d *diag.Diagnostic, line int, arg *program.Arg) {
	id := a.bare(arg)
	if id < 0 {
		return
	}
	switch s := &a.sym[id]; s.kind {
	case constant:
		a.blame(d, arg.First, arg.End, func(num) bool { return false })
	case label:
		by := max(a.placedBy(int(s.mem), int(s.line)), a.placedBy(a.out.Lines[line].Memory, line))
		if by > min(line, int(s.line)) {
			d.Because("distance over line %d", by)
		}
	}
}

// unite puts what one constant did wrong in several places into one error at
// the constant.
func (a *assembler) unite() {
	if len(a.blamed) == 0 {
		return
	}
	uses := map[string][]diag.Diagnostic{}
	for _, d := range a.list {
		if _, ok := a.blamed[d.Root]; ok {
			uses[d.Root] = append(uses[d.Root], d)
		}
	}
	var out diag.List
	for _, d := range a.list {
		all := uses[d.Root]
		if len(all) < 2 {
			out = append(out, d)
			continue
		}
		if all[0].At != d.At {
			continue
		}
		s := &a.sym[a.blamed[d.Root]]
		l := &a.src.Lines[s.line]
		one := diag.Diagnostic{Name: d.Name, At: a.argAt(l, &a.src.Of(l)[0]), Hint: d.Hint,
			Text: fmt.Sprintf("%s is %s, which will not do in %d places", short(a.src.Names[l.Name]), s.value, len(all))}
		for i, use := range all {
			if i == maxUses {
				one.Note(diag.Place{}, "and at %s more", plural(len(all)-i, "place"))
				break
			}
			one.Note(use.At, "%s", use.Text)
		}
		out = append(out, one)
	}
	a.list = out
}

// foreign tells mnemonics that are nearly all unknown once: the program is for
// another machine.
func (a *assembler) foreign() {
	if a.strange <= fewStrange || a.strange <= 3*a.familiar {
		return
	}
	first := true
	for i := range a.list {
		switch d := &a.list[i]; d.Name {
		case "program-expect":
			d.Because("another machine")
		case "program-mnemonic":
			d.Because("another machine")
			if first {
				d.Hintf("%d of %d instructions are not among those of %s: is this program for another machine?", a.strange, a.strange+a.familiar, a.m.Name)
			}
			first = false
		}
	}
}
