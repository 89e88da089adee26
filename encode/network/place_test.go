package network

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"coilwright/encode/cube"
	"coilwright/encode/machine"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"

	"github.com/google/go-cmp/cmp"
)

// randomCircuit makes a decoder that means nothing: trees of contacts from
// phases, pulse wires and the feed, that end on rows, columns and coils.
func randomCircuit(r *rand.Rand, rows, lines, levels int) (*Circuit, *store.Store) {
	s := &store.Store{Machine: "random", Hash: strings.Repeat("0", 64), OpcodeBits: 1 + r.IntN(8), Phases: 2 + r.IntN(20), Flags: []string{"zero", "carry"}}
	c := &Circuit{Style: "random"}
	point := func(p Point) int { c.Points = append(c.Points, p); return len(c.Points) - 1 }
	signal := func(s Signal) int { c.Signals = append(c.Signals, s); return len(c.Signals) - 1 }
	feed := -1
	if r.IntN(4) > 0 {
		feed = point(Point{Kind: FeedPoint})
	}
	var wires, columns []int
	for p := 1; p <= s.Phases; p++ {
		wires = append(wires, point(Point{Kind: PhasePoint, N: p}))
	}
	for b := range s.OpcodeBits {
		signal(Signal{Kind: OpcodeSignal, N: b, Coil: -1})
	}
	for f := range s.Flags {
		signal(Signal{Kind: FlagSignal, N: f, Coil: -1})
	}
	decoders := len(c.Signals)
	for i := range lines {
		s.Columns = append(s.Columns, store.Column{Name: fmt.Sprintf("line%d", i), Low: feed >= 0 && r.IntN(8) == 0})
		s.Word.Bits = append(s.Word.Bits, i)
		columns = append(columns, point(Point{Kind: ColumnPoint, N: i}))
		if s.Columns[i].Low {
			k := signal(Signal{Kind: InverterSignal, N: i, Coil: columns[i]})
			c.Contacts = append(c.Contacts, Contact{k, feed, point(Point{Kind: LowPoint, N: i}), -1})
		}
	}
	for i := range r.IntN(5) {
		w := point(Point{Kind: PulsePoint, N: i + 1, Phases: []int{1, 2}})
		to := w
		if feed >= 0 && r.IntN(2) == 0 {
			to = point(Point{Kind: CoilPoint})
			k := signal(Signal{Kind: PulseSignal, N: i + 1, Coil: to})
			c.Points[to].N = k
			c.Contacts = append(c.Contacts, Contact{k, feed, -1, w})
		}
		for _, p := range []int{0, 1} {
			c.Diodes = append(c.Diodes, Joint{wires[p], to})
		}
		wires = append(wires, w)
	}
	var tree func(at, depth int) []int
	tree = func(at, depth int) []int {
		if depth == 0 {
			return []int{at}
		}
		k := r.IntN(decoders)
		a, b := point(Point{Kind: TreePoint}), -1
		out := tree(a, depth-1)
		if r.IntN(2) == 0 {
			b = point(Point{Kind: TreePoint})
			out = append(out, tree(b, r.IntN(depth))...)
		}
		if r.IntN(2) == 0 {
			a, b = b, a
		}
		c.Contacts = append(c.Contacts, Contact{k, at, a, b})
		return out
	}
	for len(c.Rows) < rows {
		wire := wires[r.IntN(len(wires))]
		ends := tree(wire, r.IntN(4))
		for _, e := range ends {
			row := CircuitRow{Point: e, Wire: wire, Owner: fmt.Sprintf("owner%d", len(c.Rows)), Phases: []int{1}}
			if r.IntN(8) == 0 && feed >= 0 {
				// through a condition relay
				coil := point(Point{Kind: CoilPoint})
				k := signal(Signal{Kind: ConditionSignal, Coil: coil, Owner: row.Owner})
				c.Points[coil].N = k
				bit := r.IntN(decoders)
				c.Contacts = append(c.Contacts, Contact{bit, feed, -1, coil})
				for range 1 + r.IntN(6) {
					c.Contacts = append(c.Contacts, Contact{k, wires[r.IntN(len(wires))], -1, point(Point{Kind: TreePoint})})
				}
			}
			for i := range columns {
				if r.IntN(lines) < 3 {
					row.Lines = append(row.Lines, i)
				}
			}
			if len(row.Lines) == 0 {
				continue
			}
			if c.Points[e].Kind == TreePoint && r.IntN(2) == 0 {
				c.Points[e] = Point{Kind: RowPoint, N: len(c.Rows)}
			}
			for _, l := range row.Lines {
				if j := (Joint{e, columns[l]}); !slices.Contains(c.Diodes, j) {
					c.Diodes = append(c.Diodes, j)
				}
			}
			c.Rows = append(c.Rows, row)
		}
	}
	return c, s
}

