package machine

import (
	"fmt"
	"sort"
	"strings"

	"coilwright/encode/cube"
	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/number"
)

func sorted(names []string) []string {
	sort.Strings(names)
	return names
}

func (r *resolver) instruction(d *definition.Instruction, fetchTests map[int]definition.Name) {
	ins := Instruction{Name: d.Name.Text, At: d.Name.At}
	r.strangers, r.nameless = map[string]bool{}, false
	defer func() { r.strangers, r.nameless = nil, false }()
	good := true
	for _, o := range d.Operands {
		op, ok := r.operand(&ins, o)
		good = good && ok
		ins.Operands = append(ins.Operands, op)
	}
	good = r.words(&ins, d) && good
	var body *definition.Block
	if d.Body != nil {
		rest := *d.Body
		rest.Stmts = nil
		for _, s := range d.Body.Stmts {
			if e, ok := s.(*definition.Except); ok {
				good = r.except(&ins, e) && good
				continue
			}
			rest.Stmts = append(rest.Stmts, s)
		}
		body = &rest
	}
	// Names and tests do not depend on the values chosen, so one pass without
	// values finds their errors.
	b := &builder{r: r, ins: &ins, decided: copyDecided(fetchTests), uses: map[int]bool{}}
	if body != nil {
		b.block(body)
		good = good && !b.bad
	}
	for op := range ins.Operands {
		if !b.uses[op] || !good {
			continue
		}
		good = r.decodable(&ins, d, op)
	}
	if good {
		good = r.variants(&ins, body, b.uses)
	}
	ins.Broken = !good
	r.m.Instructions = append(r.m.Instructions, ins)
}

func (r *resolver) operand(ins *Instruction, o definition.Operand) (Operand, bool) {
	out := Operand{Name: o.Name.Text, Field: -1, At: o.Name.At}
	good := true
	for _, have := range ins.Operands {
		if have.Name == out.Name {
			r.repeated("operand", o.Name, "operand "+out.Name, have.At)
			r.nameless = true
			return out, false
		}
	}
	if ent, ok := r.path[out.Name]; ok {
		r.list.Errorf("operand-hides", o.Name.At, "operand %s has the name of %s", out.Name, r.describe(out.Name, ent)).
			Note(ent.at, "declared here").Hintf("give the operand another name")
		r.astray(datapathSpace, nameCause(out.Name))
		r.nameless = true
		return out, false // a use of the name may mean either: nothing is said about it
	}
	if o.Field != nil {
		i, ok := r.fields[o.Field.Text]
		if !ok {
			var names []string
			for n := range r.fields {
				names = append(names, n)
			}
			r.missing(fieldSpace, *o.Field, func() []string { return sorted(names) })
			good = false
		} else {
			r.usedField[i] = true
			out.Field, out.Width = i, r.m.Fields[i].Width
			good = good && !r.badField[i]
		}
		for _, t := range o.Traits {
			r.list.Errorf("operand-trait", t.At, "an operand of a field cannot be %s", t.Text)
			good = false
			break
		}
		return out, good
	}
	w, ok := r.count(*o.Width, "the width of operand "+out.Name+" in bits", 1, MaxWidth)
	out.Width = int(w)
	good = good && ok
	for _, t := range o.Traits {
		switch t.Text {
		case "relative":
			out.Relative = true
		case "signed":
			out.Signed = true
		default:
			e := r.list.Errorf("operand-trait", t.At, "an operand is relative or signed, not %s", t.Text)
			if near := diag.Nearest(t.Text, []string{"relative", "signed"}); near != "" {
				e.Hintf("did you mean %s?", near)
			}
			return out, false
		}
	}
	return out, good
}

