package table

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/network"
	"coilwright/encode/network/wiring"
)

// reading explains the page to whoever holds the iron.
var reading = []string{
	"Terminals are numbered as in EN 50005: a coil has A1 and A2; pole 3 of a relay has 31 (common), 32 (break, joined to 31 at rest) and 34 (make). D7:A is the anode of diode D7, D7:K its cathode, the end with the band. J1:14 is pin 14 of the connector of card 1.",
	"Sites and places are counted on the component side, where the relays and diodes stand. Seen from the solder side left and right change places: go by the numbers, and mark pin 1 on both sides first.",
	"A wire is a wire, a track, or two leads in one joint. The wires of a net form a chain, and a diode across a coil hangs on that coil alone, so that a bad joint takes it from no other; any other way to join the same terminals will do.",
}

// WiresText writes all that is soldered: 80 characters wide, form feeds
// between pages, boxes to tick. After the cautions it has, card by card, the
// relays, the wires net by net and again part by part; then what runs from card
// to card and what meets the connectors, the parts to buy and the counts to
// check against. An error is the writer's.
func WiresText(w io.Writer, n *network.Network) error {
	s := newSheet(n, Width)
	pages := flow(s.before(), "Tick each box when it is done.", s.sections())
	p := newPage(w, Width)
	mx := n.Matrix
	for i, lines := range pages {
		feed := ""
		if i > 0 {
			feed = "\f"
		}
		p.line("%s%s", feed, heading(mx.Machine, mx.Title, mx.Hash, p.width))
		p.line("%s", spread(fmt.Sprintf("Wiring, %s style", mx.Style), fmt.Sprintf("page %d of %d", i+1, len(pages)), p.width))
		for _, line := range lines {
			p.line("%s", line)
		}
	}
	return p.flush()
}

// sheet is a network with what is looked up by terminal.
type sheet struct {
	n     *network.Network
	width int
	on    map[wiring.Terminal]string // the net of a terminal
}

func newSheet(n *network.Network, width int) *sheet {
	s := &sheet{n: n, width: width, on: map[wiring.Terminal]string{}}
	for _, net := range n.Nets {
		for _, c := range net.Cards {
			for _, t := range c.Terminals {
				s.on[t] = net.Name
			}
		}
	}
	return s
}

func (s *sheet) before() []string {
	out := []string{fmt.Sprintf("%s, %s, %s on %s", counted(len(s.n.List.Relays), "relay"), counted(len(s.n.List.Diodes), "diode"),
		counted(len(s.n.List.Wires), "wire"), counted(len(s.n.Matrix.Cards), "card")), "", "BEFORE YOU START"}
	for _, c := range cautions {
		out = append(out, wrap("  * ", "    ", c, s.width)...)
	}
	out = append(out, "")
	for _, r := range reading {
		out = append(out, wrap("", "  ", r, s.width)...)
	}
	if slices.ContainsFunc(s.n.Relays, func(r network.Relay) bool { return r.Kind == network.ConditionSignal }) {
		text := "Behind what a relay follows stand the opcodes that pull it in, for a test by hand: ? does not matter"
		if len(s.n.Matrix.Flags) > 0 {
			text += "; behind a stroke stand the flags (" + strings.Join(s.n.Matrix.Flags, " ") + ")"
		}
		out = append(out, wrap("", "  ", text+".", s.width)...)
	}
	side := "A1 of a coil faces the feed, which carries the positive side of the supply."
	if s.n.List.Negative {
		side = "A1 of a coil faces the feed, which carries the negative side of the supply."
	}
	return append(out, wrap("", "  ", side, s.width)...)
}

// section is items under a title, none of them broken over two pages. Before
// the title stands a rule, if it begins a card.
type section struct {
	rule, title string
	items       [][]string
}

// flow fills pages with sections. The first page begins with what is said before
// all; head stands over each page, and the title again where a section goes on.
func flow(before []string, head string, sections []section) [][]string {
	const room = pageLines - 2 // the heading of each page
	var pages [][]string
	now := append(append([]string{""}, before...), "", head)
	turn := func() { pages, now = append(pages, now), []string{"", head} }
	for _, s := range sections {
		for i, item := range s.items {
			var title []string
			if i == 0 {
				if s.rule != "" {
					title = []string{"", s.rule}
				}
				title = append(title, "", s.title)
			}
			if len(now)+len(title)+len(item) > room && len(now) > 2 {
				turn()
				if i > 0 {
					title = []string{"", s.title}
				}
			}
			now = append(append(now, title...), item...)
		}
	}
	return append(pages, now)
}

