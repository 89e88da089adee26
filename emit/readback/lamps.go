package readback

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"math"
	"math/bits"
	"regexp"
	"strconv"
	"strings"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/store"
)

// Rehearsed is a rehearsal that the readers of its records go through once
// more, view by view, so that neither record nor rehearsal is ever held whole.
type Rehearsed struct {
	Machine *machine.Machine
	Store   *store.Store
	Program *assemble.Program
	Next    func() *rehearse.View // nil after the last
	Final   func() rehearse.Final // once Next has returned nil
}

// LampsText reads the blocks of a rehearsal for paper and compares what each
// lamp shows in each phase, what is captured and what is noted, with the
// views, and the end with the final state. An error is a *LineError.
func LampsText(r io.Reader, x Rehearsed) error {
	l := &lampsReader{Rehearsed: x, paper: newPaper(r, x, "Lamps of"), sources: map[uint64]string{}}
	for _, line := range x.Program.Lines {
		if line.Instruction >= 0 && line.Memory >= 0 && x.Machine.Signals[x.Program.Memories[line.Memory].Signal].Program {
			l.sources[line.Address] = squeezed(line.Text)
		}
	}
	legend, err := l.block()
	if err != nil {
		return err
	}
	if len(legend) == 0 || !strings.HasPrefix(legend[0], "# lit   . dark") {
		return refuse(l.line, "no legend")
	}
	view := x.Next()
	for view != nil {
		views := []*rehearse.View{view}
		for view = x.Next(); view != nil && view.Instruction == views[0].Instruction; view = x.Next() {
			views = append(views, view)
		}
		if err := l.instruction(views); err != nil {
			return err
		}
	}
	return l.final(x)
}

// FinalText reads the state at the end of a rehearsal and compares it. An
// error is a *LineError.
func FinalText(r io.Reader, x Rehearsed) error {
	p := newPaper(r, x, "End of")
	return p.final(x)
}

// paper reads lines off pages that are set off by form feeds and headed by two
// lines each.
type paper struct {
	in      *bufio.Reader
	machine string
	hash    string
	about   string
	page    int
	line    int
	ahead   *string // a line that has been looked at
}

func newPaper(r io.Reader, x Rehearsed, what string) *paper {
	name := x.Store.Machine
	if x.Store.Title != "" {
		name += ": " + x.Store.Title
	}
	return &paper{in: bufio.NewReaderSize(r, 64<<10), machine: name, hash: x.Store.Hash,
		about: fmt.Sprintf("%s %s, sha256 %.12s", what, x.Program.Name, x.Program.Source)}
}

// longestLine bounds a line of paper, in bytes: the widest of 80 characters.
const longestLine = 4096

func (p *paper) raw() (string, error) {
	text, err := p.in.ReadSlice('\n')
	switch {
	case err == io.EOF && len(text) == 0:
		return "", io.EOF
	case err == bufio.ErrBufferFull || len(text) > longestLine:
		return "", refuse(p.line+1, "a line of more than %d bytes", longestLine)
	case err == io.EOF:
		return "", refuse(p.line+1, "the last line has no end")
	case err != nil:
		return "", err
	}
	p.line++
	return string(text[:len(text)-1]), nil
}

// next returns the next line of the text, io.EOF at its end. Headings of
// pages are checked and left out; a page that goes on within a block does so
// after a blank line, which is left out too.
func (p *paper) next(within bool) (string, error) {
	if p.ahead != nil {
		text := *p.ahead
		p.ahead = nil
		return text, nil
	}
	text, err := p.raw()
	if err != nil {
		return "", err
	}
	head, feed := strings.CutPrefix(text, "\f")
	if feed != (p.line > 1) && p.page == 0 || p.page > 0 && !feed {
		if p.page == 0 {
			return "", refuse(p.line, "a form feed before the first page")
		}
		return text, nil
	}
	left, ok := strings.CutSuffix(head, "sha256 "+p.hash[:min(12, len(p.hash))])
	if !ok || !begins(strings.TrimSpace(left), p.machine) {
		return "", refuse(p.line, "the page is not of machine %s with hash %.12s", p.machine, p.hash)
	}
	second, err := p.raw()
	if err != nil && err != io.EOF {
		return "", err
	}
	p.page++
	about, ok := strings.CutSuffix(second, " page "+strconv.Itoa(p.page))
	if about = strings.TrimSpace(about); !ok || !begins(about, p.about) && about != p.about {
		return "", refuse(p.line, "page %d of %q is due", p.page, p.about)
	}
	text, err = p.raw()
	if err == nil && text != "" {
		return "", refuse(p.line, "no blank line below the heading")
	}
	if err == nil && within {
		return p.raw()
	}
	return text, err
}

