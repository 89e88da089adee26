package machine

import (
	"math/bits"
	"strings"

	"coilwright/lang/definition"
	"coilwright/lang/diag"
	"coilwright/lang/number"
)

// A resolved expression of Width 0 is a bare constant, whose width its
// neighbour decides. nil is an expression in error, already reported.

// expr resolves an expression at its own width.
func (r *resolver) expr(e definition.Expr) *Expr {
	switch e := e.(type) {
	case *definition.Group:
		return r.expr(e.Of)
	case *definition.Constant:
		v, err := number.Value(e.Number.Text)
		if err != nil {
			r.list.Errorf("number-bad", e.Number.At, "%v", err)
			return nil
		}
		return &Expr{Op: Const, Value: v, At: e.Number.At}
	case *definition.Not:
		of := r.expr(e.Of)
		if of == nil {
			return nil
		}
		if of.Width == 0 {
			r.list.Errorf("width-unknown", e.Place(), "~ of a bare constant has no width").
				Hintf("write the constant out, 0xFF for eight ones")
			return nil
		}
		return &Expr{Op: Not, Width: of.Width, Args: []*Expr{of}, At: e.Place()}
	case *definition.Binary:
		return r.binary(e)
	case *definition.Ref:
		if e.Call {
			return r.call(e)
		}
		return r.ref(e)
	}
	return nil
}

var binaryOps = map[string]Op{"+": Add, "-": Sub, "&": And, "|": Or, "^": Xor}

func arithmetic(op string) bool { return op == "+" || op == "-" }

func (r *resolver) binary(e *definition.Binary) *Expr {
	if inner, ok := e.Left.(*definition.Binary); ok && inner.Op != e.Op &&
		!(arithmetic(inner.Op) && arithmetic(e.Op)) {
		r.list.Errorf("operators-mixed", e.OpAt, "%s after %s needs parentheses", e.Op, inner.Op).
			Hintf("write (%s) %s %s or %s %s (%s)",
				spell(inner), e.Op, spell(e.Right), spell(inner.Left), inner.Op, spell(&definition.Binary{Op: e.Op, Left: inner.Right, Right: e.Right}))
		return nil
	}
	left, right := r.expr(e.Left), r.expr(e.Right)
	if left == nil || right == nil {
		return nil
	}
	op, at := binaryOps[e.Op], e.Place()
	switch {
	case left.Width == 0 && right.Width == 0:
		v, ok := fold(op, left.Value, right.Value)
		if !ok {
			r.list.Errorf("constant-range", at, "this constant does not fit 64 bits without a sign")
			return nil
		}
		return &Expr{Op: Const, Value: v, At: at}
	case left.Width == 0:
		left = r.sized(left, right.Width, "the other side")
	case right.Width == 0:
		right = r.sized(right, left.Width, "the other side")
	}
	if left == nil || right == nil {
		return nil
	}
	w := max(left.Width, right.Width)
	return &Expr{Op: op, Width: w, Args: []*Expr{extend(left, w), extend(right, w)}, At: at}
}

func fold(op Op, a, b uint64) (uint64, bool) {
	switch op {
	case Add:
		sum, carry := bits.Add64(a, b, 0)
		return sum, carry == 0
	case Sub:
		return a - b, a >= b
	case And:
		return a & b, true
	case Or:
		return a | b, true
	}
	return a ^ b, true
}

// sized gives a bare constant a width that it must fit.
func (r *resolver) sized(e *Expr, width int, what string) *Expr {
	if e.Width != 0 {
		return e
	}
	if n := bits.Len64(e.Value); n > width {
		r.list.Errorf("constant-range", e.At, "%d needs %s, %s has %d", e.Value, plural(n, "bit"), what, width)
		return nil
	}
	return &Expr{Op: Const, Width: width, Value: e.Value, At: e.At}
}

func extend(e *Expr, width int) *Expr {
	if e.Width == width {
		return e
	}
	return &Expr{Op: Extend, Width: width, Args: []*Expr{e}, At: e.At}
}

// functions by name: the number of arguments.
var functions = map[string]int{
	"carry": 1, "zero": 1, "sign": 1, "rol": 1, "ror": 1, "shl": 1, "shr": 1, "join": 2,
}

var functionOps = map[string]Op{
	"carry": Carry, "zero": Zero, "sign": Sign, "rol": Rol, "ror": Ror, "shl": Shl, "shr": Shr, "join": Join,
}

var functionNames = []string{"carry", "join", "rol", "ror", "shl", "shr", "sign", "zero"}