func (s *sheet) sections() []section {
	var out []section
	for card, b := range boards(s.n.Matrix) {
		title := "Card " + b.card.Name + ", "
		first := len(out)
		for _, x := range []section{{"", title + "relays", s.relays(card)}, {"", title + "wires by net", s.nets(card)}, {"", title + "terminals by part", s.parts(card)}} {
			if len(x.items) > 0 {
				out = append(out, x)
			}
		}
		if first < len(out) {
			out[first].rule = s.rule(card, b)
		}
	}
	return append(out,
		section{"", "Wires from card to card, and no further", s.between(true)},
		section{"", "What the connectors meet; pins in one line are joined", s.between(false)},
		section{"", "Parts", [][]string{s.shopping()}},
		section{"", "Counts to check against", [][]string{s.totals()}})
}

func (s *sheet) rule(card int, b board) string {
	relays := 0
	for _, r := range s.n.Relays {
		if r.Card == card {
			relays++
		}
	}
	left := "-- card " + b.card.Name + " "
	right := fmt.Sprintf(" %d of %d relays, %d of %d pins --", relays, s.n.Matrix.Board.Relays, len(b.card.Pins), s.n.Matrix.Board.Pins)
	return left + strings.Repeat("-", max(s.width-len(left)-len(right), 2)) + right
}

// relays says where each relay goes and what it does.
func (s *sheet) relays(card int) [][]string {
	var out [][]string
	for _, r := range s.n.Relays {
		if r.Card != card {
			continue
		}
		text := fmt.Sprintf("site %d, %d of %s in use, A1 on %s, A2 on return", r.Site, r.Used, counted(r.Poles, "pole"), r.Coil)
		if len(r.Fed) > 0 {
			text += ", fed through " + strings.Join(r.Fed, " ")
		}
		if len(r.Suppression) > 0 {
			text += ", " + strings.Join(r.Suppression, " and ") + " across the coil"
		}
		text += "; follows " + s.follows(r)
		if r.Bodies > 1 {
			text += fmt.Sprintf(" (%d of %d)", r.Body, r.Bodies)
		}
		if r.Drives {
			text += ", pole 1 drives the others"
		}
		out = append(out, wrap("[ ] "+r.Name+" ", "      ", text, s.width))
	}
	return out
}

// follows says what pulls a relay in: for a condition whose it is, and by which
// opcodes and flags.
func (s *sheet) follows(r network.Relay) string {
	if len(r.In) == 0 {
		return r.Follows
	}
	var when []string
	for _, c := range r.In {
		when = append(when, flaggedPattern(s.n.Matrix, c, r.In))
	}
	return r.Follows + ": " + plural(len(when), "opcode") + " " + strings.Join(when, " ")
}

// netLines is how many lines of one net stay together.
const netLines = 20

// nets lists the wires of a card, net by net.
func (s *sheet) nets(card int) [][]string {
	var cells [][]string
	var titles []string
	wide := 0
	for _, n := range s.n.Nets {
		for _, c := range n.Cards {
			if c.Card != card || len(c.Wires) == 0 {
				continue
			}
			var wires []string
			for i, x := range c.Wires {
				wires = append(wires, fmt.Sprintf("[ ] %s - %s", x.From, x.To))
				wide = max(wide, len(wires[i]))
			}
			title := n.Name
			if n.Link > 0 {
				title += ", link " + strconv.Itoa(n.Link)
			}
			titles, cells = append(titles, title), append(cells, wires)
		}
	}
	const indent = 3
	each := max(1, (s.width-indent)/(wide+2))
	var out [][]string
	for i, wires := range cells {
		lines := []string{"  " + titles[i] + ":"}
		for len(wires) > 0 {
			if len(lines) == netLines {
				out, lines = append(out, lines), []string{"  " + titles[i] + ":"}
			}
			n := min(each, len(wires))
			line := strings.Repeat(" ", indent)
			for _, cell := range wires[:n] {
				line += fmt.Sprintf(" %-*s", wide+1, cell)
			}
			lines, wires = append(lines, strings.TrimRight(line, " ")), wires[n:]
		}
		out = append(out, lines)
	}
	return out
}

