package proof_test

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"sync"
	"testing"

	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// fault is one slip at the solder station.
type fault struct {
	number int
	kind   string
	name   func() string
	at     []wiring.Terminal // what it is done to
	change func(*wiring.List)
}

// roomy is a list with two points that are nothing, and with a pole more on
// every relay: faults need them, and a list whose parts stay is read sooner.
func roomy(l *wiring.List) *wiring.List {
	c := &wiring.List{}
	copyTo(c, l)
	for i := range c.Relays {
		c.Relays[i].Poles++
	}
	for i := range loose {
		c.Pins = append(c.Pins, wiring.Pin{Name: "X", Pin: i + 1, Use: wiring.Use{Kind: wiring.Spare}})
	}
	return c
}

// loose are points for wires to meet where a part is missing.
var loose = [2]wiring.Terminal{"X:1", "X:2"}

// copyTo makes a list that can be changed without changing l, in the memory of c.
func copyTo(c, l *wiring.List) {
	was := *c
	*c = *l
	c.Relays, c.Diodes = append(was.Relays[:0], l.Relays...), append(was.Diodes[:0], l.Diodes...)
	c.Pins, c.Wires = append(was.Pins[:0], l.Pins...), append(was.Wires[:0], l.Wires...)
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

// plan says which of the faults are tried that are very many.
type plan struct {
	// reach is how far apart in the list two wires may stand that are swapped.
	reach int
	// travels says whether a relay may travel while something asks for a line.
	travels func(r wiring.Relay, column int) bool
}

const (
	swapped  = "two wires swapped"
	missing  = "a wire is missing"
	stuck    = "a contact is stuck"
	shorted  = "a wire instead of a diode, or a shorted one"
	bothWays = "a row looks at a bit both ways while it travels"
)

// faults yields every single fault of every kind in a roomy list.
func faults(l *wiring.List, p plan, yield func(fault)) {
	number := 0
	give := func(kind, name string, at []wiring.Terminal, change func(*wiring.List)) {
		number++
		yield(fault{number, kind, func() string { return name }, at, change})
	}
	swap := func(i, j int, back bool) {
		a, b := l.Wires[i], l.Wires[j]
		number++
		yield(fault{number, swapped, func() string {
			if back {
				b.From, b.To = b.To, b.From
			}
			return fmt.Sprintf("%s - %s with %s - %s", a.From, a.To, b.From, b.To)
		}, []wiring.Terminal{a.From, a.To, b.From, b.To}, func(c *wiring.List) {
			if back {
				c.Wires[i].To, c.Wires[j].From = b.From, a.To
			} else {
				c.Wires[i].To, c.Wires[j].To = b.To, a.To
			}
		}})
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
		give("a diode is missing", d.Name, []wiring.Terminal{a, k}, func(c *wiring.List) {
			renamed(c, map[wiring.Terminal]wiring.Terminal{a: loose[0], k: loose[1]})
		})
		give("a diode is reversed", d.Name, []wiring.Terminal{a, k}, func(c *wiring.List) {
			renamed(c, map[wiring.Terminal]wiring.Terminal{a: k, k: a})
		})
		give(shorted, d.Name, []wiring.Terminal{a, k}, func(c *wiring.List) {
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
			give("a diode in the wrong column", fmt.Sprintf("%s to %s", d.Name, col), []wiring.Terminal{a, k, col}, func(c *wiring.List) {
				renamed(c, map[wiring.Terminal]wiring.Terminal{out: loose[0]})
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
			give("a contact on the wrong throw", name, []wiring.Terminal{x, brk, mk}, func(c *wiring.List) {
				renamed(c, map[wiring.Terminal]wiring.Terminal{brk: mk, mk: brk})
			})
			for _, t := range []wiring.Terminal{brk, mk} {
				if !wired[t] {
					continue
				}
				give(stuck, fmt.Sprintf("%s - %s", x, t), []wiring.Terminal{x, t}, func(c *wiring.List) {
					c.Wires = append(c.Wires, wiring.Wire{From: x, To: t})
				})
				give("a contact never closes", fmt.Sprintf("%s - %s", x, t), []wiring.Terminal{x, t}, func(c *wiring.List) {
					renamed(c, map[wiring.Terminal]wiring.Terminal{t: loose[0]})
				})
			}
		}
		a1, a2 := r.Coil()
		if wired[a1] && wired[a2] {
			give("a coil is open", r.Name, []wiring.Terminal{a1, a2}, func(c *wiring.List) {
				renamed(c, map[wiring.Terminal]wiring.Terminal{a1: loose[0]})
			})
		}
	}
	for i, w := range l.Wires {
		give(missing, fmt.Sprintf("%s - %s", w.From, w.To), []wiring.Terminal{w.From, w.To}, func(c *wiring.List) {
			c.Wires = slices.Delete(c.Wires, i, i+1)
		})
	}
	for i, a := range l.Wires {
		for j, b := range l.Wires[:i] {
			if i-j > p.reach {
				continue
			}
			// Two wires that meet stay as they are.
			if a.From != b.From && a.To != b.To {
				swap(i, j, false)
			}
			if a.From != b.To && a.To != b.From {
				swap(i, j, true)
			}
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
			coil, _ := r.Coil()
			give(bothWays, fmt.Sprintf("%s through %s", d.Name, r.Name), []wiring.Terminal{in, coil}, func(c *wiring.List) {
				at := loose[0]
				renamed(c, map[wiring.Terminal]wiring.Terminal{in: at})
				x, brk, mk := c.Relays[ri].Pole(c.Relays[ri].Poles)
				c.Wires = append(c.Wires, wiring.Wire{From: at, To: x}, wiring.Wire{From: brk, To: in}, wiring.Wire{From: mk, To: in})
			})
		}
	}
}

// nets numbers what wires and the backplane join.
func nets(l *wiring.List) map[wiring.Terminal]int {
	next := map[wiring.Terminal][]wiring.Terminal{}
	join := func(a, b wiring.Terminal) {
		next[a] = append(next[a], b)
		next[b] = append(next[b], a)
	}
	for _, w := range l.Wires {
		join(w.From, w.To)
	}
	backplane := map[wiring.Use]wiring.Terminal{}
	for _, p := range l.Pins {
		if b, ok := backplane[p.Use]; ok && p.Use.Kind != wiring.Spare {
			join(b, p.Terminal())
		}
		backplane[p.Use] = p.Terminal()
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

// tally counts the faults of a kind.
type tally struct {
	tried, found int
	harmless     []fault
	other        []fault // of these, one for each circuit that they make
	read         int     // of these, by the reference
}

// campaign plants faults in the list of a network, on every core.
type campaign struct {
	t       *testing.T
	list    *wiring.List
	store   *store.Store
	changes store.Changes
	overlap bool
	every   func(kind string) bool // the reference reads all lists, not only those that hold
	nth     int                    // of so many faults one is tried

	lock    sync.Mutex
	tallies map[string]*tally
}

// batch is how many faults a worker takes at once: neighbours show in the same states.
const batch = 256

// each does something to all faults that give yields, on every core.
func (c *campaign) each(give func(yield func(fault)), worker func() func(fault, *wiring.List)) {
	jobs := make(chan []fault)
	var wait sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wait.Go(func() {
			do := worker()
			var l wiring.List
			for faults := range jobs {
				for _, f := range faults {
					copyTo(&l, c.list)
					f.change(&l)
					do(f, &l)
				}
			}
		})
	}
	var next []fault
	give(func(f fault) {
		if next = append(next, f); len(next) == batch {
			jobs <- next
			next = nil
		}
	})
	jobs <- next
	close(jobs)
	wait.Wait()
}

// run asks the proof about all faults.
func (c *campaign) run(p plan) {
	c.each(func(yield func(fault)) {
		faults(c.list, p, func(f fault) {
			if f.number%c.nth == 0 {
				yield(f)
			}
		})
	}, func() func(fault, *wiring.List) {
		prover := proof.NewProver(c.store, c.changes, proof.Options{Overlap: c.overlap})
		return func(f fault, l *wiring.List) {
			holds, err := prover.Holds(l)
			if err != nil {
				c.t.Errorf("%s, %s: %v", f.kind, f.name(), err)
			}
			c.lock.Lock()
			k := c.tallies[f.kind]
			if k == nil {
				k = &tally{}
				c.tallies[f.kind] = k
			}
			k.tried++
			if holds {
				k.harmless = append(k.harmless, f)
			} else {
				k.found++
			}
			c.lock.Unlock()
			if !holds && c.every(f.kind) {
				c.confirm(f, l, false)
			}
		}
	})
}

// confirm asks the reference.
func (c *campaign) confirm(f fault, l *wiring.List, holds bool) {
	wrong := proof.Reference(l, c.store, c.changes, c.overlap)
	if holds != (len(wrong) == 0) && (holds || !onlyList(c.t, l, c.store, c.changes)) {
		c.t.Errorf("%s, %s: proved %v, and the reference finds %v", f.kind, f.name(), holds, wrong)
	}
}

// harmless asks the reference about faults that the proof did not find: so many
// of a kind, drawn from all that make another circuit of the list.
func (c *campaign) harmless(most func(kind string) int) {
	c.each(func(yield func(fault)) {
		yield(fault{kind: "nothing", name: func() string { return "as it was" }, change: func(*wiring.List) {}})
		seen := map[string]bool{circuitOf(c.list): true}
		var l wiring.List
		for _, kind := range slices.Sorted(maps.Keys(c.tallies)) {
			k := c.tallies[kind]
			slices.SortFunc(k.harmless, func(a, b fault) int { return cmp.Compare(a.number, b.number) })
			for _, f := range k.harmless {
				copyTo(&l, c.list)
				f.change(&l)
				if is := circuitOf(&l); !seen[is] {
					seen[is] = true
					k.other = append(k.other, f)
				}
			}
			dice := rand.New(rand.NewPCG(1, 6))
			dice.Shuffle(len(k.other), func(i, j int) { k.other[i], k.other[j] = k.other[j], k.other[i] })
			k.read = min(len(k.other), most(kind))
			for _, f := range k.other[:k.read] {
				yield(f)
			}
		}
	}, func() func(fault, *wiring.List) {
		return func(f fault, l *wiring.List) { c.confirm(f, l, true) }
	})
}

// circuitOf is alike for lists of the same parts whose wires join the same.
func circuitOf(l *wiring.List) string {
	net := nets(l)
	number := map[int]int{}
	var out []byte
	for _, t := range slices.Sorted(maps.Keys(net)) {
		n := net[t]
		if number[n] == 0 {
			number[n] = len(number) + 1
		}
		out = append(out, t...)
		out = binary.AppendUvarint(out, uint64(number[n]))
	}
	sum := sha256.Sum256(out)
	return string(sum[:])
}

// TestProverOnFaults: of faults drawn from all kinds, a prover that has seen
// many says what Prove says.
func TestProverOnFaults(t *testing.T) {
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		m, s, ch := machineOf(t, name)
		prover := map[bool]*proof.Prover{}
		for _, overlap := range []bool{false, true} {
			prover[overlap] = proof.NewProver(s, ch, proof.Options{Overlap: overlap})
		}
		for _, style := range network.Styles {
			l := roomy(placed(t, m, s, ch, style))
			dice := rand.New(rand.NewPCG(1, 7))
			var drawn []fault
			seen := 0
			faults(l, plan{reach: 40, travels: travelling(l, s, ch)}, func(f fault) {
				// Each of those seen so far is as likely to be among the drawn.
				seen++
				if len(drawn) < 350 {
					drawn = append(drawn, f)
				} else if i := dice.IntN(seen); i < len(drawn) {
					drawn[i] = f
				}
			})
			held := 0
			for i, f := range drawn {
				var c wiring.List
				copyTo(&c, l)
				f.change(&c)
				overlap := i%2 == 0
				holds, err := prover[overlap].Holds(&c)
				if err != nil {
					t.Fatal(err)
				}
				r, err := proof.Prove(&c, s, ch, proof.Options{Overlap: overlap, Detail: 1})
				if err != nil {
					t.Fatal(err)
				}
				if holds != r.Proved() {
					t.Errorf("%s %s, %s, %s: the prover says %v, and Prove finds %v", name, style, f.kind, f.name(), holds, r.Findings)
				}
				if holds {
					held++
				}
			}
			t.Logf("%s %s: %d drawn of %d, %d held", name, style, len(drawn), seen, held)
		}
	}
}

// TestFaults plants every single fault of every kind. Each is found, or it is
// harmless: the slow reading finds that the network still does what the store
// says. COILWRIGHT_FAULTS=all tries all of them in Millrace too, swaps every two
// wires that can be swapped, not only neighbours, and has the slow reading look
// at more of Millrace, for which it takes a third of a second each time.
func TestFaults(t *testing.T) {
	all := os.Getenv("COILWRIGHT_FAULTS") == "all"
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		if name == "millrace" && testing.Short() {
			continue
		}
		for _, style := range network.Styles {
			t.Run(name+" "+style, func(t *testing.T) {
				m, s, ch := machineOf(t, name)
				l := roomy(placed(t, m, s, ch, style))
				c := campaign{
					t: t, list: l, store: s, changes: ch, overlap: m.Sequencer.Overlap > 0,
					every: func(kind string) bool { return name != "millrace" && (!all || kind != swapped) },
					nth:   1, tallies: map[string]*tally{},
				}
				if name == "millrace" && !all {
					c.nth = 5
				}
				p := plan{reach: 1, travels: travelling(l, s, ch)}
				if all {
					p.reach = math.MaxInt
				}
				c.run(p)
				var sum tally
				for _, kind := range slices.Sorted(maps.Keys(c.tallies)) {
					n := c.tallies[kind]
					t.Logf("%-50s %7d tried, %7d found, %5d harmless", kind, n.tried, n.found, len(n.harmless))
					sum.tried, sum.found = sum.tried+n.tried, sum.found+n.found
					if n.found == 0 {
						t.Errorf("no fault of the kind %q was found", kind)
					}
				}
				t.Logf("%-50s %7d tried, %7d found, %5d harmless", "all", sum.tried, sum.found, sum.tried-sum.found)
				c.harmless(func(kind string) int {
					switch {
					case name != "millrace":
					case !all:
						return 1
					case kind == swapped, kind == bothWays:
						return 100
					}
					return math.MaxInt
				})
				for _, kind := range slices.Sorted(maps.Keys(c.tallies)) {
					if n := c.tallies[kind]; len(n.harmless) > 0 {
						t.Logf("%-50s %7d harmless ones make %d circuits not met before, of which the reference read %d", kind, len(n.harmless), len(n.other), n.read)
					}
				}
			})
		}
	}
}

// BenchmarkSwappedWires asks a prover about one list of Millrace after the other.
func BenchmarkSwappedWires(b *testing.B) {
	for _, style := range network.Styles {
		m, s, ch := machineOf(b, "millrace")
		l := roomy(placed(b, m, s, ch, style))
		o := proof.Options{Overlap: m.Sequencer.Overlap > 0}
		b.Run(style, func(b *testing.B) {
			prover := proof.NewProver(s, ch, o)
			c := &wiring.List{}
			copyTo(c, l)
			dice := rand.New(rand.NewPCG(1, 10))
			for b.Loop() {
				x, y := &c.Wires[dice.IntN(len(c.Wires))], &c.Wires[dice.IntN(len(c.Wires))]
				x.To, y.To = y.To, x.To
				if _, err := prover.Holds(c); err != nil {
					b.Fatal(err)
				}
				x.To, y.To = y.To, x.To
			}
		})
	}
}
