package assemble_test

import (
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/examples"
	"coilwright/lang/definition"
)

// second is the slow and obvious reading of the program language: text is
// split by strings.Cut, values are Go expressions in numbers without bounds,
// encodings are strings of the digits 0 and 1, memories are maps. It takes
// only what makeProgram writes: labels, instructions, at, byte, word, text,
// space, in and constants, without comments.
type second struct {
	m      *machine.Machine
	values map[string]*big.Int
	memory map[string]map[uint64]string // bits by address
	lines  []secondLine
}

type secondLine struct {
	memory  string
	address uint64
	bits    []string
	variant string
}

var errSecond = errors.New("refused")

func refused(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{errSecond}, args...)...)
}

func (s *second) eval(text string) (*big.Int, error) {
	tree, err := parser.ParseExpr(text)
	if err != nil {
		return nil, refused("%v", err)
	}
	return s.tree(tree)
}

func (s *second) tree(e ast.Expr) (*big.Int, error) {
	v := new(big.Int)
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind == token.CHAR {
			return v.SetInt64(int64([]rune(e.Value)[1])), nil
		}
		text := e.Value
		if !strings.HasPrefix(text, "0x") && !strings.HasPrefix(text, "0b") {
			text = strings.TrimLeft(strings.ReplaceAll(text, "_", ""), "0") // no octal numbers here
			if text == "" {
				return v, nil
			}
		}
		v.SetString(text, 0)
		return v, nil
	case *ast.Ident:
		x, ok := s.values[e.Name]
		if !ok {
			return nil, refused("no %s", e.Name)
		}
		return x, nil
	case *ast.ParenExpr:
		return s.tree(e.X)
	case *ast.UnaryExpr:
		x, err := s.tree(e.X)
		if err != nil {
			return nil, err
		}
		return v.Neg(x), nil
	case *ast.SliceExpr:
		return s.cut(e.X, e.Low, e.High)
	case *ast.IndexExpr:
		return s.cut(e.X, e.Index, e.Index)
	case *ast.BinaryExpr:
		x, err := s.tree(e.X)
		if err != nil {
			return nil, err
		}
		y, err := s.tree(e.Y)
		if err != nil {
			return nil, err
		}
		switch e.Op {
		case token.ADD:
			v.Add(x, y)
		case token.SUB:
			v.Sub(x, y)
		case token.MUL:
			v.Mul(x, y)
		case token.QUO:
			if y.Sign() == 0 {
				return nil, refused("division by zero")
			}
			v.Quo(x, y)
		}
		if v.CmpAbs(new(big.Int).Lsh(big.NewInt(1), 64)) >= 0 {
			return nil, refused("too large")
		}
		return v, nil
	}
	return nil, refused("%T", e)
}

func (s *second) cut(x, hi, lo ast.Expr) (*big.Int, error) {
	var n [3]*big.Int
	for i, e := range []ast.Expr{x, hi, lo} {
		v, err := s.tree(e)
		if err != nil {
			return nil, err
		}
		n[i] = v
	}
	if n[2].Sign() < 0 || n[1].Cmp(n[2]) < 0 || n[1].Cmp(big.NewInt(63)) > 0 {
		return nil, refused("slice")
	}
	digits := twos(n[0], 64)
	text := digits[63-n[1].Int64() : 64-n[2].Int64()]
	v, _ := new(big.Int).SetString(text, 2)
	return v, nil
}

// twos is a number as a row of digits, in two's complement.
func twos(v *big.Int, width int) string {
	whole := new(big.Int).Lsh(big.NewInt(1), uint(width))
	text := new(big.Int).Mod(v, whole).Text(2)
	return strings.Repeat("0", width-len(text)) + text
}

func inRange(v *big.Int, width int, signed bool) bool {
	low := new(big.Int).Neg(new(big.Int).Lsh(big.NewInt(1), uint(width-1)))
	high := new(big.Int).Lsh(big.NewInt(1), uint(width))
	if signed {
		high = new(big.Int).Lsh(big.NewInt(1), uint(width-1))
	}
	return v.Cmp(low) >= 0 && v.Cmp(high) < 0
}