// block returns the lines up to the next rule or the end.
func (p *paper) block() ([]string, error) {
	var out []string
	for {
		text, err := p.next(false)
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return nil, err
		}
		if strings.HasPrefix(text, "-- ") && len(out) > 0 {
			p.ahead = &text
			return out, nil
		}
		if text == "" && len(out) == 0 {
			continue
		}
		if len(out) > 1<<16 {
			return nil, refuse(p.line, "a block without an end")
		}
		out = append(out, text)
	}
}

type lampsReader struct {
	Rehearsed
	*paper
	sources map[uint64]string // of the instructions, by address, without blanks
}

var (
	blockTitle = regexp.MustCompile(`^-- (\d+)(?: at ([0-9A-F]+))?(: .*)? -{2,} ([^-]*), opcode ([0-9A-F]+) --$`)
	moreLamps  = regexp.MustCompile(`^ +([#.][#. ]*)$`)
)

// shownValue is what a page says that lamps show.
type shownValue struct {
	name        string
	after       bool
	from, to    int // phases
	value, mask uint64
	marks       string
	digits      int
	kind        string // of the mask
}

// instruction reads a block and compares it with the views of an instruction.
func (l *lampsReader) instruction(views []*rehearse.View) error {
	first := l.line
	lines, err := l.block()
	if err != nil {
		return err
	}
	if len(lines) == 0 {
		return refuse(l.line, "instruction %d is missing", views[0].Instruction)
	}
	for len(lines) > 0 && lines[len(lines)-1] == "" {
		lines = lines[:len(lines)-1]
	}
	wrong := func(format string, args ...any) error {
		return refuse(first+1, "instruction %d: %s", views[0].Instruction, fmt.Sprintf(format, args...))
	}
	if err := l.titled(lines[0], views[len(views)-1]); err != nil {
		return wrong("%s", err)
	}
	marks, rest, err := grid(lines[1:])
	if err != nil {
		return wrong("%s", err)
	}
	if err := l.lines(marks, views); err != nil {
		return wrong("%s", err)
	}
	if err := l.values(rest, views); err != nil {
		return wrong("%s", err)
	}
	return nil
}

func (l *lampsReader) titled(text string, last *rehearse.View) error {
	f := blockTitle.FindStringSubmatch(text)
	if f == nil {
		return fmt.Errorf("%q is no title", text)
	}
	address := ""
	if last.Known {
		address = strconv.FormatUint(last.Address, 16)
	}
	found := strings.ToLower(strings.TrimLeft(f[2], "0"))
	if f[2] != "" && found == "" {
		found = "0"
	}
	opcode, err := strconv.ParseUint(f[5], 16, 64)
	if err != nil || f[1] != strconv.Itoa(last.Instruction) || found != address || f[4] != l.Store.Owners[last.Owner].Name || opcode != last.Opcode {
		return fmt.Errorf("the title is %q, not of %d at %s, %s, opcode %X", text, last.Instruction, address, l.Store.Owners[last.Owner].Name, last.Opcode)
	}
	if source := l.sources[last.Address]; last.Known && !begins(squeezed(strings.TrimPrefix(f[3], ": ")), source) {
		return fmt.Errorf("the source is %q, not %q", f[3], source)
	}
	return nil
}