func roomy(r *rand.Rand) machine.Card {
	return machine.Card{Name: "control", Relays: 4 + r.IntN(20), Rows: 4 + r.IntN(30), Columns: 24 + r.IntN(20), Pins: 64 + r.IntN(30), Spare: r.IntN(3), Negative: r.IntN(2) == 0}
}

// labels names the net of every terminal, as the sheet does; and follows the
// wires, and the backplane, to see that just the terminals of one name hang together.
func labels(t *testing.T, n *Network) map[wiring.Terminal]string {
	t.Helper()
	label := map[wiring.Terminal]string{}
	for _, net := range n.Nets {
		for _, c := range net.Cards {
			for _, x := range c.Terminals {
				if label[x] != "" {
					t.Fatalf("%s lies on %s and on %s", x, label[x], net.Name)
				}
				label[x] = net.Name
			}
		}
	}
	root, join := joining()
	for _, w := range n.List.Wires {
		if label[w.From] != w.Net || label[w.To] != w.Net {
			t.Fatalf("wire %+v joins %s and %s", w, label[w.From], label[w.To])
		}
		join(w.From, w.To)
	}
	bus := map[wiring.Use]wiring.Terminal{}
	for _, p := range n.List.Pins {
		if label[p.Terminal()] == "" {
			continue // fixed, and not used on this card
		}
		if first, ok := bus[p.Use]; ok {
			join(first, p.Terminal())
		}
		bus[p.Use] = p.Terminal()
	}
	one := map[string]wiring.Terminal{}
	for x, name := range label {
		if first, ok := one[name]; ok && root(first) != root(x) {
			t.Fatalf("%s: %s and %s are not joined", name, first, x)
		}
		one[name] = x
	}
	return label
}