// parts lists the net of each terminal that is in use, part by part, and what
// the other pins of the connector meet.
func (s *sheet) parts(card int) [][]string {
	var out [][]string
	name := s.n.Matrix.Cards[card].Name
	add := func(part string, terminals []wiring.Terminal) {
		var words []string
		for _, t := range terminals {
			if net := s.on[t]; net != "" {
				_, number, _ := strings.Cut(string(t), ":")
				words = append(words, number+" "+net)
			}
		}
		if words != nil {
			out = append(out, wrap("[ ] "+part+": ", "      ", strings.Join(words, "; "), s.width))
		}
	}
	var pins []string
	connector := ""
	for _, p := range s.n.List.Pins {
		if p.Card != name {
			continue
		}
		connector = p.Name
		net := s.on[p.Terminal()]
		switch {
		case net == "":
			net = "not wired (" + s.meets(p.Use) + ")"
		case p.Use.Kind == wiring.Link:
			net += fmt.Sprintf(" (link %d)", p.Use.N)
		}
		pins = append(pins, fmt.Sprintf("%d %s", p.Pin, net))
	}
	if pins != nil {
		out = append(out, wrap("[ ] "+connector+": ", "      ", strings.Join(pins, "; "), s.width))
	}
	for _, r := range s.n.List.Relays {
		if r.Card != name {
			continue
		}
		a1, a2 := r.Coil()
		list := []wiring.Terminal{a1, a2}
		for p := 1; p <= r.Poles; p++ {
			common, breaks, makes := r.Pole(p)
			list = append(list, common, breaks, makes)
		}
		add(r.Name, list)
	}
	for _, d := range s.n.List.Diodes {
		if d.Card == name {
			anode, cathode := d.Ends()
			add(d.Name, []wiring.Terminal{anode, cathode})
		}
	}
	return out
}

// between lists the pins that are joined outside the cards: by links, or by
// what lies beyond the connectors.
func (s *sheet) between(links bool) [][]string {
	var order []wiring.Use
	pins := map[wiring.Use][]string{}
	name := map[wiring.Use]string{}
	for _, p := range s.n.List.Pins {
		if (p.Use.Kind == wiring.Link) != links {
			continue
		}
		if pins[p.Use] == nil {
			order = append(order, p.Use)
		}
		pins[p.Use] = append(pins[p.Use], string(p.Terminal()))
		if net := s.on[p.Terminal()]; net != "" {
			name[p.Use] = net
		}
	}
	if links {
		slices.SortStableFunc(order, func(x, y wiring.Use) int { return x.N - y.N })
	}
	var out [][]string
	for _, u := range order {
		text := s.meets(u)
		if links {
			text += ", " + name[u]
		}
		out = append(out, wrap("[ ] ", "      ", text+": "+strings.Join(pins[u], " - "), s.width))
	}
	return out
}

// meets says what a pin meets outside.
func (s *sheet) meets(u wiring.Use) string {
	switch u.Kind {
	case wiring.Line, wiring.Flag:
		return string(u.Kind) + " " + u.Name
	case wiring.Feed, wiring.Return:
		if (u.Kind == wiring.Feed) == s.n.List.Negative {
			return string(u.Kind) + ", the negative side of the supply"
		}
		return string(u.Kind) + ", the positive side of the supply"
	}
	return fmt.Sprintf("%s %d", u.Kind, u.N)
}

// shopping is the parts list.
func (s *sheet) shopping() []string {
	var out []string
	for _, p := range s.n.Parts {
		out = append(out, wrap(fmt.Sprintf("[ ] %5d ", p.Count), strings.Repeat(" ", 10), p.What, s.width)...)
	}
	c := s.n.Cost
	out = append(out, wrap("", "  ", fmt.Sprintf("Cost by the prices of the definition: %.2f, with %s, %s, %s and %s.", c.Total,
		counted(c.Relays, "relay"), counted(c.Contacts, "pole")+" in use", counted(c.Diodes+c.Coils, "diode"), counted(c.Joints, "joint")), s.width)...)
	if s.n.Bound > 0 {
		out = append(out, wrap("", "  ", fmt.Sprintf("No network %s costs less than %.2f.", bounded(s.n.Matrix.Style), s.n.Bound), s.width)...)
	}
	if s.n.LeastCards < 2 {
		return out
	}
	return append(out, wrap("", "  ", fmt.Sprintf("No placement has fewer than %s: %s.", counted(s.n.LeastCards, "card"), s.n.LeastWhy), s.width)...)
}

