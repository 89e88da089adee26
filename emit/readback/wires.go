package readback

import (
	"bytes"
	"encoding/binary"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"

	bare "coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// WiresCSV reads the bare list of a network as a person may have changed it:
// in any order, of records and of columns, with the last fields left empty in
// records that were added. It says nothing of what the network does. An error
// is a *LineError (of the line on which a record begins).
func WiresCSV(r io.Reader) (*bare.List, error) {
	l, _, err := WiresFile(r)
	return l, err
}

// WiresFile is WiresCSV with what a person should hear of, though it does not
// keep the list from being read.
func WiresFile(r io.Reader) (*bare.List, []string, error) {
	l, err := readWires(r)
	if err != nil {
		return nil, nil, err
	}
	return l.List, l.notes, nil
}

func readWires(r io.Reader) (*wireRecords, error) {
	all, err := io.ReadAll(r)
	if err != nil {
		return nil, err
	}
	text, err := plainText(all)
	if err != nil {
		return nil, err
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return nil, refuse(1, "the file is empty; a list of wires begins with the header %s", strings.Join(wiresHead, ","))
	}
	c := csv.NewReader(bytes.NewReader(text))
	c.FieldsPerRecord = -1
	c.Comma = separator(text)
	// A tab is a blank to the reader of records, which would eat empty fields.
	c.TrimLeadingSpace = c.Comma != '\t'
	l := &wireRecords{List: &bare.List{}, names: map[string]int{}, poles: map[string]int{}, pins: map[string]bool{}, joined: map[[2]bare.Terminal]int{}}
	var at []int // by field of a record: its column in wiresHead, or -1
	for {
		f, err := c.Read()
		if err == io.EOF {
			break
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return nil, refuse(bad.Line, "%v", bad.Err)
		}
		if err != nil {
			return nil, err
		}
		n, _ := c.FieldPos(0)
		if at == nil {
			if at, err = l.header(n, f); err != nil {
				return nil, err
			}
			continue
		}
		record := make([]string, len(wiresHead))
		empty := true
		for i, cell := range f {
			cell = strings.TrimSpace(cell)
			switch {
			case cell == "":
			case i >= len(at):
				return nil, refuse(n, "%d fields, the header has %d", len(f), len(at))
			case at[i] >= 0:
				record[at[i]], empty = cell, false
			}
		}
		if empty {
			continue
		}
		if err := l.record(n, record); err != nil {
			return nil, err
		}
	}
	return l.finish()
}

// plainText is what a spreadsheet wrote, as UTF-8 without a byte order mark.
func plainText(text []byte) ([]byte, error) {
	var order binary.ByteOrder
	switch {
	case bytes.HasPrefix(text, []byte{0xff, 0xfe}):
		order = binary.LittleEndian
	case bytes.HasPrefix(text, []byte{0xfe, 0xff}):
		order = binary.BigEndian
	case bytes.IndexByte(text, 0) >= 0:
		return nil, refuse(1, "this is no text: save the list as CSV in UTF-8")
	default:
		return bytes.TrimPrefix(text, []byte("\ufeff")), nil
	}
	text = text[2:]
	units := make([]uint16, len(text)/2)
	for i := range units {
		units[i] = order.Uint16(text[2*i:])
	}
	return []byte(string(utf16.Decode(units))), nil
}

// separator is the one of , ; and tab that parts the most names of the header.
func separator(text []byte) rune {
	first, _, _ := bytes.Cut(bytes.TrimSpace(text), []byte("\n"))
	best, most := ',', 0
	for _, c := range ",;\t" {
		known := 0
		for _, name := range strings.Split(string(first), string(c)) {
			if slices.Contains(wiresHead, headName(name)) {
				known++
			}
		}
		if known > most {
			best, most = c, known
		}
	}
	return best
}

func headName(cell string) string {
	return strings.ToLower(strings.Trim(strings.TrimSpace(cell), `" `))
}

// header finds the columns by their names.
func (l *wireRecords) header(n int, f []string) ([]int, error) {
	var unknown []string
	at := make([]int, len(f))
	seen := make([]bool, len(wiresHead))
	for i, cell := range f {
		name := headName(cell)
		at[i] = slices.Index(wiresHead, name)
		switch {
		case at[i] < 0 && name != "":
			unknown = append(unknown, strings.TrimSpace(cell))
		case at[i] < 0:
		case seen[at[i]]:
			return nil, refuse(n, "the header names the column %s twice", name)
		default:
			seen[at[i]] = true
		}
	}
	var missing []string
	for i, name := range wiresHead {
		if !seen[i] && !slices.Contains(spareHead, name) {
			missing = append(missing, name)
		}
	}
	switch {
	case len(missing) == len(wiresHead)-len(spareHead):
		return nil, refuse(n, "this is not the header of a list of wires: %s is wanted, in any order", strings.Join(wiresHead, ","))
	case len(missing) > 0:
		return nil, refuse(n, "the header lacks %s: %s is wanted, in any order", strings.Join(missing, ", "), strings.Join(wiresHead, ","))
	}
	switch len(unknown) {
	case 0:
	case 1:
		l.note("the column %s means nothing in a list of wires and is ignored", unknown[0])
	default:
		l.note("the columns %s mean nothing in a list of wires and are ignored", strings.Join(unknown, ", "))
	}
	l.hashed = seen[slices.Index(wiresHead, "hash")]
	if !l.hashed {
		l.note("without the column hash nothing says which version of the definition the list was written from")
	}
	return at, nil
}

var (
	wiresHead = strings.Split("kind name card place poles use number called from to net machine hash", " ")
	// spareHead are those that a list can do without.
	spareHead = []string{"called", "net", "hash"}
)

// wireRecords is a list as far as it has been read.
type wireRecords struct {
	*bare.List
	headed int            // line of the record that says what the list is
	names  map[string]int // where a part is listed
	poles  map[string]int
	pins   map[string]bool          // terminals
	wires  []int                    // lines
	joined map[[2]bare.Terminal]int // line of the first wire between two terminals
	origin []origin                 // of the records: there may be some before the first
	hashed bool                     // there is a column for the hash
	notes  []string
	said   []said // of relays and diodes
}

// said is what a record of a relay or diode says for people. Nobody keeps it
// right while wires are moved by hand, so that it counts only on what was written.
type said struct {
	line                         int
	kind, name                   string
	use, number, called, follows string
}

type origin struct {
	line          int
	machine, hash string
}

func (l *wireRecords) note(format string, args ...any) {
	l.notes = append(l.notes, fmt.Sprintf(format, args...))
}

func (l *wireRecords) record(n int, f []string) error {
	if f[11] != "" || f[12] != "" {
		l.origin = append(l.origin, origin{n, f[11], f[12]})
	}
	number := func(at int, from, to int) (int, error) {
		v, err := strconv.Atoi(f[at])
		if err != nil || v < from || v > to {
			return 0, refuse(n, "%q is no %s from %d to %d", f[at], wiresHead[at], from, to)
		}
		return v, nil
	}
	var err error
	switch f[0] {
	case "list":
		if l.headed > 0 {
			return refuse(n, "a second record that says what the list is; the first is on line %d", l.headed)
		}
		l.headed = n
		l.Style, l.Title, l.Machine = f[1], f[7], f[11]
		hash, ok := strings.CutPrefix(f[12], "sha256:")
		if l.hashed && (!ok || len(hash) != 64) {
			return refuse(n, "%q is no whole hash", f[12])
		}
		l.Hash = hash
		if f[5] != "positive" && f[5] != "negative" {
			return refuse(n, "the feed carries the positive or the negative side, not %q", f[5])
		}
		l.Negative = f[5] == "negative"
		l.Levels, err = number(3, 1, 100)
		return err
	case "relay":
		l.said = append(l.said, said{n, f[0], f[1], f[5], f[6], f[7], f[10]})
		r := bare.Relay{Name: f[1], Card: f[2]}
		if r.Site, err = number(3, 1, 10000); err != nil {
			return err
		}
		if r.Poles, err = number(4, 1, 64); err != nil {
			return err
		}
		l.Relays = append(l.Relays, r)
		l.poles[r.Name] = r.Poles
		return l.part(n, f)
	case "diode":
		l.said = append(l.said, said{n, f[0], f[1], f[5], "", f[7], ""})
		l.Diodes = append(l.Diodes, bare.Diode{Name: f[1], Card: f[2]})
		l.poles[f[1]] = 0
		return l.part(n, f)
	case "pin":
		p := bare.Pin{Name: f[1], Card: f[2], Use: bare.Use{Kind: bare.Kind(f[5]), Name: f[7]}}
		if p.Pin, err = number(3, 1, 10000); err != nil {
			return err
		}
		switch p.Use.Kind {
		case bare.Phase, bare.Link:
			p.Use.N, err = number(6, 1, 1<<30)
		case bare.Opcode, bare.Flag, bare.Line:
			p.Use.N, err = number(6, 0, 1<<20)
		case bare.Feed, bare.Return, bare.Spare:
		default:
			err = refuse(n, "%q is no use of a pin", f[5])
		}
		if err != nil {
			return err
		}
		if l.pins[string(p.Terminal())] {
			return refuse(n, "pin %s is listed twice", p.Terminal())
		}
		if at, ok := l.names[p.Name]; ok {
			return refuse(n, "%s is a part on line %d and cannot be a connector", p.Name, at)
		}
		if err := nameOf(n, p.Name, p.Card); err != nil {
			return err
		}
		l.pins[string(p.Terminal())] = true
		l.Pins = append(l.Pins, p)
		return nil
	case "wire":
		ends := [2]bare.Terminal{bare.Terminal(min(f[8], f[9])), bare.Terminal(max(f[8], f[9]))}
		if first, ok := l.joined[ends]; ok {
			l.note("line %d: the wire %s - %s is listed twice, first on line %d", n, f[8], f[9], first)
		} else {
			l.joined[ends] = n
		}
		l.wires = append(l.wires, n)
		l.Wires = append(l.Wires, bare.Wire{From: bare.Terminal(f[8]), To: bare.Terminal(f[9]), Net: f[10]})
		return nil
	}
	return refuse(n, "%q is no kind of record: list, relay, diode, pin or wire", f[0])
}

// part notes a relay or diode.
func (l *wireRecords) part(n int, f []string) error {
	if at, ok := l.names[f[1]]; ok {
		return refuse(n, "%s is listed twice, first on line %d", f[1], at)
	}
	l.names[f[1]] = n
	return nameOf(n, f[1], f[2])
}

func nameOf(n int, name, card string) error {
	if name == "" || strings.ContainsAny(name, ": ") {
		return refuse(n, "%q is no name of a part", name)
	}
	if card == "" {
		return refuse(n, "%s is on no card", name)
	}
	return nil
}

// finish checks what may stand before what it refers to.
func (l *wireRecords) finish() (*wireRecords, error) {
	if l.headed == 0 {
		return nil, refuse(1, "no record says which list this is: the one of kind list is missing")
	}
	for _, o := range l.origin {
		if hash := strings.TrimPrefix(o.hash, "sha256:"); o.machine != l.Machine || l.hashed && hash == "" || !strings.HasPrefix(l.Hash, hash) {
			return nil, refuse(o.line, "the record is of machine %s with %s", o.machine, o.hash)
		}
	}
	for _, p := range l.Pins {
		if at, ok := l.names[p.Name]; ok {
			return nil, refuse(at, "%s is the name of a connector", p.Name)
		}
	}
	for i, w := range l.Wires {
		for _, t := range []bare.Terminal{w.From, w.To} {
			if why := l.missing(string(t)); why != "" {
				return nil, refuse(l.wires[i], "%q is no terminal: %s", t, why)
			}
		}
		if w.From == w.To {
			return nil, refuse(l.wires[i], "a wire from %s to itself", w.From)
		}
	}
	return l, nil
}

// missing says why a terminal is not there, or nothing.
func (l *wireRecords) missing(t string) string {
	if l.pins[t] {
		return ""
	}
	name, end, ok := strings.Cut(t, ":")
	if !ok {
		return "a part and a terminal are wanted, as in K3:14"
	}
	poles, ok := l.poles[name]
	switch {
	case !ok:
		return "nothing of this name is listed"
	case poles == 0:
		if end != "A" && end != "K" {
			return "a diode has A and K"
		}
	case end != "A1" && end != "A2":
		if len(end) < 2 || !strings.ContainsAny(end[len(end)-1:], "124") {
			return "a relay has A1, A2 and for each pole, as for the first, 11, 12 and 14"
		}
		if pole, err := strconv.Atoi(end[:len(end)-1]); err != nil || pole < 1 || pole > poles || strconv.Itoa(pole) != end[:len(end)-1] {
			return fmt.Sprintf("%s has %d poles", name, poles)
		}
	}
	return ""
}

// WiresCSVOf reads a list and holds it against the one that it was written from.
func WiresCSVOf(r io.Reader, want *bare.List) error {
	got, err := readWires(r)
	if err != nil {
		return err
	}
	switch {
	case got.Machine != want.Machine || got.Title != want.Title || got.Hash != want.Hash:
		return fmt.Errorf("the list is of machine %s with sha256 %s", got.Machine, got.Hash)
	case got.Style != want.Style || got.Negative != want.Negative || got.Levels != want.Levels:
		return fmt.Errorf("style %s, negative %t, levels %d; should be %s, %t, %d", got.Style, got.Negative, got.Levels, want.Style, want.Negative, want.Levels)
	}
	if err := sameItems("relay", got.Relays, want.Relays); err != nil {
		return err
	}
	if err := sameItems("diode", got.Diodes, want.Diodes); err != nil {
		return err
	}
	if err := sameItems("pin", got.Pins, want.Pins); err != nil {
		return err
	}
	if err := sameItems("wire", got.Wires, want.Wires); err != nil {
		return err
	}
	return got.schedule(want)
}

// schedule holds what the records of relays and diodes say against the wires.
func (l *wireRecords) schedule(want *bare.List) error {
	relays := newCoils(want)
	net, poles := map[string]string{}, map[string]map[string]bool{}
	for _, w := range want.Wires {
		for _, t := range []string{string(w.From), string(w.To)} {
			net[t] = w.Net
			if name, end, _ := strings.Cut(t, ":"); name[0] == 'K' && end[0] != 'A' {
				if poles[name] == nil {
					poles[name] = map[string]bool{}
				}
				poles[name][end[:len(end)-1]] = true
			}
		}
	}
	stands := map[string]string{} // what a relay is, where the wires tell
	for _, e := range relays.pulses {
		stands[strings.TrimSuffix(e.coil, ":A1")] = "pulse"
	}
	for _, e := range relays.inverted {
		stands[strings.TrimSuffix(e.coil, ":A1")] = "inverter"
	}
	called := map[string]string{}
	for _, s := range l.said {
		if s.kind == "relay" {
			called[s.name] = s.called
			coil := net[s.name+":A1"]
			use := stands[s.name]
			switch {
			case use != "":
			case strings.HasPrefix(coil, "opcode "):
				use = "opcode"
			case strings.HasPrefix(coil, "flag "):
				use = "flag"
			default:
				use = "condition"
			}
			if coil == "" && use == "inverter" {
				coil = s.follows // of a line that is never on: no wire is there
			}
			if s.follows != coil || s.number != strconv.Itoa(len(poles[s.name])) || s.use != use || s.called == "" {
				return refuse(s.line, "%s is said to be a relay of kind %s with %s poles in use, A1 on %q; it is %s, %d, %q", s.name, s.use, s.number, s.follows, use, len(poles[s.name]), coil)
			}
			continue
		}
		across, atCoil := relays.diodes[s.name]
		use := "matrix"
		switch {
		case across:
			use = "suppression"
		case atCoil:
			use = "feed"
		}
		if s.use != use || atCoil != (s.called != "") {
			return refuse(s.line, "%s is said to be a diode of %s, and is one of %s", s.name, s.use, use)
		}
		if atCoil && !relays.at(s.name, s.called) {
			return refuse(s.line, "%s is said to be at relay %s, and is not", s.name, s.called)
		}
	}
	return newConditions(relays, want).check(called)
}

// sameItems compares two lists, whatever their order, and names what only one has.
func sameItems[T comparable](what string, got, want []T) error {
	count := map[T]int{}
	for _, x := range want {
		count[x]++
	}
	for _, x := range got {
		if count[x]--; count[x] < 0 {
			return fmt.Errorf("%s %v is listed and should not be", what, x)
		}
	}
	for _, x := range want {
		if count[x] > 0 {
			return fmt.Errorf("%s %v is not listed and should be", what, x)
		}
	}
	return nil
}

var (
	sheetTitle  = regexp.MustCompile(`^Card (.+), (relays|wires by net|terminals by part)$`)
	sheetRelay  = regexp.MustCompile(`^\[ \] (\S+) site (\d+), (\d+) of (\d+) poles? in use, A1 on (.+?), A2 on return(?:, fed through D\d+(?: D\d+)*)?(?:, (D\d+)(?: and (Z\d+))? across the coil)?; follows (.+?)(?: \(\d+ of \d+\))?(?:, pole 1 drives the others)?$`)
	sheetWire   = regexp.MustCompile(`\[ \] (\S+) - (\S+)`)
	sheetPart   = regexp.MustCompile(`^\[ \] ([A-Z]\d+): (.+)$`)
	sheetPins   = regexp.MustCompile(`^\[ \] (.+): (J\d+:\d+(?: - J\d+:\d+)*)$`)
	sheetTotals = regexp.MustCompile(`^(?:\[ \] card (.+?)|    in all) +(\d+) relays +(\d+) diodes +(\d+) pins +(\d+) wires$`)
	sheetPage   = regexp.MustCompile(`^Wiring, (\S+) style +page (\d+) of (\d+)$`)
	sheetCounts = regexp.MustCompile(`^(\d+) relays?, (\d+) diodes?, (\d+) wires? on (\d+) cards?$`)
	sheetParts  = regexp.MustCompile(`^\[ \] +(\d+) (relay|diode|suppression|Zener|card)s? `)
)

// sheetReader reads the wires as the text for paper.
type sheetReader struct {
	want    *bare.List
	card    string
	section string
	net     string
	relays  []bare.Relay
	coils   map[string]string   // net of A1 as the schedule of relays has it
	across  map[string][]string // diodes across a coil
	follows map[string]string   // what a relay follows
	wires   []bare.Wire
	cardOf  map[bare.Terminal]string // of the ends of wires, as their titles have it
	nets    map[bare.Terminal]string // as the list by part has them
	joined  map[string][]string      // pins by what they meet
	bought  map[string]int
	totals  map[string][4]int
	pages   int
	counted bool
	ended   bool
}

// WiresText reads the wires as the text for paper and holds them against the
// list that they were written from: each relay, each wire, each terminal, what
// the pins meet, and the counts.
func WiresText(r io.Reader, want *bare.List) error {
	all, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	t := &sheetReader{want: want, coils: map[string]string{}, across: map[string][]string{}, follows: map[string]string{}, cardOf: map[bare.Terminal]string{}, nets: map[bare.Terminal]string{},
		joined: map[string][]string{}, bought: map[string]int{}, totals: map[string][4]int{}}
	text := strings.Split(string(bytes.TrimSuffix(all, []byte("\n"))), "\n")
	of := &store.Store{Machine: want.Machine, Hash: want.Hash}
	last := ""
	for i := 0; i < len(text); i++ {
		n := i + 1
		line, fed := strings.CutPrefix(text[i], "\f")
		if i == 0 || fed {
			if err := headed(n, line, of); err != nil {
				return err
			}
			if i++; i == len(text) {
				return refuse(n, "the page ends after its heading")
			}
			if last, err = t.page(n+1, text[i]); err != nil {
				return err
			}
			continue
		}
		if m := sheetCounts.FindStringSubmatch(line); m != nil {
			if err := t.counts(n, m[1:]); err != nil {
				return err
			}
			continue
		}
		if m := sheetTitle.FindStringSubmatch(line); m != nil {
			t.card, t.section, t.net = m[1], m[2], ""
			continue
		}
		switch line {
		case "Wires from card to card, and no further", "What the connectors meet; pins in one line are joined", "Parts", "Counts to check against":
			t.section = line
			continue
		}
		if strings.HasPrefix(line, "[ ] ") {
			for i+1 < len(text) && strings.HasPrefix(text[i+1], "      ") {
				i++
			}
			line = unwrap(text[n-1 : i+1])
		}
		if t.section == "Counts to check against" {
			line = text[n-1]
		}
		if err := t.line(n, line); err != nil {
			return err
		}
	}
	if !t.ended {
		return refuse(len(text), "no totals: the end is missing")
	}
	if !t.counted {
		return fmt.Errorf("the page does not say how much there is")
	}
	if last != strconv.Itoa(t.pages) {
		return fmt.Errorf("%d pages, of %s", t.pages, last)
	}
	return t.compare()
}

// page reads the second line of a page.
func (t *sheetReader) page(n int, line string) (pages string, err error) {
	m := sheetPage.FindStringSubmatch(line)
	if m == nil {
		return "", refuse(n, "no number of the page")
	}
	t.pages++
	if m[1] != t.want.Style || m[2] != strconv.Itoa(t.pages) {
		return "", refuse(n, "page %s in %s style, where page %d in %s style is due", m[2], m[1], t.pages, t.want.Style)
	}
	return m[3], nil
}

// counts reads what is said first of all: relays, diodes, wires, cards.
func (t *sheetReader) counts(n int, said []string) error {
	cards := map[string]bool{}
	for _, p := range t.want.Pins {
		cards[p.Card] = true
	}
	l := t.want
	for i, v := range []int{len(l.Relays), len(l.Diodes), len(l.Wires), len(cards)} {
		if said[i] != strconv.Itoa(v) {
			return refuse(n, "%s is said, and there are %d", said[i], v)
		}
	}
	t.counted = true
	return nil
}

func (t *sheetReader) line(n int, line string) error {
	switch t.section {
	case "relays":
		if !strings.HasPrefix(line, "[ ]") {
			return nil
		}
		m := sheetRelay.FindStringSubmatch(line)
		if m == nil {
			return refuse(n, "a line of a relay that cannot be read")
		}
		site, _ := strconv.Atoi(m[2])
		used, _ := strconv.Atoi(m[3])
		poles, _ := strconv.Atoi(m[4])
		if used > poles {
			return refuse(n, "%d of %d poles", used, poles)
		}
		t.relays = append(t.relays, bare.Relay{Name: m[1], Card: t.card, Site: site, Poles: poles})
		t.coils[m[1]], t.follows[m[1]] = m[5], m[8]
		for _, d := range m[6:8] {
			if d != "" {
				t.across[m[1]] = append(t.across[m[1]], d)
			}
		}
	case "wires by net":
		if name, ok := strings.CutPrefix(line, "  "); ok && !strings.HasPrefix(name, " ") {
			t.net, _, _ = strings.Cut(strings.TrimSuffix(name, ":"), ", link ")
			return nil
		}
		found := sheetWire.FindAllStringSubmatch(line, -1)
		if len(found) != strings.Count(line, "[ ]") {
			return refuse(n, "a wire that cannot be read")
		}
		for _, m := range found {
			w := bare.Wire{Net: t.net, From: bare.Terminal(m[1]), To: bare.Terminal(m[2])}
			t.wires = append(t.wires, w)
			t.cardOf[w.From], t.cardOf[w.To] = t.card, t.card
		}
	case "terminals by part":
		m := sheetPart.FindStringSubmatch(line)
		if m == nil {
			if strings.HasPrefix(line, "[ ]") {
				return refuse(n, "a part that cannot be read")
			}
			return nil
		}
		for _, x := range strings.Split(m[2], "; ") {
			end, net, ok := strings.Cut(x, " ")
			at := bare.Terminal(m[1] + ":" + end)
			if _, twice := t.nets[at]; twice || !ok {
				return refuse(n, "%s: %q is no terminal with its net, or the second", m[1], x)
			}
			t.nets[at] = net
		}
	case "Wires from card to card, and no further", "What the connectors meet; pins in one line are joined":
		m := sheetPins.FindStringSubmatch(line)
		if m == nil {
			if strings.HasPrefix(line, "[ ]") {
				return refuse(n, "pins that cannot be read")
			}
			return nil
		}
		if t.joined[m[1]] != nil {
			return refuse(n, "%s is listed twice", m[1])
		}
		t.joined[m[1]] = strings.Split(m[2], " - ")
	case "Parts":
		if m := sheetParts.FindStringSubmatch(line); m != nil {
			t.bought[m[2]], _ = strconv.Atoi(m[1])
		}
	case "Counts to check against":
		if m := sheetTotals.FindStringSubmatch(line); m != nil {
			var v [4]int
			for i := range v {
				v[i], _ = strconv.Atoi(m[2+i])
			}
			t.totals[m[1]] = v
			t.ended = t.ended || m[1] == ""
		}
	}
	return nil
}

// compare holds what was read against the list.
func (t *sheetReader) compare() error {
	if err := sameItems("relay", t.relays, t.want.Relays); err != nil {
		return err
	}
	if err := sameItems("wire", t.wires, t.want.Wires); err != nil {
		return err
	}
	card := map[string]string{}
	per := map[string][4]int{}
	count := func(name string, i int) {
		for _, c := range []string{name, ""} {
			v := per[c]
			v[i]++
			per[c] = v
		}
	}
	zeners := 0
	for _, r := range t.want.Relays {
		card[r.Name] = r.Card
		count(r.Card, 0)
	}
	for _, d := range t.want.Diodes {
		card[d.Name] = d.Card
		count(d.Card, 1)
		if d.Name[0] == 'Z' {
			zeners++
		}
	}
	joined := map[string][]string{}
	links := map[string]string{} // what a link is called: its net
	net := map[bare.Terminal]string{}
	for _, w := range t.want.Wires {
		net[w.From], net[w.To] = w.Net, w.Net
	}
	for _, p := range t.want.Pins {
		card[p.Name] = p.Card
		count(p.Card, 2)
		meets := t.meets(p.Use)
		if p.Use.Kind == bare.Link {
			if links[meets] == "" {
				links[meets] = net[p.Terminal()]
			}
		}
		joined[meets] = append(joined[meets], string(p.Terminal()))
	}
	for meets, name := range links {
		joined[meets+", "+name] = joined[meets]
		delete(joined, meets)
	}
	if !maps.EqualFunc(joined, t.joined, slices.Equal) {
		return fmt.Errorf("the pins are not joined as they should be: %v, should be %v", t.joined, joined)
	}
	for _, w := range t.want.Wires {
		for _, end := range []bare.Terminal{w.From, w.To} {
			name, _, _ := strings.Cut(string(end), ":")
			if t.cardOf[end] != card[name] {
				return fmt.Errorf("%s stands under card %s and is on %s", end, t.cardOf[end], card[name])
			}
			is := t.nets[end]
			if name[0] == 'J' {
				is, _, _ = strings.Cut(is, " (link ")
			}
			if is != w.Net {
				return fmt.Errorf("%s is on %q by part and on %s by net", end, t.nets[end], w.Net)
			}
		}
		count(card[strings.Split(string(w.From), ":")[0]], 3)
	}
	across := 0
	for _, r := range t.want.Relays {
		a1, _ := r.Coil()
		if t.nets[a1] != t.coils[r.Name] {
			return fmt.Errorf("%s is on %s in the schedule of relays, and on %s by part", a1, t.coils[r.Name], t.nets[a1])
		}
		across += len(t.across[r.Name])
		for _, d := range t.across[r.Name] {
			if _, ok := card[d]; !ok {
				return fmt.Errorf("%s across the coil of %s is not in the list", d, r.Name)
			}
		}
	}
	bought := map[string]int{"relay": len(t.want.Relays), "diode": len(t.want.Diodes) - across, "suppression": across - zeners, "Zener": zeners, "card": len(per) - 1}
	for what, n := range bought {
		if n != t.bought[what] {
			return fmt.Errorf("the parts list has %d %s, and there are %d", t.bought[what], what, n)
		}
	}
	if err := newConditions(newCoils(t.want), t.want).check(t.follows); err != nil {
		return err
	}
	if !maps.Equal(per, t.totals) {
		return fmt.Errorf("the counts of relays, diodes, pins and wires are %v, and should be %v", t.totals, per)
	}
	return nil
}

// meets is what the text says of a use.
func (t *sheetReader) meets(u bare.Use) string {
	side := map[bool]string{true: ", the negative side of the supply", false: ", the positive side of the supply"}
	switch u.Kind {
	case bare.Feed:
		return "feed" + side[t.want.Negative]
	case bare.Return:
		return "return" + side[!t.want.Negative]
	case bare.Line, bare.Flag:
		return string(u.Kind) + " " + u.Name
	}
	return string(u.Kind) + " " + strconv.Itoa(u.N)
}
