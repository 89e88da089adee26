package machine

import (
	"fmt"
	"slices"
	"strings"

	"coilwright/encode/store"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/number"
)

func (r *resolver) fieldDecls() {
	for _, d := range r.src.Decls {
		f, ok := d.(*definition.Field)
		if !ok {
			continue
		}
		if i, dup := r.fields[f.Name.Text]; dup {
			r.repeated(fieldSpace, f.Name, "field "+f.Name.Text, r.m.Fields[i].At)
			r.badField[i] = true // which of the two a use means is not known
			continue
		}
		index := len(r.m.Fields)
		r.fields[f.Name.Text] = index
		out := Field{Name: f.Name.Text, At: f.Name.At}
		w, good := r.count(f.Width, "the width of field "+out.Name+" in bits", 1, MaxOpcode)
		out.Width = int(w)
		seen := map[string]diag.Place{}
		bitsAt := map[uint64]diag.Place{}
		for _, c := range f.Choices {
			choice, ok := r.choice(&out, c, good)
			good = good && ok
			if first, dup := seen[c.Name.Text]; dup {
				r.repeated("value of "+f.Name.Text, c.Name, "value "+c.Name.Text, first)
				good = false
				continue
			}
			seen[c.Name.Text] = c.Name.At
			if ok {
				if first, dup := bitsAt[choice.Bits]; dup {
					r.list.Errorf("field-bits", c.Bits.At, "two values of field %s have the bits %s", out.Name, c.Bits.Text).Note(first, "first here")
					good = false
				}
				bitsAt[choice.Bits] = c.Bits.At
			}
			out.Choices = append(out.Choices, choice)
		}
		if len(f.Choices) == 0 {
			r.list.Errorf("field-empty", f.Name.At, "field %s has no values", out.Name).
				Hintf("write, for example: field %s 2 { acc = 00 : acc_l }", out.Name)
			good = false
		}
		r.m.Fields = append(r.m.Fields, out)
		r.badField = append(r.badField, !good)
		r.usedField = append(r.usedField, false)
	}
}

func (r *resolver) choice(f *Field, c definition.Choice, widthKnown bool) (Choice, bool) {
	out := Choice{Name: c.Name.Text, At: c.Name.At}
	good := widthKnown
	p, err := number.Bits(c.Bits.Text)
	switch {
	case err != nil:
		r.list.Errorf("number-bad", c.Bits.At, "%v", err)
		good = false
	case p.Care != p.Mask():
		r.list.Errorf("field-bits", c.Bits.At, "the bits of a field value are all given: the assembler has to write them").
			Hintf("? stands in encodings only")
		good = false
	case widthKnown && p.Width != f.Width:
		r.list.Errorf("field-bits", c.Bits.At, "field %s has %s, %s has %d", f.Name, plural(f.Width, "bit"), c.Bits.Text, p.Width).
			Hintf("every value of a field has as many bits as the field")
		r.blame("field " + f.Name)
		good = false
	}
	out.Bits = p.Value
	for _, n := range c.Lines {
		if n.Text == "none" {
			out.None = true
			continue
		}
		l, ok := r.lineName(n)
		if !ok {
			good = false
			continue
		}
		if r.badLine[l] {
			good = false
		}
		if r.m.Lines[l].Kind == store.Restart && !r.badLine[l] {
			r.restartNamed(n)
			good = false
		}
		out.Lines = append(out.Lines, l)
	}
	return out, good
}

func (r *resolver) restartNamed(n definition.Name) {
	r.list.Errorf("restart-in-step", n.At, "%s restarts the ring: it is placed at the end of every path by itself", n.Text).
		Hintf("leave it out")
}