func (s *sheet) totals() []string {
	var out []string
	mx := s.n.Matrix
	name := 0
	for _, c := range mx.Cards {
		name = max(name, len(c.Name))
	}
	line := func(box, what string, relays, diodes, pins, wires int) {
		out = append(out, fmt.Sprintf("%s %-*s %5d relays %6d diodes %5d pins %6d wires", box, name+len("card "), what, relays, diodes, pins, wires))
	}
	wires := make([]int, len(mx.Cards))
	for _, n := range s.n.Nets {
		for _, c := range n.Cards {
			wires[c.Card] += len(c.Wires)
		}
	}
	relays, diodes, pins := map[string]int{}, map[string]int{}, map[string]int{}
	for _, r := range s.n.List.Relays {
		relays[r.Card]++
	}
	for _, d := range s.n.List.Diodes {
		diodes[d.Card]++
	}
	for _, p := range s.n.List.Pins {
		pins[p.Card]++
	}
	for i, c := range mx.Cards {
		line("[ ]", "card "+c.Name, relays[c.Name], diodes[c.Name], pins[c.Name], wires[i])
	}
	line("   ", "in all", len(s.n.List.Relays), len(s.n.List.Diodes), len(s.n.List.Pins), len(s.n.List.Wires))
	return out
}

// bounded says of which networks the bound of a style holds: what minimal may
// leave open the others may not.
func bounded(style string) string {
	if style == "minimal" {
		return "in any style"
	}
	return "in style plain or shared"
}

// kinds names what relays are for.
var kinds = map[network.SignalKind]string{
	network.OpcodeSignal: "opcode", network.FlagSignal: "flag", network.ConditionSignal: "condition",
	network.InverterSignal: "inverter", network.PulseSignal: "pulse",
}

// WiresCSV writes the bare list, for a spreadsheet and for the proof. Fields
// are kind, name, card, place, poles, use, number, called, from, to, net,
// machine, hash. Kinds of records: one list (name: the style, place:
// the diodes in series that the supply allows for, use: the side that the feed
// carries, called: the machine's title, hash: the whole of it), relay (place:
// its site; use, number and called: its kind, its poles in use and what it
// follows; net: of its A1), diode (use: matrix, feed of a coil or suppression;
// called: the relay, of a coil), pin (place: its number; use, number and called:
// what it meets), wire (from and to: terminals; net: what the sheet calls it).
// What is said of relays and diodes is for people: the proof takes the wires. An
// error is the writer's.
func WiresCSV(w io.Writer, n *network.Network) error {
	l := n.List
	s := newSheet(n, 0)
	hash := "sha256:" + short(l.Hash)
	out := [][]string{{"kind", "name", "card", "place", "poles", "use", "number", "called", "from", "to", "net", "machine", "hash"}}
	add := func(hash string, cells ...string) {
		row := make([]string, 11, 13)
		copy(row, cells)
		out = append(out, append(row, l.Machine, hash))
	}
	feed := "positive"
	if l.Negative {
		feed = "negative"
	}
	add("sha256:"+l.Hash, "list", l.Style, "", strconv.Itoa(l.Levels), "", feed, "", l.Title)
	for i, r := range l.Relays {
		of := n.Relays[i]
		add(hash, "relay", r.Name, r.Card, strconv.Itoa(r.Site), strconv.Itoa(r.Poles), kinds[of.Kind], strconv.Itoa(of.Used), s.follows(of), "", "", of.Coil)
	}
	at := map[string]network.CoilDiode{}
	for _, d := range n.Matrix.AtCoils {
		at[d.Name] = d
	}
	for _, d := range l.Diodes {
		use := "matrix"
		switch of, ok := at[d.Name]; {
		case ok && of.Across:
			use = "suppression"
		case ok:
			use = "feed"
		}
		add(hash, "diode", d.Name, d.Card, "", "", use, "", at[d.Name].Relay)
	}
	for _, p := range l.Pins {
		number := ""
		switch p.Use.Kind {
		case wiring.Feed, wiring.Return, wiring.Spare:
		default:
			number = strconv.Itoa(p.Use.N)
		}
		add(hash, "pin", p.Name, p.Card, strconv.Itoa(p.Pin), "", string(p.Use.Kind), number, p.Use.Name)
	}
	for _, x := range l.Wires {
		add(hash, "wire", "", "", "", "", "", "", "", string(x.From), string(x.To), x.Net)
	}
	return records(w, out)
}
