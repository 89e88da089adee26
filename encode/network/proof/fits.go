package proof

import (
	"fmt"
	"strconv"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// fitting holds a list against the hardware that the definition describes.
type fitting struct {
	list  *wiring.List
	hw    *machine.Hardware
	board machine.Card
	found []Finding
}

// fits says where a list contradicts the definition's hardware. More relays,
// cards and pins than anybody drew contradict nothing, as long as there is room.
func fits(l *wiring.List, hw *machine.Hardware, s *store.Store) []Finding {
	f := &fitting{list: l, hw: hw, board: hw.Cards[0]}
	f.supply()
	f.relays()
	f.cards()
	f.connectors()
	f.fixed(s)
	f.crossings()
	return f.found
}

func (f *fitting) bad(todo, format string, args ...any) {
	f.found = append(f.found, Finding{Kind: Misfit, Text: fmt.Sprintf(format, args...), Notes: []string{todo}})
}

const anew = "list the wires anew"

// supply compares what the whole list rests on.
func (f *fitting) supply() {
	side := map[bool]string{true: "negative", false: "positive"}
	if have, want := f.list.Negative, f.board.Negative; have != want {
		f.bad(fmt.Sprintf("every diode would have to point the other way: %s, or set feed %s in card %s; what follows is told for the %s side",
			anew, side[have], f.board.Name, side[have]),
			"the list feeds the %s side of the supply, the definition says feed %s", side[have], side[want])
	}
	if have, want := f.list.Levels, f.hw.Diode.Levels; have != want {
		set := fmt.Sprintf("set levels %d in diode", have)
		if have > want {
			set += " if the supply drives the coils through so many"
		}
		f.bad(fmt.Sprintf("%s, or %s; it is proved for %d here", anew, set, want),
			"the list allows for %s in series, the definition says levels %d", number(have, "diode"), want)
	}
}

// relays compares poles, sites and how many relays a card carries.
func (f *fitting) relays() {
	var poles, past, twice []string
	most := 0
	perCard := map[string]int{}
	type place struct {
		card string
		site int
	}
	at := map[place]string{}
	for _, k := range f.list.Relays {
		perCard[k.Card]++
		if k.Poles > f.hw.Relay.Poles {
			poles = append(poles, fmt.Sprintf("%s has %s", k.Name, number(k.Poles, "pole")))
			most = max(most, k.Poles)
		}
		if k.Site < 1 || k.Site > f.board.Relays {
			past = append(past, fmt.Sprintf("%s stands at site %d of card %s", k.Name, k.Site, k.Card))
		}
		here := place{k.Card, k.Site}
		if first, ok := at[here]; ok {
			twice = append(twice, fmt.Sprintf("%s and %s both stand at site %d of card %s", first, k.Name, k.Site, k.Card))
		} else {
			at[here] = k.Name
		}
	}
	if len(twice) > 0 {
		f.bad(fmt.Sprintf("a site holds one relay: take one that is free, 1 to %d", f.board.Relays), "%s", someOf(twice, "; "))
	}
	if len(poles) > 0 {
		f.bad(fmt.Sprintf("take the contacts past pole %d to another relay, or set poles %d in relay if you have such", f.hw.Relay.Poles, most),
			"%s: the definition says poles %d", someOf(poles, ", "), f.hw.Relay.Poles)
	}
	if len(past) > 0 {
		f.bad("give each a site that is there, or set relays in card "+f.board.Name,
			"%s: a card has sites 1 to %d, the definition says relays %d", someOf(past, ", "), f.board.Relays, f.board.Relays)
	}
	for _, c := range f.named() {
		if n := perCard[c]; n > f.board.Relays {
			f.bad(fmt.Sprintf("move %s to another card, or set relays %d in card %s", number(n-f.board.Relays, "relay"), n, f.board.Name),
				"card %s carries %s, the definition says relays %d", c, number(n, "relay"), f.board.Relays)
		}
	}
}

// named lists the cards in the order in which the list comes to them.
func (f *fitting) named() []string {
	var out []string
	seen := map[string]bool{}
	add := func(card string) {
		if !seen[card] {
			seen[card] = true
			out = append(out, card)
		}
	}
	for _, k := range f.list.Relays {
		add(k.Card)
	}
	for _, d := range f.list.Diodes {
		add(d.Card)
	}
	for _, p := range f.list.Pins {
		add(p.Card)
	}
	return out
}

// cards have the name of the definition's card and a number.
func (f *fitting) cards() {
	on := map[string][]string{}
	for _, k := range f.list.Relays {
		on[k.Card] = append(on[k.Card], k.Name)
	}
	for _, d := range f.list.Diodes {
		on[d.Card] = append(on[d.Card], d.Name)
	}
	for _, p := range f.list.Pins {
		on[p.Card] = append(on[p.Card], string(p.Terminal()))
	}
	for _, c := range f.named() {
		number, ok := strings.CutPrefix(c, f.board.Name+" ")
		if n, err := strconv.Atoi(number); ok && err == nil && n > 0 {
			continue
		}
		f.bad("name the card on which they stand", "there is no card %s, where the list has %s: the definition's are %s 1, %s 2 and so on", c, someOf(on[c], ", "), f.board.Name, f.board.Name)
	}
}

// connectors have the pins that the definition gives a card.
func (f *fitting) connectors() {
	card := map[string]string{}
	pins := map[string]int{}
	told := map[string]bool{}
	var past []string
	for _, p := range f.list.Pins {
		if first, ok := card[p.Name]; !ok {
			card[p.Name] = p.Card
		} else if first != p.Card && !told[p.Name] {
			told[p.Name] = true
			f.bad("a connector is on one card: name the card, or another connector", "connector %s is on card %s, and its pin %d on card %s", p.Name, first, p.Pin, p.Card)
		}
		if p.Pin < 1 || p.Pin > f.board.Pins {
			past = append(past, string(p.Terminal()))
		}
		pins[p.Card]++
	}
	if len(past) > 0 {
		f.bad(fmt.Sprintf("take a pin that is there, or set pins in card %s", f.board.Name),
			"there is no pin %s: a connector of the definition has pins 1 to %d", someOf(past, ", "), f.board.Pins)
	}
	for _, c := range f.named() {
		if n := pins[c]; n > f.board.Pins {
			f.bad(fmt.Sprintf("take wires to other cards, or set pins %d in card %s", n, f.board.Name), "card %s has %d pins in use, the definition says pins %d", c, n, f.board.Pins)
		}
	}
}

// fixed holds the pins of each connector against those that the definition
// fixes. A line may have further pins, if it has its own.
func (f *fitting) fixed(s *store.Store) {
	type meeting struct {
		name string // of the connector
		use  wiring.Use
	}
	at := map[string]wiring.Pin{}
	has := map[meeting][]wiring.Pin{}
	var connectors []string
	known := map[string]bool{}
	for _, p := range f.list.Pins {
		if !known[p.Name] {
			known[p.Name] = true
			connectors = append(connectors, p.Name)
		}
		at[string(p.Terminal())] = p
		u := plainUse(p.Use)
		has[meeting{p.Name, u}] = append(has[meeting{p.Name, u}], p)
	}
	for _, name := range connectors {
		taken := map[wiring.Use]bool{} // those that have one of their pins
		for _, x := range f.board.Fixed {
			if p, ok := at[fmt.Sprintf("%s:%d", name, x.Number)]; ok && plainUse(p.Use) == f.use(x) {
				taken[f.use(x)] = true
			}
		}
		for _, x := range f.board.Fixed {
			want := f.use(x)
			here := fmt.Sprintf("%s:%d", name, x.Number)
			if p, ok := at[here]; ok && plainUse(p.Use) != want {
				f.bad(fmt.Sprintf("move what pin %d carries, or change connector %s (%s)", x.Number, f.board.Name, x.At),
					"pin %s is for %s, the definition fixes %d = %s", here, useText(p.Use, s), x.Number, x.Use)
			}
			if others := has[meeting{name, want}]; !taken[want] && len(others) > 0 {
				taken[want] = true
				f.bad(fmt.Sprintf("move it to pin %d, or change connector %s (%s)", x.Number, f.board.Name, x.At),
					"%s leaves by pin %s, the definition fixes %d = %s", x.Use, others[0].Terminal(), x.Number, x.Use)
			}
		}
	}
}

// use is what a fixed pin of the definition meets.
func (f *fitting) use(x machine.Pin) wiring.Use {
	switch {
	case x.Line >= 0:
		return wiring.Use{Kind: wiring.Line, N: x.Line}
	case (x.Use == "ground") == f.list.Negative: // a feed on the other side is told once
		return wiring.Use{Kind: wiring.Feed}
	}
	return wiring.Use{Kind: wiring.Return}
}

// plainUse is a use without what says nothing of it.
func plainUse(u wiring.Use) wiring.Use {
	u.Name = ""
	if u.Kind == wiring.Feed || u.Kind == wiring.Return || u.Kind == wiring.Spare {
		u.N = 0
	}
	return u
}

func useText(u wiring.Use, s *store.Store) string {
	switch {
	case u.Kind == wiring.Line && u.N >= 0 && u.N < len(s.Columns):
		return "line " + s.Columns[u.N].Name
	case u.Kind == wiring.Flag && u.N >= 0 && u.N < len(s.Flags):
		return "flag " + s.Flags[u.N]
	case u.Kind == wiring.Feed || u.Kind == wiring.Return || u.Kind == wiring.Spare:
		return string(u.Kind)
	}
	return fmt.Sprintf("%s %d", u.Kind, u.N)
}

// crossings are wires that reach a part of another card past its connector.
func (f *fitting) crossings() {
	card := map[string]string{}
	plug := map[string]bool{}
	for _, k := range f.list.Relays {
		card[k.Name] = k.Card
	}
	for _, d := range f.list.Diodes {
		card[d.Name] = d.Card
	}
	for _, p := range f.list.Pins {
		card[p.Name], plug[p.Name] = p.Card, true
	}
	var pairs [][2]string
	wires := map[[2]string][]string{}
	for _, w := range f.list.Wires {
		from, _, _ := strings.Cut(string(w.From), ":")
		to, _, _ := strings.Cut(string(w.To), ":")
		a, b := card[from], card[to]
		if a == b || a == "" || b == "" || plug[from] && plug[to] {
			continue
		}
		k := [2]string{min(a, b), max(a, b)}
		if wires[k] == nil {
			pairs = append(pairs, k)
		}
		wires[k] = append(wires[k], fmt.Sprintf("%s - %s", w.From, w.To))
	}
	for _, k := range pairs {
		f.bad("give the wire a pin on either card, both with use link and one number that no other wire has",
			"between card %s and card %s runs %s, past the connectors", k[0], k[1], someOf(wires[k], ", "))
	}
}

// mostNamed bounds how many things of a kind one finding names.
const mostNamed = 6

func someOf(list []string, between string) string {
	if n := len(list); n > mostNamed {
		return strings.Join(list[:mostNamed], between) + fmt.Sprintf(" and %d more", n-mostNamed)
	}
	return strings.Join(list, between)
}

func number(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// foreign finds wires at pins of lines that other hardware drives. The pins
// alone may be there: a connector that the definition fixes has them.
func (p *prover) foreign() []Finding {
	w := p.circuit
	var out []Finding
	for i, c := range p.store.Columns {
		net := w.line[i]
		if p.driven[i] || net < 0 {
			continue
		}
		for t, n := range w.net {
			if n == net && w.wired[t] {
				out = append(out, Finding{Kind: BadList, Text: fmt.Sprintf("%s is wired to the line %s, which other hardware drives", w.terms[t], c.Name)})
				break
			}
		}
	}
	return out
}
