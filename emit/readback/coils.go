package readback

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	bare "coilwright/encode/network/wiring"
)

// ends are the coil of a relay and the contact that stands for it: of a pulse
// relay the one that feeds the pulse wire, of an inverter the one that feeds the line.
type ends struct{ coil, contact string }

// coils is what the wires say of the relays that stand between diodes and what
// the diodes are for, to hold other pages against.
type coils struct {
	id       map[string]int    // of terminals
	up       []int             // joined ones: the way to the one that stands for all
	pulses   map[string]ends   // pulse relays by the name of the wire
	inverted map[string]ends   // inverters by line
	diodes   map[string]bool   // at coils: whether across
	said     map[string]bool   // inverters and diodes
	across   map[string]string // by end of a diode: the terminal of a coil that it is wired to
	relays   map[string]bare.Relay
	cards    map[string]string // by diode
}

func newCoils(l *bare.List) *coils {
	c := &coils{id: make(map[string]int, 2*len(l.Wires)), pulses: map[string]ends{}, inverted: map[string]ends{}, diodes: map[string]bool{},
		said: map[string]bool{}, across: map[string]string{}, relays: map[string]bare.Relay{}, cards: map[string]string{}}
	name := map[string]string{} // of the nets of pulse wires and lines, by terminal
	for _, r := range l.Relays {
		c.relays[r.Name] = r
	}
	for _, d := range l.Diodes {
		c.cards[d.Name] = d.Card
	}
	for _, w := range l.Wires {
		c.join(string(w.From), string(w.To))
		for _, x := range [][2]string{{string(w.From), string(w.To)}, {string(w.To), string(w.From)}} {
			if strings.HasSuffix(x[0], ":A1") || strings.HasSuffix(x[0], ":A2") {
				c.across[x[1]] = x[0]
			}
		}
		if strings.HasPrefix(w.Net, "pulse ") || strings.HasPrefix(w.Net, "line ") {
			name[string(w.From)], name[string(w.To)] = w.Net, w.Net
		}
	}
	outside := map[bare.Use]string{}
	for _, p := range l.Pins {
		t := string(p.Terminal())
		if first, ok := outside[p.Use]; ok && p.Use.Kind != bare.Spare {
			c.join(first, t)
		}
		outside[p.Use] = t
	}
	back, feed := outside[bare.Use{Kind: bare.Return}], outside[bare.Use{Kind: bare.Feed}]
	decided := map[int]bool{} // coils of pulse relays and inverters
	atCoil := map[int]bool{}
	for _, r := range l.Relays {
		a1, _ := r.Coil()
		atCoil[c.root(string(a1))] = true
		for p := 1; p <= r.Poles; p++ {
			common, breaks, makes := r.Pole(p)
			wire, pulse := strings.CutPrefix(name[string(makes)], "pulse ")
			line, low := strings.CutPrefix(name[string(breaks)], "line ")
			if !pulse && !low || feed == "" || !c.same(string(common), feed) {
				continue
			}
			if pulse {
				c.pulses[wire] = ends{string(a1), string(makes)}
			}
			if low && name[string(makes)] == "" {
				c.inverted[line] = ends{string(a1), string(breaks)}
			}
			if pulse || low {
				decided[c.root(string(a1))] = true
			}
		}
	}
	zeners := map[int]bool{}
	for _, d := range l.Diodes {
		if anode, cathode := d.Ends(); strings.HasPrefix(d.Name, "Z") {
			zeners[c.root(string(anode))], zeners[c.root(string(cathode))] = true, true
		}
	}
	for _, d := range l.Diodes {
		from, to := d.Ends()
		if l.Negative {
			from, to = to, from
		}
		switch far, near := c.root(string(from)), c.root(string(to)); {
		case strings.HasPrefix(d.Name, "Z"):
			c.diodes[d.Name] = true
		case atCoil[near] && (far == c.root(back) || zeners[far]):
			c.diodes[d.Name] = true
		case atCoil[near] && !decided[near]:
			c.diodes[d.Name] = false
		}
	}
	return c
}

func (c *coils) root(t string) int {
	i, ok := c.id[t]
	if !ok {
		i = len(c.up)
		c.id[t] = i
		c.up = append(c.up, i)
	}
	for c.up[i] != i {
		c.up[i] = c.up[c.up[i]]
		i = c.up[i]
	}
	return i
}

