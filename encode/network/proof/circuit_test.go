package proof_test

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"coilwright/encode/internal/reference"
	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/examples"
	"coilwright/lang/definition"
)

func machineOf(t testing.TB, name string) (*machine.Machine, *store.Store, store.Changes) {
	t.Helper()
	src, list := definition.Load(name+".coil", func(string) ([]byte, error) {
		return examples.FS.ReadFile(name + "/" + name + ".coil")
	})
	m, more := machine.Resolve(src)
	list = append(list, more...)
	p, more := schedule.Encode(m)
	list = append(list, more...)
	if list.Errors() > 0 {
		t.Fatal(list)
	}
	return m, schedule.Weave(m, p), schedule.Changes(m, p)
}

// placed is the list of a network on cards.
func placed(t testing.TB, m *machine.Machine, s *store.Store, ch store.Changes, style string) *wiring.List {
	t.Helper()
	c, err := network.Build(s, ch, m.Hardware, style)
	if err != nil {
		t.Fatal(err)
	}
	n, list := network.Place(c, s, m.Hardware)
	if n == nil {
		t.Fatal(list)
	}
	return n.List
}

// TestRandomMachines: whatever machine it is, the network of every style is
// proved, and the slow reading finds nothing either where it is not too slow.
func TestRandomMachines(t *testing.T) {
	n := uint64(6)
	if testing.Short() {
		n = 2
	}
	if v, err := strconv.ParseUint(os.Getenv("COILWRIGHT_MACHINES"), 10, 32); err == nil {
		n = v
	}
	proved, checked := 0, 0
	for seed := range n {
		text := reference.Random(rand.New(rand.NewPCG(seed, 9)))
		src, list := definition.Load("random.coil", func(string) ([]byte, error) { return []byte(text), nil })
		m, more := machine.Resolve(src)
		if append(list, more...).Errors() > 0 {
			continue
		}
		p, more := schedule.Encode(m)
		if more.Errors() > 0 {
			continue
		}
		s, ch := schedule.Weave(m, p), schedule.Changes(m, p)
		for _, style := range network.Styles {
			c, err := network.Build(s, ch, m.Hardware, style)
			if err != nil {
				t.Fatal(err)
			}
			n, _ := network.Place(c, s, m.Hardware)
			if n == nil {
				continue // its cards are too small
			}
			o := proof.Options{Overlap: m.Sequencer.Overlap > 0, Detail: 2}
			r, err := proof.Prove(n.List, s, ch, o)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range r.Findings {
				t.Errorf("seed %d, %s: %s\n  %s\n  %s\n  %q", seed, style, f.Text, f.Where, f.Path, f.Notes)
			}
			proved++
			if r.States < 500 {
				checked++
				if wrong := proof.Reference(n.List, s, ch, o.Overlap); (len(wrong) == 0) != r.Proved() {
					t.Errorf("seed %d, %s: proved %v, and the reference finds %v", seed, style, r.Proved(), wrong)
				}
			}
		}
	}
	t.Logf("%d networks tried, %d of them by the reference too", proved, checked)
	if proved == 0 || checked == 0 {
		t.Error("hardly any machine came to a network")
	}
}

func TestCircuits(t *testing.T) {
	for _, name := range []string{"millrace", "firststeps", "textbook"} {
		for _, style := range network.Styles {
			m, s, ch := machineOf(t, name)
			l := placed(t, m, s, ch, style)
			r, err := proof.Prove(l, s, ch, proof.Options{Overlap: m.Sequencer.Overlap > 0})
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("%s %s: %+v", name, style, *r)
			for _, f := range r.Findings {
				t.Errorf("%s %s: %s: %s\n  %s (%d states)\n  %s\n  %q\n  %v", name, style, f.Kind, f.Text, f.Where, f.States, f.Path, f.Notes, f.Asked)
			}
		}
	}
}
