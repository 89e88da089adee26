package rehearse_test

import (
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/internal/reference"
	"coilwright/encode/rehearse"
)

// Millrace counts up at 10 and goes round from 16 to 10.
func loop(t *testing.T) (built, rehearse.Setup) {
	b := example(t, "millrace")
	return b, rehearse.Setup{
		Values: map[int]uint64{b.signal(t, "pc"): 0x10, b.signal(t, "tmp"): 1},
		Memories: map[int]map[uint64]uint64{b.signal(t, "ram"): {
			0x10: 0x80, 0x11: 0x80, // add, add
			0x12: 0x31, 0x13: 0x20, // jz 20
			0x14: 0x30, 0x15: 0x10, // jump 10
			0x20: 0x01, // halt
		}},
	}
}

func TestStops(t *testing.T) {
	b, setup := loop(t)
	acc := b.signal(t, "acc")
	for _, c := range []struct {
		name                 string
		stop                 rehearse.Stop
		reason               rehearse.Reason
		instructions, phases int
		acc                  uint64
	}{
		// add takes 9 phases, jz that is off 10, jump 12: 40 once round.
		{"by the program", rehearse.Stop{}, rehearse.Halted, 127*4 + 3 + 1, 127*40 + 9 + 9 + 12 + 5, 0},
		{"after no instruction but the usual bound", rehearse.Stop{Instructions: 0, Phases: 1}, rehearse.PhaseBound, 0, 1, 0},
		{"after phases, within an instruction", rehearse.Stop{Phases: 40 + 7}, rehearse.PhaseBound, 4, 47, 2},
		{"after phases, in the last but one", rehearse.Stop{Phases: 40 + 8}, rehearse.PhaseBound, 4, 48, 3},
		{"after phases, at the end of an instruction", rehearse.Stop{Phases: 49}, rehearse.PhaseBound, 5, 49, 3},
		{"after instructions", rehearse.Stop{Instructions: 6}, rehearse.InstructionBound, 6, 58, 4},
		{"before an address", rehearse.Stop{At: 0x12, UseAt: true}, rehearse.ReachedAddress, 2, 18, 2},
		{"back where it began", rehearse.Stop{At: 0x10, UseAt: true}, rehearse.ReachedAddress, 4, 40, 2},
		{"an address that is never begun", rehearse.Stop{At: 0x13, UseAt: true, Instructions: 9}, rehearse.InstructionBound, 9, 89, 5},
		{"before the address of halt", rehearse.Stop{At: 0x20, UseAt: true}, rehearse.ReachedAddress, 127*4 + 3, 127*40 + 30, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			for name, run := range map[string]func(*rehearse.Rehearsal) rehearse.Final{
				"run":  func(r *rehearse.Rehearsal) rehearse.Final { return r.Run(c.stop, nil) },
				"fast": func(r *rehearse.Rehearsal) rehearse.Final { return r.Fast(c.stop) },
			} {
				f := run(rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup))
				if f.Reason != c.reason || f.Instructions != c.instructions || f.Phases != c.phases || f.Values[acc] != c.acc {
					t.Errorf("%s: %s after %d instructions and %d phases with acc %d, want %s, %d, %d, %d", name,
						f.Reason, f.Instructions, f.Phases, f.Values[acc], c.reason, c.instructions, c.phases, c.acc)
				}
				if want := float64(f.Phases) * 0.020; f.Seconds != want {
					t.Errorf("%s: %v s, want %v", name, f.Seconds, want)
				}
			}
		})
	}
}

// A run may be cut into pieces, and stops at the same address again and again.
func TestRunGoesOn(t *testing.T) {
	b, setup := loop(t)
	for name, run := range map[string]func(*rehearse.Rehearsal, rehearse.Stop) rehearse.Final{
		"run":  func(r *rehearse.Rehearsal, s rehearse.Stop) rehearse.Final { return r.Run(s, nil) },
		"fast": func(r *rehearse.Rehearsal, s rehearse.Stop) rehearse.Final { return r.Fast(s) },
	} {
		r := rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup)
		for round := 1; round <= 5; round++ {
			f := run(r, rehearse.Stop{At: 0x10, UseAt: true})
			if f.Reason != rehearse.ReachedAddress || f.Instructions != 4*round || f.Values[b.signal(t, "pc")] != 0x10 {
				t.Fatalf("%s, round %d: %s after %d instructions with pc %02X", name, round, f.Reason, f.Instructions, f.Values[b.signal(t, "pc")])
			}
		}
		f := run(r, rehearse.Stop{})
		if f.Reason != rehearse.Halted {
			t.Fatalf("%s: %s", name, f.Reason)
		}
		if r.Next(new(rehearse.View)) {
			t.Errorf("%s: a halted machine does another phase", name)
		}
	}
}

func TestFinalSaysWhatChanged(t *testing.T) {
	b := example(t, "millrace")
	ram := b.signal(t, "ram")
	setup := rehearse.Setup{
		Values: map[int]uint64{b.signal(t, "acc"): 0x1FF}, // nine bits: the highest is lost
		Memories: map[int]map[uint64]uint64{ram: {0: 0x21, 1: 0x80, 2: 0x21, 3: 0x81, 4: 0x10, 5: 0, 6: 0x21, 7: 0x82, 8: 1,
			0x80: 7, 0x81: 0xFF, 0x82: 9}},
	}
	r := rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup)
	f := r.Run(rehearse.Stop{}, nil)
	want := map[int]map[uint64]uint64{ram: {0x80: 0xFF, 0x82: 0}}
	if diff := cmp.Diff(want, f.Memories); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if setup.Memories[ram][0x80] != 7 {
		t.Error("the setup was changed")
	}
}

// Views belong to who gets them.
func TestViewsAreKept(t *testing.T) {
	b, setup := loop(t)
	var views []*rehearse.View
	var lines []string
	rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup).Run(rehearse.Stop{Instructions: 20}, func(v *rehearse.View) {
		views = append(views, v)
		lines = append(lines, row(b, v))
	})
	for i, v := range views {
		if got := row(b, v); got != lines[i] || v.Completed != i {
			t.Fatalf("view %d was %q and is now %q", i, lines[i], got)
		}
	}
}

// The rules hold on every path of a sound machine: its rehearsal has nothing to
// say but of memories that are small and of inputs.
func TestSoundMachinesHaveNothingToSay(t *testing.T) {
	machines, phases := 0, 0
	for seed := uint64(0); machines < 300; seed++ {
		r := rand.New(rand.NewPCG(3, seed))
		page := reference.Random(r)
		b, list := try("test.coil", func(string) ([]byte, error) { return []byte(page), nil })
		if list.Errors() > 0 {
			continue
		}
		machines++
		setup := anySetup(r, b.Machine)
		setup.Inputs = nil
		anyInstructions(r, b, setup)
		rehearse.New(b.Machine, b.store, rehearse.FromStore(b.store), setup).Run(rehearse.Stop{Instructions: 50}, func(v *rehearse.View) {
			phases++
			for _, n := range v.Notes {
				if n.Kind != "wrap" {
					t.Errorf("machine %d, phase %d of instruction %d (%s): %s: %s", seed, v.Phase, v.Instruction, b.store.Owners[v.Owner].Name, n.Kind, n.Text)
				}
			}
		})
		if t.Failed() {
			t.Fatalf("\n%s", page)
		}
	}
	t.Logf("%d machines, %d phases", machines, phases)
}