func (c *coils) join(a, b string) { c.up[c.root(a)] = c.root(b) }

func (c *coils) same(a, b string) bool { return c.root(a) == c.root(b) }

// pulse checks where the diodes of a pulse wire are said to lead, and what
// feeds it; both are empty where no relay makes it.
func (c *coils) pulse(n int, wire, coil, contact string) error {
	if is := c.pulses[wire]; is != (ends{coil, contact}) {
		return refuse(n, "pulse wire %s is said to have coil %q and contact %q; by the wires they are %q and %q", wire, coil, contact, is.coil, is.contact)
	}
	return nil
}

// line checks which coil the column of a line is said to end on, if on any.
func (c *coils) line(n int, line, coil string) error {
	if is := c.inverted[line].coil; is != coil {
		return refuse(n, "the column of %s is said to end on coil %q; by the wires it is %q", line, coil, is)
	}
	return nil
}

// inverter checks what is said of the relay of a `low` line.
func (c *coils) inverter(n int, line, coil, contact string) error {
	if is, ok := c.inverted[line]; !ok || is != (ends{coil, contact}) || c.said[line] {
		return refuse(n, "line %s is said to have an inverter with coil %s and contact %s; by the wires they are %q and %q, or it is said twice", line, coil, contact, is.coil, is.contact)
	}
	c.said[line] = true
	return nil
}

var invertedText = regexp.MustCompile(`^ +(\S+): column to coil (\S+), line from (\S+)$`)

// inverterText reads a line of a text that is about an inverter; it may go on
// in the next. It returns how many lines it took.
func (c *coils) inverterText(text []string, at int) (took int, err error) {
	if !strings.Contains(text[at], ": column to coil ") {
		return 0, nil
	}
	for took = 1; took <= 3 && at+took <= len(text); took++ {
		if m := invertedText.FindStringSubmatch(" " + unwrap(text[at:at+took])); m != nil {
			return took, c.inverter(at+1, m[1], m[2], m[3])
		}
	}
	return 1, refuse(at+1, "a line about an inverter that cannot be read")
}

// diode checks a diode at a coil: on which card, at which relay and its site,
// what is at its ends, and whether it lies across the coil.
func (c *coils) diode(n int, name, card, relay, site, anode, band string, across bool) error {
	is, ok := c.diodes[name]
	if !ok || is != across || c.said[name] {
		return refuse(n, "%s is no diode at a coil, not such a one, or listed twice", name)
	}
	c.said[name] = true
	r, ok := c.relays[relay]
	if !ok || (site == "") == (r.Card == card) || site != "" && site != fmt.Sprint(r.Site) {
		return refuse(n, "%s: no relay %s at site %q", name, relay, site)
	}
	if c.cards[name] != card {
		return refuse(n, "%s is on card %s and said to be on %s", name, c.cards[name], card)
	}
	if !c.at(name, relay) {
		return refuse(n, "%s is not at the coil of %s", name, relay)
	}
	for _, x := range [][2]string{{anode, ":A"}, {band, ":K"}} {
		if !c.same(x[0], name+x[1]) {
			return refuse(n, "%s%s is said to be on %s, and by the wires it is not", name, x[1], x[0])
		}
	}
	return nil
}

// at reports whether a diode is at the coil of a relay: on the net of A1, or,
// if it lies across the coil, on its own terminal by a wire.
func (c *coils) at(name, relay string) bool {
	for _, end := range []string{name + ":A", name + ":K"} {
		if !c.diodes[name] && c.same(relay+":A1", end) || c.across[end] == relay+":A1" || c.across[end] == relay+":A2" {
			return true
		}
	}
	return false
}

// missing names what nothing was said of.
func (c *coils) missing(diodes bool) error {
	for _, line := range slices.Sorted(maps.Keys(c.inverted)) {
		if !c.said[line] {
			return fmt.Errorf("nothing is said of the inverter of %s", line)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(c.diodes)) {
		if diodes && !c.said[name] {
			return fmt.Errorf("%s at a coil is not listed", name)
		}
	}
	return nil
}
