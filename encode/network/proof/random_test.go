package proof

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/cube"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// sketch is a list in the making, by hand or by dice.
type sketch struct {
	wiring.List
	store *store.Store
	pins  int
	feed  wiring.Terminal
	ret   wiring.Terminal
	uses  map[string]wiring.Terminal
	taken map[string]int // poles in use by relay
}

func newSketch(s *store.Store) *sketch {
	k := &sketch{store: s, uses: map[string]wiring.Terminal{}, taken: map[string]int{}}
	k.Levels = 2
	k.feed = k.pin(wiring.Feed, 0)
	k.ret = k.pin(wiring.Return, 0)
	return k
}

// pin returns the terminal of a use, made when first asked for.
func (k *sketch) pin(kind wiring.Kind, n int) wiring.Terminal {
	key := fmt.Sprint(kind, n)
	if t, ok := k.uses[key]; ok {
		return t
	}
	k.pins++
	p := wiring.Pin{Name: "J1", Card: "control 1", Pin: k.pins, Use: wiring.Use{Kind: kind, N: n}}
	switch kind {
	case wiring.Line:
		p.Use.Name = k.store.Columns[n].Name
	case wiring.Flag:
		p.Use.Name = k.store.Flags[n]
	}
	k.Pins = append(k.Pins, p)
	k.uses[key] = p.Terminal()
	return p.Terminal()
}

func (k *sketch) wire(ends ...wiring.Terminal) {
	for i := 1; i < len(ends); i++ {
		k.Wires = append(k.Wires, wiring.Wire{From: ends[i-1], To: ends[i]})
	}
}

// relay makes a relay that coil pulls in.
func (k *sketch) relay(coil wiring.Terminal, poles int) wiring.Relay {
	r := wiring.Relay{Name: fmt.Sprintf("K%d", len(k.Relays)+1), Card: "control 1", Site: len(k.Relays) + 1, Poles: poles}
	k.Relays = append(k.Relays, r)
	a1, a2 := r.Coil()
	k.wire(coil, a1)
	k.wire(a2, k.ret)
	return r
}

// diode lets activity pass from one terminal to another.
func (k *sketch) diode(from, to wiring.Terminal) wiring.Diode {
	d := wiring.Diode{Name: fmt.Sprintf("D%d", len(k.Diodes)+1), Card: "control 1"}
	k.Diodes = append(k.Diodes, d)
	a, b := d.Ends()
	if k.Negative {
		a, b = b, a
	}
	k.wire(from, a)
	k.wire(b, to)
	return d
}

// contact wires the next free pole of a relay between two terminals and
// returns the far one.
func (k *sketch) contact(r wiring.Relay, made bool, from wiring.Terminal) wiring.Terminal {
	k.taken[r.Name]++
	c, brk, mk := r.Pole(k.taken[r.Name])
	k.wire(from, c)
	if made {
		return mk
	}
	return brk
}

// plain builds a network that does what a store says: a follower for each
// opcode bit and flag, one chain of contacts and its diodes for each row.
func plain(s *store.Store, negative bool) *sketch {
	k := newSketch(s)
	k.Negative = negative
	follow := map[string]wiring.Relay{}
	bit := func(kind wiring.Kind, n int) wiring.Relay {
		key := fmt.Sprint(kind, n)
		if _, ok := follow[key]; !ok {
			follow[key] = k.relay(k.pin(kind, n), 30)
		}
		return follow[key]
	}
	column := make([]wiring.Terminal, len(s.Columns))
	for _, c := range s.Word.Bits {
		if c < 0 {
			continue
		}
		column[c] = k.pin(wiring.Line, c)
		asked := false
		for _, r := range s.Rows {
			asked = asked || r.Lines.Has(c)
		}
		switch {
		case s.Columns[c].Low && !asked:
			k.wire(k.feed, column[c])
		case s.Columns[c].Low:
			a, b := wiring.Terminal(""), column[c]
			r := wiring.Relay{Name: fmt.Sprintf("K%d", len(k.Relays)+1), Poles: 1}
			k.Relays = append(k.Relays, r)
			a, a2 := r.Coil()
			k.wire(a2, k.ret)
			k.wire(k.contact(r, false, k.feed), b)
			column[c] = a
		}
	}
	for _, r := range s.Rows {
		at := k.pin(wiring.Phase, r.Phase)
		for i := range s.OpcodeBits {
			if r.Opcode.Care>>i&1 == 1 {
				at = k.contact(bit(wiring.Opcode, i), r.Opcode.Value>>i&1 == 1, at)
			}
		}
		for i := range s.Flags {
			if r.Flags.Care>>i&1 == 1 {
				at = k.contact(bit(wiring.Flag, i), r.Flags.Value>>i&1 == 1, at)
			}
		}
		for _, c := range r.Lines.Columns() {
			if column[c] != "" {
				k.diode(at, column[c])
			}
		}
	}
	return k
}