// pieces cuts a word into memory words, as the first word of an instruction is.
func pieces(bits string, mem *machine.Signal) []string {
	for len(bits)%mem.Width != 0 {
		bits = "0" + bits
	}
	var out []string
	for ; bits != ""; bits = bits[mem.Width:] {
		out = append(out, bits[:mem.Width])
	}
	if mem.Little {
		slices.Reverse(out)
	}
	return out
}

// packed puts bytes into memory words.
func packed(bytes []string, mem *machine.Signal) []string {
	var out []string
	if mem.Width < 8 {
		for _, b := range bytes {
			out = append(out, pieces(b, mem)...)
		}
		return out
	}
	each := mem.Width / 8
	for group := range slices.Chunk(bytes, each) {
		g := slices.Clone(group)
		for len(g) < each {
			g = append(g, "00000000")
		}
		if mem.Little {
			slices.Reverse(g)
		}
		word := strings.Join(g, "")
		out = append(out, strings.Repeat("0", mem.Width-len(word))+word)
	}
	return out
}

// split takes a line apart.
func (s *second) split(line string) (label, word, rest string) {
	if before, after, ok := strings.Cut(line, ": "); ok && !strings.ContainsAny(before, " \"'") {
		label, line = before, after
	}
	word, rest, _ = strings.Cut(strings.TrimSpace(line), " ")
	return label, word, strings.TrimSpace(rest)
}

func arguments(rest string) []string {
	var out []string
	for rest != "" {
		one := rest
		// A character may be a comma.
		from := 0
		if i := strings.Index(rest, "','"); i >= 0 && !strings.Contains(rest[:i], ",") {
			from = i + 3
		}
		if i := strings.Index(rest[from:], ","); i >= 0 {
			one, rest = rest[:from+i], rest[from+i+1:]
		} else {
			rest = ""
		}
		out = append(out, strings.TrimSpace(one))
	}
	return out
}

// find returns the instruction that takes these operands.
func (s *second) find(word string, args []string) *machine.Instruction {
	for i := range s.m.Instructions {
		ins := &s.m.Instructions[i]
		if ins.Name != word || len(ins.Operands) != len(args) {
			continue
		}
		fits := true
		for k, o := range ins.Operands {
			named := false
			for f, field := range s.m.Fields {
				for _, c := range field.Choices {
					if c.Name == args[k] {
						named = named || o.Field < 0 || o.Field == f
					}
				}
			}
			fits = fits && named == (o.Field >= 0)
		}
		if fits {
			return ins
		}
	}
	return nil
}

