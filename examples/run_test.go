package examples_test

import (
	"fmt"
	"testing"

	"coilwright/emit/image"
	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
)

// example is a machine that has been through every stage.
type example struct {
	machine *machine.Machine
	plan    *schedule.Plan
	store   *store.Store
	image   *image.Image
	matrix  *network.Matrix
	diodes  int // in all, those at coils among them
}

// word is the control word in an image at (opcode, flags, phase).
func word(s *store.Store, im *image.Image, opcode, flags uint64, phase int) uint64 {
	at := int(s.Encode(opcode, flags, phase)) * im.BytesPerWord
	v := uint64(0)
	for _, b := range im.Data[at : at+im.BytesPerWord] {
		v = v<<8 | uint64(b)
	}
	return v
}

// bench runs a machine from the words of its image, one phase at a time: what
// is on settles, then all latches capture at once. It trusts nothing but the
// image, the meaning of each line and the polarity; lines that the word omits
// come from the store.
type bench struct {
	t *testing.T
	*example
	value   map[string]uint64   // of registers and flags
	memory  map[string][]uint64 // by name
	bell    int                 // phases in which a plain output was on
	phases  int                 // completed
	drivers int                 // the most sources that were on one bus
}

func newBench(t *testing.T, e *example) *bench {
	b := &bench{t: t, example: e, value: map[string]uint64{}, memory: map[string][]uint64{}}
	for _, s := range e.machine.Signals {
		if s.Kind == machine.Memory {
			b.memory[s.Name] = make([]uint64, s.Words)
		}
	}
	return b
}

// run goes on from phase 1 until the machine halts or has completed a number
// of instructions, 0 for as many as there are; it fails the test after 10,000
// phases.
func (b *bench) run(instructions int) {
	b.t.Helper()
	phase := 1
	for n := 0; n < 10_000; n++ {
		switch b.step(phase) {
		case store.Halt:
			return
		case store.Restart:
			phase = 1
		default:
			phase = phase%b.store.Phases + 1
		}
		b.phases++
		if phase == 1 {
			if instructions--; instructions == 0 {
				return
			}
		}
	}
	b.t.Fatal("the program does not come to an end")
}

// step does one phase and returns Halt or Restart if such a line is on.
func (b *bench) step(phase int) (end store.Kind) {
	m := b.machine
	op, flags := m.Signals[m.Opcode.Signal].Name, uint64(0)
	for i, f := range m.Tested {
		flags |= b.value[m.Signals[f].Name] << i
	}
	on := b.decode(b.value[op]>>m.Opcode.Lo&mask(m.Opcode.Width()-1), flags, phase)
	bus := map[string]uint64{}
	sources := map[string]int{}
	for range 4 { // a gate may read what another one drives
		next := map[string]uint64{}
		clear(sources)
		for i := range m.Lines {
			l := &m.Lines[i]
			if !on[i] || l.Kind != store.Gate {
				continue
			}
			if l.Joins {
				b.t.Fatalf("line %s joins two buses: this bench cannot", l.Name)
			}
			for _, e := range l.Effects {
				name := m.Signals[e.Target.Signal].Name
				next[name] |= b.eval(e.Source, bus, on) << e.Target.Lo
				sources[name]++
			}
		}
		bus = next
	}
	for _, n := range sources {
		b.drivers = max(b.drivers, n)
	}
	var capture []func()
	for i := range m.Lines {
		l := &m.Lines[i]
		if !on[i] {
			continue
		}
		switch l.Kind {
		case store.Output:
			b.bell++
		case store.Restart, store.Halt:
			if end != store.Halt {
				end = l.Kind
			}
		case store.Latch:
			for _, e := range l.Effects {
				s, v := &m.Signals[e.Target.Signal], b.eval(e.Source, bus, on)
				if s.Kind == machine.Memory {
					at := b.eval(e.Target.Index, bus, on)
					capture = append(capture, func() { b.memory[s.Name][at] = v })
					continue
				}
				width := mask(e.Target.Hi-e.Target.Lo) << e.Target.Lo
				capture = append(capture, func() { b.value[s.Name] = b.value[s.Name]&^width | v<<e.Target.Lo })
			}
		}
	}
	for _, c := range capture {
		c()
	}
	return end
}