func (r *resolver) call(e *definition.Ref) *Expr {
	name := e.Name.Text
	want, ok := functions[name]
	if !ok {
		d := r.list.Errorf("unknown-function", e.Name.At, "there is no function %s", name)
		if near := diag.Nearest(name, functionNames); near != "" {
			d.Hintf("did you mean %s?", near)
		} else {
			d.Hintf("the functions are %s", strings.Join(functionNames, ", "))
		}
		return nil
	}
	if len(e.Args) != want {
		r.list.Errorf("function-arguments", e.At, "%s takes %s, not %d", name, plural(want, "argument"), len(e.Args)).
			Hintf("write %s", map[int]string{1: name + "(x)", 2: name + "(high, low)"}[want])
		return nil
	}
	var args []*Expr
	for _, a := range e.Args {
		x := r.expr(a)
		if x == nil {
			return nil
		}
		if x.Width == 0 {
			r.list.Errorf("width-unknown", a.Place(), "a bare constant has no width as an argument of %s", name).
				Hintf("combine it with a register or a bus, which give it a width")
			return nil
		}
		args = append(args, x)
	}
	out := &Expr{Op: functionOps[name], Args: args, Width: args[0].Width, At: e.At}
	switch name {
	case "zero", "sign":
		out.Width = 1
	case "carry":
		out.Width = 1
		if !carries(args[0], r.m) {
			r.list.Errorf("carry-of-what", e.Args[0].Place(), "carry is taken of a sum, a difference or a whole unit").
				Hintf("a + b, a + b + flag, a - b, or the name of a unit")
			return nil
		}
	case "join":
		out.Width = args[0].Width + args[1].Width
		if out.Width > MaxWidth {
			r.list.Errorf("width-limit", e.At, "join gives %d bits, the limit is %d", out.Width, MaxWidth).
				Hintf("join slices of them")
			return nil
		}
	}
	return r.cut(out, e.Slices, name+"(...)")
}

// carries reports whether carry(e) has a meaning: a + b, a + b + flag, a - b or a unit (language.md W.3).
func carries(e *Expr, m *Machine) bool {
	switch e.Op {
	case Apply:
		return e.Hi == m.Units[e.Unit].Width-1 && e.Lo == 0
	case Sub:
		return !sums(e.Args[0]) && !sums(e.Args[1])
	case Add:
		if sums(e.Args[1]) {
			return false
		}
		if !sums(e.Args[0]) {
			return true
		}
		third := e.Args[1]
		if third.Op == Extend {
			third = third.Args[0]
		}
		return e.Args[0].Op == Add && !sums(e.Args[0].Args[0]) && !sums(e.Args[0].Args[1]) && third.Width == 1
	}
	return false
}

func sums(e *Expr) bool { return e.Op == Add || e.Op == Sub }

// slice resolves [hi:lo] or [bit] as constants within width bits.
func (r *resolver) slice(s definition.Slice, width int, what string) (hi, lo int, ok bool) {
	value := func(e definition.Expr) (int, bool) {
		x := r.expr(e)
		if x == nil {
			return 0, false
		}
		if x.Width != 0 || x.Op != Const {
			r.list.Errorf("slice-constant", e.Place(), "the bits of a slice are constants").
				Hintf("write numbers, for example: [3] or [7:4]")
			r.blame(nameCause(what[strings.LastIndexByte(what, ' ')+1:]))
			return 0, false
		}
		if x.Value >= uint64(width) {
			r.list.Errorf("slice-range", e.Place(), "bit %d is outside %s, which has %s", x.Value, what, bitRange(width-1, 0))
			r.blame(widthCause(what[strings.LastIndexByte(what, ' ')+1:]))
			return 0, false
		}
		return int(x.Value), true
	}
	if hi, ok = value(s.Hi); !ok {
		return 0, 0, false
	}
	lo = hi
	if s.Lo != nil {
		if lo, ok = value(s.Lo); !ok {
			return 0, 0, false
		}
	}
	if hi < lo {
		r.list.Errorf("slice-range", s.At, "the upper bit of a slice comes first").Hintf("write [%d:%d]", lo, hi)
		return 0, 0, false
	}
	return hi, lo, true
}

// cut applies at most one slice to a value that is no plain signal.
func (r *resolver) cut(e *Expr, slices []definition.Slice, what string) *Expr {
	if len(slices) == 0 {
		return e
	}
	hi, lo, ok := r.slice(slices[0], e.Width, what)
	if !ok || !r.oneSlice(slices) {
		return nil
	}
	return &Expr{Op: Cut, Width: hi - lo + 1, Args: []*Expr{e}, Hi: hi, Lo: lo, At: e.At}
}