// grid reads the lamps of lines: for each name what is shown in each phase, and
// under "phase" the phases. A line that a part does not list is dark in it.
func grid(lines []string) (marks map[string][]string, rest []string, err error) {
	marks = map[string][]string{}
	for len(lines) > 0 && strings.HasPrefix(lines[0], "phase ") {
		phases := strings.Fields(lines[0])[1:]
		before := len(marks["phase"])
		marks["phase"] = append(marks["phase"], phases...)
		lines = lines[1:]
		for {
			if len(lines) == 0 {
				return nil, nil, fmt.Errorf("the lamps have no row to tick")
			}
			f := strings.Fields(lines[0])
			lines = lines[1:]
			if len(f) != len(phases)+1 {
				return nil, nil, fmt.Errorf("a row of %d lamps for %d phases", len(f)-1, len(phases))
			}
			if f[0] == "tick" && f[1] == "[]" {
				break
			}
			name := "line " + f[0]
			if len(marks[name]) > before {
				return nil, nil, fmt.Errorf("%s is listed twice", f[0])
			}
			marks[name] = append(dim(marks[name], before), f[1:]...)
		}
		if len(lines) > 1 && lines[0] == "" && strings.HasPrefix(lines[1], "phase ") && !strings.ContainsAny(lines[1], "#.") {
			lines = lines[1:]
		}
	}
	for name, row := range marks {
		marks[name] = dim(row, len(marks["phase"]))
	}
	if len(marks) == 0 {
		return nil, nil, fmt.Errorf("no row of phases")
	}
	return marks, lines, nil
}

// dim goes on with dark lamps up to n.
func dim(row []string, n int) []string {
	for len(row) < n {
		row = append(row, ".")
	}
	return row
}

func (l *lampsReader) lines(marks map[string][]string, views []*rehearse.View) error {
	phases := marks["phase"]
	if len(phases) != len(views) {
		return fmt.Errorf("%d phases, the rehearsal has %d", len(phases), len(views))
	}
	rows := 1
	for i, line := range l.Machine.Lines {
		row, listed := marks["line "+line.Name]
		if listed {
			rows++
		}
		for k, v := range views {
			if phases[k] != strconv.Itoa(v.Phase) {
				return fmt.Errorf("phase %s where %d is due", phases[k], v.Phase)
			}
			want := "."
			if v.Lines.Has(i) {
				want = "#"
			}
			if got := "."; listed && row[k] != want || !listed && got != want {
				return fmt.Errorf("%s in phase %d is not %s", line.Name, v.Phase, want)
			}
		}
	}
	if rows != len(marks) {
		return fmt.Errorf("lamps of lines that the machine does not have")
	}
	return nil
}

// values reads what stands below the lines' lamps.
func (l *lampsReader) values(lines []string, views []*rehearse.View) error {
	var shown []shownValue
	var kept []string
	var notes strings.Builder
	section := 0 // 0 values, 1 unchanged, 2 notes
	for _, text := range lines {
		switch {
		case text == "":
		case strings.HasPrefix(text, "! phase "):
			section = 2
			notes.WriteString(squeezed(text))
		case section == 2:
			notes.WriteString(squeezed(text))
		case strings.HasPrefix(text, "unchanged: "):
			section = 1
			kept = append(kept, strings.Fields(text)[1:]...)
		case section == 1:
			kept = append(kept, strings.Fields(text)...)
		case text[0] == ' ' && len(shown) > 0 && isLamps(strings.TrimLeft(text, " ")):
			shown[len(shown)-1].marks += text
		default:
			s, err := readValue(text)
			if err != nil {
				return err
			}
			if s.name == "" && len(shown) > 0 {
				s.name = shown[len(shown)-1].name
			}
			shown = append(shown, s)
		}
	}
	for _, s := range shown {
		if value, n := lamps(s.marks); value != s.value || (n+3)/4 != s.digits {
			return fmt.Errorf("%s: %d lamps show %X, the digits %X", s.name, n, value, s.value)
		}
	}
	if err := l.signals(shown, kept, views); err != nil {
		return err
	}
	return l.noted(notes.String(), views)
}

