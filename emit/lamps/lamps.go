// Package lamps writes down what a rehearsal shows, phase by phase: lamps to tick off at the bench, a table, a waveform.
package lamps

import (
	"math/bits"
	"strings"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/store"
)

// Subject is what is rehearsed. Program says what stands at the addresses.
type Subject struct {
	Machine *machine.Machine
	Store   *store.Store
	Program *assemble.Program
}

// Recorder takes the views of one rehearsal as they come, and writes them
// down; it keeps those of one instruction at most. Close writes the end. An
// error is the writer's.
type Recorder interface {
	View(v *rehearse.View)
	Close(f rehearse.Final) error
}

// sources gives an address of the program memory the source line that put its
// first word there, with single blanks.
func (s Subject) sources() map[uint64]string {
	out := map[uint64]string{}
	for _, l := range s.Program.Lines {
		if l.Instruction < 0 || l.Memory < 0 {
			continue
		}
		if m := s.Program.Memories[l.Memory]; s.Machine.Signals[m.Signal].Program {
			out[l.Address] = strings.Join(strings.Fields(l.Text), " ")
		}
	}
	return out
}

// program is the index of the program memory's signal, -1 without.
func (s Subject) program() int {
	for i, signal := range s.Machine.Signals {
		if signal.Kind == machine.Memory && signal.Program {
			return i
		}
	}
	return -1
}

// addressBits is the width of an index of a memory.
func addressBits(s machine.Signal) int { return max(bits.Len64(s.Words-1), 1) }

// holds reports what keeps a value from phase to phase and has lamps of its own.
func holds(s machine.Signal) bool { return s.Kind == machine.Register || s.Kind == machine.Flag }

// after puts into out, which is empty, what the registers and flags hold once
// the latches have captured.
func after(out []uint64, m *machine.Machine, v *rehearse.View) []uint64 {
	out = append(out, v.Values...)
	for _, w := range v.Writes {
		if holds(m.Signals[w.Signal]) {
			out[w.Signal] = out[w.Signal]&^w.Mask | w.Value
		}
	}
	return out
}

// full has a bit for each of a signal's.
func full(width int) uint64 { return ^uint64(0) >> (64 - width) }
