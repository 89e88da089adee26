package readback

import (
	"regexp"
	"strings"

	"coilwright/encode/cube"
	bare "coilwright/encode/network/wiring"
)

// conditions is what pulls relays in while no phase is on, by the wires: the
// ways from the feed through contacts of opcode and flag relays.
type conditions struct {
	*coils
	list   *bare.List
	opcode map[string]int // bit of the opcode that a relay follows
	flag   map[string]int
	throws map[int][]throw // by net
	diodes map[int][]int
	coilOf map[int][]string // relays by the net of A1
	steps  int
}

// throw is a way through a contact: to is closed while the relay is in or out.
type throw struct {
	relay string
	in    bool
	to    int
}

func newConditions(c *coils, l *bare.List) *conditions {
	w := &conditions{coils: c, list: l, opcode: map[string]int{}, flag: map[string]int{}, throws: map[int][]throw{}, diodes: map[int][]int{}, coilOf: map[int][]string{}}
	follows := map[int]bare.Use{}
	for _, p := range l.Pins {
		if p.Use.Kind == bare.Opcode || p.Use.Kind == bare.Flag {
			follows[c.root(string(p.Terminal()))] = p.Use
		}
	}
	repeated := map[int]string{} // relay by the net that its first pole feeds
	feed, _ := w.feed()
	for _, r := range l.Relays {
		a1, _ := r.Coil()
		w.coilOf[c.root(string(a1))] = append(w.coilOf[c.root(string(a1))], r.Name)
		for p := 1; p <= r.Poles; p++ {
			common, breaks, makes := r.Pole(p)
			from := c.root(string(common))
			w.throws[from] = append(w.throws[from], throw{r.Name, false, c.root(string(breaks))}, throw{r.Name, true, c.root(string(makes))})
			if _, ok := follows[c.root(string(a1))]; ok && from == feed && p == 1 {
				repeated[c.root(string(makes))] = r.Name
			}
		}
	}
	note := func(name string, u bare.Use) {
		if u.Kind == bare.Opcode {
			w.opcode[name] = u.N
		} else {
			w.flag[name] = u.N
		}
	}
	for net, names := range w.coilOf {
		for _, name := range names {
			if u, ok := follows[net]; ok {
				note(name, u)
			}
		}
	}
	for _, d := range l.Diodes {
		from, to := d.Ends()
		if l.Negative {
			from, to = to, from
		}
		w.diodes[c.root(string(from))] = append(w.diodes[c.root(string(from))], c.root(string(to)))
	}
	// What only a first pole drives repeats its relay.
	for net, first := range repeated {
		driven := 0
		for _, list := range w.throws {
			for _, t := range list {
				if t.to == net {
					driven++
				}
			}
		}
		if len(w.coilOf[net]) == 0 || driven > 1 || len(w.throws[net]) > 0 {
			continue
		}
		for _, name := range w.coilOf[net] {
			if bit, ok := w.opcode[first]; ok {
				w.opcode[name] = bit
			} else {
				w.flag[name] = w.flag[first]
			}
		}
	}
	return w
}

func (w *conditions) feed() (net int, ok bool) {
	for _, p := range w.list.Pins {
		if t := string(p.Terminal()); p.Use.Kind == bare.Feed {
			return w.root(t), true
		}
	}
	return -1, false
}

// pulledIn is what pulls each relay in, opcodes of so many bits below the flags.
// Relays behind a contact that follows something else are missing.
func (w *conditions) pulledIn(bits int) map[string][]cube.Cube {
	out, unclear := map[string][]cube.Cube{}, map[string]bool{}
	w.steps = 0
	var follow func(net int, when cube.Cube, clear bool)
	follow = func(net int, when cube.Cube, clear bool) {
		if w.steps++; w.steps > 1<<20 {
			return
		}
		for _, name := range w.coilOf[net] {
			out[name] = append(out[name], when)
			unclear[name] = unclear[name] || !clear
		}
		for _, to := range w.diodes[net] {
			follow(to, when, clear)
		}
		for _, t := range w.throws[net] {
			bit, ok := w.opcode[t.relay]
			if f, flag := w.flag[t.relay]; flag {
				bit, ok = bits+f, true
			}
			value := uint64(0)
			if t.in {
				value = 1
			}
			switch {
			case len(w.coilOf[t.to])+len(w.throws[t.to])+len(w.diodes[t.to]) == 0:
			case !ok:
				if _, pulse := w.pulsed(t.relay); !pulse {
					follow(t.to, when, false)
				}
			case when.Care>>bit&1 == 0 || when.Value>>bit&1 == value:
				follow(t.to, when.With(bit, value), clear)
			}
		}
	}
	if feed, ok := w.feed(); ok {
		follow(feed, cube.Cube{}, true)
	}
	for name := range unclear {
		if unclear[name] || w.steps > 1<<20 {
			delete(out, name)
		}
	}
	return out
}

// pulsed finds the pulse wire that a relay makes, or the line that it inverts.
func (w *conditions) pulsed(relay string) (wire string, ok bool) {
	for _, of := range []map[string]ends{w.pulses, w.inverted} {
		for wire, e := range of {
			if e.coil == relay+":A1" {
				return wire, true
			}
		}
	}
	return "", false
}

var saidWhen = regexp.MustCompile(`: opcodes? ([01?_]+(?:/[01?]+)?(?: [01?_/ ]+)?)$`)

// check holds the opcodes and flags that a page says pull relays in, by relay,
// against the wires.
func (w *conditions) check(said map[string]string) error {
	var found map[string][]cube.Cube
	for _, r := range w.list.Relays {
		m := saidWhen.FindStringSubmatch(said[r.Name])
		_, bit := w.opcode[r.Name]
		_, flag := w.flag[r.Name]
		_, pulse := w.pulsed(r.Name)
		switch {
		case m == nil && (bit || flag || pulse):
			continue
		case m == nil && len(w.pulledIn(32)[r.Name]) == 0:
			continue // nothing does
		case m == nil || bit || flag || pulse:
			return refuse(1, "%s is said to follow %q", r.Name, said[r.Name])
		}
		first, _, _ := strings.Cut(strings.Fields(m[1])[0], "/")
		bits := len(strings.ReplaceAll(first, "_", ""))
		flags := 0
		for _, p := range w.list.Pins {
			if p.Use.Kind == bare.Flag {
				flags = max(flags, p.Use.N+1)
			}
		}
		if _, behind, ok := strings.Cut(strings.Fields(m[1])[0], "/"); ok {
			flags = len(behind)
		}
		when, err := parsePatterns(m[1], bits, flags)
		if err != nil {
			return refuse(1, "%s: %v", r.Name, err)
		}
		if found == nil {
			found = w.pulledIn(bits)
		}
		by, ok := found[r.Name]
		if !ok {
			continue
		}
		if v, more := outside(when, by); more {
			return refuse(1, "%s is said to be pulled in by %s; the wires do not at %b", r.Name, m[1], v)
		}
		if v, more := outside(by, when); more {
			return refuse(1, "%s is said to be pulled in by %s; the wires do at %b too", r.Name, m[1], v)
		}
	}
	return nil
}
