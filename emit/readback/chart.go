package readback

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/cube"
	"coilwright/encode/store"
)

// drawn is a path as a chart shows it.
type drawn struct {
	line  int // of the page, where its phases stand
	flags cube.Cube
	end   int         // last phase shown
	ended bool        // its length stands below it
	on    []store.Set // by phase, from 1
}

// charted is a part of a chart: whose it is, and every path.
type charted struct {
	line    int
	name    string
	kind    string
	opcodes []cube.Cube
	paths   []*drawn
}

var (
	sectionLine = regexp.MustCompile(`^-- (.+?) -{2,} (.+) --$`)
	lengthLine  = regexp.MustCompile(`^  (\d+) phases?, `)
	idleLine    = regexp.MustCompile(`^phases (\d+)-(\d+): no line is on$`)
	pathLine    = regexp.MustCompile(`^path (\d+) of (\d+): (.+)$`)
)

// Chart reads a whole phase chart and holds its marks against the store: a
// line is marked in a phase of a path just when the store has it on for the
// opcodes and flags of that path, and every owner of rows is drawn with all
// its paths. What kind of mark it is, is not looked at. An error is a
// *LineError, or names the first difference.
func Chart(r io.Reader, s *store.Store) error { return chartOf(r, s, "") }

// ChartOf is Chart for a chart of one instruction, "fetch" or "undefined":
// all that goes by this name is drawn, and nothing else.
func ChartOf(name string) func(r io.Reader, s *store.Store) error {
	return func(r io.Reader, s *store.Store) error { return chartOf(r, s, name) }
}

func chartOf(r io.Reader, s *store.Store, only string) error {
	text, err := opened(r, s)
	if err != nil {
		return err
	}
	c := &chartReader{s: s, only: only, column: map[string]int{}}
	for i, column := range s.Columns {
		c.column[column.Name] = i
	}
	for i := 1; i < len(text); i++ {
		line := text[i]
		switch {
		case strings.HasPrefix(line, "-- ") && sectionLine.MatchString(line):
			i, err = c.section(text, i)
		case strings.HasPrefix(line, "path ") && pathLine.MatchString(line):
			err = c.begin(i+1, pathLine.FindStringSubmatch(line)[3])
		case strings.HasPrefix(line, "step") && i+1 < len(text) && strings.HasPrefix(text[i+1], "phase "):
			i, err = c.block(text, i+1)
		case idleLine.MatchString(line):
			err = c.idle(i+1, idleLine.FindStringSubmatch(line))
		case c.path != nil && !c.path.ended && lengthLine.MatchString(line):
			if n := lengthLine.FindStringSubmatch(line)[1]; n != strconv.Itoa(c.path.end) {
				err = refuse(i+1, "%s phases, and %d are drawn", n, c.path.end)
			}
			c.path.ended = true
		case strings.HasSuffix(line, "|"):
			err = refuse(i+1, "a bar without the phases above it")
		}
		if err != nil {
			return err
		}
	}
	return c.compare()
}

type chartReader struct {
	s        *store.Store
	only     string // a mnemonic, "fetch" or "undefined"; "" = everything
	column   map[string]int
	sections []*charted
	path     *drawn // being read, nil between paths
}

// section reads the line that names an owner, and the list below it.
func (c *chartReader) section(text []string, at int) (end int, err error) {
	m := sectionLine.FindStringSubmatch(text[at])
	part := &charted{line: at + 1, name: m[1], kind: "instruction"}
	end = at
	for end+1 < len(text) && strings.HasPrefix(text[end+1], "   ") {
		end++
	}
	list := unwrap(text[at+1 : end+1])
	var patterns []string
	switch own, ok := strings.CutPrefix(m[2], "opcode "); {
	case ok:
		patterns = append(patterns, own)
		if also, ok := strings.CutPrefix(list, "also "); ok {
			for _, v := range strings.Split(also, ", ") {
				words := strings.Fields(v)
				patterns = append(patterns, words[len(words)-1])
			}
		}
	case m[2] == "every opcode":
		part.kind = "fetch"
		part.opcodes = []cube.Cube{{}}
	case m[1] == "undefined opcodes":
		part.kind = "undefined"
		patterns = strings.Split(strings.TrimPrefix(list, "opcodes "), ", ")
	default:
		return at, refuse(at+1, "%q does not say which opcodes it is about", text[at])
	}
	if !c.asked(part.kind, part.name) {
		return at, refuse(at+1, "%s on a chart of %s", part.name, c.only)
	}
	for _, p := range patterns {
		o, err := parsePattern(p, c.s.OpcodeBits)
		if err != nil {
			return at, refuse(at+1, "%v", err)
		}
		part.opcodes = append(part.opcodes, o)
	}
	c.sections = append(c.sections, part)
	c.path = nil
	return end, nil
}