// lineName resolves the name of a line. The bool is false after an error.
func (r *resolver) lineName(n definition.Name) (int, bool) {
	ent, ok := r.path[n.Text]
	if !ok {
		r.missing(datapathSpace, n, func() []string { return append(r.datapathNames(lineNames), "none") })
		return 0, false
	}
	if ent.kind != lineEntity {
		d := r.list.Errorf("not-a-line", n.At, "%s is no line", r.describe(n.Text, ent))
		if ent.kind == signalEntity {
			r.usedSignal[ent.index] = true
			if near := r.linesOf(ent.index); near != "" {
				d.Hintf("the lines of %s are %s", n.Text, near)
			}
		}
		r.blame(nameCause(n.Text))
		return 0, false
	}
	r.usedLine[ent.index] = true
	return ent.index, true
}

// linesOf lists the lines that read or set a signal, for a hint.
func (r *resolver) linesOf(signal int) string {
	var names []string
	for i := range r.m.Lines {
		l := &r.m.Lines[i]
		for _, t := range l.Effects {
			if t.Target.Signal == signal || t.Source.Op == Read && t.Source.Signal == signal {
				names = append(names, l.Name)
				break
			}
		}
		if len(names) == 4 {
			break
		}
	}
	return strings.Join(names, ", ")
}

func (r *resolver) sequenceDecls() {
	for _, d := range r.src.Decls {
		if s, ok := d.(*definition.Sequence); ok {
			if first, dup := r.sequences[s.Name.Text]; dup {
				r.repeated(sequenceSpace, s.Name, "sequence "+s.Name.Text, first.Name.At)
				r.muted[s.Name.Text] = true
				continue
			}
			r.sequences[s.Name.Text] = s
		}
	}
}

// builder turns blocks into nodes for one body. choice gives, by operand, the
// field value chosen (-1: none), and is nil where there are no operands.
type builder struct {
	r       *resolver
	ins     *Instruction
	fetch   bool // the body of fetch, which alone latches the opcode
	choice  []int
	uses    map[int]bool // operands that a step or hold names
	bad     bool
	seqs    []string     // `do`s on the way, outermost first
	via     []diag.Place // where they stand
	decided map[int]definition.Name
}

func (b *builder) fail() { b.bad = true }

func (b *builder) block(blk *definition.Block) []Node {
	if len(blk.Stmts) == 0 {
		return nil
	}
	out := make([]Node, 0, len(blk.Stmts))
	for _, s := range blk.Stmts {
		out = append(out, b.stmt(s)...)
	}
	return out
}

