package readback

import (
	"bufio"
	"fmt"
	"io"
	"math/bits"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/schedule"
)

// sheetLine is a line of a page without the page's heading.
type sheetLine struct {
	number int // in the file, from 1
	text   string
}

var pageNumber = regexp.MustCompile(`^(.*?) +page (\d+) of (\d+)$`)

// sheets reads pages set off by form feeds, checks the two lines that head
// each (the machine with its hash, and what the page is about, numbered), and
// returns what the pages are about and the lines below, pages apart.
func sheets(r io.Reader, machineName, hash string) (about string, pages [][]sheetLine, err error) {
	in := bufio.NewReaderSize(r, 64<<10)
	total := 0
	for n := 1; ; n++ {
		text, err := in.ReadString('\n')
		if err == io.EOF && text == "" {
			break
		}
		if err == io.EOF {
			return "", nil, refuse(n, "the last line has no end")
		}
		if err != nil {
			return "", nil, err
		}
		text = text[:len(text)-1]
		next, feed := strings.CutPrefix(text, "\f")
		if n == 1 && feed {
			return "", nil, refuse(n, "a form feed before the first page")
		}
		if n == 1 || feed {
			left, ok := strings.CutSuffix(next, "sha256 "+hash[:min(12, len(hash))])
			if !ok || !begins(strings.TrimSpace(left), machineName) {
				return "", nil, refuse(n, "the page is not of machine %s with hash %.12s", machineName, hash)
			}
			second, err := in.ReadString('\n')
			if err != nil && err != io.EOF {
				return "", nil, err
			}
			n++
			m := pageNumber.FindStringSubmatch(strings.TrimSuffix(second, "\n"))
			if m == nil || m[2] != strconv.Itoa(len(pages)+1) {
				return "", nil, refuse(n, "page %d is due", len(pages)+1)
			}
			if len(pages) == 0 {
				about = m[1]
				total, _ = strconv.Atoi(m[3])
			}
			if m[1] != about || m[3] != strconv.Itoa(total) {
				return "", nil, refuse(n, "the heading is not that of the first page")
			}
			pages = append(pages, nil)
			continue
		}
		last := len(pages) - 1
		pages[last] = append(pages[last], sheetLine{n, text})
	}
	if len(pages) != total || total == 0 {
		return "", nil, refuse(1, "%d pages of %d", len(pages), total)
	}
	return about, pages, nil
}

// begins reports that text begins with what is wanted, or with as much of it
// as fitted on the page before three points.
func begins(text, want string) bool {
	kept, cut := strings.CutSuffix(text, "...")
	return strings.HasPrefix(text, want) || cut && strings.HasPrefix(want, kept)
}

// Listing reads a listing and compares it with the program: the words at every
// address with its memories, every source line with what it came to and what
// the plan says that it takes, the symbols. Blanks within a source line are
// not compared. An error is a *LineError.
func Listing(r io.Reader, m *machine.Machine, plan *schedule.Plan, p *assemble.Program) error {
	about, pages, err := sheets(r, p.Machine, p.Hash)
	if err != nil {
		return err
	}
	if !begins(about, fmt.Sprintf("Listing of %s, sha256 %.12s", p.Name, p.Source)) {
		return refuse(2, "the listing is of another program: %s", about)
	}
	l := &listingReader{m: m, plan: plan, p: p, next: -1, memory: -1, words: make([]map[uint64]uint64, len(p.Memories))}
	for i := range l.words {
		l.words[i] = map[uint64]uint64{}
	}
	if len(p.Memories) == 1 {
		l.memory = 0
	}
	for _, page := range pages {
		if err := l.page(page); err != nil {
			return err
		}
	}
	return l.end()
}

// listingReader follows a listing line by line.
type listingReader struct {
	m       *machine.Machine
	plan    *schedule.Plan
	p       *assemble.Program
	at      int    // line of the file being read
	section string // "", "memory" or "symbols"
	file    string // of the source, as the rules name it
	memory  int    // index, -1: not known
	columns []int  // where the address ends, the words begin, phases, ms and line end, the source begins
	next    int    // index of the source line being read
	row     listed
	words   []map[uint64]uint64 // by memory
	usage   []string            // what the page says of the memories, lines joined
	symbols int
}

// listed is a source line as the listing has it so far.
type listed struct {
	address uint64
	words   []uint64
	text    string
}

var listingHead = regexp.MustCompile(`^ *addr +words +phases +ms +line +source$`)

func (l *listingReader) page(lines []sheetLine) error {
	if len(lines) < 3 || lines[0].text != "" || lines[2].text != "" || !listingHead.MatchString(lines[1].text) {
		return refuse(l.at+1, "no head of columns")
	}
	head := lines[1].text
	l.columns = l.columns[:0]
	for _, name := range []string{"addr", "words", "phases", "ms", "line"} {
		at := strings.Index(head, name)
		if name != "words" {
			at += len(name)
		}
		l.columns = append(l.columns, at)
	}
	l.columns = append(l.columns, strings.Index(head, "source"))
	for _, line := range lines[3:] {
		l.at = line.number
		if err := l.line(line.text); err != nil {
			return err
		}
	}
	return nil
}