// sound holds a network against the circuit that it was made from, slowly.
func sound(t *testing.T, c *Circuit, s *store.Store, hw machine.Hardware, n *Network) {
	t.Helper()
	label := labels(t, n)
	trees := 0
	name := map[int]string{-1: ""}
	for i, p := range c.Points {
		switch p.Kind {
		case FeedPoint:
			name[i] = "feed"
		case PhasePoint:
			name[i] = fmt.Sprint("phase ", p.N)
		case PulsePoint:
			name[i] = fmt.Sprint("pulse P", p.N)
		case TreePoint:
			trees++
			name[i] = fmt.Sprint("tree T", trees)
		case RowPoint:
			name[i] = "row " + n.Matrix.Rows[n.rowAt[p.N]].Name
		case LowPoint:
			name[i] = "line " + s.Columns[p.N].Name
		case ColumnPoint:
			name[i] = "line " + s.Columns[p.N].Name
			if s.Columns[p.N].Low {
				name[i] = "column " + s.Columns[p.N].Name
			}
		}
	}
	for _, r := range n.Relays {
		if p := c.Signals[r.Signal].Coil; p >= 0 && c.Points[p].Kind == CoilPoint && r.Body == 1 {
			name[p] = label[wiring.Terminal(r.Name+":A1")]
		}
	}
	var want, got []string
	for _, k := range c.Contacts {
		want = append(want, fmt.Sprint(k.Signal, " ", name[k.Common], "/", name[k.Break], "/", name[k.Make]))
	}
	cards := map[string]int{}
	for i, r := range n.Relays {
		w := n.List.Relays[i]
		cards[w.Card]++
		if w.Name != r.Name || w.Poles != hw.Relay.Poles || r.Used > w.Poles {
			t.Fatalf("relay %+v, in the list %+v", r, w)
		}
		a1, a2 := w.Coil()
		if label[a2] != "return" {
			t.Fatalf("%s on %q", a2, label[a2])
		}
		coil := name[max(c.Signals[r.Signal].Coil, -1)]
		if k := c.Signals[r.Signal]; k.Coil < 0 {
			coil = fmt.Sprint("opcode ", k.N)
			if k.Kind == FlagSignal {
				coil = "flag " + s.Flags[k.N]
			}
			if r.Body > 1 && hw.Relay.Poles > 1 {
				coil += " repeated"
			}
		}
		if label[a1] != coil || r.Coil != coil {
			t.Fatalf("%s on %q (%q), not %q", a1, label[a1], r.Coil, coil)
		}
		for p := 1; p <= w.Poles; p++ {
			common, breaks, makes := w.Pole(p)
			text := fmt.Sprint(label[common], "/", label[breaks], "/", label[makes])
			if p == 1 && r.Drives {
				if text != "feed//"+coil+" repeated" {
					t.Fatalf("%s drives its repeaters with %q", r.Name, text)
				}
				continue
			}
			if text != "//" {
				got = append(got, fmt.Sprint(r.Signal, " ", text))
			}
		}
	}
	var wantDiodes, gotDiodes []string
	ends := func(from, to string) string {
		if hw.Cards[0].Negative {
			from, to = to, from
		}
		return from + " >| " + to
	}
	for _, d := range c.Diodes {
		wantDiodes = append(wantDiodes, ends(name[d.From], name[d.To]))
	}
	for _, r := range n.Relays {
		switch hw.Relay.Suppression {
		case "diode":
			wantDiodes = append(wantDiodes, ends("return", r.Coil))
		case "zener":
			middle := r.Suppression[0] + " to " + r.Suppression[1]
			wantDiodes = append(wantDiodes, ends(middle, r.Coil), ends(middle, "return"))
		}
	}
	for _, d := range n.List.Diodes {
		anode, cathode := d.Ends()
		gotDiodes = append(gotDiodes, label[anode]+" >| "+label[cathode])
	}
	for _, list := range [][]string{want, got, wantDiodes, gotDiodes} {
		slices.Sort(list)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Fatalf("contacts: %s", d)
	}
	if d := cmp.Diff(wantDiodes, gotDiodes); d != "" {
		t.Fatalf("diodes: %s", d)
	}
	matrixAsWired(t, n, label)
	ownCoils(t, n)
	limits(t, hw.Cards[0], n)
	if len(n.Matrix.Cards) < n.LeastCards {
		t.Fatalf("%d cards, the bound says %d: %s", len(n.Matrix.Cards), n.LeastCards, n.LeastWhy)
	}
	diodes := len(n.Matrix.Diodes)
	for _, r := range n.Relays {
		diodes += len(r.Fed)
	}
	if all := len(n.List.Diodes); c.Cost.Diodes+c.Cost.Coils != all || len(n.Matrix.Diodes)+len(n.Matrix.AtCoils) != all {
		t.Fatalf("%d diodes, %d and %d priced, %d and %d on the placement list", all, c.Cost.Diodes, c.Cost.Coils, len(n.Matrix.Diodes), len(n.Matrix.AtCoils))
	}
	if c.Cost.Relays != len(n.Relays) || c.Cost.Diodes != diodes {
		t.Fatalf("%d relays and %d diodes, priced at %d and %d", len(n.Relays), diodes, c.Cost.Relays, c.Cost.Diodes)
	}
}

