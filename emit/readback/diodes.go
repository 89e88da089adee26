package readback

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	bare "coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// placed is what a list has said so far about where diodes sit.
type placed struct {
	*wiring
	diodes  int
	reverse bool              // the first diode's band faces the signal's source
	columns map[string]string // card and column -> the line there
	pins    map[string]string // card and pin -> the wire there
	spots   map[string]string // card and place -> the row there
}

func newPlaced(s *store.Store, style string) *placed {
	return &placed{wiring: newWiring(s, style), columns: map[string]string{}, pins: map[string]string{}, spots: map[string]string{}}
}

// next checks what all lists say of a diode: its number, that its place,
// column and pin carry nothing else, and that it is turned as the others are.
func (p *placed) next(n int, name, card, place, row, column, line, pin string, reverse bool) error {
	p.diodes++
	if name != "D"+strconv.Itoa(p.diodes) {
		return refuse(n, "diode %s where D%d is due", name, p.diodes)
	}
	for _, x := range []struct {
		known           map[string]string
		what, at, wants string
	}{{p.spots, "place", place, row}, {p.columns, "column", column, line}, {p.pins, "pin", pin, line}} {
		if x.at == "" && x.what != "place" {
			continue
		}
		if v, err := strconv.Atoi(x.at); err != nil || v < 1 {
			return refuse(n, "%s: %q is no %s", name, x.at, x.what)
		}
		key := card + " " + x.what + " " + x.at
		if was, ok := x.known[key]; ok && was != x.wants {
			return refuse(n, "%s: card %s is %s and cannot be %s", name, key, was, x.wants)
		}
		x.known[key] = x.wants
	}
	if p.diodes == 1 {
		p.reverse = reverse
	}
	if reverse != p.reverse {
		return refuse(n, "%s is turned the other way than D1", name)
	}
	return nil
}

// DiodesCSV reads a placement list as CSV and follows its diodes. An error is
// a *LineError (the number of a record for its line), or names the first word
// that is not the store's.
func DiodesCSV(r io.Reader, s *store.Store, list *bare.List) error {
	records, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return err
	}
	head := strings.Split("diode card place row kind owner opcodes flags wire phases column line pin relay coil anode band machine hash", " ")
	if len(records) == 0 || !slices.Equal(records[0], head) {
		return refuse(1, "the header is not that of a placement list")
	}
	p, relays := newPlaced(s, list.Style), newCoils(list)
	stated := map[string]string{}
	for i, f := range records[1:] {
		n := i + 2
		name, row, kind, line := f[0], f[3], f[4], f[11]
		if f[17] != s.Machine || !sameHash(strings.TrimPrefix(f[18], "sha256:"), s) {
			return refuse(n, "the record is of machine %s with %s", f[17], f[18])
		}
		if name == "" {
			r, err := csvRow(n, p.wiring, row, f[6], f[7], f[8])
			if err != nil {
				return err
			}
			if _, ok := stated[row]; ok || strings.Join(f[12:17], "")+f[2]+f[10] != "" {
				return refuse(n, "row %s has diodes, or no contact that lies on a column", row)
			}
			stated[row] = f[9]
			if err := p.reach(n, r, line); err != nil {
				return err
			}
			continue
		}
		coil, anode, band := f[14], f[15], f[16]
		if kind == "feed" || kind == "suppression" {
			if strings.Join(f[5:13], "")+row != "" || coil != f[13]+":A1" {
				return refuse(n, "%s is at a coil, and said to be in the matrix too", name)
			}
			if err := relays.diode(n, name, f[1], f[13], f[2], anode, band, kind == "suppression"); err != nil {
				return err
			}
			continue
		}
		if relay, _, _ := strings.Cut(coil, ":"); relay != f[13] {
			return refuse(n, "%s: coil %s is not of relay %s", name, coil, f[13])
		}
		source, sink := row, line
		if kind == "pulse" {
			source, sink = line, row
			if coil != "" {
				sink = "coil of " + f[13]
			}
			if err := relays.pulse(n, row, coil, relays.pulses[row].contact); err != nil {
				return err
			}
		} else if err := relays.line(n, line, coil); err != nil {
			return err
		}
		if (anode != source || band != sink) && (anode != sink || band != source) {
			return refuse(n, "%s lies between %s and %s, not %s and %s", name, anode, band, source, sink)
		}
		if err := p.next(n, name, f[1], f[2], row, f[10], line, f[12], band == source); err != nil {
			return err
		}
		if was, ok := stated[row]; ok && was != f[9] {
			return refuse(n, "row %s in phases %s, and in %s before", row, f[9], was)
		}
		stated[row] = f[9]
		if kind == "pulse" {
			number, ok := strings.CutPrefix(line, "phase ")
			phase, err := strconv.Atoi(number)
			if !ok || err != nil {
				return refuse(n, "%q is no phase wire", line)
			}
			if err := p.feed(n, row, phase); err != nil {
				return err
			}
			continue
		}
		r, err := csvRow(n, p.wiring, row, f[6], f[7], f[8])
		if err != nil {
			return err
		}
		if err := p.reach(n, r, line); err != nil {
			return err
		}
	}
	for line := range relays.inverted {
		relays.said[line] = true // it is said in every record of a diode there
	}
	if err := relays.missing(true); err != nil {
		return err
	}
	if err := p.agrees(stated); err != nil {
		return err
	}
	return p.compare()
}

