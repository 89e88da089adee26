package rehearse

import "math/bits"

// slots is how many values a stretch may use: registers, flags, what comes
// between, and constants. A power of two, so that no index can be outside.
const slots = 1024

// stretches bounds how many are kept, operations what they hold in all.
const (
	stretches  = 1 << 14
	operations = 1 << 19
)

// keyBits is the widest key (opcode and flags) for which the stretch to go on
// with is found in a table.
const keyBits = 12

// fast is the machine compiled as far as it has been met.
type fast struct {
	useAt  bool
	inputs int // values taken when it was compiled: which inputs are due
	made   map[place]*stretch
	tables [][]*stretch // by phase, by key
	bits   int          // of the opcode within a key
	size   int          // operations
	slots  [slots]uint64
	memory [][]uint64 // by signal
}

// op is one operation on slots.
type op struct {
	code     code
	to, a, b uint16
	x, m     uint64
}

// stretch is a trace made flat: operations, and where to go then.
type stretch struct {
	ops          []op
	probe        []op // work out the address of the instruction that begins here
	address      uint16
	phases       int
	instructions int
	slow         bool // has to be done phase by phase
	link         *stretch
	end          place // where it ends; what parts give is not known before
	key          uint64
	parts        []part
	table        []*stretch
	lastKey      uint64 // without a table: where it went last
	last         *stretch
}

// part is bits of a slot that the decoder sees.
type part struct {
	slot uint16
	down uint8
	up   uint8
	mask uint64
}

// Fast does what Run does, without views, and sooner: it fuses what changes
// nothing between two places where the decoder sees something new, and falls
// back on single phases where there is more to it (inputs to take, buses that
// feed themselves, halt, the last phases before a bound). After it, the views
// of an instruction that was under way do not know its address.
func (r *Rehearsal) Fast(stop Stop) Final {
	first := r.opened
	for {
		if reason, done := r.stopped(stop, first); done {
			return r.final(reason)
		}
		if !r.sprint(stop, first) {
			r.Next(nil)
		}
	}
}

func (r *Rehearsal) inputsTaken() int {
	n := 0
	for _, i := range r.inputs {
		n += r.next[i]
	}
	return n
}

// sprint goes on as far as it can; false if that is nowhere.
func (r *Rehearsal) sprint(stop Stop, first int) bool {
	if f := r.fast; f == nil || f.useAt != stop.UseAt || f.inputs != r.inputsTaken() || f.full() {
		r.fast = &fast{
			useAt: stop.UseAt, inputs: r.inputsTaken(), made: map[place]*stretch{},
			tables: make([][]*stretch, r.s.Phases+1), bits: r.m.Opcode.Width(), memory: make([][]uint64, len(r.m.Signals)),
		}
		for i, mem := range r.data.memories {
			if mem != nil {
				r.fast.memory[i] = mem.dense
			}
		}
	}
	f := r.fast
	instructions := stop.Instructions
	if instructions <= 0 {
		instructions = DefaultInstructions
	}
	instructions -= r.opened - 1
	phases := int(^uint(0) >> 1)
	if stop.Phases > 0 {
		phases = stop.Phases - r.completed
	}
	if len(r.values) > slots/2 {
		return false
	}
	copy(f.slots[:], r.values)
	begun := instructions
	total := phases
	at := place{r.opcode(), r.flags(), r.phase}
	s := r.stretchAt(at)
	count := 0
	for !s.slow && s.instructions < instructions && s.phases <= phases {
		if s.probe != nil && r.opened-first+begun-instructions > 0 {
			f.run(s.probe)
			if f.slots[s.address%slots] == stop.At {
				break
			}
		}
		f.run(s.ops)
		count++
		instructions -= s.instructions
		phases -= s.phases
		at = s.end
		if s.link != nil {
			s = s.link
			continue
		}
		key := s.key
		for i := range s.parts {
			p := &s.parts[i]
			key |= f.slots[p.slot%slots] >> (p.down & 63) & p.mask << (p.up & 63)
		}
		at.opcode, at.flags = key&ones(f.bits), key>>f.bits
		if key < uint64(len(s.table)) {
			if next := s.table[key]; next != nil {
				s = next
				continue
			}
		} else if s.last != nil && s.lastKey == key {
			s = s.last
			continue
		}
		if f.full() {
			break
		}
		from := s
		s = r.stretchAt(at)
		switch {
		case len(from.parts) == 0:
			from.link = s
		case from.table != nil:
			from.table[key] = s
		default:
			from.lastKey, from.last = key, s
		}
	}
	if count == 0 {
		return false
	}
	copy(r.values, f.slots[:len(r.values)])
	r.completed += total - phases
	r.phase = at.phase
	r.known, r.address, r.strobed, r.hasWord, r.lastWord = false, 0, 0, false, 0
	if begun != instructions {
		r.opened += begun - instructions
		clear(r.taken)
	}
	r.arrive(false)
	return true
}

// stretchAt finds or compiles what begins at a place.
func (r *Rehearsal) stretchAt(at place) *stretch {
	s := r.fast.made[at]
	if s == nil {
		s = r.compile(at)
		r.fast.made[at] = s
	}
	return s
}

// full reports whether it is time to forget what was compiled.
func (f *fast) full() bool { return len(f.made) > stretches || f.size > operations }

func (f *fast) run(ops []op) {
	v := &f.slots
	for i := range ops {
		o := &ops[i]
		switch o.code {
		case codeConst:
			v[o.to%slots] = o.x
		case codeMove:
			v[o.to%slots] = v[o.a%slots]
		case codeAdd:
			v[o.to%slots] = (v[o.a%slots] + v[o.b%slots]) & o.m
		case codeAddI:
			v[o.to%slots] = (v[o.a%slots] + o.x) & o.m
		case codeSub:
			v[o.to%slots] = (v[o.a%slots] - v[o.b%slots]) & o.m
		case codeAnd:
			v[o.to%slots] = v[o.a%slots] & v[o.b%slots]
		case codeAndI:
			v[o.to%slots] = v[o.a%slots] & o.x
		case codeOr:
			v[o.to%slots] = v[o.a%slots] | v[o.b%slots]
		case codeOrI:
			v[o.to%slots] = v[o.a%slots] | o.x
		case codeXor:
			v[o.to%slots] = v[o.a%slots] ^ v[o.b%slots]
		case codeXorI:
			v[o.to%slots] = v[o.a%slots] ^ o.x
		case codeShlI:
			v[o.to%slots] = v[o.a%slots] << (o.x & 63) & o.m
		case codeShrI:
			v[o.to%slots] = v[o.a%slots] >> (o.x & 63) & o.m
		case codeZero:
			z := uint64(0)
			if v[o.a%slots] == 0 {
				z = 1
			}
			v[o.to%slots] = z
		case codeOver:
			v[o.to%slots] = (v[o.a%slots] + v[o.b%slots]) >> (o.x & 63) & 1
		case codeOver2:
			_, c := bits.Add64(v[o.a%slots], v[o.b%slots], 0)
			v[o.to%slots] = c
		case codeBelow:
			_, c := bits.Sub64(v[o.a%slots], v[o.b%slots], 0)
			v[o.to%slots] = c
		case codeMod:
			v[o.to%slots] = v[o.a%slots] % o.x
		case codeLoad:
			v[o.to%slots] = f.memory[o.x][v[o.a%slots]] & o.m
		case codeStore:
			f.memory[o.x][v[o.a%slots]] = v[o.b%slots]
		}
	}
}