func randomCube(r *rand.Rand, width int) cube.Cube {
	care := r.Uint64() & (1<<width - 1) & r.Uint64()
	return cube.Cube{Care: care, Value: care & r.Uint64()}
}

// randomStore may ask for anything, sense or not.
func randomStore(r *rand.Rand) (*store.Store, store.Changes) {
	s := &store.Store{Machine: "dice", OpcodeBits: 1 + r.IntN(3), Phases: 2 + r.IntN(3)}
	for i := range r.IntN(3) {
		s.Flags = append(s.Flags, fmt.Sprintf("f%d", i))
	}
	for i := range 2 + r.IntN(3) {
		s.Columns = append(s.Columns, store.Column{Name: fmt.Sprintf("l%d", i), Kind: store.Gate, Low: r.IntN(5) == 0})
		if r.IntN(8) > 0 {
			s.Word.Bits = append(s.Word.Bits, i)
		}
	}
	if r.IntN(2) == 0 {
		s.Columns[0].Kind = store.Restart
	}
	for range 1 + r.IntN(6) {
		row := store.Row{Opcode: randomCube(r, s.OpcodeBits), Flags: randomCube(r, len(s.Flags)), Phase: 1 + r.IntN(s.Phases), Lines: store.NewSet(len(s.Columns))}
		for c := range s.Columns {
			if r.IntN(3) == 0 {
				row.Lines.Add(c)
			}
		}
		if !row.Lines.Empty() {
			s.Rows = append(s.Rows, row)
		}
	}
	if r.IntN(3) == 0 {
		s.Free = append(s.Free, randomCube(r, s.OpcodeBits))
	}
	var ch store.Changes
	for range r.IntN(5) {
		m := store.Moving{Phase: 1 + r.IntN(s.Phases), Opcode: randomCube(r, s.OpcodeBits)}
		if r.IntN(2) == 0 {
			m.Bits, m.Opcode = 1<<s.OpcodeBits-1, cube.Cube{}
		}
		m.Tested = r.Uint64() & (1<<len(s.Flags) - 1)
		if r.IntN(3) == 0 {
			m.Bits = r.Uint64() & (1<<s.OpcodeBits - 1)
		}
		m.Flags = randomCube(r, len(s.Flags))
		m.Flags.Care &^= m.Tested
		m.Flags.Value &^= m.Tested
		ch.Moving = append(ch.Moving, m)
		if r.IntN(2) == 0 {
			m.Phase++
			ch.Moving = append(ch.Moving, m)
		}
	}
	if r.IntN(3) == 0 {
		ch.Inputs = r.Uint64() & (1<<len(s.Flags) - 1)
	}
	return s, ch
}

// terminals lists every point of a list.
func terminals(l *wiring.List) []wiring.Terminal {
	var out []wiring.Terminal
	for _, r := range l.Relays {
		a, b := r.Coil()
		out = append(out, a, b)
		for n := 1; n <= r.Poles; n++ {
			c, brk, mk := r.Pole(n)
			out = append(out, c, brk, mk)
		}
	}
	for _, d := range l.Diodes {
		a, b := d.Ends()
		out = append(out, a, b)
	}
	for _, p := range l.Pins {
		out = append(out, p.Terminal())
	}
	return out
}

// randomList throws parts and wires together.
func randomList(r *rand.Rand, s *store.Store) *sketch {
	k := newSketch(s)
	k.Negative = r.IntN(2) == 0
	k.Levels = 1 + r.IntN(2)
	var points []wiring.Terminal
	for p := 1; p <= s.Phases; p++ {
		points = append(points, k.pin(wiring.Phase, p))
	}
	for i := range s.OpcodeBits {
		points = append(points, k.pin(wiring.Opcode, i))
	}
	for i := range s.Flags {
		points = append(points, k.pin(wiring.Flag, i))
	}
	for i := range s.Columns {
		points = append(points, k.pin(wiring.Line, i))
	}
	pick := func() wiring.Terminal { return points[r.IntN(len(points))] }
	for i := range r.IntN(5) {
		coil := pick()
		if i < s.OpcodeBits && r.IntN(3) > 0 {
			coil = k.pin(wiring.Opcode, i)
		}
		rel := k.relay(coil, 1+r.IntN(2))
		a, _ := rel.Coil()
		points = append(points, a)
		for n := 1; n <= rel.Poles; n++ {
			c, brk, mk := rel.Pole(n)
			k.wire(pick(), c)
			points = append(points, brk, mk)
			if r.IntN(6) == 0 {
				k.wire(k.feed, c)
			}
		}
	}
	for range r.IntN(8) {
		k.diode(pick(), pick())
	}
	for range r.IntN(4) {
		k.wire(pick(), pick())
	}
	return k
}