// decode tells the lines that are on.
func (b *bench) decode(opcode, flags uint64, phase int) []bool {
	on := make([]bool, len(b.machine.Lines))
	omitted := b.store.At(opcode, flags, phase)
	for i := range on {
		on[i] = omitted.Has(i)
	}
	w := word(b.store, b.image, opcode, flags, phase)
	for bit, column := range b.store.Word.Bits {
		if column >= 0 {
			on[column] = (w>>bit&1 == 1) != b.store.Columns[column].Low
		}
	}
	return on
}

// mask has bits n..0 set.
func mask(n int) uint64 { return 1<<(n+1) - 1 }

func (b *bench) eval(e *machine.Expr, bus map[string]uint64, on []bool) uint64 {
	arg := func(i int) uint64 { return b.eval(e.Args[i], bus, on) }
	cut := func(v uint64) uint64 { return v >> e.Lo & mask(e.Hi-e.Lo) }
	all := mask(e.Width - 1)
	switch e.Op {
	case machine.Const:
		return e.Value
	case machine.Read:
		s := &b.machine.Signals[e.Signal]
		if s.Kind == machine.Bus {
			return cut(bus[s.Name])
		}
		return cut(b.value[s.Name])
	case machine.Fetch:
		return cut(b.memory[b.machine.Signals[e.Signal].Name][arg(0)])
	case machine.Apply:
		return cut(b.eval(b.picked(e.Unit, on), bus, on))
	case machine.Add:
		return (arg(0) + arg(1)) & all
	case machine.Sub:
		return (arg(0) - arg(1)) & all
	case machine.And:
		return arg(0) & arg(1)
	case machine.Or:
		return arg(0) | arg(1)
	case machine.Xor:
		return arg(0) ^ arg(1)
	case machine.Zero:
		if arg(0) == 0 {
			return 1
		}
		return 0
	case machine.Carry:
		return b.carry(e.Args[0], bus, on)
	case machine.Join:
		return arg(0)<<e.Args[1].Width | arg(1)
	case machine.Cut:
		return cut(arg(0))
	case machine.Extend:
		return arg(0)
	}
	b.t.Fatalf("%v: no example had operation %d when this bench was written", e.At, e.Op)
	return 0
}

// picked is the case of a unit that its select lines pick.
func (b *bench) picked(unit int, on []bool) *machine.Expr {
	u, n := &b.machine.Units[unit], 0
	for _, l := range u.By {
		n <<= 1
		if on[l] {
			n |= 1
		}
	}
	return u.Cases[n]
}

// carry is out of a sum, or 1 for a difference below zero, else 0 (language.md W.3).
func (b *bench) carry(e *machine.Expr, bus map[string]uint64, on []bool) uint64 {
	switch e.Op {
	case machine.Apply:
		return b.carry(b.picked(e.Unit, on), bus, on)
	case machine.Add:
		return (b.eval(e.Args[0], bus, on) + b.eval(e.Args[1], bus, on)) >> e.Width & 1
	case machine.Sub:
		if b.eval(e.Args[0], bus, on) < b.eval(e.Args[1], bus, on) {
			return 1
		}
	}
	return 0
}

// want holds the registers and flags named to values, in the same order.
func (b *bench) want(what string, names []string, values ...uint64) {
	b.t.Helper()
	for i, n := range names {
		if b.value[n] != values[i] {
			b.t.Errorf("%s: %s is %s, want %s", what, n, hex(b.value[n]), hex(values[i]))
		}
	}
}

func hex(v uint64) string { return fmt.Sprintf("%02X", v) }