// readValue reads a row: a name unless it is that of the row above, the phases
// ("2", "2-5", "after 5"), hex digits, lamps, and which bits are meant if not
// all ("bits F0", "driven F0"). Two blanks or more stand between them.
func readValue(text string) (shownValue, error) {
	s := shownValue{mask: ^uint64(0)}
	bad := noValue(text)
	var rest, phases, digits string
	s.name, rest, _ = strings.Cut(text, " ")
	if rest, s.after = strings.CutPrefix(strings.TrimLeft(rest, " "), "after "); !strings.HasPrefix(text[len(s.name):], "  ") {
		return s, bad
	}
	var apart [2]bool
	phases, rest, apart[0] = strings.Cut(rest, "  ")
	digits, rest, apart[1] = strings.Cut(strings.TrimLeft(rest, " "), "  ")
	if apart != [2]bool{true, true} {
		return s, bad
	}
	s.marks = rest
	if i := strings.IndexFunc(rest, func(r rune) bool { return !strings.ContainsRune("#. ", r) }); i >= 0 {
		mask := ""
		s.kind, mask, _ = strings.Cut(rest[i:], " ")
		var spaced, sound bool
		s.marks, spaced = strings.CutSuffix(rest[:i], "  ")
		if s.mask, sound = hexDigits(mask); !spaced || !sound || s.kind != "bits" && s.kind != "driven" {
			return s, bad
		}
	}
	from, to, ranged := strings.Cut(phases, "-")
	if !ranged {
		to = from
	}
	var sound [3]bool
	s.from, sound[0] = decimal(from)
	s.to, sound[1] = decimal(to)
	s.value, sound[2] = hexDigits(digits)
	s.digits = len(digits)
	if sound != [3]bool{true, true, true} || ranged && s.after || !isLamps(s.marks) {
		return s, bad
	}
	return s, nil
}

// noValue is a row that cannot be read.
type noValue string

func (text noValue) Error() string { return strconv.Quote(string(text)) + " shows no value" }

// isLamps reports whether a text is lamps, the first of them in front.
func isLamps(text string) bool {
	return text != "" && text[0] != ' ' && strings.Trim(text, "#. ") == ""
}

func hexDigits(text string) (uint64, bool) {
	v := uint64(0)
	for _, c := range []byte(text) {
		d := strings.IndexByte("0123456789ABCDEF", c)
		if d < 0 || v>>60 != 0 {
			return 0, false
		}
		v = v<<4 | uint64(d)
	}
	return v, text != ""
}

func decimal(text string) (int, bool) {
	v := 0
	for _, c := range []byte(text) {
		if c < '0' || c > '9' || v > 1<<48 {
			return 0, false
		}
		v = v*10 + int(c-'0')
	}
	return v, text != ""
}

// lamps reads marks, the highest bit first.
func lamps(marks string) (value uint64, n int) {
	for _, c := range marks {
		switch c {
		case '#':
			value, n = value<<1|1, n+1
		case '.':
			value, n = value<<1, n+1
		}
	}
	return value, n
}