// asked reports whether what goes by a name, "move d=tmp s=acc" of kind
// instruction, belongs on the chart.
func (c *chartReader) asked(kind, name string) bool {
	if kind == "instruction" {
		kind, _, _ = strings.Cut(name, " ")
	}
	return c.only == "" || kind == c.only
}

// begin opens a path.
func (c *chartReader) begin(n int, flags string) error {
	if len(c.sections) == 0 {
		return refuse(n, "a path before any name")
	}
	part := c.sections[len(c.sections)-1]
	f, err := parseFlags(flags, c.s.Flags)
	if err != nil {
		return refuse(n, "%v", err)
	}
	c.path = &drawn{line: n, flags: f}
	part.paths = append(part.paths, c.path)
	return nil
}

// idle reads phases that are not drawn, for nothing is on.
func (c *chartReader) idle(n int, m []string) error {
	if c.path == nil || c.path.ended || m[1] != strconv.Itoa(c.path.end+1) {
		return refuse(n, "phases %s-%s do not follow those drawn before", m[1], m[2])
	}
	to, err := strconv.Atoi(m[2])
	if err != nil || to <= c.path.end || to > c.s.Phases {
		return refuse(n, "phases up to %s in a ring of %d", m[2], c.s.Phases)
	}
	for ; c.path.end < to; c.path.end++ {
		c.path.on = append(c.path.on, store.NewSet(len(c.s.Columns)))
	}
	return nil
}

// block reads the phases at line at of the text and the bars below them.
func (c *chartReader) block(text []string, at int) (end int, err error) {
	words := strings.Fields(text[at])
	first, err := strconv.Atoi(words[min(1, len(words)-1)])
	if err != nil {
		return at, refuse(at+1, "no phases")
	}
	if c.path == nil || first == 1 && c.path.end > 0 {
		if err := c.begin(at+1, ""); err != nil {
			return at, err
		}
	}
	for i, w := range words[1:] {
		if w != strconv.Itoa(first+i) {
			return at, refuse(at+1, "phase %s where %d is due", w, first+i)
		}
	}
	if first != c.path.end+1 {
		return at, refuse(at+1, "phase %d where %d is due", first, c.path.end+1)
	}
	c.path.end += len(words) - 1
	for range words[1:] {
		c.path.on = append(c.path.on, store.NewSet(len(c.s.Columns)))
	}
	seen := map[string]bool{}
	for end = at; end+1 < len(text); end++ {
		name, bar, ok := strings.Cut(text[end+1], " |")
		bar, closed := strings.CutSuffix(bar, "|")
		if !ok || !closed {
			break
		}
		cells := strings.Split(bar, "|")
		if len(cells) != len(words)-1 {
			return end, refuse(end+2, "%d cells under %d phases", len(cells), len(words)-1)
		}
		name = strings.TrimRight(name, " ")
		if strings.HasSuffix(name, " (or)") { // a bus with several sources: no line
			continue
		}
		column, known := c.column[name]
		if !known || seen[name] {
			return end, refuse(end+2, "no line %q, or twice", name)
		}
		seen[name] = true
		for i, cell := range cells {
			switch marks := strings.TrimSpace(cell); {
			case marks == "":
			case len(marks) == len(cell) && strings.Trim(marks, marks[:1]) == "" && strings.Contains("#-.=<", marks[:1]):
				c.path.on[first-1+i].Add(column)
			default:
				return end, refuse(end+2, "%q in phase %d", cell, first+i)
			}
		}
	}
	return end, nil
}

// compare holds every path against the store.
func (c *chartReader) compare() error {
	s := c.s
	rows := s.Rows
	patterns := map[cube.Cube][]int{} // rows by opcode pattern
	var keys []cube.Cube
	for i, r := range rows {
		if patterns[r.Opcode] == nil {
			keys = append(keys, r.Opcode)
		}
		patterns[r.Opcode] = append(patterns[r.Opcode], i)
	}
	var asked []cube.Cube
	for _, part := range c.sections {
		asked = append(asked, part.opcodes...)
	}
	meets := meetings(asked, keys)
	next := 0
	for _, part := range c.sections {
		if len(part.paths) == 0 {
			return refuse(part.line, "%s is named and not drawn", part.name)
		}
		for _, o := range part.opcodes {
			var list []int
			for _, k := range meets[next] {
				for _, r := range patterns[keys[k]] {
					if part.kind != "fetch" || s.Owners[rows[r].Owner].Kind == "fetch" {
						list = append(list, r)
					}
				}
			}
			next++
			for _, p := range part.paths {
				if !p.ended && part.kind != "fetch" {
					return refuse(p.line, "%s: the end of the path is missing", part.name)
				}
				if err := c.pathEquals(o, p, list); err != nil {
					return fmt.Errorf("%s: %w", part.name, err)
				}
			}
		}
		var arms []cube.Cube
		for _, p := range part.paths {
			arms = append(arms, p.flags)
		}
		if v, missing := uncovered(cube.Cube{}, arms); missing {
			return refuse(part.line, "%s: no path for flags %0*b", part.name, len(s.Flags), v)
		}
	}
	return c.complete()
}

