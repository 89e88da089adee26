package readback

import (
	"encoding/csv"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/cube"
	bare "coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// MatrixCSV reads a matrix as CSV and follows its diodes; what it says of coils
// is held against the list of wires. An error is a
// *LineError (the number of a record for its line), or names the first word
// that is not the store's.
func MatrixCSV(r io.Reader, s *store.Store, list *bare.List) error {
	records, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return err
	}
	if len(records) == 0 {
		return refuse(1, "no header")
	}
	first := []string{"row", "card", "place", "pin", "kind", "owner", "opcodes", "flags", "wire", "feed", "coil", "phases"}
	last := []string{"diodes", "machine", "hash"}
	lines := make([]string, len(s.Columns))
	for i, c := range s.Columns {
		lines[i] = c.Name
	}
	if !slices.Equal(records[0], slices.Concat(first, lines, last)) {
		return refuse(1, "the header is not that of this machine's matrix")
	}
	w, relays := newWiring(s, list.Style), newCoils(list)
	var inverted [2][]string // coils and contacts of `low` lines
	totals := make([]int, len(lines))
	all, ended := 0, false
	places := map[string]bool{}
	stated := map[string]string{} // phases of each row
	for i, f := range records[1:] {
		n := i + 2
		if ended {
			return refuse(n, "a record after the totals")
		}
		cells, tail := f[len(first):len(first)+len(lines)], f[len(first)+len(lines):]
		if tail[1] != s.Machine || !sameHash(strings.TrimPrefix(tail[2], "sha256:"), s) {
			return refuse(n, "the record is of machine %s with %s", tail[1], tail[2])
		}
		if k := slices.Index([]string{"coil", "contact"}, f[4]); k >= 0 {
			if inverted[k] != nil || f[0] != f[4] || tail[0] != "" {
				return refuse(n, "a record of %ss that is no such record, or the second", f[4])
			}
			inverted[k] = cells
			continue
		}
		diodes, err := strconv.Atoi(tail[0])
		if err != nil {
			return refuse(n, "%q is no count of diodes", tail[0])
		}
		if f[4] == "total" || f[0] == "total" {
			if f[0] != f[4] {
				return refuse(n, "neither a row nor the totals")
			}
			ended = true
			for l, c := range cells {
				if c != strconv.Itoa(totals[l]) {
					return refuse(n, "%s has %d diodes, the total says %q", lines[l], totals[l], c)
				}
			}
			if diodes != all {
				return refuse(n, "%d diodes, the total says %d", all, diodes)
			}
			continue
		}
		if spot := f[1] + " place " + f[2]; f[2] != "" && places[spot] {
			return refuse(n, "two rows on card %s", spot)
		} else {
			places[spot] = true
		}
		all += diodes
		if f[4] == "pulse" {
			phases, err := parseSpans(f[11])
			if err != nil {
				return refuse(n, "%v", err)
			}
			if err := relays.pulse(n, f[0], f[10], f[9]); err != nil {
				return err
			}
			if w.pulses[f[0]] != nil {
				return refuse(n, "pulse wire %s is listed twice", f[0])
			}
			for _, p := range phases {
				if err := w.feed(n, f[0], p); err != nil {
					return err
				}
			}
			if diodes != len(phases) {
				return refuse(n, "%d phases and %d diodes", len(phases), diodes)
			}
			continue
		}
		if w.byName[f[0]] != nil {
			return refuse(n, "row %s is listed twice", f[0])
		}
		row, err := csvRow(n, w, f[0], f[6], f[7], f[8])
		if err != nil {
			return err
		}
		stated[row.name] = f[11]
		count, direct := 0, 0
		for l, c := range cells {
			switch c {
			case "":
			case "1":
				row.lines = append(row.lines, l)
				totals[l]++
				count++
			case "direct":
				row.lines = append(row.lines, l)
				direct++
			default:
				return refuse(n, "%q in the column of %s", c, lines[l])
			}
		}
		if count != diodes {
			return refuse(n, "%d marks, and %d diodes in the count", count, diodes)
		}
		if direct > 1 || direct == 1 && count > 0 || (direct == 1) != (f[2] == "") {
			return refuse(n, "row %s lies on a column and has a place or diodes, or neither", f[0])
		}
	}
	if !ended {
		return refuse(len(records), "no totals: the end is missing")
	}
	for l, name := range lines {
		if inverted[0] != nil && inverted[1] != nil && inverted[0][l]+inverted[1][l] != "" {
			if err := relays.inverter(len(records), name, inverted[0][l], inverted[1][l]); err != nil {
				return err
			}
		}
	}
	if err := relays.missing(false); err != nil {
		return err
	}
	if err := w.agrees(stated); err != nil {
		return err
	}
	return w.compare()
}