func (l *listingReader) line(text string) error {
	if name, ok := strings.CutPrefix(text, "-- "); ok {
		name = strings.TrimSpace(strings.TrimRight(name, "-"))
		return l.rule(name)
	}
	switch l.section {
	case "memory":
		switch {
		case text == "":
		case text[0] == ' ' && len(l.usage) > 0:
			l.usage[len(l.usage)-1] += " " + strings.TrimSpace(text)
		default:
			l.usage = append(l.usage, text)
		}
		return nil
	case "symbols":
		return l.symbol(text)
	}
	if text == "" {
		return nil // before the rule of the next section
	}
	return l.source(text)
}

// rule follows a line across the page.
func (l *listingReader) rule(name string) error {
	if name == "memory" || name == "symbols" {
		if err := l.finish(); err != nil {
			return err
		}
		l.section = name
		return nil
	}
	if file, ok := strings.CutPrefix(name, "file "); ok {
		l.file = file
		return nil
	}
	for i, m := range l.p.Memories {
		if name == fmt.Sprintf("in %s %d x %d", m.Name, m.Words, m.Width) {
			l.memory = i
			return nil
		}
	}
	return refuse(l.at, "the program has nothing called %q", name)
}

// field cuts columns from..to out of a row.
func field(row []rune, from, to int) string {
	from, to = min(from, len(row)), min(to, len(row))
	if from >= to {
		return ""
	}
	return strings.TrimSpace(string(row[from:to]))
}

func (l *listingReader) source(text string) error {
	row := []rune(text)
	c := l.columns
	// Words are set from the left; phases, ms and the line's number end where
	// their heads end.
	address, number := field(row, 0, c[0]), field(row, c[3]+1, c[4])
	source := ""
	if len(row) > c[5] {
		source = string(row[c[5]:])
	}
	times := strings.Fields(field(row, c[1], c[3]))
	if number != "" {
		if err := l.finish(); err != nil {
			return err
		}
		if l.next++; l.next >= len(l.p.Lines) {
			return refuse(l.at, "more source lines than the program has")
		}
		line := l.p.Lines[l.next]
		if number != strconv.Itoa(line.At.Line) {
			return refuse(l.at, "source line %s where %d is due", number, line.At.Line)
		}
		phases, ms := l.takes(line)
		if phases != "" {
			n := len(times)
			if n < 2 || times[n-2] != phases || times[n-1] != ms {
				return refuse(l.at, "the plan has %s phases in %s ms", phases, ms)
			}
			times = times[:n-2]
		}
	} else if l.next < 0 {
		return refuse(l.at, "a row before the first source line")
	}
	l.row.text += source
	return l.put(address, times)
}

// put takes the words of a row.
func (l *listingReader) put(address string, words []string) error {
	if address == "" {
		if len(words) > 0 {
			return refuse(l.at, "words without an address")
		}
		return nil
	}
	if l.memory < 0 {
		return refuse(l.at, "words in no memory")
	}
	at, err := strconv.ParseUint(address, 16, 64)
	if err != nil {
		return refuse(l.at, "%s is no address", address)
	}
	if len(l.row.words) == 0 {
		l.row.address = at
	}
	if at != l.row.address+uint64(len(l.row.words)) {
		return refuse(l.at, "address %s does not follow", address)
	}
	digits := (l.p.Memories[l.memory].Width + 3) / 4
	for _, text := range words {
		v, err := strconv.ParseUint(text, 16, 64)
		if err != nil || len(text) != digits {
			return refuse(l.at, "%s is no word of %d digits", text, digits)
		}
		l.row.words = append(l.row.words, v)
	}
	return nil
}

// takes is what the plan says of an instruction: phases and milliseconds.
func (l *listingReader) takes(line assemble.Line) (phases, ms string) {
	if line.Instruction < 0 {
		return "", ""
	}
	for _, o := range l.plan.Owners {
		if o.Instruction != line.Instruction || o.Variant != line.Variant || len(o.Paths) == 0 {
			continue
		}
		var all []int
		for _, path := range o.Paths {
			switch {
			case path.Restart > 0:
				all = append(all, max(path.Restart, path.Last))
			default:
				all = append(all, l.plan.Phases)
			}
		}
		time := func(n int) string {
			return strconv.FormatFloat(float64(n)*l.m.Sequencer.Period*1e3, 'g', 6, 64)
		}
		least, most := slices.Min(all), slices.Max(all)
		phases, ms = strconv.Itoa(least), time(least)
		if most > least {
			phases += "-" + strconv.Itoa(most)
		}
		if time(most) != time(least) {
			ms += "-" + time(most)
		}
		return phases, ms
	}
	return "", ""
}