// pathEquals holds one path against the rows of the store that meet its opcodes.
func (c *chartReader) pathEquals(opcode cube.Cube, p *drawn, rows []int) error {
	s := c.s
	at := joint(s, opcode, p.flags)
	byPhase := make([][]int, s.Phases+1)
	for _, i := range rows {
		if r := &s.Rows[i]; joint(s, r.Opcode, r.Flags).Meets(at) {
			byPhase[r.Phase] = append(byPhase[r.Phase], i)
		}
	}
	none := store.NewSet(len(s.Columns))
	for phase := 1; phase <= max(s.Phases, p.end); phase++ {
		marked := none
		if phase <= p.end {
			marked = p.on[phase-1]
		}
		var list []int
		if phase <= s.Phases {
			list = byPhase[phase]
		}
		// Most rows hold for the whole of a path: then no line needs a look of its own.
		always, sometimes := store.NewSet(len(s.Columns)), store.NewSet(len(s.Columns))
		for _, i := range list {
			r := &s.Rows[i]
			sometimes.Or(r.Lines)
			if at.Within(joint(s, r.Opcode, r.Flags)) {
				always.Or(r.Lines)
			}
		}
		if marked.Equal(always) && always.Equal(sometimes) {
			continue
		}
		for l := range s.Columns {
			var cubes []cube.Cube
			for _, i := range list {
				if r := &s.Rows[i]; r.Lines.Has(l) {
					cubes = append(cubes, joint(s, r.Opcode, r.Flags))
				}
			}
			if marked.Has(l) {
				if v, missing := uncovered(at, cubes); missing {
					return fmt.Errorf("line %d: %w", p.line, differ(s, v, phase, l, "on"))
				}
			} else if len(cubes) > 0 {
				both, _ := cubes[0].And(at)
				return fmt.Errorf("line %d: %w", p.line, differ(s, both.Value, phase, l, "off"))
			}
		}
	}
	return nil
}

// complete checks that every owner is drawn for all its opcodes.
func (c *chartReader) complete() error {
	drawn := map[string]map[cube.Cube]bool{}
	for _, part := range c.sections {
		if drawn[part.kind] == nil {
			drawn[part.kind] = map[cube.Cube]bool{}
		}
		for _, o := range part.opcodes {
			drawn[part.kind][o] = true
		}
	}
	for _, o := range c.s.Owners {
		if !c.asked(o.Kind, o.Name) {
			continue
		}
		opcodes := o.Opcodes
		if o.Kind == "fetch" {
			opcodes = []cube.Cube{{}}
		}
		for _, opcode := range opcodes {
			if !drawn[o.Kind][opcode] {
				return fmt.Errorf("%s is not drawn for opcode %s", o.Name, opcode.Text(c.s.OpcodeBits))
			}
		}
	}
	return nil
}

// meetings lists, for each cube of a, the cubes of b that hold a value of it.
// Both lists are halved at one bit after the other, as long as that leaves
// fewer pairs to look at, so that cubes that differ are seldom held against
// each other.
func meetings(a, b []cube.Cube) [][]int {
	out := make([][]int, len(a))
	pick := func(list []int, of []cube.Cube, bit int, v uint64) []int {
		var kept []int
		for _, i := range list {
			if of[i].Care>>bit&1 == 0 || of[i].Value>>bit&1 == v {
				kept = append(kept, i)
			}
		}
		return kept
	}
	var halve func(x, y []int, bit int)
	halve = func(x, y []int, bit int) {
		for ; bit >= 0 && len(x) > 0 && len(y) > 4; bit-- {
			x0, y0, x1, y1 := pick(x, a, bit, 0), pick(y, b, bit, 0), pick(x, a, bit, 1), pick(y, b, bit, 1)
			if 4*(len(x0)*len(y0)+len(x1)*len(y1)) <= 3*len(x)*len(y) {
				halve(x0, y0, bit-1)
				halve(x1, y1, bit-1)
				return
			}
		}
		for _, i := range x {
			for _, j := range y {
				if a[i].Meets(b[j]) {
					out[i] = append(out[i], j)
				}
			}
		}
	}
	every := func(n int) []int {
		list := make([]int, n)
		for i := range list {
			list[i] = i
		}
		return list
	}
	halve(every(len(a)), every(len(b)), 63)
	for i := range out {
		slices.Sort(out[i])
		out[i] = slices.Compact(out[i])
	}
	return out
}