func (b *builder) stmt(s definition.Stmt) []Node {
	r := b.r
	if _, isDo := s.(*definition.Do); !isDo && len(b.via) > 0 && !b.paste(s.Place()) {
		return nil
	}
	via := b.via // every do makes a new list: the statements in it share one
	switch s := s.(type) {
	case *definition.Step:
		n := Node{Kind: Step, At: s.At, Via: via}
		b.names(&n, s.Names)
		return []Node{n}
	case *definition.Hold:
		n := Node{Kind: Hold, At: s.At, Via: via}
		b.names(&n, s.Names)
		for _, l := range n.Lines {
			switch r.m.Lines[l].Kind {
			case store.Gate, store.Select, store.Output:
			default:
				if !r.badLine[l] {
					r.list.Errorf("hold-kind", n.Place(l), "%s line %s cannot be held", r.m.Lines[l].Kind, r.m.Lines[l].Name).
						Hintf("gates, select lines and outputs can; a latch belongs to a step")
				}
				b.fail()
			}
		}
		if n.None {
			r.list.Errorf("hold-kind", placeOf("none", s.Names), "none cannot be held").Hintf("put it into the step that latches the undriven bus")
			b.fail()
		}
		good := !b.bad
		n.Then = b.block(&s.Body)
		if good && !b.bad && !anyStep(n.Then) {
			r.list.Errorf("hold-empty", s.At, "no step stands inside this hold, so nothing is held").
				Hintf("put the steps inside in which the lines stay on; for a line that is on once, write a step")
			b.fail()
		}
		return []Node{n}
	case *definition.When:
		n := Node{Kind: When, At: s.At, Via: via, Not: s.Not, Flag: -1}
		ent, ok := r.path[s.Flag.Text]
		var test int
		decided := false
		switch {
		case !ok:
			r.missing(datapathSpace, s.Flag, func() []string { return r.datapathNames(r.isFlag) })
			b.fail()
		case !r.isFlag(ent):
			r.list.Errorf("not-a-flag", s.Flag.At, "%s is no flag", r.describe(s.Flag.Text, ent)).
				Hintf("declare a flag, and a line that latches it")
			r.blame(nameCause(s.Flag.Text))
			b.fail()
		default:
			test = ent.index
			n.Flag = test
			r.usedSignal[test] = true
			if first, dup := b.decided[test]; dup {
				r.list.Errorf("dead-arm", s.Flag.At, "%s is already decided on this path: a path may test a flag only once, latched anew or not", s.Flag.Text).
					Note(first.At, "it is tested first here").
					Hintf("take one of the tests out; for a new value, latch another flag and test that one")
				b.fail()
				decided = true
			}
		}
		open := n.Flag >= 0 && !decided
		if open {
			b.decided[test] = s.Flag
		}
		// What is decided inside an arm is undecided again after it only on
		// the paths of the other arm; tests that follow see both.
		before := copyDecided(b.decided)
		then := b.block(&s.Then)
		afterThen := b.decided
		b.decided = before
		var els []Node
		if s.Else != nil {
			els = b.block(s.Else)
		}
		for k, v := range afterThen {
			if _, ok := b.decided[k]; !ok {
				b.decided[k] = v
			}
		}
		n.Then, n.Else = then, els
		if s.Not {
			n.Then, n.Else = els, then
		}
		return []Node{n}
	case *definition.Pack:
		r.list.Errorf("pack-not-yet", s.At, "pack is not built yet: steps that share a strobe have to be written as one step").
			Hintf("write the steps of the block as one step where the datapath allows it")
		b.fail()
		return []Node{{Kind: Pack, At: s.At, Via: via}}
	case *definition.Wait:
		v, ok := r.count(s.Phases, "the number of phases to wait", 0, MaxPhases)
		if !ok {
			b.fail()
		}
		return []Node{{Kind: Wait, Wait: int(v), At: s.At, Via: via}}
	case *definition.Do:
		return b.do(s)
	case *definition.Except:
		r.list.Errorf("except-place", s.At, "except stands directly in the block of an instruction").
			Hintf("move it out of the inner block, to the first line below the encoding")
		b.fail()
	}
	return nil
}

func anyStep(nodes []Node) bool {
	for i := range nodes {
		if n := &nodes[i]; n.Kind == Step || anyStep(n.Then) || anyStep(n.Else) {
			return true
		}
	}
	return false
}

func copyDecided(m map[int]definition.Name) map[int]definition.Name {
	out := make(map[int]definition.Name, len(m))
	for k, v := range m {
		out[k] = v
	}
	return out
}

// maxPasted bounds what all `do`s of a definition may paste, each `do` itself
// counted: sequences of sequences grow as a power of their depth.
const maxPasted = 200000

func (b *builder) do(s *definition.Do) []Node {
	r := b.r
	seq, ok := r.sequences[s.Name.Text]
	if !ok {
		var names []string
		for n := range r.sequences {
			names = append(names, n)
		}
		r.missing(sequenceSpace, s.Name, func() []string { return sorted(names) })
		b.fail()
		return nil
	}
	r.usedSeq[s.Name.Text] = true
	if r.looped[s.Name.Text] {
		b.fail()
		return nil
	}
	for i, n := range b.seqs {
		if n == s.Name.Text {
			for _, member := range b.seqs[i:] {
				r.looped[member] = true
			}
			r.list.Errorf("sequence-loop", s.At, "sequence %s does itself: %s", n, strings.Join(append(b.seqs[i:], n), ", which does "))
			b.fail()
			return nil
		}
	}
	// What is too much is seen before it is pasted.
	if !b.paste(s.At) || len(b.via) == 0 && !b.fits(seq, s.At) {
		return nil
	}
	b.seqs = append(b.seqs, s.Name.Text)
	around := b.via
	b.via = slices.Concat(around, []diag.Place{s.At})
	out := b.block(&seq.Body)
	b.seqs = b.seqs[:len(b.seqs)-1]
	b.via = around
	return out
}