// finish compares the source line that has been read to its end.
func (l *listingReader) finish() error {
	if l.next < 0 || l.section != "" {
		return nil
	}
	line := l.p.Lines[l.next]
	if squeezed(l.row.text) != squeezed(line.Text) {
		return refuse(l.at, "before here: the source is %q, not %q", line.Text, l.row.text)
	}
	if !slices.Equal(l.row.words, line.Words) || len(line.Words) > 0 && (l.row.address != line.Address || l.memory != line.Memory) {
		return refuse(l.at, "before here: source line %d comes to %X at %X, not %X at %X", line.At.Line, line.Words, line.Address, l.row.words, l.row.address)
	}
	for i, w := range l.row.words {
		l.words[l.memory][l.row.address+uint64(i)] = w
	}
	l.row = listed{}
	return nil
}

// squeezed leaves out blanks, and puts one mark for what paper cannot carry.
func squeezed(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == ' ' || r == '\t':
			return -1
		case unicode.IsControl(r):
			return unicode.ReplacementChar
		}
		return r
	}, text)
}

var symbolLine = regexp.MustCompile(`^(\S+) +(-?\d+) +(-?)([0-9A-F]+)  +(constant|label in \S+)  +(?:\S.*:)?(\d+)$`)

func (l *listingReader) symbol(text string) error {
	if text == "" || strings.HasPrefix(text, "name ") && l.symbols == 0 {
		return nil
	}
	f := symbolLine.FindStringSubmatch(text)
	if f == nil {
		return refuse(l.at, "%q is no symbol", text)
	}
	sorted := slices.Clone(l.p.Symbols)
	slices.SortFunc(sorted, func(a, b assemble.Symbol) int { return strings.Compare(a.Name, b.Name) })
	if l.symbols >= len(sorted) {
		return refuse(l.at, "more symbols than the program has")
	}
	y := sorted[l.symbols]
	l.symbols++
	size, err := strconv.ParseUint(f[4], 16, 64)
	if err != nil {
		return refuse(l.at, "%s is no value", f[4])
	}
	if f[3] == "-" {
		size = -size
	}
	decimal, what := strconv.FormatInt(y.Value, 10), "constant"
	if y.Label {
		decimal = strconv.FormatUint(uint64(y.Value), 10)
		if y.Memory >= 0 {
			what = "label in " + l.p.Memories[y.Memory].Name
		}
	}
	if f[1] != y.Name || f[2] != decimal || int64(size) != y.Value || f[5] != what || f[6] != strconv.Itoa(y.At.Line) {
		return refuse(l.at, "the symbol is %s = %d, %s, at line %d", y.Name, y.Value, what, y.At.Line)
	}
	return nil
}

// end holds what has been gathered against the whole program.
func (l *listingReader) end() error {
	if l.section == "" {
		return refuse(l.at, "the listing has no summary of the memories")
	}
	if l.next != len(l.p.Lines)-1 {
		return refuse(l.at, "%d source lines of %d", l.next+1, len(l.p.Lines))
	}
	if l.symbols != len(l.p.Symbols) {
		return refuse(l.at, "%d symbols of %d", l.symbols, len(l.p.Symbols))
	}
	if len(l.usage) != len(l.p.Memories) {
		return refuse(l.at, "%d memories of %d", len(l.usage), len(l.p.Memories))
	}
	for i, m := range l.p.Memories {
		total := 0
		var runs []string
		for _, seg := range m.Segments {
			for k, w := range seg.Words {
				if got, ok := l.words[i][seg.Address+uint64(k)]; !ok || got != w {
					return refuse(l.at, "%s: the word at %X is %X, the listing does not have it", m.Name, seg.Address+uint64(k), w)
				}
			}
			total += len(seg.Words)
			digits := max((max(bits.Len64(m.Words-1), 1)+3)/4, 1)
			run := fmt.Sprintf("%0*X", digits, seg.Address)
			if len(seg.Words) > 1 {
				run += fmt.Sprintf("-%0*X", digits, seg.Address+uint64(len(seg.Words))-1)
			}
			runs = append(runs, run)
		}
		if len(l.words[i]) != total {
			return refuse(l.at, "%s: the listing has %d words, the program %d", m.Name, len(l.words[i]), total)
		}
		noun := "words"
		if total == 1 {
			noun = "word"
		}
		want := fmt.Sprintf("%s %d x %d  %d %s of %d", m.Name, m.Words, m.Width, total, noun, m.Words)
		if total > 0 {
			want += ": " + strings.Join(runs, ", ")
		}
		if squeezed(l.usage[i]) != squeezed(want) {
			return refuse(l.at, "the memory is %q, not %q", want, l.usage[i])
		}
	}
	return nil
}