func groupsOf(t *testing.T, l *wiring.List, s *store.Store, c store.Changes, o Options) (verdict, *Report) {
	t.Helper()
	rep, err := Prove(l, s, c, o)
	if err != nil {
		t.Fatal(err)
	}
	p, _, _ := prepare(l, s, c, o)
	groups, total, _ := p.run()
	sets, _, _ := prepare(l, s, c, o)
	sets.bySets = true
	same, all, err := sets.run()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(groups, same, cmp.AllowUnexported(group{}, key{})); d != "" {
		t.Fatalf("states one by one and as sets differ (-one by one +sets):\n%s", d)
	}
	if total.states != all.states || total.between != all.between || total.moving != all.moving {
		t.Fatalf("one by one %v states, as sets %v", total, all)
	}
	return verdictOf(s, groups, p.circuit), rep
}

// TestReference compares everything that is found on random networks: what,
// in how many states, and which is the first.
func TestReference(t *testing.T) {
	n := 800
	if testing.Short() {
		n = 200
	}
	kinds := map[string]int{}
	clean := 0
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 1))
		s, c := randomStore(r)
		var k *sketch
		if r.IntN(2) == 0 {
			k = randomList(r, s)
		} else {
			k = plain(s, r.IntN(2) == 0)
			if r.IntN(4) > 0 {
				spoil(r, &k.List)
			}
		}
		o := Options{Overlap: r.IntN(2) == 0}
		got, rep := groupsOf(t, &k.List, s, c, o)
		want := newBench(&k.List, s, c).judge(o.Overlap)
		if d := cmp.Diff(want.text(true), got.text(true)); d != "" {
			t.Fatalf("seed %d: reference and proof differ (-reference +proof):\n%s", seed, d)
		}
		if len(got) == 0 {
			clean++
		}
		if len(got) > 0 && rep.Proved() {
			t.Fatalf("seed %d: found %v and proved", seed, got.text(true))
		}
		for w := range got {
			var kind string
			fmt.Sscan(w, &kind)
			kinds[kind]++
		}
	}
	t.Logf("%d networks, %d of them without a finding; findings by kind: %v", n, clean, kinds)
	for _, k := range []Kind{Short, Backfeed, Undecided, Extra, Missing, TooDeep, LiveSwitch} {
		if kinds[string(k)] == 0 {
			t.Errorf("no network had a finding of kind %s", k)
		}
	}
	if clean < n/50 {
		t.Errorf("only %d of %d networks had no finding", clean, n)
	}
}

// spoil plants a fault.
func spoil(r *rand.Rand, l *wiring.List) {
	if len(l.Wires) < 2 {
		return
	}
	i, j := r.IntN(len(l.Wires)), r.IntN(len(l.Wires))
	switch r.IntN(4) {
	case 0:
		l.Wires = append(l.Wires[:i:i], l.Wires[i+1:]...)
	case 1:
		l.Wires[i].To, l.Wires[j].To = l.Wires[j].To, l.Wires[i].To
	case 2:
		if len(l.Diodes) > 0 {
			a, k := l.Diodes[r.IntN(len(l.Diodes))].Ends()
			for n := range l.Wires {
				for _, end := range []*wiring.Terminal{&l.Wires[n].From, &l.Wires[n].To} {
					switch *end {
					case a:
						*end = k
					case k:
						*end = a
					}
				}
			}
		}
	case 3:
		all := terminals(l)
		l.Wires = append(l.Wires, wiring.Wire{From: all[r.IntN(len(all))], To: all[r.IntN(len(all))]})
	}
}

// TestPlainHolds: a network built from the store by the plainest rule is
// proved, whatever the store asks for, as long as nothing travels.
func TestPlainHolds(t *testing.T) {
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 2))
		s, _ := randomStore(r)
		k := plain(s, r.IntN(2) == 0)
		rep, err := Prove(&k.List, s, store.Changes{}, Options{Overlap: r.IntN(2) == 0})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range rep.Findings {
			t.Fatalf("seed %d: %s: %s, %s\n%s\n%v", seed, f.Kind, f.Text, f.Where, f.Path, f.Notes)
		}
	}
}