// run reads the program twice: for the labels, then for the words.
func (s *second) run(text string) error {
	s.values = map[string]*big.Int{}
	for pass := range 2 {
		s.memory = map[string]map[uint64]string{}
		s.lines = nil
		next := map[string]uint64{}
		var mem *machine.Signal
		for i := range s.m.Signals {
			if s.m.Signals[i].Program {
				mem = &s.m.Signals[i]
			}
		}
		for _, line := range strings.Split(strings.TrimSuffix(text, "\n"), "\n") {
			label, word, rest := s.split(line)
			out := secondLine{}
			var bits []string
			if word == "in" {
				for i := range s.m.Signals {
					if s.m.Signals[i].Name == rest {
						mem = &s.m.Signals[i]
					}
				}
			}
			if word == "at" {
				v, err := s.eval(rest)
				if err != nil {
					return err
				}
				if v.Sign() < 0 || v.Cmp(new(big.Int).SetUint64(mem.Words)) >= 0 {
					return refused("at %s", v)
				}
				next[mem.Name] = v.Uint64()
			}
			if label != "" {
				s.values[label] = new(big.Int).SetUint64(next[mem.Name])
			}
			var values []string
			switch word {
			case "byte", "word":
				width := 8
				if word == "word" {
					width = mem.Width
				}
				for _, arg := range arguments(rest) {
					from, to, isRun := strings.Cut(arg, "..")
					if !isRun {
						to = from
					}
					if pass == 0 && !isRun {
						values = append(values, strings.Repeat("0", width))
						continue
					}
					a, err := s.eval(from)
					if err != nil {
						return err
					}
					b, err := s.eval(to)
					if err != nil {
						return err
					}
					if pass == 1 && (!inRange(a, width, false) || !inRange(b, width, false)) {
						return refused("%s %s", word, arg)
					}
					step := int64(1)
					if a.Cmp(b) > 0 {
						step = -1
					}
					for v := new(big.Int).Set(a); ; v.Add(v, big.NewInt(step)) {
						values = append(values, twos(v, width))
						if v.Cmp(b) == 0 {
							break
						}
					}
				}
				bits = values
				if word == "byte" {
					bits = packed(values, mem)
				}
			case "text":
				for _, r := range strings.Trim(rest, `"`) {
					if r > 255 {
						return refused("character %d", r)
					}
					values = append(values, twos(big.NewInt(int64(r)), 8))
				}
				bits = packed(values, mem)
			case "space":
				v, err := s.eval(rest)
				if err != nil {
					return err
				}
				if v.Sign() < 0 || v.Uint64() > mem.Words-next[mem.Name] {
					return refused("space")
				}
				next[mem.Name] += v.Uint64()
			case "at", "in", "":
			default:
				if name, value, ok := strings.Cut(line, "="); ok {
					v, err := s.eval(strings.TrimSpace(value))
					if err != nil {
						if pass == 0 {
							continue
						}
						return err
					}
					s.values[strings.TrimSpace(name)] = v
					continue
				}
				args := arguments(rest)
				ins := s.find(word, args)
				if ins == nil || !mem.Program {
					return refused("%s", line)
				}
				size := 0
				for i, w := range ins.Words {
					if i == 0 {
						size += len(pieces(strings.Repeat("0", w.Width), mem))
					} else {
						size++
					}
				}
				if pass == 0 {
					bits = slices.Repeat([]string{strings.Repeat("0", mem.Width)}, size)
					break
				}
				operands := make([]string, len(args))
				choice := map[int]int{}
				for k, o := range ins.Operands {
					if o.Field >= 0 {
						for c, x := range s.m.Fields[o.Field].Choices {
							if x.Name == args[k] {
								choice[k] = c
								operands[k] = twos(new(big.Int).SetUint64(x.Bits), o.Width)
							}
						}
						continue
					}
					v, err := s.eval(args[k])
					if err != nil {
						return err
					}
					if o.Relative {
						v = new(big.Int).Sub(v, new(big.Int).SetUint64(next[mem.Name]+uint64(size)))
					}
					if !inRange(v, o.Width, o.Signed || o.Relative) {
						return refused("%s: %s", line, v)
					}
					operands[k] = twos(v, o.Width)
				}
				for _, x := range ins.Except {
					if x.Right >= 0 && args[x.Left] == args[x.Right] || x.Right < 0 && choice[x.Left] == x.Choice {
						return refused("%s: except", line)
					}
				}
				for i, w := range ins.Words {
					word := ""
					for _, p := range w.Parts {
						if p.Operand >= 0 {
							o := operands[p.Operand]
							word += o[len(o)-1-p.Hi : len(o)-p.Lo]
						} else {
							word += twos(new(big.Int).SetUint64(p.Value), p.Width)
						}
					}
					if i == 0 {
						bits = pieces(word, mem)
						opcode := word[len(word)-1-s.m.Opcode.Hi : len(word)-s.m.Opcode.Lo]
						for _, v := range ins.Variants {
							if matches(v.Opcode.Text(len(opcode)), opcode) {
								out.variant = v.Name
							}
						}
					} else {
						bits = append(bits, word)
					}
				}
			}
			out.memory, out.address, out.bits = mem.Name, next[mem.Name], bits
			if s.memory[mem.Name] == nil {
				s.memory[mem.Name] = map[uint64]string{}
			}
			for _, b := range bits {
				a := next[mem.Name]
				if a >= mem.Words {
					return refused("past the end")
				}
				if s.memory[mem.Name][a] != "" {
					return refused("overlap")
				}
				s.memory[mem.Name][a] = b
				next[mem.Name]++
			}
			s.lines = append(s.lines, out)
		}
	}
	return nil
}

func matches(pattern, bits string) bool {
	for i := range pattern {
		if pattern[i] != '?' && pattern[i] != bits[i] {
			return false
		}
	}
	return true
}

// maker writes random programs.
type maker struct {
	r      *rand.Rand
	m      *machine.Machine
	labels int
	rough  bool // makes mistakes
	text   strings.Builder
}