// matrixAsWired holds what the matrix says of both ends of every diode against
// the wires: who solders from the one and who solders from the other have to
// make the same.
func matrixAsWired(t *testing.T, n *Network, label map[wiring.Terminal]string) {
	t.Helper()
	m := n.Matrix
	kind := strings.NewReplacer("pulse ", "", "row ", "", "line ", "", "column ", "")
	lies := func(diode, end, said string) {
		is := label[wiring.Terminal(diode+end)]
		if strings.Contains(said, ":") {
			if is != label[wiring.Terminal(said)] {
				t.Fatalf("%s%s is said to be on %s, and is on %s", diode, end, said, is)
			}
		} else if said != "" && kind.Replace(is) != kind.Replace(said) {
			t.Fatalf("%s%s is said to be on %s, and is on %s", diode, end, said, is)
		}
	}
	for _, d := range m.Diodes {
		anode, band := m.Ends(d)
		if d.Row >= 0 { // a row lies on the contact or wire that feeds it
			for _, end := range []*string{&anode, &band} {
				if *end == m.Rows[d.Row].Name {
					*end = m.Rows[d.Row].Feed
				}
				if m.Style == "random" && *end == m.Rows[d.Row].Feed {
					*end = "" // such a circuit does not say through which contacts
				}
			}
		}
		lies(d.Name, ":A", anode)
		lies(d.Name, ":K", band)
	}
	relays := map[string]Relay{}
	for _, r := range n.Relays {
		relays[r.Name] = r
	}
	made, inverted := 0, 0
	for _, p := range m.Pulses {
		if (p.Coil == "") != (p.Contact == "") {
			t.Fatalf("%+v", p)
		}
		if p.Coil == "" {
			continue
		}
		made++
		name, _, _ := strings.Cut(p.Coil, ":")
		if relays[name].Kind != PulseSignal || !strings.HasPrefix(p.Contact, name+":") || label[wiring.Terminal(p.Contact)] != "pulse "+p.Name {
			t.Fatalf("%+v: the contact is on %s", p, label[wiring.Terminal(p.Contact)])
		}
	}
	for _, x := range m.Inverters {
		inverted++
		line := m.Columns[x.Line].Name
		if label[wiring.Terminal(x.Coil)] != "column "+line || label[wiring.Terminal(x.Contact)] != "line "+line {
			t.Fatalf("%+v is on %s and %s", x, label[wiring.Terminal(x.Coil)], label[wiring.Terminal(x.Contact)])
		}
	}
	for _, r := range n.Relays {
		switch r.Kind {
		case PulseSignal:
			made--
		case InverterSignal:
			inverted--
		}
	}
	if made != 0 || inverted != 0 {
		t.Fatalf("the matrix names %d pulse relays and %d inverters too many", made, inverted)
	}
	for _, d := range m.AtCoils {
		lies(d.Name, ":A", d.Anode)
		lies(d.Name, ":K", d.Band)
		on, coil := false, label[wiring.Terminal(d.Relay+":A1")]
		for _, end := range []string{":A", ":K"} {
			on = on || label[wiring.Terminal(d.Name+end)] == coil || d.Across && label[wiring.Terminal(d.Name+end)] == "return"
		}
		if !on || m.Cards[d.Card].Name == "" {
			t.Fatalf("%+v is not at its coil", d)
		}
	}
}

// ownCoils: a diode across a coil hangs on that coil's own terminals, by wires
// of its own, and no wire is one too many.
func ownCoils(t *testing.T, n *Network) {
	t.Helper()
	meets := map[wiring.Terminal][]wiring.Terminal{}
	up := map[wiring.Terminal]wiring.Terminal{}
	root := func(x wiring.Terminal) wiring.Terminal {
		for up[x] != "" {
			x = up[x]
		}
		return x
	}
	for _, w := range n.List.Wires {
		meets[w.From] = append(meets[w.From], w.To)
		meets[w.To] = append(meets[w.To], w.From)
		a, b := root(w.From), root(w.To)
		if a == b {
			t.Fatalf("%+v joins what is joined", w)
		}
		up[a] = b
	}
	for i, r := range n.Relays {
		if r.Suppression == nil {
			continue
		}
		a1, a2 := n.List.Relays[i].Coil()
		for _, coil := range []wiring.Terminal{a1, a2} {
			own := 0
			for _, end := range meets[coil] {
				name, _, _ := strings.Cut(string(end), ":")
				if slices.Contains(r.Suppression, name) {
					own++
					if len(meets[end]) != 1 {
						t.Fatalf("%s of %s carries other wires too: %v", end, r.Name, meets[end])
					}
				}
			}
			if own != 1 {
				t.Fatalf("%s has %d of %v on it: %v", coil, own, r.Suppression, meets[coil])
			}
		}
	}
}

