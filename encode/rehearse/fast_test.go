package rehearse_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/store"
)

// anySetup gives registers, flags, memory words and inputs of all kinds.
func anySetup(r *rand.Rand, m *machine.Machine) rehearse.Setup {
	s := rehearse.Setup{Values: map[int]uint64{}, Memories: map[int]map[uint64]uint64{}, Inputs: map[int][]uint64{}}
	for i := range m.Signals {
		sig := &m.Signals[i]
		switch sig.Kind {
		case machine.Register, machine.Flag:
			if r.IntN(3) > 0 {
				s.Values[i] = r.Uint64()
			}
			if sig.Input && r.IntN(2) > 0 {
				for range r.IntN(5) {
					s.Inputs[i] = append(s.Inputs[i], r.Uint64())
				}
			}
		case machine.Memory:
			s.Memories[i] = map[uint64]uint64{}
			for k := range min(sig.Words, 256) {
				s.Memories[i][k] = r.Uint64()
			}
		}
	}
	return s
}

// anyInstructions puts opcodes that exist into the first bits of all words, so
// that a run does not idle through undefined ones.
func anyInstructions(r *rand.Rand, b built, s rehearse.Setup) {
	for i := range b.Signals {
		if !b.Signals[i].Program {
			continue
		}
		op := b.Opcode
		for k := range s.Memories[i] {
			if r.IntN(8) == 0 || len(b.Instructions) == 0 {
				continue
			}
			in := &b.Instructions[r.IntN(len(b.Instructions))]
			if len(in.Variants) == 0 {
				continue
			}
			c := in.Variants[r.IntN(len(in.Variants))].Opcode
			v := s.Memories[i][k]
			v = v&^(c.Care<<op.Lo) | c.Value<<op.Lo
			s.Memories[i][k] = v
		}
	}
}

func anyStop(r *rand.Rand) rehearse.Stop {
	s := rehearse.Stop{Instructions: 1 + r.IntN(60)}
	if r.IntN(3) == 0 {
		s.Phases = 1 + r.IntN(300)
	}
	if r.IntN(4) == 0 {
		s.UseAt, s.At = true, r.Uint64N(20)
	}
	return s
}

// anyControl is the computed store, or an image with faults.
func anyControl(r *rand.Rand, s *store.Store) rehearse.Control {
	if r.IntN(4) > 0 || s.AddressBits() > 16 {
		return rehearse.FromStore(s)
	}
	faults := uint64(1 + r.IntN(40))
	seed := r.Uint64()
	right := rehearse.FromStore(s)
	return rehearse.FromWords(s, func(address uint64) []byte {
		opcode, flags, phase := s.Decode(address)
		lines := right.Lines(opcode, flags, phase)
		at := rand.New(rand.NewPCG(seed, address))
		for column := range s.Columns {
			if at.Uint64N(1000) >= faults {
				continue
			}
			if lines.Has(column) {
				lines[column/64] &^= 1 << (column % 64)
			} else {
				lines.Add(column)
			}
		}
		return wordOf(s, lines)
	})
}

// agree runs a program both ways, in one go and in pieces, and compares.
func agree(t *testing.T, r *rand.Rand, b built, what string) rehearse.Final {
	t.Helper()
	setup := anySetup(r, b.Machine)
	anyInstructions(r, b, setup)
	control := anyControl(r, b.store)
	slow := rehearse.New(b.Machine, b.store, control, setup)
	fast := rehearse.New(b.Machine, b.store, control, setup)
	var want rehearse.Final
	total := rehearse.Stop{}
	for range 1 + r.IntN(3) {
		stop := anyStop(r)
		stop.Instructions += total.Instructions
		if stop.Phases > 0 {
			stop.Phases += total.Phases
		}
		want = slow.Run(stop, nil)
		got := fast.Fast(stop)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("%s: %+v (-run +fast):\n%s", what, stop, diff)
		}
		total.Instructions, total.Phases = want.Instructions, want.Phases
	}
	return want
}

// TestFastAgreesWithRun holds the faster run to the slow one on random programs.
func TestFastAgreesWithRun(t *testing.T) {
	counts := map[rehearse.Reason]int{}
	phases := 0
	count := func(f rehearse.Final) {
		counts[f.Reason]++
		phases += f.Phases
	}
	for _, name := range []string{"millrace", "firststeps", "textbook"} {
		b := example(t, name)
		for i := range 2500 {
			count(agree(t, rand.New(rand.NewPCG(1, uint64(i))), b, fmt.Sprintf("%s %d", name, i)))
		}
	}
	machines, programs := 0, 0
	for seed := uint64(0); programs < 2500; seed++ {
		r := rand.New(rand.NewPCG(2, seed))
		page := reference.Random(r)
		b, list := try("test.coil", func(string) ([]byte, error) { return []byte(page), nil })
		if list.Errors() > 0 {
			continue
		}
		machines++
		for range 2 {
			programs++
			count(agree(t, r, b, fmt.Sprintf("machine %d", seed)))
		}
	}
	for _, reason := range []rehearse.Reason{rehearse.Halted, rehearse.ReachedAddress, rehearse.PhaseBound, rehearse.InstructionBound} {
		if counts[reason] < 100 {
			t.Errorf("only %d runs ended by %s: the programs are too much alike", counts[reason], reason)
		}
	}
	t.Logf("%d random machines, %d phases, ends: %v", machines, phases, counts)
}