// csvRow reads what a row means from its fields.
func csvRow(n int, w *wiring, name, opcodes, flags, wire string) (*wiredRow, error) {
	r := wiredRow{name: name, opcodes: []cube.Cube{{}}, wire: wire}
	var err error
	if opcodes != "every" {
		if r.opcodes, err = parsePatterns(strings.ReplaceAll(opcodes, "0b", ""), w.s.OpcodeBits, len(w.s.Flags)); err != nil {
			return nil, refuse(n, "%v", err)
		}
	}
	if flags != "any" {
		if r.flags, err = parseFlags(flags, w.s.Flags); err != nil {
			return nil, refuse(n, "%v", err)
		}
	}
	return w.row(n, r)
}

// agrees holds the phases stated for each row against those of its wire.
func (w *wiring) agrees(stated map[string]string) error {
	for _, r := range w.rows {
		phases, err := w.phases(r.wire)
		if err != nil {
			return fmt.Errorf("row %s: %w", r.name, err)
		}
		if said, err := parseSpans(stated[r.name]); err != nil || !sameNumbers(phases, said) {
			return fmt.Errorf("row %s is said to be fed in phases %s, wire %s is in %v", r.name, stated[r.name], r.wire, phases)
		}
	}
	return nil
}

// MatrixText reads a matrix as the text for paper, block by block, and follows
// the marks. Errors are as for MatrixCSV.
func MatrixText(r io.Reader, s *store.Store, list *bare.List) error {
	text, err := opened(r, s)
	if err != nil {
		return err
	}
	g := &gridReader{wiring: newWiring(s, list.Style), relays: newCoils(list), inAll: map[string]int{}, direct: map[string]int{}, used: map[string]string{}, places: map[string]string{}}
	card := ""
	for i := 1; i < len(text); i++ {
		line := text[i]
		took, err := g.relays.inverterText(text, i)
		if err != nil {
			return err
		}
		switch {
		case took > 0:
			i += took - 1
		case strings.HasPrefix(line, "-- card "):
			card, _, _ = strings.Cut(strings.TrimPrefix(line, "-- card "), " --")
		case strings.HasPrefix(line, usedPrefix):
			from := i
			for i+1 < len(text) && text[i+1] != "" {
				i++
			}
			list := strings.ReplaceAll(strings.TrimPrefix(unwrap(text[from:i+1]), usedPrefix), ", ", ",")
			for _, f := range strings.Fields(list) {
				name, phases, _ := strings.Cut(f, "=")
				if was, ok := g.used[name]; ok && was != phases {
					return refuse(i+1, "pulse wire %s is of phases %s here, and was of %s", name, phases, was)
				}
				g.used[name] = phases
			}
		case isRuler(line):
			if i, err = g.block(text, i, card); err != nil {
				return err
			}
		}
	}
	return g.finish()
}

const usedPrefix = "Pulse wires used, by phases: "

// isRuler tells the line of dashes that opens and closes the rows of a block.
func isRuler(line string) bool {
	return strings.HasPrefix(line, "  -") && strings.Trim(line, "- ") == ""
}

// run is a run of dashes in a ruler: the characters that a field takes.
type run struct{ from, to int }

func runs(ruler string) []run {
	var out []run
	for i := 0; i < len(ruler); i++ {
		if ruler[i] != '-' {
			continue
		}
		from := i
		for i < len(ruler) && ruler[i] == '-' {
			i++
		}
		out = append(out, run{from, i})
	}
	return out
}

// cut is what stands in a field of a line, which may be shorter.
func (r run) cut(line string) string {
	if r.from >= len(line) {
		return ""
	}
	return strings.TrimSpace(line[r.from:min(r.to, len(line))])
}

// gridReader gathers the blocks of a matrix.
type gridReader struct {
	*wiring
	relays *coils
	inAll  map[string]int    // diodes of a row or pulse wire by its own count
	direct map[string]int    // columns that the contact of a row lies on
	used   map[string]string // phases that a card's list gives for a pulse wire
	places map[string]string // what stands where
}