// fits reports whether a sequence may be pasted. Past the limit it says so as
// paste does; the sequences inside are then read by themselves for what else is
// wrong in them.
func (b *builder) fits(seq *definition.Sequence, at diag.Place) bool {
	r := b.r
	n, loops := r.size(seq)
	if loops || r.pasted+n <= maxPasted {
		return true
	}
	var inside func(seq *definition.Sequence)
	inside = func(seq *definition.Sequence) {
		name := seq.Name.Text
		if !r.unread[name] {
			r.usedSeq[name], r.unread[name] = true, true
			r.eachDo(&seq.Body, inside)
		}
	}
	inside(seq)
	r.pasted = maxPasted
	return b.paste(at)
}

// size is the number of statements that a `do` of a sequence pastes, as paste
// counts them, or maxPasted+1 if it is more; loops is true if it does itself.
func (r *resolver) size(seq *definition.Sequence) (n int, loops bool) {
	if n, ok := r.sizes[seq]; ok {
		return max(0, n), n < 0
	}
	r.sizes[seq] = -1
	n = count(&seq.Body)
	r.eachDo(&seq.Body, func(inner *definition.Sequence) {
		m, round := r.size(inner)
		n, loops = min(n+m, maxPasted+1), loops || round
	})
	if !loops {
		r.sizes[seq] = n
	}
	return n, loops
}

// count is the number of statements in a block, those in the blocks of them included.
func count(b *definition.Block) int {
	n := len(b.Stmts)
	for _, s := range b.Stmts {
		for _, inner := range blocks(s) {
			n += count(inner)
		}
	}
	return n
}

// eachDo visits the sequences that a block does.
func (r *resolver) eachDo(b *definition.Block, visit func(*definition.Sequence)) {
	for _, s := range b.Stmts {
		if do, ok := s.(*definition.Do); ok && r.sequences[do.Name.Text] != nil {
			visit(r.sequences[do.Name.Text])
		}
		for _, inner := range blocks(s) {
			r.eachDo(inner, visit)
		}
	}
}

// blocks lists the blocks of a statement.
func blocks(s definition.Stmt) []*definition.Block {
	switch s := s.(type) {
	case *definition.When:
		if s.Else != nil {
			return []*definition.Block{&s.Then, s.Else}
		}
		return []*definition.Block{&s.Then}
	case *definition.Hold:
		return []*definition.Block{&s.Body}
	}
	return nil
}

// paste counts one statement more that the `do` at a place brings; past the
// limit it reports the first, by the outermost `do`, and fails.
func (b *builder) paste(at diag.Place) bool {
	r := b.r
	if r.pasted++; r.pasted <= maxPasted {
		return true
	}
	if r.pasted == maxPasted+1 {
		if len(b.via) > 0 {
			at = b.via[0]
		}
		r.list.Errorf("sequence-size", at, "the sequences of this definition paste more than %d statements; this one goes over", maxPasted)
	}
	b.fail()
	return false
}

