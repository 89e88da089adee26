package assemble

import (
	"coilwright/encode/machine"
)

// piece is a run of bits of an operand and where it goes.
type piece struct {
	word  int // of the encoding
	lo    uint
	shift uint
	mask  uint64 // after the shift by lo
}

type operand struct {
	field  int // -1 for a number
	width  int
	signed bool
	// relative: the target minus the address after the last word.
	relative bool
	stride   int // of the choice in form.variants, 0 if it is not decoded
	pieces   []piece
}

// form is an instruction made ready for encoding.
type form struct {
	ins      int
	base     []uint64 // by word of the encoding: the fixed bits
	head     int      // memory words that the first word takes
	size     int      // memory words of the whole
	width    int      // of a memory word in bits
	little   bool
	operands []operand
	fields   bool // some operand is of a field
	// variants is, by combination of the decoded field operands, the index of
	// the variant, -1 without; it is made at the first use.
	variants []int32
	combos   int
}

func newForm(m *machine.Machine, index int, program *machine.Signal) *form {
	ins := &m.Instructions[index]
	f := &form{ins: index, head: 1, combos: 1, operands: make([]operand, len(ins.Operands))}
	decoded := make([]bool, len(ins.Operands))
	for i := range ins.Variants {
		for op, c := range ins.Variants[i].Values {
			decoded[op] = decoded[op] || c >= 0
		}
	}
	for op := len(ins.Operands) - 1; op >= 0; op-- {
		o := &ins.Operands[op]
		f.operands[op] = operand{field: o.Field, width: o.Width, signed: o.Signed || o.Relative, relative: o.Relative}
		if o.Field >= 0 {
			f.fields = true
		}
		if o.Field >= 0 && decoded[op] {
			f.operands[op].stride = f.combos
			f.combos *= len(m.Fields[o.Field].Choices)
		}
	}
	for w := range ins.Words {
		word := &ins.Words[w]
		base, at := uint64(0), word.Width
		for _, p := range word.Parts {
			at -= p.Width
			if p.Operand < 0 {
				base |= p.Value << at
				continue
			}
			o := &f.operands[p.Operand]
			o.pieces = append(o.pieces, piece{word: w, lo: uint(p.Lo), shift: uint(at), mask: ^uint64(0) >> (64 - p.Width)})
		}
		f.base = append(f.base, base)
	}
	if program != nil && program.Width > 0 && len(ins.Words) > 0 {
		f.width, f.little = program.Width, program.Little
		f.head = max(1, (ins.Words[0].Width+program.Width-1)/program.Width)
	}
	f.size = f.head + len(f.base) - 1
	return f
}

// split puts the first word of an encoding into the memory words it takes.
func (f *form) split(dst []uint64, first uint64) {
	mask := ^uint64(0) >> (64 - f.width)
	for i := range f.head {
		k := f.head - 1 - i // the least significant part goes last
		if f.little {
			k = i
		}
		dst[k] = first & mask
		first >>= f.width // 64 or more gives 0
	}
}

// table lists the variants by combination of choices. A combination that a
// field decoded only in part makes the twin of another has the other's variant.
func (f *form) table(m *machine.Machine) {
	ins := &m.Instructions[f.ins]
	f.variants = make([]int32, f.combos)
	for i := range f.variants {
		f.variants[i] = -1
	}
	for v := range ins.Variants {
		f.variants[f.combination(ins.Variants[v].Values)] = int32(v)
	}
}

func (f *form) combination(choices []int) int {
	n := 0
	for op := range f.operands {
		if s := f.operands[op].stride; s > 0 {
			n += s * choices[op]
		}
	}
	return n
}

// twin finds the variant of a combination that has none of its own and puts
// it into the table. first is the first word of the encoding.
func (f *form) twin(m *machine.Machine, combination int, first uint64) int32 {
	opcode := first >> m.Opcode.Lo & (^uint64(0) >> (64 - m.Opcode.Width()))
	for v := range m.Instructions[f.ins].Variants {
		if c := m.Instructions[f.ins].Variants[v].Opcode; opcode&c.Care == c.Value {
			f.variants[combination] = int32(v)
			return int32(v)
		}
	}
	return -1
}