var (
	named      = regexp.MustCompile(`^[PR]\d+  `)
	pulseTitle = regexp.MustCompile(`^(P\d+)  pulse wire of phases ([-\d ]+?)(?: from (\S+))?: place (\d+), (\d+) diodes?(?: to coil (\S+?))?(?:, leaves by pin \d+(?: \(link \d+\))?)?$`)
	rowTitle   = regexp.MustCompile(`^(R\d+)  from (?:(phase \d+)|(P\d+) \(phases ([-\d ]+)\))(?: through K\d+:\d+)?(?:, by pin \d+(?: \(link \d+\))?)?: (?:place (\d+), (\d+) diodes?|straight onto (\S+)(?: \(coil (\S+)\))?, no diode)$`)
	diodeLine  = regexp.MustCompile(`^\[ \] (D\d+) +(\d+) +(\d+) ([PR]\d+) +(-|\d+) (phase \d+|\S+) +(-|\d+|K\d+:A1) +(column|row|pulse|phase|coil) `)
	coilLine   = regexp.MustCompile(`^\[ \] ([DZ]\d+) +(\d+) (K\d+) +(\d+|-)  (\S+) +(\S+) +(across|into) the coil(?: on another card)?$`)
	coilTitle  = regexp.MustCompile(`^For coils, on card (.+?)(?:: (\d+) diodes?|, further)$`)
	countLine  = regexp.MustCompile(`^\[ \] (?:pin|coil) +(-|\d+|K\d+:A1)  (phase \d+|\S+) +column +(-|\d+) +(\d+) diodes?(?:, by pin \d+(?: \(link \d+\))?)?$`)
	totalLine  = regexp.MustCompile(`^    in all +(\d+) rows? +(\d+) pulse wires? +(\d+) diodes? +(\d+) at coils$`)
	wholeLine  = regexp.MustCompile(`^Diode placement, \S+ style: (\d+) diodes? on \d+ cards? +page`)
)

// listReader reads a placement list for paper.
type listReader struct {
	*placed
	cardName string
	cards    int
	row      *wiredRow // being listed, nil for a pulse wire
	name     string    // of the row or pulse wire
	place    string
	due      int            // diodes that its title promises and that have not come
	counts   map[string]int // diodes by pin, of this card
	checked  int            // diodes that the counts after cards have accounted for
	stated   map[string]string
	relays   *coils
	atCoils  int // diodes, listed
	titled   int // diodes at coils, by the titles
	whole    string
}