// TestProver: what a prover says of one list after the other is what Prove
// says of each alone, whatever parts and wires came before.
func TestProver(t *testing.T) {
	held, tried := 0, 0
	for seed := range uint64(250) {
		r := rand.New(rand.NewPCG(seed, 5))
		s, c := randomStore(r)
		o := Options{Overlap: r.IntN(2) == 0, Detail: 1}
		prover := NewProver(s, c, o)
		for range 3 {
			k := randomList(r, s)
			if r.IntN(3) > 0 {
				k = plain(s, r.IntN(2) == 0)
			}
			good := k.List
			for n := range 8 {
				l := good
				l.Wires = slices.Clone(good.Wires)
				for range min(n, 3) {
					spoil(r, &l)
				}
				switch r.IntN(12) {
				case 0:
					l.Levels = 1
				case 1:
					l.Negative = !l.Negative
				case 2:
					l.Wires = append(l.Wires, wiring.Wire{From: "K1:A1", To: "nowhere:1"})
				case 3:
					l.Pins = append(slices.Clone(l.Pins), wiring.Pin{Name: "X", Pin: n, Use: wiring.Use{Kind: wiring.Opcode}})
				}
				holds, err := prover.Holds(&l)
				if err != nil {
					t.Fatal(err)
				}
				rep, err := Prove(&l, s, c, o)
				if err != nil {
					t.Fatal(err)
				}
				if holds != rep.Proved() {
					t.Fatalf("seed %d: the prover says %v, and Prove finds %v", seed, holds, rep.Findings)
				}
				tried++
				if holds {
					held++
				}
			}
		}
	}
	t.Logf("%d of %d lists held", held, tried)
	if held < tried/20 || held > tried/2 {
		t.Errorf("%d of %d lists held: one verdict was hardly tried", held, tried)
	}
}

// TestSameOnEveryMachine: the report does not depend on how many work on it.
func TestSameOnEveryMachine(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 3))
		s, c := randomStore(r)
		k := randomList(r, s)
		var reports []*Report
		for _, n := range []int{1, 4} {
			old := runtime.GOMAXPROCS(n)
			rep, err := Prove(&k.List, s, c, Options{Overlap: true})
			runtime.GOMAXPROCS(old)
			if err != nil {
				t.Fatal(err)
			}
			reports = append(reports, rep)
		}
		if d := cmp.Diff(reports[0], reports[1]); d != "" {
			t.Fatalf("seed %d: one worker and four differ:\n%s", seed, d)
		}
	}
}

// TestGarbage: a list may say anything; the proof answers in words.
func TestGarbage(t *testing.T) {
	names := []string{"K1", "K2", "D1", "D2", "J1", "J2", "", "K1:11", "\x00", "J1:1"}
	ends := []string{"A1", "A2", "11", "12", "14", "A", "K", "1", "2", "3", "999999999999", ""}
	kinds := []wiring.Kind{wiring.Phase, wiring.Opcode, wiring.Flag, wiring.Line, wiring.Feed, wiring.Return, wiring.Link, wiring.Spare, "", "mains"}
	for seed := range uint64(2000) {
		r := rand.New(rand.NewPCG(seed, 4))
		s, c := randomStore(r)
		l := &wiring.List{Levels: r.IntN(4) - 1, Negative: r.IntN(2) == 0}
		name := func() string { return names[r.IntN(len(names))] }
		number := func() int { return []int{0, 1, 2, 3, -1, 64, 1 << 40, -1 << 60}[r.IntN(8)] }
		end := func() wiring.Terminal { return wiring.Terminal(name() + ":" + ends[r.IntN(len(ends))]) }
		for range r.IntN(4) {
			l.Relays = append(l.Relays, wiring.Relay{Name: name(), Poles: number()})
			l.Diodes = append(l.Diodes, wiring.Diode{Name: name()})
		}
		for range r.IntN(12) {
			l.Pins = append(l.Pins, wiring.Pin{Name: name(), Pin: number(), Use: wiring.Use{Kind: kinds[r.IntN(len(kinds))], N: number(), Name: name()}})
		}
		for range r.IntN(20) {
			l.Wires = append(l.Wires, wiring.Wire{From: end(), To: end()})
		}
		if _, err := Prove(l, s, c, Options{Overlap: true, Detail: 100}); err != nil {
			t.Fatal(err)
		}
	}
	// A relay of many poles costs few bytes.
	l := &wiring.List{}
	for i := range 200 {
		l.Relays = append(l.Relays, wiring.Relay{Name: fmt.Sprint("K", i), Poles: maxPoles})
	}
	s, c := small()
	r, err := Prove(l, s, c, Options{Detail: 2})
	if err != nil || len(r.Findings) == 0 || r.Findings[0].Kind != BadList {
		t.Error(r, err)
	}
}