// words resolves the encoding (language.md E.1, E.2).
func (r *resolver) words(ins *Instruction, d *definition.Instruction) bool {
	good := true
	program := r.m.program()
	covered := make([]uint64, len(ins.Operands))
	for i, w := range d.Words {
		out := Word{}
		known := true
		for _, p := range w.Parts {
			part, ok := r.part(ins, p, covered)
			if !ok {
				good = false
			}
			if part.Width == 0 {
				known = false
			}
			out.Width += part.Width
			out.Parts = append(out.Parts, part)
		}
		switch {
		case !known:
		case i == 0:
			o := r.m.Opcode
			if o.Signal < 0 || r.badSignal[o.Signal] || r.opcodeDoubt {
				good = false
				break
			}
			reg := &r.m.Signals[o.Signal]
			if out.Width != reg.Width {
				r.list.Errorf("word-width", w.At, "the first word of %s is %s, the opcode register %s has %d",
					ins.Name, plural(out.Width, "bit"), reg.Name, reg.Width).
					Note(reg.At, "%s is declared here", reg.Name).Hintf("%s", sum(&out, w, reg.Width))
				r.blame(append(r.wordBlame(ins, &out), widthCause(reg.Name), "words of "+ins.At.String())...)
				good = false
				break
			}
			good = r.outside(ins, &out, w) && good
		case program == nil:
			if !r.absent("memory") && !r.muted["program"] && !r.doubtful[Memory] {
				r.list.Errorf("program-missing", w.At, "%s has more than one word, and no memory holds the program", ins.Name).
					Hintf("mark one: memory ram 256 x 8 program")
				r.blame("no program memory")
				r.again()
			}
			good = false
		case program.Width > 0 && out.Width != program.Width:
			r.list.Errorf("word-width", w.At, "word %d of %s is %s, memory %s has %d", i+1, ins.Name, plural(out.Width, "bit"), program.Name, program.Width).
				Note(program.At, "%s is declared here", program.Name).Hintf("%s", sum(&out, w, program.Width))
			r.blame(append(r.wordBlame(ins, &out), widthCause(program.Name), "words of "+ins.At.String())...)
			good = false
		}
		ins.Words = append(ins.Words, out)
	}
	for op, o := range ins.Operands {
		if !good || o.Width == 0 {
			continue
		}
		if left := Bits(o.Width-1, 0) &^ covered[op]; left != 0 {
			d := r.list.Errorf("operand-bits", o.At, "the encoding of %s leaves out %s of operand %s", ins.Name, bitList(left), o.Name)
			d.Hintf("every bit of an operand appears once: %s, or %s[%d:0]", o.Name, o.Name, o.Width-1)
			good = false
		}
	}
	return good
}

// sum shows how the width of a word comes about and what it should be:
// "2 bits are missing: 2 (01) + 2 (d) + 2 (00) = 6".
func sum(w *Word, src definition.Word, want int) string {
	parts := make([]string, len(w.Parts))
	for i, p := range w.Parts {
		name := ""
		if src.Parts[i].Bits != nil {
			name = src.Parts[i].Bits.Text
		} else {
			name = src.Parts[i].Ref.Text
		}
		parts[i] = fmt.Sprintf("%d (%s)", p.Width, name)
	}
	off, what := want-w.Width, "missing"
	if off < 0 {
		off, what = -off, "too many"
	}
	verb := "are"
	if off == 1 {
		verb = "is"
	}
	text := fmt.Sprintf("%s %s %s", plural(off, "bit"), verb, what)
	if len(parts) > 1 {
		text += fmt.Sprintf(": %s = %d", strings.Join(parts, " + "), w.Width)
	}
	return text
}

// wordBlame names the operands of a word and their fields.
func (r *resolver) wordBlame(ins *Instruction, w *Word) []string {
	var out []string
	for _, p := range w.Parts {
		if p.Operand < 0 {
			continue
		}
		o := &ins.Operands[p.Operand]
		out = append(out, operandBlame(ins, o.Name))
		if o.Field >= 0 {
			out = append(out, "field "+r.m.Fields[o.Field].Name)
		}
	}
	return out
}

func operandBlame(ins *Instruction, name string) string {
	return "operand " + name + " of " + ins.At.String()
}

func appear(m uint64) string {
	if m&(m-1) == 0 {
		return "appears"
	}
	return "appear"
}

// bitRange names the bits of a slice: "bit 3", "bits 7 to 4".
func bitRange(hi, lo int) string { return bitList(Bits(hi, lo)) }