// signals holds the values against the views: every bus, register and flag in
// every phase, and what each holds or takes in after it.
func (l *lampsReader) signals(shown []shownValue, kept []string, views []*rehearse.View) error {
	still := map[string]string{}
	for _, word := range kept {
		name, value, ok := strings.Cut(word, "=")
		if _, twice := still[name]; !ok || twice {
			return fmt.Errorf("%q is no unchanged value", word)
		}
		still[name] = value
	}
	last := views[len(views)-1]
	used := 0
	var rows []shownValue // of a signal
	for i, s := range l.Machine.Signals {
		all := ^uint64(0) >> (64 - s.Width)
		if s.Kind == machine.Memory {
			n, err := memoryWrites(shown, i, s, views)
			if err != nil {
				return err
			}
			used += n
			continue
		}
		rows = rows[:0]
		for _, r := range shown {
			if r.name == s.Name {
				rows = append(rows, r)
			}
		}
		used += len(rows)
		for k, r := range rows {
			if r.after && (k < len(rows)-1 || s.Kind == machine.Bus) {
				return fmt.Errorf("%s is said twice after phase %d", s.Name, r.from)
			}
			if r.from < views[0].Phase || r.to > last.Phase || r.to < r.from {
				return fmt.Errorf("%s in phases %d to %d: the instruction has %d to %d", s.Name, r.from, r.to, views[0].Phase, last.Phase)
			}
		}
		if text, ok := still[s.Name]; ok {
			delete(still, s.Name)
			value, err := strconv.ParseUint(text, 16, 64)
			if err != nil || len(rows) > 0 || s.Kind == machine.Bus {
				return fmt.Errorf("%s=%s is not unchanged", s.Name, text)
			}
			rows = append(rows, shownValue{from: views[0].Phase, to: last.Phase, value: value, mask: ^uint64(0)}, shownValue{after: true, from: last.Phase, value: value})
		} else if len(rows) > 0 && s.Kind != machine.Bus && !rows[len(rows)-1].after {
			r := rows[len(rows)-1]
			rows = append(rows, shownValue{after: true, from: last.Phase, value: r.value})
		}
		for _, v := range views {
			value, driven, n := uint64(0), uint64(0), 0
			for _, r := range rows {
				if !r.after && r.from <= v.Phase && v.Phase <= r.to {
					value, driven = r.value, r.mask&all
					n++
				}
			}
			want := all
			if s.Kind == machine.Bus {
				want = v.Driven[i]
			}
			if n > 1 || value != v.Values[i] || driven != want {
				return fmt.Errorf("%s in phase %d is %X with %X driven, not %X with %X", s.Name, v.Phase, v.Values[i], want, value, driven)
			}
		}
		if s.Kind == machine.Bus {
			continue
		}
		end := last.Values[i]
		for _, w := range last.Writes {
			if w.Signal == i {
				end = end&^w.Mask | w.Value
			}
		}
		if n := len(rows); n == 0 || rows[n-1].value != end || rows[n-1].from != last.Phase {
			return fmt.Errorf("%s is %X after phase %d", s.Name, end, last.Phase)
		}
	}
	if used != len(shown) || len(still) > 0 {
		return fmt.Errorf("values of what the machine does not have")
	}
	return nil
}

// memoryWrites compares what a memory takes in, and returns in how many rows.
func memoryWrites(shown []shownValue, signal int, s machine.Signal, views []*rehearse.View) (int, error) {
	var rows []shownValue
	for _, r := range shown {
		if strings.HasPrefix(r.name, s.Name+"[") {
			rows = append(rows, r)
		}
	}
	used := len(rows)
	for _, v := range views {
		for _, w := range v.Writes {
			if w.Signal != signal {
				continue
			}
			all := ^uint64(0) >> (64 - s.Width)
			name := fmt.Sprintf("%s[%0*X]", s.Name, (max(bits.Len64(s.Words-1), 1)+3)/4, w.Index)
			if len(rows) == 0 || rows[0].name != name || !rows[0].after || rows[0].from != v.Phase || rows[0].value != w.Value || rows[0].mask&all != w.Mask {
				return 0, fmt.Errorf("%s takes in %X after phase %d, which is not shown", name, w.Value, v.Phase)
			}
			rows = rows[1:]
		}
	}
	if len(rows) > 0 {
		return 0, fmt.Errorf("%s takes in nothing in phase %d", rows[0].name, rows[0].from)
	}
	return used, nil
}