// limits recounts what every card holds, by the bare list.
func limits(t *testing.T, b machine.Card, n *Network) {
	t.Helper()
	relays, pins := map[string]int{}, map[string]map[int]bool{}
	sites := map[string]bool{}
	card := map[string]string{}
	for _, r := range n.List.Relays {
		relays[r.Card]++
		card[r.Name] = r.Card
		site := fmt.Sprint(r.Card, " ", r.Site)
		if sites[site] || r.Site < 1 || r.Site > b.Relays {
			t.Fatalf("%s at site %s", r.Name, site)
		}
		sites[site] = true
	}
	for _, d := range n.List.Diodes {
		card[d.Name] = d.Card
	}
	for _, p := range n.List.Pins {
		card[p.Name] = p.Card
		if pins[p.Card] == nil {
			pins[p.Card] = map[int]bool{}
		}
		if p.Pin < 1 || p.Pin > b.Pins || pins[p.Card][p.Pin] {
			t.Fatalf("pin %d of %s", p.Pin, p.Card)
		}
		pins[p.Card][p.Pin] = true
	}
	for _, w := range n.List.Wires {
		from, _, _ := strings.Cut(string(w.From), ":")
		to, _, _ := strings.Cut(string(w.To), ":")
		if card[from] == "" || card[from] != card[to] {
			t.Fatalf("wire %+v from %q to %q", w, card[from], card[to])
		}
	}
	for i, c := range n.Matrix.Cards {
		places, columns := map[int]bool{}, map[int]bool{}
		for _, d := range n.Matrix.Diodes {
			if d.Card == i {
				places[d.Place] = true
				if d.Column > 0 {
					columns[d.Column] = true
				}
				if d.Column > 0 && c.Columns[d.Column-1] != d.Line || d.Place > b.Rows-b.Spare {
					t.Fatalf("%+v on %s", d, c.Name)
				}
			}
		}
		if relays[c.Name] > b.Relays || len(places) > b.Rows-b.Spare || len(c.Columns) > b.Columns || len(columns) > len(c.Columns) || len(pins[c.Name]) > b.Pins {
			t.Fatalf("card %s: %d relays, %d rows, %d columns, %d pins", c.Name, relays[c.Name], len(places), len(c.Columns), len(pins[c.Name]))
		}
		for _, f := range b.Fixed {
			if !pins[c.Name][f.Number] {
				t.Fatalf("card %s lacks its fixed pin %d", c.Name, f.Number)
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(card)) {
		if !slices.ContainsFunc(n.Matrix.Cards, func(c Card) bool { return c.Name == card[name] }) {
			t.Fatalf("%s on card %q", name, card[name])
		}
	}
}

func TestPlaceRandom(t *testing.T) {
	several, refused := 0, 0
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 5))
		c, s := randomCircuit(r, 5+r.IntN(60), 5+r.IntN(25), 2)
		hw := machine.Hardware{Relay: machine.Relay{Poles: 1 + r.IntN(6), Suppression: []string{"none", "diode", "zener"}[r.IntN(3)]}, Cards: []machine.Card{roomy(r)}}
		if r.IntN(2) == 0 {
			hw.Cards[0].Fixed = []machine.Pin{{Number: 2, Line: 0, Use: s.Columns[0].Name}, {Number: 5, Line: -1, Use: "ground"}, {Number: 6, Line: -1, Use: "ground"}, {Number: 9, Line: -1, Use: "supply"}}
		}
		c.Cost = c.Price(hw)
		n, list := Place(c, s, hw)
		if len(list) > 0 {
			refused++
			continue
		}
		sound(t, c, s, hw, n)
		if len(n.Matrix.Cards) > 1 {
			several++
		}
	}
	if several < 80 || refused > 20 {
		t.Errorf("%d on several cards, %d refused: the generator has gone weak", several, refused)
	}
}

// TestPlaceLarge holds the time of a decoder larger than most will build.
func TestPlaceLarge(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	c, s := randomCircuit(r, 500, 60, 2)
	hw := machine.Hardware{Relay: machine.Relay{Poles: 4, Suppression: "diode"}, Cards: []machine.Card{{Name: "control", Relays: 32, Rows: 40, Columns: 40, Pins: 96}}}
	c.Cost = c.Price(hw)
	start := time.Now()
	n, list := Place(c, s, hw)
	if len(list) > 0 {
		t.Fatal(list)
	}
	t.Logf("%d contacts, %d rows, %d relays: %d cards (at least %d: %s), %v", len(c.Contacts), len(c.Rows), len(n.Relays), len(n.Matrix.Cards), n.LeastCards, n.LeastWhy, time.Since(start))
	sound(t, c, s, hw, n)
}

// TestPlaceExamples holds the examples against their circuits and against the
// proof, on the cards that they ask for and on much smaller ones.
func TestPlaceExamples(t *testing.T) {
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		src, list := definition.Load("../../examples/"+name+"/"+name+".coil", os.ReadFile)
		m, more := machine.Resolve(src)
		list = append(list, more...)
		p, more := schedule.Encode(m)
		if list = append(list, more...); list.Errors() > 0 {
			t.Fatal(list)
		}
		s, ch := schedule.Weave(m, p), schedule.Changes(m, p)
		for _, style := range Styles {
			if name == "millrace" && style != "plain" {
				continue // takes long, and looks no different
			}
			c, err := Build(s, ch, m.Hardware, style)
			if err != nil {
				t.Fatal(err)
			}
			small := m.Hardware
			small.Cards = []machine.Card{{Name: "small", Relays: 4, Rows: 6, Columns: 6, Pins: 26, Negative: true}}
			small.Relay.Suppression = "zener"
			for _, hw := range []machine.Hardware{m.Hardware, small} {
				c.Cost = c.Price(hw)
				n, list := Place(c, s, hw)
				if len(list) > 0 {
					t.Fatalf("%s %s: %v", name, style, list)
				}
				sound(t, c, s, hw, n)
				report, err := proof.Prove(n.List, s, ch, proof.Options{Hardware: &hw})
				if err != nil || !report.Proved() {
					t.Errorf("%s %s on %d cards: %v %+v", name, style, len(n.Matrix.Cards), err, report)
				}
				if hw.Cards[0].Name == "small" && style == "plain" && len(n.Matrix.Cards) < 2 {
					t.Errorf("%s on one small card", name)
				}
			}
		}
	}
}

