package proof_test

import (
	"fmt"
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

// listOf solders a circuit on one board without end.
func listOf(c *network.Circuit, s *store.Store, hw machine.Hardware) *wiring.List {
	l := &wiring.List{Style: c.Style, Negative: hw.Cards[0].Negative, Levels: hw.Diode.Levels}
	at := make([]wiring.Terminal, len(c.Points))
	join := func(p int, t wiring.Terminal) {
		if p < 0 {
			return
		}
		if at[p] != "" {
			l.Wires = append(l.Wires, wiring.Wire{From: at[p], To: t})
		}
		at[p] = t
	}
	pin := func(u wiring.Use) wiring.Terminal {
		p := wiring.Pin{Name: "J1", Pin: len(l.Pins) + 1, Use: u}
		l.Pins = append(l.Pins, p)
		return p.Terminal()
	}
	for i, p := range c.Points {
		switch p.Kind {
		case network.FeedPoint:
			join(i, pin(wiring.Use{Kind: wiring.Feed}))
		case network.PhasePoint:
			join(i, pin(wiring.Use{Kind: wiring.Phase, N: p.N}))
		case network.LowPoint:
			join(i, pin(wiring.Use{Kind: wiring.Line, N: p.N}))
		case network.ColumnPoint:
			if !s.Columns[p.N].Low {
				join(i, pin(wiring.Use{Kind: wiring.Line, N: p.N}))
			}
		}
	}
	ret := pin(wiring.Use{Kind: wiring.Return})
	for i, g := range c.Signals {
		r := wiring.Relay{Name: fmt.Sprintf("K%d", i+1), Site: i + 1}
		a1, a2 := r.Coil()
		l.Wires = append(l.Wires, wiring.Wire{From: a2, To: ret})
		switch g.Kind {
		case network.OpcodeSignal:
			l.Wires = append(l.Wires, wiring.Wire{From: pin(wiring.Use{Kind: wiring.Opcode, N: g.N}), To: a1})
		case network.FlagSignal:
			l.Wires = append(l.Wires, wiring.Wire{From: pin(wiring.Use{Kind: wiring.Flag, N: g.N}), To: a1})
		default:
			join(g.Coil, a1)
		}
		for _, k := range c.Contacts {
			if k.Signal == i {
				r.Poles++
				x, b, m := r.Pole(r.Poles)
				join(k.Common, x)
				join(k.Break, b)
				join(k.Make, m)
			}
		}
		l.Relays = append(l.Relays, r)
	}
	for i, d := range c.Diodes {
		x := wiring.Diode{Name: fmt.Sprintf("D%d", i+1)}
		a, k := x.Ends()
		if l.Negative {
			a, k = k, a
		}
		join(d.From, a)
		join(d.To, k)
		l.Diodes = append(l.Diodes, x)
	}
	return l
}

func TestCircuits(t *testing.T) {
	for _, name := range []string{"millrace", "firststeps", "textbook"} {
		for _, style := range network.Styles {
			if name == "millrace" && style != "plain" {
				continue // takes a minute
			}
			m, s, ch := machineOf(t, name)
			c, err := network.Build(s, ch, m.Hardware, style)
			if err != nil {
				t.Fatal(err)
			}
			l := listOf(c, s, m.Hardware)
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