// DiodesText reads a placement list for paper and follows its diodes. Errors
// are as for DiodesCSV.
func DiodesText(r io.Reader, s *store.Store, list *bare.List) error {
	all, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	l := &listReader{placed: newPlaced(s, list.Style), stated: map[string]string{}, relays: newCoils(list)}
	text := strings.Split(strings.TrimSuffix(string(all), "\n"), "\n")
	ended := false
	for i := 0; i < len(text); i++ {
		n := i + 1
		line, fed := strings.CutPrefix(text[i], "\f")
		if named.MatchString(line) { // a title may go on below, further in than anything else
			for i+1 < len(text) && strings.HasPrefix(text[i+1], "        ") {
				i++
				line += " " + strings.TrimSpace(text[i])
			}
		}
		if fed && l.due > 0 {
			return refuse(n, "a page break within row %s", l.name)
		}
		took := 0
		if i > 0 && !fed {
			if took, err = l.relays.inverterText(text, i); err != nil {
				return err
			}
		}
		switch {
		case took > 0:
			i += took - 1
		case wholeLine.MatchString(line):
			m := wholeLine.FindStringSubmatch(line)
			if l.whole != "" && l.whole != m[1] {
				return refuse(n, "%s diodes, and %s on the page before", m[1], l.whole)
			}
			l.whole = m[1]
		case coilTitle.MatchString(line):
			m := coilTitle.FindStringSubmatch(line)
			if m[1] != l.cardName {
				return refuse(n, "coils of card %s under card %s", m[1], l.cardName)
			}
			more, _ := strconv.Atoi(m[2])
			l.titled += more
		case coilLine.MatchString(line):
			m := coilLine.FindStringSubmatch(line)
			if m[2] != strconv.Itoa(l.cards) {
				return refuse(n, "%s on card %s, under card %d", m[1], m[2], l.cards)
			}
			l.atCoils++
			if err := l.relays.diode(n, m[1], l.cardName, m[3], strings.Trim(m[4], "-"), m[5], m[6], m[7] == "across"); err != nil {
				return err
			}
		case i == 0 || fed:
			if err := headed(n, line, s); err != nil {
				return err
			}
		case strings.HasPrefix(line, "-- card "):
			l.cardName, _, _ = strings.Cut(strings.TrimPrefix(line, "-- card "), " --")
			l.cards++
			l.counts = map[string]int{}
		case pulseTitle.MatchString(line):
			m := pulseTitle.FindStringSubmatch(line)
			if err := l.title(n, m[1], m[4], m[5]); err != nil {
				return err
			}
			if err := l.relays.pulse(n, m[1], m[6], m[3]); err != nil {
				return err
			}
			l.row, l.stated[m[1]] = nil, m[2]
		case rowTitle.MatchString(line):
			m := rowTitle.FindStringSubmatch(line)
			if err := l.title(n, m[1], m[5], m[6]); err != nil {
				return err
			}
			below := i + 1
			for i+1 < len(text) && strings.HasPrefix(text[i+1], "    ") {
				i++
			}
			if l.row, err = l.meaning(n, m[1], m[2]+m[3], unwrap(text[below:i+1])); err != nil {
				return err
			}
			l.stated[m[1]] = m[4] + strings.TrimPrefix(m[2], "phase ")
			if m[7] != "" {
				if err := l.relays.line(n, m[7], m[8]); err != nil {
					return err
				}
				if err := l.reach(n, l.row, m[7]); err != nil {
					return err
				}
			}
		case diodeLine.MatchString(line):
			if err := l.diode(n, diodeLine.FindStringSubmatch(line)); err != nil {
				return err
			}
		case countLine.MatchString(line):
			m := countLine.FindStringSubmatch(line)
			key := m[1] + " " + m[2]
			if m[4] != strconv.Itoa(l.counts[key]) {
				return refuse(n, "card %s: %d diodes on pin %s (%s), the count says %s", l.cardName, l.counts[key], m[1], m[2], m[4])
			}
			l.checked += l.counts[key]
		case totalLine.MatchString(line):
			m := totalLine.FindStringSubmatch(line)
			if m[1] != strconv.Itoa(len(l.rows)) || m[2] != strconv.Itoa(len(l.pulses)) || m[3] != strconv.Itoa(l.diodes) || m[4] != strconv.Itoa(l.atCoils) {
				return refuse(n, "%d rows, %d pulse wires and %d diodes, %d at coils; the totals say %s, %s and %s, %s", len(l.rows), len(l.pulses), l.diodes, l.atCoils, m[1], m[2], m[3], m[4])
			}
			ended = true
		case strings.HasPrefix(line, "[ ] D") || strings.HasPrefix(line, "[ ] Z"):
			return refuse(n, "a line of a diode that is cut short")
		}
	}
	switch {
	case !ended:
		return refuse(len(text), "no totals: the end is missing")
	case l.due > 0:
		return fmt.Errorf("row %s lacks %d diodes of its count", l.name, l.due)
	case l.whole != strconv.Itoa(l.diodes+l.atCoils) || l.titled != l.atCoils:
		return fmt.Errorf("%d diodes and %d at coils; the titles say %s, and %d at coils", l.diodes, l.atCoils, l.whole, l.titled)
	case l.checked != l.diodes:
		return fmt.Errorf("%d diodes, the counts of the cards have %d", l.diodes, l.checked)
	}
	if err := l.relays.missing(true); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(l.pulses)) {
		said, err := parseSpans(l.stated[name])
		if err != nil || !sameNumbers(said, l.pulses[name]) {
			return fmt.Errorf("pulse wire %s is said to be of phases %s, its diodes come from %v", name, l.stated[name], l.pulses[name])
		}
	}
	if err := l.agrees(l.stated); err != nil {
		return err
	}
	return l.compare()
}