func (k *maker) number(width int) string {
	v := k.r.Uint64() >> (64 - width)
	switch k.r.IntN(6) {
	case 0:
		v = k.r.Uint64N(4) & (^uint64(0) >> (64 - width))
	case 1:
		return fmt.Sprintf("0x%X", v)
	case 2:
		return fmt.Sprintf("0b%b", v)
	case 3:
		if v > 0 && v <= 1<<(width-1) {
			return fmt.Sprintf("-%d", v)
		}
	case 4:
		if c := byte(v); width > 7 && c >= 'A' && c <= 'z' && c != '\\' {
			return fmt.Sprintf("'%c'", c)
		}
	}
	if v > 9999 && v < 100_000 {
		return fmt.Sprintf("%d_%03d", v/1000, v%1000)
	}
	return fmt.Sprint(v)
}

// value writes a value that mostly fits into width bits.
func (k *maker) value(width int, signed bool) string {
	if k.rough && k.r.IntN(40) == 0 {
		return k.loose(0)
	}
	if signed && width > 1 {
		width--
	}
	switch k.r.IntN(4) {
	case 0:
		hi := min(width-1, 63)
		return fmt.Sprintf("(%s)[%d:0]", k.loose(0), hi)
	case 1:
		if width >= 4 {
			half := width / 2
			return k.number(half) + " + " + k.number(half-1)
		}
	case 2:
		if width > 4 {
			return fmt.Sprintf("(%s)[%d:%d] * 2", k.loose(0), width-2, 1)
		}
	}
	return k.number(width)
}

// loose writes any expression.
func (k *maker) loose(depth int) string {
	if depth > 3 {
		return k.number(1 + k.r.IntN(12))
	}
	switch k.r.IntN(8) {
	case 0:
		return fmt.Sprintf("l%d", k.r.IntN(k.labels))
	case 1:
		return k.loose(depth+1) + " + " + k.loose(depth+1)
	case 2:
		return k.loose(depth+1) + " - " + k.loose(depth+1)
	case 3:
		return "(" + k.loose(depth+1) + ") * " + k.number(3)
	case 4:
		return k.loose(depth+1) + " / 3"
	case 5:
		return "-(" + k.number(4) + ")"
	case 6:
		lo := k.r.IntN(20)
		return fmt.Sprintf("(%s)[%d:%d]", k.loose(depth+1), lo+k.r.IntN(20), lo)
	}
	return k.number(1 + k.r.IntN(20))
}

func (k *maker) program(lines int) string {
	k.labels = lines
	var memories []*machine.Signal
	for i := range k.m.Signals {
		if k.m.Signals[i].Kind == machine.Memory {
			memories = append(memories, &k.m.Signals[i])
		}
	}
	mem := memories[0]
	for _, x := range memories {
		if x.Program {
			mem = x
		}
	}
	home := mem
	for i := range lines {
		fmt.Fprintf(&k.text, "l%d: ", i)
		switch k.r.IntN(14) {
		case 0:
			fmt.Fprintf(&k.text, "byte %s, %s, %d .. %d\n", k.value(8, false), k.number(8), k.r.IntN(4), k.r.IntN(4))
		case 1:
			fmt.Fprintf(&k.text, "word %s, %s\n", k.value(mem.Width, false), k.number(mem.Width))
		case 2:
			fmt.Fprintf(&k.text, "text \"%s\"\n", []string{"", "sack", "a b: c", "flour; 7"}[k.r.IntN(4)])
		case 3:
			fmt.Fprintf(&k.text, "space %d\n", k.r.IntN(4))
		case 4:
			if len(memories) > 1 {
				if mem = memories[k.r.IntN(len(memories))]; k.r.IntN(3) > 0 {
					mem = home
				}
				fmt.Fprintf(&k.text, "in %s\n", mem.Name)
				continue
			}
			if k.rough && i > 0 {
				fmt.Fprintf(&k.text, "at l%d + %d\n", k.r.IntN(i), k.r.IntN(30))
				continue
			}
			k.text.WriteString("space 1\n")
		default:
			if mem != home && !(k.rough && k.r.IntN(30) == 0) {
				k.text.WriteString("byte 1\n")
				continue
			}
			ins := &k.m.Instructions[k.r.IntN(len(k.m.Instructions))]
			var args []string
			for _, o := range ins.Operands {
				switch {
				case o.Field >= 0:
					c := k.m.Fields[o.Field].Choices
					args = append(args, c[k.r.IntN(len(c))].Name)
				case o.Relative && o.Width > 2:
					args = append(args, fmt.Sprintf("l%d + %d", max(0, i-k.r.IntN(2)), k.r.IntN(2)))
				case o.Relative:
					args = append(args, fmt.Sprintf("l%d", i))
				default:
					args = append(args, k.value(o.Width, o.Signed))
				}
			}
			k.text.WriteString(ins.Name + " " + strings.Join(args, ", ") + "\n")
		}
	}
	return k.text.String()
}