// names resolves the names of a step or a hold: operands first, then lines.
func (b *builder) names(n *Node, names []definition.Name) {
	r := b.r
	add := func(l int, at diag.Place) {
		for _, have := range n.Lines {
			if have == l {
				return
			}
		}
		if r.badLine[l] {
			b.fail()
		}
		n.Lines, n.Where = append(n.Lines, l), append(n.Where, at)
		if o := r.m.Opcode.Signal; !b.fetch && o >= 0 && !r.opcodeDoubt && r.m.Lines[l].Writes(o) != 0 {
			r.list.Errorf("opcode-strobe", at, "%s latches the opcode register %s outside fetch", r.m.Lines[l].Name, r.m.Signals[o].Name).
				Hintf("the opcode stays as fetched until the instruction ends")
			r.blame(nameCause(r.m.Lines[l].Name), StepCause(n.At).Key)
			b.fail()
		}
	}
	for i, name := range names {
		if name.Text == "none" {
			n.None = true
			continue
		}
		if op := b.operand(name.Text); op >= 0 {
			b.pick(n, op, name, add)
			continue
		}
		if r.strangers[name.Text] {
			b.fail()
			continue
		}
		if _, declared := r.path[name.Text]; !declared && i > 0 && definition.IsStatement(name.Text) {
			// What follows belongs to another statement.
			if !r.muted[name.Text] {
				r.list.Errorf("syntax-keyword", name.At, "%s begins a statement, and stands behind another one", name.Text).
					Hintf("each statement stands on a line of its own")
			}
			b.fail()
			return
		}
		l, ok := r.lineName(name)
		if !ok {
			b.fail()
			continue
		}
		if r.m.Lines[l].Kind == store.Restart && !r.badLine[l] {
			r.restartNamed(name)
			b.fail()
			continue
		}
		add(l, name.At)
	}
}

// placeOf is where a name stands in a list that has it.
func placeOf(name string, names []definition.Name) diag.Place {
	for _, n := range names {
		if n.Text == name {
			return n.At
		}
	}
	return diag.Place{}
}

func (b *builder) operand(name string) int {
	if b.ins == nil {
		return -1
	}
	for i := range b.ins.Operands {
		if b.ins.Operands[i].Name == name {
			return i
		}
	}
	return -1
}

// pick replaces an operand in a step by the lines of the value chosen.
func (b *builder) pick(n *Node, op int, name definition.Name, add func(int, diag.Place)) {
	o := &b.ins.Operands[op]
	if o.Field < 0 {
		if o.Width > 0 {
			b.r.list.Errorf("operand-in-step", name.At, "operand %s is a number and picks no line", o.Name).
				Note(o.At, "declared here").Hintf("a step takes operands of a field, whose values name lines")
			b.r.blame(operandBlame(b.ins, o.Name), wordCause(name.At))
		}
		b.fail()
		return
	}
	b.uses[op] = true
	if b.choice == nil || b.choice[op] < 0 {
		return
	}
	c := &b.r.m.Fields[o.Field].Choices[b.choice[op]]
	n.None = n.None || c.None
	for _, l := range c.Lines {
		add(l, name.At)
	}
}

// bodies resolves fetch, sequences that nothing pastes, and instructions.
func (r *resolver) bodies() {
	fetch := once[*definition.Fetch](r, "fetch")
	fetchTests := map[int]definition.Name{}
	if fetch == nil {
		r.m.FetchBroken = true
		if !r.absent("fetch") && !r.bodyInBlock() {
			r.list.Errorf("fetch-missing", r.top(), "the definition has no fetch, which starts every instruction").
				Hintf("write, for example: fetch { step pc_g ram_g ir_l }")
			r.again()
		}
	} else {
		r.m.FetchAt = fetch.At
		b := &builder{r: r, fetch: true, decided: fetchTests, uses: map[int]bool{}}
		r.m.Fetch = b.block(&fetch.Body)
		r.m.FetchBroken = b.bad
		fetchTests = b.decided
		if !b.bad {
			r.fetchOpcode(fetch)
		}
	}
	for _, d := range r.src.Decls {
		if ins, ok := d.(*definition.Instruction); ok {
			r.instruction(ins, fetchTests)
		}
	}
	for _, d := range r.src.Decls {
		s, ok := d.(*definition.Sequence)
		if !ok || r.sequences[s.Name.Text] != s || r.usedSeq[s.Name.Text] && !r.unread[s.Name.Text] {
			continue
		}
		b := &builder{r: r, decided: map[int]definition.Name{}, uses: map[int]bool{}, seqs: []string{s.Name.Text}}
		b.block(&s.Body)
		if !r.unread[s.Name.Text] {
			delete(r.usedSeq, s.Name.Text)
		}
	}
	r.signatures()
	r.overlaps()
	tested := map[int]bool{}
	collectTests(r.m.Fetch, tested)
	for i := range r.m.Instructions {
		seen := map[*Node]bool{}
		for _, v := range r.m.Instructions[i].Variants {
			if len(v.Body) > 0 && !seen[&v.Body[0]] {
				seen[&v.Body[0]] = true
				collectTests(v.Body, tested)
			}
		}
	}
	for i := range r.m.Signals {
		if tested[i] {
			r.m.Tested = append(r.m.Tested, i)
		}
	}
}