// bitList names the bits of a mask: "bit 3", "bits 7 to 4", "bits 7, 3 and 1".
func bitList(m uint64) string {
	var list []int
	for i := 63; i >= 0; i-- {
		if m>>i&1 == 1 {
			list = append(list, i)
		}
	}
	if len(list) == 1 {
		return fmt.Sprintf("bit %d", list[0])
	}
	if list[0]-list[len(list)-1] == len(list)-1 {
		return fmt.Sprintf("bits %d to %d", list[0], list[len(list)-1])
	}
	parts := make([]string, len(list))
	for i, b := range list {
		parts[i] = fmt.Sprint(b)
	}
	return "bits " + strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

func (r *resolver) part(ins *Instruction, p definition.Part, covered []uint64) (Part, bool) {
	if p.Bits != nil {
		b, err := number.Bits(p.Bits.Text)
		if err != nil {
			r.list.Errorf("number-bad", p.Bits.At, "%v", err)
			return Part{Operand: -1}, false
		}
		return Part{Operand: -1, Width: b.Width, Care: b.Care, Value: b.Value}, true
	}
	op := -1
	for i := range ins.Operands {
		if ins.Operands[i].Name == p.Ref.Text {
			op = i
		}
	}
	if op < 0 {
		var names []string
		for _, o := range ins.Operands {
			names = append(names, o.Name)
		}
		if !r.muted[p.Ref.Text] && !r.strangers[p.Ref.Text] && !r.nameless {
			d := r.list.Errorf("unknown-operand", p.Ref.At, "%s has no operand %s", ins.Name, p.Ref.Text)
			if near := diag.Nearest(p.Ref.Text, names); near != "" {
				d.Hintf("did you mean %s?", near)
			} else if len(names) > 0 {
				d.Hintf("its operands are %s", strings.Join(names, ", "))
			} else {
				d.Hintf("declare it before the =: instruction %s %s:8 = ...", ins.Name, p.Ref.Text)
			}
		}
		r.strangers[p.Ref.Text] = true
		return Part{Operand: -1}, false
	}
	o := &ins.Operands[op]
	if o.Width == 0 {
		return Part{Operand: op}, false
	}
	out := Part{Operand: op, Width: o.Width, Hi: o.Width - 1}
	if p.Hi != nil {
		hi, ok := r.count(*p.Hi, "a bit of operand "+o.Name, 0, uint64(o.Width-1))
		lo := hi
		if ok && p.Lo != nil {
			lo, ok = r.count(*p.Lo, "a bit of operand "+o.Name, 0, uint64(o.Width-1))
		}
		if !ok {
			return Part{Operand: op}, false
		}
		if hi < lo {
			r.list.Errorf("slice-range", p.Hi.At, "the upper bit of a slice comes first").Hintf("write %s[%d:%d]", o.Name, lo, hi)
			return Part{Operand: op}, false
		}
		out.Hi, out.Lo = int(hi), int(lo)
		out.Width = out.Hi - out.Lo + 1
	}
	if twice := covered[op] & Bits(out.Hi, out.Lo); twice != 0 {
		d := r.list.Errorf("operand-bits", p.Ref.At, "%s of operand %s %s twice in the encoding", bitList(twice), o.Name, appear(twice)).
			Hintf("delete one")
		if o.Width > 1 {
			d.Hintf("delete one, or cut the operand by hand: %s[%d:%d], %s[%d:0]", o.Name, o.Width-1, o.Width/2, o.Name, o.Width/2-1)
		}
		r.blame("words of " + ins.At.String())
		return out, false
	}
	covered[op] |= Bits(out.Hi, out.Lo)
	return out, true
}

// outside refuses fixed bits that the decoder cannot see (language.md E.2).
func (r *resolver) outside(ins *Instruction, w *Word, src definition.Word) bool {
	o := r.m.Opcode
	top := w.Width
	for i, p := range w.Parts {
		low := top - p.Width
		if p.Operand < 0 {
			seen := uint64(0)
			if hi, lo := min(o.Hi, top-1), max(o.Lo, low); hi >= lo {
				seen = Bits(hi-low, lo-low)
			}
			if p.Care&^seen != 0 {
				r.list.Errorf("fixed-outside", src.Parts[i].Bits.At, "bit %d of the word is fixed but lies outside the opcode, %s of %s",
					low+highest(p.Care&^seen), bitRange(o.Hi, o.Lo), r.m.Signals[o.Signal].Name).
					Note(r.m.Signals[o.Signal].At, "the opcode is declared here").Hintf("write ? for bits that are not decoded")
				r.blame("opcode slice")
				return false
			}
		}
		top = low
	}
	return true
}

func highest(m uint64) int {
	for i := 63; i >= 0; i-- {
		if m>>i&1 == 1 {
			return i
		}
	}
	return -1
}

// decodable checks that an operand used in a step lies wholly in the decoded
// bits of the first word (language.md P.15).
func (r *resolver) decodable(ins *Instruction, d *definition.Instruction, op int) bool {
	o := &ins.Operands[op]
	want := Bits(o.Width-1, 0)
	if r.decoded(ins, op) == want {
		return true
	}
	r.list.Errorf("operand-undecoded", o.At, "operand %s of %s is used in a step, and does not lie wholly in the opcode, %s of the first word",
		o.Name, ins.Name, bitRange(r.m.Opcode.Hi, r.m.Opcode.Lo)).
		Hintf("write %s among the bits of the first word", o.Name)
	return false
}

// decoded returns the bits of an operand that lie in the opcode slice.
func (r *resolver) decoded(ins *Instruction, op int) uint64 {
	var in uint64
	r.eachDecoded(ins, func(p *Part, bit, opcodeBit int) {
		if p.Operand == op {
			in |= 1 << (p.Lo + bit)
		}
	})
	return in
}

// eachDecoded visits every bit of the first word that lies in the opcode
// slice: its part, its bit within the part (from 0 up) and within the opcode.
func (r *resolver) eachDecoded(ins *Instruction, visit func(p *Part, bit, opcodeBit int)) {
	if len(ins.Words) == 0 {
		return
	}
	w, o := &ins.Words[0], r.m.Opcode
	top := w.Width
	for i := range w.Parts {
		p := &w.Parts[i]
		low := top - p.Width
		for b := 0; b < p.Width; b++ {
			if n := low + b; n >= o.Lo && n <= o.Hi {
				visit(p, b, n-o.Lo)
			}
		}
		top = low
	}
}

func (r *resolver) except(ins *Instruction, e *definition.Except) bool {
	find := func(name string) int {
		for i := range ins.Operands {
			if ins.Operands[i].Name == name {
				return i
			}
		}
		return -1
	}
	left := find(e.Left.Text)
	if left < 0 {
		if !r.strangers[e.Left.Text] {
			r.list.Errorf("except-operand", e.Left.At, "%s has no operand %s", ins.Name, e.Left.Text)
		}
		return false
	}
	lf := ins.Operands[left].Field
	if lf < 0 {
		if ins.Operands[left].Width > 0 {
			r.list.Errorf("except-operand", e.Left.At, "except takes operands of a field, %s is a number", e.Left.Text).
				Note(ins.Operands[left].At, "declared here")
			r.blame(operandBlame(ins, e.Left.Text))
		}
		return false
	}
	if right := find(e.Right.Text); right >= 0 {
		if ins.Operands[right].Field < 0 {
			if ins.Operands[right].Width > 0 {
				r.list.Errorf("except-operand", e.Right.At, "except takes operands of a field, %s is a number", e.Right.Text).
					Note(ins.Operands[right].At, "declared here")
				r.blame(operandBlame(ins, e.Right.Text))
			}
			return false
		}
		ins.Except = append(ins.Except, Exclusion{Left: left, Right: right, Choice: -1, At: e.At})
		return true
	}
	var names []string
	for i, c := range r.m.Fields[lf].Choices {
		if c.Name == e.Right.Text {
			ins.Except = append(ins.Except, Exclusion{Left: left, Right: -1, Choice: i, At: e.At})
			return true
		}
		names = append(names, c.Name)
	}
	if !r.badField[lf] && !r.muted[e.Right.Text] && !r.strangers[e.Right.Text] {
		d := r.list.Errorf("except-operand", e.Right.At, "%s is neither an operand of %s nor a value of field %s", e.Right.Text, ins.Name, r.m.Fields[lf].Name)
		if near := diag.Nearest(e.Right.Text, names); near != "" {
			d.Hintf("did you mean %s?", near)
		}
	}
	return false
}

// excluded reports whether an `except` takes this combination out.
func (ins *Instruction) excluded(fields []Field, choice []int) bool {
	for _, x := range ins.Except {
		if choice[x.Left] < 0 {
			continue
		}
		if x.Right < 0 {
			if choice[x.Left] == x.Choice {
				return true
			}
			continue
		}
		if choice[x.Right] < 0 {
			continue
		}
		a := fields[ins.Operands[x.Left].Field].Choices[choice[x.Left]].Name
		b := fields[ins.Operands[x.Right].Field].Choices[choice[x.Right]].Name
		if a == b {
			return true
		}
	}
	return false
}

// variants lists the combinations of decoded field operands, first operand
// slowest (language.md E.3, S.1).
func (r *resolver) variants(ins *Instruction, body *definition.Block, uses map[int]bool) bool {
	var free []int
	total := 1
	for op, o := range ins.Operands {
		if o.Field < 0 || r.decoded(ins, op) == 0 {
			continue
		}
		free = append(free, op)
		if total *= len(r.m.Fields[o.Field].Choices); total > MaxVariants {
			break
		}
	}
	if r.total += total; total > MaxVariants || r.total > MaxVariants {
		r.list.Errorf("limit-variants", ins.At, "a machine has %d instruction variants at most, %s goes over", MaxVariants, ins.Name).
			Because("too many variants")
		return false
	}
	bodies := map[string][]Node{}
	same := map[cube.Cube]string{}
	choice := make([]int, len(ins.Operands))
	for i := range choice {
		choice[i] = -1
	}
	for n := 0; n < total; n++ {
		rest := n
		for i := len(free) - 1; i >= 0; i-- {
			size := len(r.m.Fields[ins.Operands[free[i]].Field].Choices)
			choice[free[i]] = rest % size
			rest /= size
		}
		if ins.excluded(r.m.Fields, choice) {
			continue
		}
		key := ""
		for _, op := range free {
			if uses[op] {
				key += fmt.Sprintf("%d,", choice[op])
			}
		}
		nodes, ok := bodies[key]
		if !ok && body != nil {
			b := &builder{r: r, ins: ins, choice: choice, decided: map[int]definition.Name{}, uses: map[int]bool{}}
			nodes = b.block(body)
			if b.bad {
				return false
			}
			bodies[key] = nodes
		}
		v := Variant{Name: ins.variantName(r.m.Fields, choice), Values: append([]int(nil), choice...), Body: nodes}
		r.eachDecoded(ins, func(p *Part, bit, opcodeBit int) {
			switch {
			case p.Operand < 0:
				if p.Care>>bit&1 == 1 {
					v.Opcode = v.Opcode.With(opcodeBit, p.Value>>bit&1)
				}
			case choice[p.Operand] >= 0:
				bits := r.m.Fields[ins.Operands[p.Operand].Field].Choices[choice[p.Operand]].Bits
				v.Opcode = v.Opcode.With(opcodeBit, bits>>(p.Lo+bit)&1)
			}
		})
		// A field that is decoded only in part gives twins: one is enough.
		if k, dup := same[v.Opcode]; dup && k == key {
			continue
		}
		same[v.Opcode] = key
		ins.Variants = append(ins.Variants, v)
	}
	if len(ins.Variants) == 0 {
		r.list.Errorf("no-variant", ins.At, "except takes every combination of %s out", ins.Name)
		return false
	}
	return true
}

func (ins *Instruction) variantName(fields []Field, choice []int) string {
	var b strings.Builder
	b.WriteString(ins.Name)
	for op, c := range choice {
		if c >= 0 {
			fmt.Fprintf(&b, " %s=%s", ins.Operands[op].Name, fields[ins.Operands[op].Field].Choices[c].Name)
		}
	}
	return b.String()
}

// signatures refuses mnemonics that the assembler could not tell apart (language.md N.2).
func (r *resolver) signatures() {
	byName := map[string][]int{}
	for i := range r.m.Instructions {
		ins := &r.m.Instructions[i]
		for _, j := range byName[ins.Name] {
			other := &r.m.Instructions[j]
			if !ins.Broken && !other.Broken && !r.apart(ins, other) {
				r.list.Errorf("mnemonic-repeated", ins.At, "instruction %s is declared twice with operands of the same types", ins.Name).
					Note(other.At, "first here").Hintf("mnemonics may repeat where the types of their operands tell them apart")
				ins.Broken = true
				break
			}
		}
		byName[ins.Name] = append(byName[ins.Name], i)
	}
}

// apart reports whether operand types tell two instructions of one name apart.
func (r *resolver) apart(a, b *Instruction) bool {
	if len(a.Operands) != len(b.Operands) {
		return true
	}
	for i := range a.Operands {
		fa, fb := a.Operands[i].Field, b.Operands[i].Field
		if (fa < 0) != (fb < 0) {
			return true
		}
		if fa < 0 || fa == fb {
			continue
		}
		shared := false
		for _, x := range r.m.Fields[fa].Choices {
			for _, y := range r.m.Fields[fb].Choices {
				shared = shared || x.Name == y.Name
			}
		}
		if !shared {
			return true
		}
	}
	return false
}

// overlaps refuses two variants that match the same opcode (language.md P.9).
// Variants are grouped by the bits they care about; two groups are compared
// through a table keyed by the bits both care about, so the work grows with
// variants times groups and not with variants squared.
func (r *resolver) overlaps() {
	type ref struct{ ins, variant int }
	groups := map[uint64][]ref{}
	var masks []uint64
	for i := range r.m.Instructions {
		ins := &r.m.Instructions[i]
		if ins.Broken {
			continue
		}
		for j := range ins.Variants {
			care := ins.Variants[j].Opcode.Care
			if _, ok := groups[care]; !ok {
				masks = append(masks, care)
			}
			groups[care] = append(groups[care], ref{i, j})
		}
	}
	type pair struct{ a, b int }
	clash := map[pair][2]ref{}
	var order []pair
	note := func(x, y ref) {
		if x.ins > y.ins || x.ins == y.ins && x.variant > y.variant {
			x, y = y, x
		}
		p := pair{x.ins, y.ins}
		if _, ok := clash[p]; !ok {
			clash[p] = [2]ref{x, y}
			order = append(order, p)
		}
	}
	for a, ma := range masks {
		for _, mb := range masks[:a+1] {
			common := ma & mb
			table := make(map[uint64][]ref, len(groups[mb]))
			for _, x := range groups[mb] {
				k := r.m.Instructions[x.ins].Variants[x.variant].Opcode.Value & common
				if len(table[k]) < 2 || table[k][0].ins != x.ins {
					table[k] = append(table[k], x)
				}
			}
			for _, y := range groups[ma] {
				for _, x := range table[r.m.Instructions[y.ins].Variants[y.variant].Opcode.Value&common] {
					if x != y {
						note(x, y)
					}
				}
			}
		}
	}
	// Instructions that overlap, directly or through others, have one cause.
	parent := map[int]int{}
	var find func(int) int
	find = func(i int) int {
		p, ok := parent[i]
		if !ok || p == i {
			return i
		}
		root := find(p)
		parent[i] = root
		return root
	}
	for _, p := range order {
		a, b := find(p.a), find(p.b)
		parent[max(a, b)] = min(a, b)
	}
	sort.Slice(order, func(i, j int) bool {
		if order[i].b != order[j].b {
			return order[i].b < order[j].b
		}
		return order[i].a < order[j].a
	})
	for _, p := range order {
		x, y := clash[p][0], clash[p][1]
		vx, vy := &r.m.Instructions[x.ins].Variants[x.variant], &r.m.Instructions[y.ins].Variants[y.variant]
		both, _ := vx.Opcode.And(vy.Opcode)
		r.list.Errorf("opcode-overlap", r.m.Instructions[y.ins].At, "%s and %s both match opcode %s", vx.Name, vy.Name, both.Text(r.m.Opcode.Width())).
			Hintf("give them different digits in a bit that both of them fix, or take combinations out with except").
			Note(r.m.Instructions[x.ins].At, "%s is declared here", vx.Name).Because("overlap %d", find(p.b))
	}
}

// unused warns about what the definition declares and nothing uses (language.md P.9).
func (r *resolver) unused() {
	m := r.m
	for i, l := range m.Lines {
		if i == m.Restart {
			r.usedLine[i] = true
		}
		if !r.usedLine[i] {
			r.list.Warnf("unused", l.At, "line %s is never used in a step", l.Name)
		}
	}
	for i, s := range m.Signals {
		if s.Kind == Register && !r.usedSignal[i] {
			r.list.Warnf("unused", s.At, "register %s is never used", s.Name)
		}
	}
	for i, f := range m.Fields {
		if !r.usedField[i] {
			r.list.Warnf("unused", f.At, "field %s is never used", f.Name)
		}
	}
	for i, u := range m.Units {
		if !r.usedUnit[i] {
			r.list.Warnf("unused", u.At, "unit %s is never used", u.Name)
		}
	}
	for _, d := range r.src.Decls {
		if s, ok := d.(*definition.Sequence); ok && !r.usedSeq[s.Name.Text] {
			r.list.Warnf("unused", s.Name.At, "sequence %s is never used", s.Name.Text)
		}
	}
}