// agree assembles text both ways and compares everything.
func agree(t *testing.T, m *machine.Machine, text string) (accepted bool) {
	t.Helper()
	s := &second{m: m}
	refusal := s.run(text)
	src, p, list := run(t, m, map[string]string{"a.prog": text})
	if (list.Errors() > 0) != (refusal != nil) {
		t.Fatalf("the second reading: %v; the first:\n%s\n%s", refusal, printed(t, src.Text, list), text)
	}
	if refusal != nil {
		return false
	}
	var got []secondLine
	for _, l := range p.Lines {
		one := secondLine{}
		if l.Memory >= 0 {
			one.memory, one.address = p.Memories[l.Memory].Name, l.Address
			for _, w := range l.Words {
				one.bits = append(one.bits, twos(new(big.Int).SetUint64(w), p.Memories[l.Memory].Width))
			}
		}
		if l.Instruction >= 0 {
			one.variant = m.Instructions[l.Instruction].Variants[l.Variant].Name
		}
		got = append(got, one)
	}
	want := slices.Clone(s.lines)
	for i := range want {
		if len(want[i].bits) == 0 {
			want[i] = secondLine{}
		}
	}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(secondLine{})); diff != "" {
		t.Fatalf("second reading (-), first (+):\n%s\n%s", diff, text)
	}
	memory := map[string]map[uint64]string{}
	for _, mem := range p.Memories {
		end := int64(-1)
		for _, seg := range mem.Segments {
			if int64(seg.Address) <= end || len(seg.Words) == 0 {
				t.Fatalf("segments of %s overlap, touch or are empty", mem.Name)
			}
			for i, w := range seg.Words {
				if memory[mem.Name] == nil {
					memory[mem.Name] = map[uint64]string{}
				}
				memory[mem.Name][seg.Address+uint64(i)] = twos(new(big.Int).SetUint64(w), mem.Width)
			}
			end = int64(seg.Address) + int64(len(seg.Words))
		}
	}
	for name, words := range s.memory {
		if len(words) == 0 {
			delete(s.memory, name)
		}
	}
	if diff := cmp.Diff(s.memory, memory); diff != "" {
		t.Fatalf("memories: second reading (-), first (+):\n%s\n%s", diff, text)
	}
	for _, sym := range p.Symbols {
		if s.values[sym.Name].Cmp(big.NewInt(sym.Value)) != 0 {
			t.Fatalf("symbol %s: %s and %d", sym.Name, s.values[sym.Name], sym.Value)
		}
	}
	return true
}

func millrace(t testing.TB) *machine.Machine {
	t.Helper()
	text, err := examples.FS.ReadFile("millrace/millrace.coil")
	if err != nil {
		t.Fatal(err)
	}
	return resolve(t, string(text))
}

func TestSecondReadingMillrace(t *testing.T) {
	m := millrace(t)
	accepted := 0
	const all = 2000
	for i := range all {
		k := maker{r: rand.New(rand.NewPCG(3, uint64(i))), m: m, rough: i%2 == 1}
		if agree(t, m, k.program(1+k.r.IntN(40))) {
			accepted++
		}
	}
	if accepted < all/20 || accepted > all*19/20 {
		t.Errorf("%d of %d programs were accepted: the test sees one side only", accepted, all)
	}
}

