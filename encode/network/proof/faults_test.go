package proof_test

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"testing"

	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// fault is one slip at the solder station.
type fault struct {
	kind string
	name string
	list *wiring.List
}

// copied is a list that can be changed without changing l.
func copied(l *wiring.List) *wiring.List {
	c := *l
	c.Relays, c.Diodes = slices.Clone(l.Relays), slices.Clone(l.Diodes)
	c.Pins, c.Wires = slices.Clone(l.Pins), slices.Clone(l.Wires)
	return &c
}

// renamed lets wires to one terminal go to another instead.
func renamed(l *wiring.List, to map[wiring.Terminal]wiring.Terminal) {
	for i := range l.Wires {
		w := &l.Wires[i]
		if t, ok := to[w.From]; ok {
			w.From = t
		}
		if t, ok := to[w.To]; ok {
			w.To = t
		}
	}
}

// loose adds a point that is nothing, for wires to meet where a part is missing.
func loose(l *wiring.List) wiring.Terminal {
	p := wiring.Pin{Name: "X", Pin: len(l.Pins), Use: wiring.Use{Kind: wiring.Spare}}
	l.Pins = append(l.Pins, p)
	return p.Terminal()
}

// plan says which of the faults are tried that are very many.
type plan struct {
	// reach is how far apart in the list two wires may stand that are swapped.
	reach int
	// travels says whether a relay may travel while something asks for a line.
	travels func(r wiring.Relay, column int) bool
}

// faults yields every single fault of every kind.
func faults(l *wiring.List, p plan, yield func(fault)) {
	give := func(kind, name string, change func(*wiring.List)) {
		c := copied(l)
		change(c)
		yield(fault{kind, name, c})
	}
	wired := map[wiring.Terminal]bool{}
	for _, w := range l.Wires {
		wired[w.From], wired[w.To] = true, true
	}
	net := nets(l)
	var columns []wiring.Terminal
	returns := map[int]bool{}
	for _, p := range l.Pins {
		if p.Use.Kind == wiring.Line {
			columns = append(columns, p.Terminal())
		}
		if p.Use.Kind == wiring.Return {
			returns[net[p.Terminal()]] = true
		}
	}
	for _, d := range l.Diodes {
		a, k := d.Ends()
		give("a diode is missing", d.Name, func(c *wiring.List) {
			renamed(c, map[wiring.Terminal]wiring.Terminal{a: loose(c), k: loose(c)})
		})
		give("a diode is reversed", d.Name, func(c *wiring.List) {
			renamed(c, map[wiring.Terminal]wiring.Terminal{a: k, k: a})
		})
		give("a wire instead of a diode, or a shorted one", d.Name, func(c *wiring.List) {
			c.Wires = append(c.Wires, wiring.Wire{From: a, To: k})
		})
		in, out := a, k
		if l.Negative {
			in, out = k, a
		}
		if returns[net[in]] {
			continue // it suppresses a coil: nothing comes out of it into a column
		}
		for _, col := range columns {
			if !wired[out] || net[col] == net[out] {
				continue
			}
			give("a diode in the wrong column", fmt.Sprintf("%s to %s", d.Name, col), func(c *wiring.List) {
				renamed(c, map[wiring.Terminal]wiring.Terminal{out: loose(c)})
				c.Wires = append(c.Wires, wiring.Wire{From: out, To: col})
			})
		}
	}
	for _, r := range l.Relays {
		for n := 1; n <= r.Poles; n++ {
			x, brk, mk := r.Pole(n)
			if !wired[x] || !wired[brk] && !wired[mk] {
				continue
			}
			name := string(x)
			give("a contact on the wrong throw", name, func(c *wiring.List) {
				renamed(c, map[wiring.Terminal]wiring.Terminal{brk: mk, mk: brk})
			})
			for _, t := range []wiring.Terminal{brk, mk} {
				if !wired[t] {
					continue
				}
				give("a contact is stuck", fmt.Sprintf("%s - %s", x, t), func(c *wiring.List) {
					c.Wires = append(c.Wires, wiring.Wire{From: x, To: t})
				})
				give("a contact never closes", fmt.Sprintf("%s - %s", x, t), func(c *wiring.List) {
					renamed(c, map[wiring.Terminal]wiring.Terminal{t: loose(c)})
				})
			}
		}
		a1, a2 := r.Coil()
		if wired[a1] && wired[a2] {
			give("a coil is open", r.Name, func(c *wiring.List) {
				renamed(c, map[wiring.Terminal]wiring.Terminal{a1: loose(c)})
			})
		}
	}
	for i, w := range l.Wires {
		give("a wire is missing", fmt.Sprintf("%s - %s", w.From, w.To), func(c *wiring.List) {
			c.Wires = slices.Delete(c.Wires, i, i+1)
		})
	}
	for i, a := range l.Wires {
		for j, b := range l.Wires[:i] {
			if net[a.From] == net[b.From] || i-j > p.reach {
				continue
			}
			give("two wires swapped", fmt.Sprintf("%s - %s with %s - %s", a.From, a.To, b.From, b.To), func(c *wiring.List) {
				c.Wires[i].To, c.Wires[j].To = b.To, a.To
			})
			give("two wires swapped", fmt.Sprintf("%s - %s with %s - %s", a.From, a.To, b.To, b.From), func(c *wiring.List) {
				c.Wires[i].To, c.Wires[j].From = b.From, a.To
			})
		}
	}
	lines := map[int][]int{}
	for _, q := range l.Pins {
		if q.Use.Kind == wiring.Line {
			n := net[q.Terminal()]
			lines[n] = append(lines[n], q.Use.N)
		}
	}
	for _, d := range l.Diodes {
		in, out := d.Ends()
		if l.Negative {
			in, out = out, in
		}
		for ri, r := range l.Relays {
			if !slices.ContainsFunc(lines[net[out]], func(column int) bool { return p.travels(r, column) }) {
				continue
			}
			give("a row looks at a bit both ways while it travels", fmt.Sprintf("%s through %s", d.Name, r.Name), func(c *wiring.List) {
				at := loose(c)
				renamed(c, map[wiring.Terminal]wiring.Terminal{in: at})
				c.Relays[ri].Poles++
				x, brk, mk := c.Relays[ri].Pole(c.Relays[ri].Poles)
				c.Wires = append(c.Wires, wiring.Wire{From: at, To: x}, wiring.Wire{From: brk, To: in}, wiring.Wire{From: mk, To: in})
			})
		}
	}
}