// joining keeps terminals apart that nothing has joined: root is the same for
// those that are one.
func joining() (root func(x wiring.Terminal) wiring.Terminal, join func(x, y wiring.Terminal)) {
	up := map[wiring.Terminal]wiring.Terminal{}
	root = func(x wiring.Terminal) wiring.Terminal {
		for up[x] != "" {
			x = up[x]
		}
		return x
	}
	join = func(x, y wiring.Terminal) {
		if x, y = root(x), root(y); x != y {
			up[x] = y
		}
	}
	return root, join
}

// pulled follows the current of a positive card with no phase on, and tells
// which relays it pulls in.
func pulled(n *Network, opcode, flags uint64) map[string]bool {
	root, join := joining()
	for _, w := range n.List.Wires {
		join(w.From, w.To)
	}
	bus := map[wiring.Use]wiring.Terminal{}
	for _, p := range n.List.Pins {
		if first, ok := bus[p.Use]; ok {
			join(first, p.Terminal())
		}
		bus[p.Use] = p.Terminal()
	}
	on := map[string]bool{}
	for range len(n.List.Relays) + 2 {
		live := map[wiring.Terminal]bool{}
		for use, at := range bus {
			if use.Kind == wiring.Feed || use.Kind == wiring.Opcode && opcode>>use.N&1 == 1 || use.Kind == wiring.Flag && flags>>use.N&1 == 1 {
				live[root(at)] = true
			}
		}
		for size := -1; size != len(live); {
			size = len(live)
			for _, d := range n.List.Diodes {
				if anode, cathode := d.Ends(); live[root(anode)] {
					live[root(cathode)] = true
				}
			}
			for _, r := range n.List.Relays {
				for p := 1; p <= r.Poles; p++ {
					common, to, makes := r.Pole(p)
					if on[r.Name] {
						to = makes
					}
					if live[root(common)] || live[root(to)] {
						live[root(common)], live[root(to)] = true, true
					}
				}
			}
		}
		on = map[string]bool{}
		for _, r := range n.List.Relays {
			a1, _ := r.Coil()
			on[r.Name] = live[root(a1)]
		}
	}
	return on
}

// TestPulledIn tests each condition relay as a person would: with the opcode
// and flags that the sheet names it has to pull in, and with no other.
func TestPulledIn(t *testing.T) {
	tested, with := 0, 0
	for _, name := range []string{"firststeps", "millrace"} {
		text, err := os.ReadFile("../../examples/" + name + "/" + name + ".coil")
		if err != nil {
			t.Fatal(err)
		}
		w, ok := weave(t, name, string(text))
		if !ok {
			t.Fatalf("%s has errors", name)
		}
		for _, style := range Styles[:2] {
			c, err := build(w.store, w.ch, w.m.Hardware, style, effort/20)
			if err != nil {
				t.Fatal(err)
			}
			n, list := Place(c, w.store, w.m.Hardware)
			if len(list) > 0 {
				t.Fatal(list)
			}
			bits := w.store.OpcodeBits + len(w.store.Flags)
			for v := uint64(0); v < 1<<bits; v += 1 + uint64(len(n.Relays)) {
				on := pulled(n, v&(1<<w.store.OpcodeBits-1), v>>w.store.OpcodeBits)
				for _, r := range n.Relays {
					if r.Kind != ConditionSignal {
						continue
					}
					in := slices.ContainsFunc(r.In, func(c cube.Cube) bool { return c.Matches(v) })
					if tested++; in {
						with++
					}
					if in != on[r.Name] {
						t.Fatalf("%s %s: %s follows %s by %v; at %b it is pulled in: %t", name, style, r.Name, r.Follows, r.In, v, on[r.Name])
					}
				}
			}
		}
	}
	if with < 20 || tested < 5*with {
		t.Errorf("%d tried, %d of them pulled in", tested, with)
	}
}
