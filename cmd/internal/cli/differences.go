package cli

import (
	"fmt"
	"slices"
	"strings"

	"coilwright/encode/network"
	"coilwright/encode/network/wiring"
)

const (
	// mostDiffering is up to how many differences are named.
	mostDiffering = 12
	// anotherNetwork is from how many on a list is not one that was changed.
	anotherNetwork = 200
	// comparedRows is up to how many rows of the store a list is worked out to
	// compare with: it is a help, and nobody waits long for it.
	comparedRows = 2000
)

// differences tells in what a list differs from the one that is worked out in
// its style: a heading, then what differs. Nil if there is none to compare with.
func (l *loaded) differences(list *wiring.List) []string {
	if !slices.Contains(network.Styles, list.Style) || len(l.store.Rows) > comparedRows {
		return nil
	}
	n := l.network(list.Style)
	if n == nil {
		return nil
	}
	wires, parts := differing(list, n.List)
	ours := "the list that is worked out in style " + list.Style
	total := len(wires) + len(parts)
	var count []string
	if n := len(wires); n > 0 {
		count = append(count, counted(n, "wire"))
	}
	if n := len(parts); n > 0 {
		count = append(count, counted(n, "part"))
	}
	switch {
	case total == 0:
		return []string{"What is joined here is the same as in " + ours + "."}
	case total > anotherNetwork:
		return []string{fmt.Sprintf("The list has little to do with %s: they differ in %s.", ours, strings.Join(count, " and "))}
	}
	out := []string{fmt.Sprintf("The list differs from %s in %s:", ours, strings.Join(count, " and "))}
	all := append(wires, parts...)
	for i, x := range all {
		if i == mostDiffering {
			return append(out, fmt.Sprintf("and %d more", len(all)-i))
		}
		out = append(out, x)
	}
	return out
}

// joints is terminals as wires join them.
type joints map[wiring.Terminal]wiring.Terminal

func jointsOf(l *wiring.List) joints {
	j := joints{}
	for _, w := range l.Wires {
		a, b := j.root(w.From), j.root(w.To)
		if a != b {
			j[a] = b
		}
	}
	return j
}

func (j joints) root(t wiring.Terminal) wiring.Terminal {
	for {
		up, ok := j[t]
		if !ok {
			return t
		}
		if over, ok := j[up]; ok {
			j[t] = over
		}
		t = up
	}
}

func (j joints) joined(w wiring.Wire) bool { return j.root(w.From) == j.root(w.To) }

// differing names the wires and parts in which a list differs from ours. Which
// way round a net is chained does not count.
func differing(got, want *wiring.List) (wires, parts []string) {
	ends := func(w wiring.Wire) [2]wiring.Terminal {
		return [2]wiring.Terminal{min(w.From, w.To), max(w.From, w.To)}
	}
	here, ours := jointsOf(got), jointsOf(want)
	var missing, added []wiring.Wire
	for _, w := range want.Wires {
		if !here.joined(w) {
			missing = append(missing, w)
		}
	}
	for _, w := range got.Wires {
		if !ours.joined(w) {
			added = append(added, w)
		}
	}
	// A diode that was turned round differs in every wire to it.
	for _, d := range want.Diodes {
		a, k := d.Ends()
		touches := func(w wiring.Wire) bool { return w.From == a || w.To == a || w.From == k || w.To == k }
		swap := func(t wiring.Terminal) wiring.Terminal {
			switch t {
			case a:
				return k
			case k:
				return a
			}
			return t
		}
		lost := map[[2]wiring.Terminal]bool{}
		for _, w := range missing {
			if touches(w) {
				lost[ends(w)] = true
			}
		}
		n := 0
		for _, w := range added {
			if touches(w) {
				n++
				if !lost[ends(wiring.Wire{From: swap(w.From), To: swap(w.To)})] {
					n = -len(added)
				}
			}
		}
		if n > 0 && n == len(lost) {
			missing, added = slices.DeleteFunc(missing, touches), slices.DeleteFunc(added, touches)
			parts = append(parts, d.Name+" lies the other way round")
		}
	}
	for _, w := range missing {
		wires = append(wires, fmt.Sprintf("missing: %s - %s", w.From, w.To))
	}
	for _, w := range added {
		wires = append(wires, fmt.Sprintf("not ours: %s - %s", w.From, w.To))
	}
	compare := func(got, want []string, gotText, wantText map[string]string) {
		for _, name := range want {
			switch text, ok := gotText[name]; {
			case !ok:
				parts = append(parts, "missing: "+name+" "+wantText[name])
			case text != wantText[name]:
				parts = append(parts, fmt.Sprintf("%s is %s, and %s in ours", name, text, wantText[name]))
			}
		}
		for _, name := range got {
			if _, ok := wantText[name]; !ok {
				parts = append(parts, "not ours: "+name+" "+gotText[name])
			}
		}
	}
	gotNames, gotText := partsOf(got)
	wantNames, wantText := partsOf(want)
	compare(gotNames, wantNames, gotText, wantText)
	return wires, parts
}

// partsOf describes each relay, diode and pin.
func partsOf(l *wiring.List) (names []string, text map[string]string) {
	text = map[string]string{}
	add := func(name, t string) {
		names = append(names, name)
		text[name] = t
	}
	for _, k := range l.Relays {
		add(k.Name, fmt.Sprintf("at site %d of card %s with %s", k.Site, k.Card, counted(k.Poles, "pole")))
	}
	for _, d := range l.Diodes {
		add(d.Name, "on card "+d.Card)
	}
	for _, p := range l.Pins {
		use := string(p.Use.Kind)
		switch p.Use.Kind {
		case wiring.Line, wiring.Flag:
			use += fmt.Sprintf(" %s, number %d", p.Use.Name, p.Use.N)
		case wiring.Phase, wiring.Opcode, wiring.Link:
			use += fmt.Sprintf(" %d", p.Use.N)
		}
		add(string(p.Terminal()), fmt.Sprintf("on card %s for %s", p.Card, use))
	}
	return names, text
}
