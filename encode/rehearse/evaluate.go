package rehearse

import (
	"math/bits"

	"coilwright/encode/machine"
	"coilwright/encode/store"
)

// ones has the lowest n bits set, n from 0 to 64.
func ones(n int) uint64 {
	if n <= 0 {
		return 0
	}
	return ^uint64(0) >> (64 - n)
}

// datapath is what expressions are worked out from: registers, flags, buses
// and memories as they are now, and the select lines that are on.
type datapath struct {
	m        *machine.Machine
	values   []uint64 // by signal; memories are 0
	memories []*memory
	on       store.Set
	units    []unitValue // worked out once, however many read them
	pass     int
}

type unitValue struct {
	pass  int
	value uint64
}

// next forgets the values of units: something they read has changed.
func (d *datapath) next() { d.pass++ }

// picked is the case of a unit that the select lines pick (machine.Unit.By).
func picked(u *machine.Unit, on store.Set) *machine.Expr {
	n := 0
	for _, l := range u.By {
		n <<= 1
		if on.Has(l) {
			n |= 1
		}
	}
	return u.Cases[n]
}

func (d *datapath) unit(i int) uint64 {
	u := &d.units[i]
	if u.pass != d.pass {
		*u = unitValue{d.pass, d.eval(picked(&d.m.Units[i], d.on))}
	}
	return u.value
}

func (d *datapath) eval(e *machine.Expr) uint64 {
	all := ones(e.Width)
	switch e.Op {
	case machine.Const:
		return e.Value
	case machine.Read:
		return d.values[e.Signal] >> e.Lo & all
	case machine.Fetch:
		return d.memories[e.Signal].at(d.eval(e.Args[0])) >> e.Lo & all
	case machine.Apply:
		return d.unit(e.Unit) >> e.Lo & all
	case machine.Carry:
		return d.carry(e.Args[0])
	}
	a := d.eval(e.Args[0])
	switch e.Op {
	case machine.Add:
		return (a + d.eval(e.Args[1])) & all
	case machine.Sub:
		return (a - d.eval(e.Args[1])) & all
	case machine.And:
		return a & d.eval(e.Args[1])
	case machine.Or:
		return a | d.eval(e.Args[1])
	case machine.Xor:
		return a ^ d.eval(e.Args[1])
	case machine.Not:
		return ^a & all
	case machine.Zero:
		if a == 0 {
			return 1
		}
		return 0
	case machine.Sign:
		return a >> (e.Args[0].Width - 1)
	case machine.Rol:
		return (a<<1 | a>>(e.Width-1)) & all
	case machine.Ror:
		return (a>>1 | a<<(e.Width-1)) & all
	case machine.Shl:
		return a << 1 & all
	case machine.Shr:
		return a >> 1
	case machine.Join:
		return a<<e.Args[1].Width | d.eval(e.Args[1])
	case machine.Cut:
		return a >> e.Lo & all
	}
	return a // Extend: zeros on top are there already
}

// carry is out of a sum, or 1 for a difference below zero, else 0 (language.md
// W.3). In a + b + flag at most one of the two sums carries.
func (d *datapath) carry(e *machine.Expr) uint64 {
	switch e.Op {
	case machine.Apply:
		return d.carry(picked(&d.m.Units[e.Unit], d.on))
	case machine.Add:
		out := overflow(d.eval(e.Args[0]), d.eval(e.Args[1]), e.Width)
		if e.Args[0].Op == machine.Add {
			out |= d.carry(e.Args[0])
		}
		return out
	case machine.Sub:
		out := below(d.eval(e.Args[0]), d.eval(e.Args[1]))
		if e.Args[0].Op == machine.Sub {
			out |= d.carry(e.Args[0])
		}
		return out
	}
	return 0
}

// overflow is bit number width of a + b.
func overflow(a, b uint64, width int) uint64 {
	sum, carry := bits.Add64(a, b, 0)
	if width == 64 {
		return carry
	}
	return sum >> width & 1
}

func below(a, b uint64) uint64 {
	if a < b {
		return 1
	}
	return 0
}
