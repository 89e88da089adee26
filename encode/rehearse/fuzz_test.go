package rehearse_test

import (
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
)

// FuzzRehearse runs any bytes on any machine, from the computed store and from
// an image with faults: no panic, no hang, and both runs agree.
func FuzzRehearse(f *testing.F) {
	f.Add(uint64(1), uint64(0), uint16(0), []byte{0x80, 0x31, 0x20, 0x00, 0x01})
	f.Add(uint64(7), uint64(3), uint16(90), []byte("0123456789abcdef"))
	f.Add(uint64(12), uint64(9), uint16(40), []byte{0xFF, 0x00, 0x55, 0xAA, 0x12, 0x34})
	f.Add(uint64(156), uint64(0), uint16(79), []byte("0")) // once, a word was loaded after the store that follows its reading
	f.Fuzz(func(t *testing.T, seed, image uint64, phases uint16, data []byte) {
		r := rand.New(rand.NewPCG(seed, 4))
		page := reference.Random(r)
		b, list := try("test.coil", func(string) ([]byte, error) { return []byte(page), nil })
		if list.Errors() > 0 {
			return
		}
		setup := anySetup(r, b.Machine)
		for i := range b.Signals {
			if b.Signals[i].Kind != machine.Memory {
				continue
			}
			for k, v := range data {
				setup.Memories[i][uint64(k)] = uint64(v) // past the end it wraps
			}
		}
		control := anyControl(rand.New(rand.NewPCG(image, 5)), b.store)
		stop := rehearse.Stop{Instructions: 40, Phases: int(phases)}
		if image%5 == 1 {
			stop.UseAt, stop.At = true, image/5%16
		}
		seen := 0
		want := rehearse.New(b.Machine, b.store, control, setup).Run(stop, func(v *rehearse.View) {
			if v.Completed != seen {
				t.Fatalf("phase %d follows %d", v.Completed, seen)
			}
			if !v.Halt {
				seen++
			}
		})
		if want.Phases != seen {
			t.Fatalf("%d phases are %d views", want.Phases, seen)
		}
		got := rehearse.New(b.Machine, b.store, control, setup).Fast(stop)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Fatalf("(-run +fast):\n%s", diff)
		}
	})
}