func (r *resolver) oneSlice(slices []definition.Slice) bool {
	if len(slices) > 1 {
		r.list.Errorf("slice-twice", slices[1].At, "a slice of a slice").Hintf("write one slice")
		return false
	}
	return true
}

// ref resolves a name with its indices and slices as a value.
func (r *resolver) ref(e *definition.Ref) *Expr {
	name := e.Name.Text
	ent, ok := r.path[name]
	if !ok {
		r.missing(datapathSpace, e.Name, func() []string { return r.datapathNames(func(e entity) bool { return e.kind != lineEntity }) })
		return nil
	}
	switch ent.kind {
	case lineEntity:
		r.usedLine[ent.index] = true
		r.list.Errorf("line-as-value", e.Name.At, "line %s carries no value", name).
			Hintf("name the register, flag, bus, memory or unit that is read")
		r.blame(nameCause(name))
		return nil
	case unitEntity:
		r.usedUnit[ent.index] = true
		u := &r.m.Units[ent.index]
		if r.badUnit[ent.index] {
			return nil
		}
		out := &Expr{Op: Apply, Unit: ent.index, Width: u.Width, Hi: u.Width - 1, At: e.At}
		if len(e.Slices) > 0 {
			hi, lo, ok := r.slice(e.Slices[0], u.Width, "unit "+name)
			if !ok || !r.oneSlice(e.Slices) {
				return nil
			}
			out.Hi, out.Lo, out.Width = hi, lo, hi-lo+1
		}
		return out
	}
	s, slices, index, ok := r.signal(e, ent)
	if !ok {
		return nil
	}
	out := &Expr{Op: Read, Signal: ent.index, Width: s.Width, Hi: s.Width - 1, At: e.At}
	if s.Kind == Memory {
		out.Op, out.Args = Fetch, []*Expr{index}
	}
	if len(slices) > 0 {
		hi, lo, ok := r.slice(slices[0], s.Width, s.Kind.String()+" "+name)
		if !ok || !r.oneSlice(slices) {
			return nil
		}
		out.Hi, out.Lo, out.Width = hi, lo, hi-lo+1
	}
	return out
}

// signal resolves the index of a memory and returns the slices left over.
func (r *resolver) signal(e *definition.Ref, ent entity) (s *Signal, slices []definition.Slice, index *Expr, ok bool) {
	r.usedSignal[ent.index] = true
	s = &r.m.Signals[ent.index]
	slices = e.Slices
	if s.Kind == Memory {
		if len(slices) == 0 || slices[0].Lo != nil {
			if !r.badSignal[ent.index] {
				r.list.Errorf("memory-index", e.At, "memory %s is read and written one word at a time", s.Name).
					Hintf("write %s[index]", s.Name)
			}
			return nil, nil, nil, false
		}
		if index = r.expr(slices[0].Hi); index == nil {
			return nil, nil, nil, false
		}
		if index.Width == 0 {
			if !r.badSignal[ent.index] && index.Value >= s.Words {
				r.list.Errorf("memory-index", slices[0].At, "memory %s has words 0 to %d", s.Name, s.Words-1)
				return nil, nil, nil, false
			}
			index = &Expr{Op: Const, Width: max(1, bits.Len64(index.Value)), Value: index.Value, At: index.At}
		}
		slices = slices[1:]
	}
	return s, slices, index, !r.badSignal[ent.index]
}

// spell writes an expression back, for hints.
func spell(e definition.Expr) string {
	switch e := e.(type) {
	case *definition.Group:
		return "(" + spell(e.Of) + ")"
	case *definition.Constant:
		return e.Number.Text
	case *definition.Not:
		return "~" + spell(e.Of)
	case *definition.Binary:
		return spell(e.Left) + " " + e.Op + " " + spell(e.Right)
	case *definition.Ref:
		var b strings.Builder
		b.WriteString(e.Name.Text)
		if e.Call {
			args := make([]string, len(e.Args))
			for i, a := range e.Args {
				args[i] = spell(a)
			}
			b.WriteString("(" + strings.Join(args, ", ") + ")")
		}
		for _, s := range e.Slices {
			b.WriteString("[" + spell(s.Hi))
			if s.Lo != nil {
				b.WriteString(":" + spell(s.Lo))
			}
			b.WriteString("]")
		}
		return b.String()
	}
	return "..."
}