// nets numbers what wires join, for telling what is one net from what is not.
func nets(l *wiring.List) map[wiring.Terminal]int {
	next := map[wiring.Terminal][]wiring.Terminal{}
	for _, w := range l.Wires {
		next[w.From] = append(next[w.From], w.To)
		next[w.To] = append(next[w.To], w.From)
	}
	out := map[wiring.Terminal]int{}
	var walk func(t wiring.Terminal, n int)
	walk = func(t wiring.Terminal, n int) {
		if _, ok := out[t]; ok {
			return
		}
		out[t] = n
		for _, u := range next[t] {
			walk(u, n)
		}
	}
	for i, w := range l.Wires {
		walk(w.From, i+1)
	}
	for i, p := range l.Pins {
		walk(p.Terminal(), len(l.Wires)+i+1)
	}
	return out
}

// travelling says of a list which relays follow a bit or flag that travels in
// some phase in which a line is asked for.
func travelling(l *wiring.List, s *store.Store, c store.Changes) func(wiring.Relay, int) bool {
	net := nets(l)
	opcode, flags := map[int]uint64{}, map[int]uint64{}
	for _, p := range l.Pins {
		switch p.Use.Kind {
		case wiring.Opcode:
			opcode[net[p.Terminal()]] |= 1 << p.Use.N
		case wiring.Flag:
			flags[net[p.Terminal()]] |= 1 << p.Use.N
		}
	}
	return func(r wiring.Relay, column int) bool {
		coil, _ := r.Coil()
		for _, m := range c.Moving {
			if m.Bits&opcode[net[coil]]|m.Tested&flags[net[coil]] == 0 {
				continue
			}
			for _, row := range s.Rows {
				if row.Phase == m.Phase && row.Lines.Has(column) {
					return true
				}
			}
		}
		return false
	}
}

// onlyList reports whether a list is refused for what it is and not for what it
// does: a coil that has no end at the return, of a relay that nobody misses.
func onlyList(t *testing.T, l *wiring.List, s *store.Store, c store.Changes) bool {
	r, err := proof.Prove(l, s, c, proof.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return !slices.ContainsFunc(r.Findings, func(f proof.Finding) bool { return f.Kind != proof.BadList })
}

// TestFaults plants every single fault of every kind. Each is found, or it is
// harmless: the slow reading finds that the network still does what the store
// says. COILWRIGHT_FAULTS=all takes Millrace too, with every two wires that can
// be swapped, which takes long.
func TestFaults(t *testing.T) {
	all := os.Getenv("COILWRIGHT_FAULTS") == "all"
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		if name == "millrace" && !all {
			continue
		}
		for _, style := range network.Styles {
			t.Run(name+" "+style, func(t *testing.T) {
				m, s, ch := machineOf(t, name)
				l := placed(t, m, s, ch, style)
				overlap := m.Sequencer.Overlap > 0
				p := plan{reach: 1, travels: travelling(l, s, ch)}
				if all {
					p.reach = math.MaxInt
				}
				tally := map[string][2]int{}
				faults(l, p, func(f fault) {
					holds, err := proof.Holds(f.list, s, ch, proof.Options{Overlap: overlap})
					if err != nil {
						t.Fatal(err)
					}
					n := tally[f.kind]
					n[0]++
					if holds {
						n[1]++
					}
					tally[f.kind] = n
					if !holds && name == "millrace" {
						return // the reading is too slow to be asked for every one
					}
					wrong := proof.Reference(f.list, s, ch, overlap)
					if holds != (len(wrong) == 0) && (holds || !onlyList(t, f.list, s, ch)) {
						t.Errorf("%s, %s: proved %v, and the reference finds %v", f.kind, f.name, holds, wrong)
					}
				})
				for _, k := range slices.Sorted(maps.Keys(tally)) {
					t.Logf("%s: %d tried, %d of them harmless", k, tally[k][0], tally[k][1])
					if tally[k][0] == tally[k][1] {
						t.Errorf("no fault of the kind %q was found", k)
					}
				}
			})
		}
	}
}