// Random machines are Random's, with operands, widths and memories of ours:
// Random seldom has those, and what an instruction does is nothing here.
func TestSecondReadingRandomMachines(t *testing.T) {
	accepted, machines := 0, 0
	const all = 1500
	for i := range all {
		r := rand.New(rand.NewPCG(4, uint64(i)))
		var m *machine.Machine
		if i%2 == 0 {
			text := reference.Random(r)
			src, list := definition.Load("m.coil", func(string) ([]byte, error) { return []byte(text), nil })
			got, found := machine.Resolve(src)
			if list.Errors()+found.Errors() > 0 {
				continue
			}
			m = got
		} else {
			m = resolve(t, oddMachine(r))
		}
		has := false
		for _, s := range m.Signals {
			has = has || s.Program
		}
		if !has {
			continue
		}
		machines++
		k := maker{r: r, m: m, rough: i%4 == 3}
		if agree(t, m, k.program(1+k.r.IntN(25))) {
			accepted++
		}
	}
	t.Logf("%d machines, %d programs accepted", machines, accepted)
	if machines < all/2 || accepted < machines/5 {
		t.Errorf("of %d tries %d machines, %d programs accepted", all, machines, accepted)
	}
}

// oddMachine writes a machine with words of any width and operands that lie
// in odd places.
func oddMachine(r *rand.Rand) string {
	var b strings.Builder
	opcode := 6 + r.IntN(30)
	width := 1 + r.IntN(64)
	decoded := min(6, opcode)
	low := r.IntN(opcode - decoded + 1)
	order := []string{"", " little", " big"}[r.IntN(3)]
	if width <= 8 {
		order = ""
	}
	wide := max(opcode, width)
	wide = min(wide, 64)
	fmt.Fprintf(&b, `machine odd
bus data %d
bus addr 16
register pc 16
register nxt 16
register ir %d opcode %d:%d
memory ram %d x %d program%s
memory tape 300 x %d
unit inc 16 = addr + 1
line ram_g : ram[addr] -> data
line ir_l : data[%d:0] -> ir
line pc_g : pc -> addr
line pc_l : addr -> pc
line nxt_g : nxt -> addr
line nxt_l : inc -> nxt
line rst : restart
field two 2 { aa = 00, bb = 01, cc = 11 }
field one 1 { aa = 0, dd = 1 }
fetch {
    step pc_g ram_g ir_l nxt_l
    step nxt_g pc_l
}
`, wide, opcode, low+decoded-1, low, 200+r.IntN(800), width, order, 1+r.IntN(64), opcode-1)
	// The three top bits of the opcode tell the instructions apart.
	above, below := opcode-low-decoded, low
	free := func(n int) string {
		if n == 0 {
			return ""
		}
		return strings.Repeat("?", n) + " "
	}
	first := func(n int, middle string) string {
		return free(above) + fmt.Sprintf("%03b ", n) + middle + " " + free(below)
	}
	rest := func(name string, w int) string { // an operand cut into words of the memory
		var words []string
		for hi := w - 1; hi >= 0; {
			n := min(hi+1, 1+r.IntN(width))
			words = append(words, fmt.Sprintf("%s%s[%d:%d]", free(width-n), name, hi, hi-n+1))
			hi -= n
		}
		return ", " + strings.Join(words, ", ")
	}
	trait := []string{"", " signed", " relative", " relative signed"}[r.IntN(4)]
	w := 1 + r.IntN(64)
	if r.IntN(2) == 0 {
		w = 8 + r.IntN(8)
	}
	fmt.Fprintf(&b, "instruction go = %s\n", first(0, "000"))
	fmt.Fprintf(&b, "instruction go x:%d%s = %s%s\n", w, trait, first(1, "000"), rest("x", w))
	fmt.Fprintf(&b, "instruction go a:two = %s { except a = bb }\n", first(2, "a 0"))
	fmt.Fprintf(&b, "instruction put a:one, b:two = %s { except a = b }\n", first(3, "b a"))
	fmt.Fprintf(&b, "instruction put a:one, x:3 = %s\n", first(4, "x")+rest("a", 1))
	if width > 1 { // else there is no room for the two bits that are left
		fmt.Fprintf(&b, "instruction put x:3, a:two = %s, %sa[1] x[2]\n", first(5, "a[0] x[1:0]"), free(width-2))
	}
	return b.String()
}
