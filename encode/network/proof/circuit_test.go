package proof_test

import (
	"testing"

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