func collectTests(nodes []Node, tested map[int]bool) {
	for i := range nodes {
		if nodes[i].Kind == When && nodes[i].Flag >= 0 {
			tested[nodes[i].Flag] = true
		}
		collectTests(nodes[i].Then, tested)
		collectTests(nodes[i].Else, tested)
	}
}

// fetchOpcode checks that fetch strobes the whole opcode slice outside any `when` (language.md P.13).
func (r *resolver) fetchOpcode(fetch *definition.Fetch) {
	o := r.m.Opcode
	if o.Signal < 0 || r.badSignal[o.Signal] || r.opcodeDoubt {
		r.m.FetchBroken = r.m.FetchBroken || o.Signal < 0
		return
	}
	var have uint64
	bad := false
	var walk func(nodes []Node, inWhen bool)
	walk = func(nodes []Node, inWhen bool) {
		for i := range nodes {
			n := &nodes[i]
			if n.Kind == Step {
				for _, l := range n.Lines {
					m := r.m.Lines[l].Writes(o.Signal)
					if m == 0 {
						continue
					}
					if inWhen {
						r.list.Errorf("opcode-strobe", n.Place(l), "fetch latches the opcode register %s inside a when", r.m.Signals[o.Signal].Name).
							Hintf("latch it before the when, in every case")
						bad = true
					}
					have |= m
				}
			}
			walk(n.Then, inWhen || n.Kind == When)
			walk(n.Else, true)
		}
	}
	walk(r.m.Fetch, false)
	if bad {
		r.m.FetchBroken = true
		return
	}
	if want := Bits(o.Hi, o.Lo); have&want != want {
		name := r.m.Signals[o.Signal].Name
		r.m.FetchBroken = true
		var latches []string
		for i := range r.m.Lines {
			if r.m.Lines[i].Writes(o.Signal) != 0 && !r.badLine[i] {
				latches = append(latches, r.m.Lines[i].Name)
			}
		}
		if len(latches) == 0 && (r.anyBadLine() || r.absent("line")) {
			return
		}
		text := fmt.Sprintf("fetch does not latch the opcode register %s", name)
		if have&want != 0 {
			text = fmt.Sprintf("fetch latches only some bits of the opcode in %s", name)
		}
		d := r.list.Errorf("opcode-strobe", fetch.At, "%s", text)
		if len(latches) > 0 {
			d.Hintf("the lines that latch it: %s", strings.Join(latches, ", "))
		} else {
			d.Hintf("declare a line that latches it: line %s_l : data -> %s", name, name)
		}
	}
}

// bodyInBlock reports whether a card or connector without a name holds steps:
// then the keyword of a body has been mistyped, and that has been said.
func (r *resolver) bodyInBlock() bool {
	for _, d := range r.src.Decls {
		b, ok := d.(*definition.Settings)
		if !ok || b.Name != nil || b.Keyword != "card" && b.Keyword != "connector" {
			continue
		}
		for _, set := range b.Settings {
			if set.Name != nil && (set.Name.Text == "step" || set.Name.Text == "do") {
				return true
			}
		}
	}
	return false
}