// title begins a row or pulse wire.
func (l *listReader) title(n int, name, place, diodes string) error {
	if l.due > 0 {
		return refuse(n, "row %s lacks %d diodes of its count", l.name, l.due)
	}
	if _, ok := l.stated[name]; ok {
		return refuse(n, "row %s is listed twice", name)
	}
	l.name, l.place = name, place
	l.due, _ = strconv.Atoi(diodes)
	return nil
}

// meaning reads what a row is for: "add: opcode 0001, when zero=1".
func (l *listReader) meaning(n int, name, wire, what string) (*wiredRow, error) {
	what, when, _ := strings.Cut(what, ", when ")
	r := wiredRow{name: name, wire: wire}
	var err error
	if r.opcodes, err = belonging(what, l.s); err != nil {
		return nil, refuse(n, "%v", err)
	}
	if r.flags, err = parseFlags(when, l.s.Flags); err != nil {
		return nil, refuse(n, "%v", err)
	}
	return l.wiring.row(n, r)
}

// diode reads a line: 1 name, 2 card, 3 place, 4 row, 5 column, 6 line, 7 pin, 8 band.
func (l *listReader) diode(n int, m []string) error {
	if l.due--; l.due < 0 {
		return refuse(n, "%s is one more than row %s counts", m[1], l.name)
	}
	if m[4] != l.name || m[3] != l.place || m[2] != strconv.Itoa(l.cards) {
		return refuse(n, "%s stands under row %s, place %s of card %d, and says %s, place %s of card %s", m[1], l.name, l.place, l.cards, m[4], m[3], m[2])
	}
	column, pin := strings.Trim(m[5], "-"), strings.Trim(m[7], "-")
	if strings.HasPrefix(pin, "K") {
		if err := l.relays.line(n, m[6], pin); err != nil {
			return err
		}
		pin = ""
	}
	if err := l.next(n, m[1], m[2], m[3], m[4], column, m[6], pin, m[8] == "row" || m[8] == "phase"); err != nil {
		return err
	}
	l.counts[m[7]+" "+m[6]]++
	if (l.row == nil) != (m[8] == "pulse" || m[8] == "phase" || m[8] == "coil") {
		return refuse(n, "%s: band to the %s, in row %s", m[1], m[8], l.name)
	}
	if l.row != nil {
		return l.reach(n, l.row, m[6])
	}
	phase, err := strconv.Atoi(strings.TrimPrefix(m[6], "phase "))
	if err != nil {
		return refuse(n, "%s: %q is no phase wire", m[1], m[6])
	}
	return l.feed(n, l.name, phase)
}