// block reads one block whose upper ruler is line at of the text; it returns the last line it took.
func (g *gridReader) block(text []string, at int, card string) (end int, err error) {
	top := at
	for top > 0 && text[top-1] != "" {
		top--
	}
	var left, narrow, counts []run
	for _, r := range runs(text[at]) {
		switch {
		case r.to-r.from == 1:
			narrow = append(narrow, r)
		case narrow == nil:
			left = append(left, r)
		default:
			counts = append(counts, r)
		}
	}
	if len(left) < 3 || len(left) > 5 || len(counts) == 0 {
		return at, refuse(at+1, "no ruler of a block")
	}
	upright := func(r run, lines []string) string {
		var name strings.Builder
		for _, l := range lines {
			name.WriteString(r.cut(l))
		}
		return name.String()
	}
	pulses := left[1].cut(text[at-1]) != "row"
	if pulses == (len(left) == 4) {
		return at, refuse(at+1, "the columns at the left are not those of a block")
	}
	var flags []run
	if !pulses {
		if len(narrow) < len(g.s.Flags) {
			return at, refuse(at+1, "the columns of flags are missing")
		}
		flags, narrow = narrow[:len(g.s.Flags)], narrow[len(g.s.Flags):]
		for i, f := range flags {
			if name := upright(f, text[top:at]); name != g.s.Flags[i] {
				return at, refuse(at, "flag column %q, not %s", name, g.s.Flags[i])
			}
		}
	}
	names := make([]string, len(narrow))
	for i, r := range narrow {
		names[i] = upright(r, text[top:at])
	}
	marks := make([]int, len(narrow))
	var heading []string
	i := at + 1
	for ; i < len(text) && !isRuler(text[i]); i++ {
		line := text[i]
		if _, err := strconv.Atoi(left[0].cut(line)); err != nil && left[0].cut(line) != "-" {
			if !strings.HasPrefix(line, " ") {
				heading = nil
			}
			heading = append(heading, line)
			continue
		}
		name := left[1].cut(line)
		spot := card + " place " + left[0].cut(line)
		if was, ok := g.places[spot]; ok && was != name && left[0].cut(line) != "-" {
			return i, refuse(i+1, "%s and %s both on card %s", was, name, spot)
		}
		g.places[spot] = name
		var row *wiredRow
		if pulses {
			coil, contact := "", ""
			if len(left) == 5 {
				coil, contact = left[2].cut(line), left[3].cut(line)
			}
			if err := g.relays.pulse(i+1, name, coil, contact); err != nil {
				return i, err
			}
		} else {
			if row, err = g.gridRow(i+1, name, unwrap(heading), left[2].cut(line), flags, line); err != nil {
				return i, err
			}
		}
		here := 0
		for k, r := range narrow {
			switch mark := r.cut(line); mark {
			case ".":
				continue
			case "x":
				here++
				marks[k]++
			case "o":
				if row == nil || left[0].cut(line) != "-" {
					return i, refuse(i+1, "%s lies on %s and has a place for diodes", name, names[k])
				}
				g.direct[name]++
			default:
				return i, refuse(i+1, "%q in the column of %s", mark, names[k])
			}
			if row != nil {
				err = g.reach(i+1, row, names[k])
			} else {
				phase, _ := strconv.Atoi(names[k])
				err = g.feed(i+1, name, phase)
			}
			if err != nil {
				return i, err
			}
		}
		if counts[0].cut(line) != strconv.Itoa(here) {
			return i, refuse(i+1, "%s has %d marks here, the count says %s", name, here, counts[0].cut(line))
		}
		if g.inAll[name], err = strconv.Atoi(counts[len(counts)-1].cut(line)); err != nil {
			return i, refuse(i+1, "no count of diodes")
		}
	}
	if i == len(text) {
		return i, refuse(i, "the block does not end: a ruler is missing")
	}
	from, counted := i+1, false
	for i++; i < len(text) && text[i] != ""; i++ {
		label := strings.TrimSpace(text[i][:min(left[len(left)-1].to, len(text[i]))])
		if label == "" {
			continue
		}
		counted = counted || label == "diodes"
		for k, r := range narrow {
			number := upright(r, text[from:i+1])
			if label == "diodes" && number != strconv.Itoa(marks[k]) {
				return i, refuse(i+1, "%s has %d marks, the count says %s", names[k], marks[k], number)
			}
		}
		from = i + 1
	}
	if !counted {
		return i, refuse(i, "the block does not end: its counts are missing")
	}
	return i, nil
}

func (g *gridReader) gridRow(n int, name, heading, wire string, flags []run, line string) (*wiredRow, error) {
	r := wiredRow{name: name, wire: wire}
	if _, err := strconv.Atoi(wire); err == nil {
		r.wire = "phase " + wire
	}
	var err error
	if r.opcodes, err = belonging(heading, g.s); err != nil {
		return nil, refuse(n, "%v", err)
	}
	for i, f := range flags {
		switch v := f.cut(line); v {
		case "0", "1":
			r.flags = r.flags.With(i, uint64(v[0]-'0'))
		case "?":
		default:
			return nil, refuse(n, "%q for flag %s", v, g.s.Flags[i])
		}
	}
	return g.row(n, r)
}

// finish checks what only the whole page can show, and compares.
func (g *gridReader) finish() error {
	if err := g.relays.missing(false); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(g.used)) {
		phases := g.used[name]
		said, err := parseSpans(phases)
		if err != nil || !sameNumbers(said, g.pulses[name]) {
			return fmt.Errorf("pulse wire %s is said to be of phases %s, its diodes come from %v", name, phases, g.pulses[name])
		}
	}
	for _, r := range g.rows {
		if n := g.inAll[r.name] + g.direct[r.name]; n != len(r.lines) || g.direct[r.name] > 1 {
			return fmt.Errorf("row %s has %d marks in all, the count says %d", r.name, len(r.lines), n)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(g.pulses)) {
		phases := g.pulses[name]
		if n := g.inAll[name]; n != len(phases) {
			return fmt.Errorf("pulse wire %s has %d marks in all, the count says %d", name, len(phases), n)
		}
	}
	return g.compare()
}