// noted compares the notes, blanks left out.
func (l *lampsReader) noted(text string, views []*rehearse.View) error {
	var want strings.Builder
	for _, v := range views {
		for _, n := range v.Notes {
			fmt.Fprintf(&want, "! phase %d: %s: %s", v.Phase, n.Kind, n.Text)
			if n.At.Line > 0 {
				file := n.At.File[strings.LastIndexAny(n.At.File, `/\`)+1:]
				fmt.Fprintf(&want, " (%s:%d)", file, n.At.Line)
			}
		}
		if v.Halt {
			fmt.Fprintf(&want, "! phase %d: the machine halts in it and stays there", v.Phase)
		}
	}
	if text != squeezed(want.String()) {
		return fmt.Errorf("the notes are %q, not %q", want.String(), text)
	}
	return nil
}

var (
	endTitle  = regexp.MustCompile(`^-- end -+ (\w+) --$`)
	endCounts = regexp.MustCompile(`: (\d+) instructions?, (\d+) phases?, (\S+) s$`)
	endRow    = regexp.MustCompile(`^(\S+) +([0-9A-F]+)  ([#.][#. ]*)$`)
	endMemory = regexp.MustCompile(`^(\S+), (\d+) changed words?$`)
	endWords  = regexp.MustCompile(`^  ([0-9A-F]+)  ([0-9A-F ]+)$`)
)

// final reads the block at the end.
func (p *paper) final(x Rehearsed) error {
	lines, err := p.block()
	if err != nil {
		return err
	}
	if p.ahead != nil {
		return refuse(p.line, "more than the end")
	}
	f := x.Final()
	wrong := func(format string, args ...any) error { return refuse(p.line, "the end: "+format, args...) }
	if len(lines) < 2 {
		return wrong("it is missing")
	}
	title, took := endTitle.FindStringSubmatch(lines[0]), endCounts.FindStringSubmatch(lines[1])
	if title == nil || title[1] != string(f.Reason) || took == nil {
		return wrong("the reason is %s", f.Reason)
	}
	seconds, bad := strconv.ParseFloat(took[3], 64)
	off := math.Abs(seconds - f.Seconds)
	if bad != nil || off > 5e-7 || f.Seconds < 1e-3 && off > 5e-6*f.Seconds {
		return wrong("%s s, not %g", took[3], f.Seconds)
	}
	if took[1] != strconv.Itoa(f.Instructions) || took[2] != strconv.Itoa(f.Phases) {
		return wrong("%d instructions in %d phases, not %s", f.Instructions, f.Phases, lines[1])
	}
	values := map[string]shownValue{}
	memories, counts := map[string]map[uint64]uint64{}, map[string]string{}
	var name, memory string
	for _, text := range lines[2:] {
		if m := endMemory.FindStringSubmatch(text); m != nil {
			memory = m[1]
			if memories[memory] != nil {
				return wrong("%s is listed twice", memory)
			}
			memories[memory] = map[uint64]uint64{}
			counts[memory] = m[2]
		} else if m := endWords.FindStringSubmatch(text); m != nil && memory != "" {
			at, err := strconv.ParseUint(m[1], 16, 64)
			for i, word := range strings.Fields(m[2]) {
				value, bad := strconv.ParseUint(word, 16, 64)
				if _, twice := memories[memory][at+uint64(i)]; twice || bad != nil || err != nil {
					return wrong("%q", text)
				}
				memories[memory][at+uint64(i)] = value
			}
		} else if m := endRow.FindStringSubmatch(text); m != nil && memory == "" {
			value, err := strconv.ParseUint(m[2], 16, 64)
			if _, twice := values[m[1]]; twice || err != nil {
				return wrong("%q", text)
			}
			name = m[1]
			values[name] = shownValue{value: value, marks: m[3], digits: len(m[2])}
		} else if moreLamps.MatchString(text) && memory == "" && name != "" {
			s := values[name]
			s.marks += text
			values[name] = s
		} else if text != "" {
			return wrong("%q", text)
		}
	}
	n := 0
	for i, s := range x.Machine.Signals {
		switch s.Kind {
		case machine.Register, machine.Flag:
			n++
			v, ok := values[s.Name]
			if lit, count := lamps(v.marks); !ok || v.value != f.Values[i] || lit != v.value || count != s.Width {
				return wrong("%s is %X", s.Name, f.Values[i])
			}
		case machine.Memory:
			if !maps.Equal(memories[s.Name], f.Memories[i]) || len(f.Memories[i]) > 0 && counts[s.Name] != strconv.Itoa(len(f.Memories[i])) {
				return wrong("the changed words of %s are not these", s.Name)
			}
			delete(memories, s.Name)
		}
	}
	if n != len(values) || len(memories) > 0 {
		return wrong("values of what the machine does not have")
	}
	return nil
}
