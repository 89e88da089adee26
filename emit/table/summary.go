package table

import (
	"fmt"
	"io"
	"math/big"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
)

// Facts is what a summary is drawn from. Matrix may be nil: then nothing is said of it.
type Facts struct {
	Machine *machine.Machine
	Plan    *schedule.Plan
	Store   *store.Store
	Matrix  *network.Matrix
	Network *network.Network // whose matrix it is; may be nil
}

// Summary writes what a machine amounts to, on one screen: at most 24 lines of
// 80 characters. An error is the writer's.
func Summary(w io.Writer, f Facts) error {
	p := newPage(w, Width)
	m, s := f.Machine, f.Store
	p.line("%s", heading(m.Name, m.Title, m.Hash, p.width))
	p.line("")
	entry := func(name, format string, args ...any) {
		for _, l := range wrap(fmt.Sprintf("%-14s", name), strings.Repeat(" ", 14), fmt.Sprintf(format, args...), p.width) {
			p.line("%s", l)
		}
	}
	defined := new(big.Int)
	variants := 0
	for _, o := range s.Owners {
		if o.Kind != "instruction" {
			continue
		}
		variants++
		for _, c := range o.Opcodes {
			defined.Add(defined, new(big.Int).Lsh(big.NewInt(1), uint(s.OpcodeBits-c.Literals())))
		}
	}
	all := new(big.Int).Lsh(big.NewInt(1), uint(s.OpcodeBits))
	rest := ""
	if defined.Cmp(all) < 0 {
		rest = ", the others " + undefinedText[m.Undefined]
	}
	entry("opcode", "%s; %s of %s defined%s", counted(s.OpcodeBits, "bit"), defined, all, rest)
	entry("instructions", "%d in %s", len(m.Instructions), counted(variants, "variant"))
	flags := "none"
	if len(s.Flags) > 0 {
		flags = strings.Join(s.Flags, " ")
	}
	entry("flags tested", "%s", flags)
	entry("phases", "%d in the ring, %s each", s.Phases, duration(m.Sequencer.Period))
	if name, n := longest(f.Plan, s); n > 0 {
		entry("longest path", "%s in %s: %s", counted(n, "phase"), duration(float64(n)*m.Sequencer.Period), name)
	}
	entry("lines", "%s", lineCounts(s))
	bytes := (len(s.Word.Bits) + 7) / 8
	size := new(big.Int).Lsh(big.NewInt(1), uint(s.AddressBits()))
	total := new(big.Int).Mul(size, big.NewInt(int64(bytes)))
	entry("word", "%s in %s", counted(len(s.Word.Bits), "bit"), counted(bytes, "byte"))
	entry("image", "%s: %d words, %d bytes", counted(s.AddressBits(), "address bit"), size, total)
	if s.Word.Split > 0 {
		n := (len(s.Word.Bits) + s.Word.Split - 1) / s.Word.Split
		entry("chips", "%d of %s", n, counted(s.Word.Split, "bit"))
	}
	if mx := f.Matrix; mx != nil {
		entry("matrix", "%s style: %s", mx.Style, sizes(mx))
	}
	if n := f.Network; n != nil {
		entry("relays", "%d with %s in use and %s at their coils; cost %.2f, no network %s less than %.2f",
			len(n.Relays), counted(n.Cost.Contacts, "pole"), counted(len(n.Matrix.AtCoils), "diode"), n.Cost.Total, bounded(n.Matrix.Style), n.Bound)
	}
	return p.flush()
}

var undefinedText = map[machine.Undefined]string{
	machine.UndefinedRestart: "restart", machine.UndefinedIdle: "idle", machine.UndefinedHalt: "halt", machine.UndefinedFree: "are free",
}

// longest finds the longest path and says whose it is; the first of equals.
func longest(p *schedule.Plan, s *store.Store) (name string, phases int) {
	for _, o := range p.Owners {
		for _, path := range o.Paths {
			if n := max(path.Last, path.Restart); n > phases {
				name, phases = o.Name, n
				if len(o.Paths) > 1 && path.Flags.Care != 0 {
					name += " with " + condition(path.Flags, s.Flags)
				}
			}
		}
	}
	return name, phases
}

// lineCounts counts lines by kind, and those that are active low.
func lineCounts(s *store.Store) string {
	kinds := []struct {
		kind store.Kind
		name string
	}{{store.Gate, "gate"}, {store.Latch, "latch"}, {store.Select, "select line"}, {store.Output, "output"}, {store.Restart, "restart"}, {store.Halt, "halt"}}
	n, low := map[store.Kind]int{}, 0
	for _, c := range s.Columns {
		n[c.Kind]++
		if c.Low {
			low++
		}
	}
	var out []string
	for _, k := range kinds {
		switch {
		case n[k.kind] == 0:
		case n[k.kind] > 1 && strings.HasSuffix(k.name, "ch"):
			out = append(out, fmt.Sprintf("%d %ses", n[k.kind], k.name))
		default:
			out = append(out, counted(n[k.kind], k.name))
		}
	}
	return fmt.Sprintf("%d: %s; %d active low", len(s.Columns), strings.Join(out, ", "), low)
}
