// Package listing prints an assembled program for the bench: beside its source, and as switch settings for hand entry.
package listing

import (
	"cmp"
	"fmt"
	"io"
	"math/bits"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/schedule"
)

// Listing writes a program beside its source: for every source line the
// address and the words it came to, in hex digits, and for an instruction the
// phases it takes and their time in milliseconds, least and most over the ways
// through it. What each memory holds and the symbols come last. Pages have 60
// lines and are set off by form feeds; lines have 80 characters, and what does
// not fit of a source line goes on below. An error is the writer's.
func Listing(w io.Writer, m *machine.Machine, plan *schedule.Plan, p *assemble.Program) error {
	s := newSheet(m, plan, p)
	body := append(s.lines(), s.usage()...)
	body = append(body, s.symbols()...)
	out := newPage(w)
	what := fmt.Sprintf("Listing of %s, sha256 %s", p.Name, short(p.Source))
	out.pages(heading(m.Name, m.Title, p.Hash, Width), what, Width, paginate(nil, []string{"", s.head(), ""}, body))
	return out.flush()
}

// sheet knows the columns of a listing.
type sheet struct {
	m       *machine.Machine
	p       *assemble.Program
	cost    map[[2]int]span // by instruction and variant
	address int             // hex digits
	words   int             // characters
	phases  int
	times   int
	number  int // digits of a line number
}

// wordsRoom is how many characters the words of an instruction may take side
// by side; what is more goes on below, to leave the source its place.
const wordsRoom = 11

// span is what an instruction takes, as it is printed.
type span struct{ phases, times string }

func newSheet(m *machine.Machine, plan *schedule.Plan, p *assemble.Program) *sheet {
	s := &sheet{m: m, p: p, cost: map[[2]int]span{}, address: 2, words: 5, phases: len("phases"), times: len("ms"), number: len("line")}
	for _, o := range plan.Owners {
		if o.Kind != "instruction" || len(o.Paths) == 0 {
			continue
		}
		least, most := 0, 0
		for _, path := range o.Paths {
			n := max(path.Last, path.Restart)
			if path.Restart == 0 {
				n = plan.Phases // without a restart line the ring comes round
			}
			if least == 0 || n < least {
				least = n
			}
			most = max(most, n)
		}
		s.cost[[2]int{o.Instruction, o.Variant}] = span{between(strconv.Itoa(least), strconv.Itoa(most)),
			between(s.milliseconds(least), s.milliseconds(most))}
	}
	for _, l := range p.Lines {
		if c, ok := s.cost[[2]int{l.Instruction, l.Variant}]; ok {
			s.phases, s.times = max(s.phases, len(c.phases)), max(s.times, len(c.times))
		}
		s.number = max(s.number, len(strconv.Itoa(l.At.Line)))
		if l.Memory >= 0 {
			digits, n := hexDigits(p.Memories[l.Memory].Width), 1
			if l.Instruction >= 0 {
				n = len(l.Words)
			}
			s.words = max(s.words, min(n*(digits+1)-1, max(wordsRoom, digits)))
		}
	}
	for _, memory := range p.Memories {
		s.address = max(s.address, addressDigits(memory))
	}
	return s
}

// addressDigits is how many hex digits an address of a memory takes.
func addressDigits(m assemble.Memory) int { return hexDigits(addressBits(m)) }

func addressBits(m assemble.Memory) int { return max(bits.Len64(m.Words-1), 1) }

func between(least, most string) string {
	if least == most {
		return least
	}
	return least + "-" + most
}

func (s *sheet) milliseconds(phases int) string {
	return strconv.FormatFloat(float64(phases)*s.m.Sequencer.Period*1e3, 'g', 6, 64)
}

// row sets a line in its columns. Words of data may reach into the columns of
// phases and times, where data has nothing to say.
func (s *sheet) row(address, words, phases, times, number, source string) string {
	if phases == "" && times == "" {
		return fmt.Sprintf("%*s  %-*s %*s  %s", max(s.address, 4), address, s.wide(), words, s.number, number, source)
	}
	return fmt.Sprintf("%*s  %-*s %*s %*s %*s  %s", max(s.address, 4), address, s.words, words, s.phases, phases, s.times, times, s.number, number, source)
}

// wide is the width of the columns that data may take.
func (s *sheet) wide() int { return s.words + 1 + s.phases + 1 + s.times }

func (s *sheet) head() string { return s.row("addr", "words", "phases", "ms", "line", "source") }

// lines makes a block of each source line, with a rule where the file or the
// memory changes.
func (s *sheet) lines() [][]string {
	var out [][]string
	room := max(Width-utf8.RuneCountInString(s.row("", "", "", "", "", "")), 24)
	file, memory := "", -1
	if len(s.p.Lines) > 0 {
		file = s.p.Lines[0].At.File
	}
	if len(s.p.Memories) == 1 {
		memory = 0
	}
	for _, l := range s.p.Lines {
		var block []string
		if l.At.File != file {
			file = l.At.File
			block = append(block, rule("file "+s.name(file), Width))
		}
		if l.Memory >= 0 && len(l.Words) > 0 && l.Memory != memory {
			memory = l.Memory
			block = append(block, rule("in "+describe(s.p.Memories[memory]), Width))
		}
		out = append(out, append(block, s.line(l, room)...))
	}
	return out
}

// name is a file as seen from the program's folder, so that the page does not
// depend on where that is.
func (s *sheet) name(file string) string {
	if rel, err := filepath.Rel(filepath.Dir(s.p.Lines[0].At.File), file); err == nil {
		return filepath.ToSlash(rel)
	}
	return filepath.ToSlash(file)
}

func describe(m assemble.Memory) string { return fmt.Sprintf("%s %d x %d", m.Name, m.Words, m.Width) }

func (s *sheet) line(l assemble.Line, room int) []string {
	source := fold(plain(l.Text), room)
	var words []string // what stands in the words column, line by line
	each := 0
	if len(l.Words) > 0 {
		digits := hexDigits(s.p.Memories[l.Memory].Width)
		room := s.words
		if l.Instruction < 0 {
			room = s.wide()
		}
		each = max((room+1)/(digits+1), 1)
		if each > 4 {
			each &^= 3 // fours are easier to count
		}
		for run := range slices.Chunk(l.Words, each) {
			var texts []string
			for _, word := range run {
				texts = append(texts, hex(word, digits))
			}
			words = append(words, strings.Join(texts, " "))
		}
	}
	var out []string
	for i := range max(len(source), len(words)) {
		var address, word, text, number string
		var c span
		if i < len(words) {
			word = words[i]
			address = hex(l.Address+uint64(i*each), addressDigits(s.p.Memories[l.Memory]))
		}
		if i < len(source) {
			text = source[i]
		}
		if i == 0 {
			c = s.cost[[2]int{l.Instruction, l.Variant}]
			number = strconv.Itoa(l.At.Line)
		}
		out = append(out, s.row(address, word, c.phases, c.times, number, text))
	}
	return out
}

// usage says what each memory holds.
func (s *sheet) usage() [][]string {
	out := [][]string{{"", rule("memory", Width)}}
	for _, memory := range s.p.Memories {
		digits, total := addressDigits(memory), uint64(0)
		var runs []string
		for _, seg := range memory.Segments {
			total += uint64(len(seg.Words))
			runs = append(runs, between(hex(seg.Address, digits), hex(seg.Address+uint64(len(seg.Words))-1, digits)))
		}
		text := fmt.Sprintf("%s of %d", counted(total, "word"), memory.Words)
		if total > 0 {
			text += ": " + strings.Join(runs, ", ")
		}
		first := fmt.Sprintf("%s %d x %d  ", memory.Name, memory.Words, memory.Width)
		out = append(out, wrap(first, strings.Repeat(" ", 4), text, Width))
	}
	return out
}

// symbols lists labels and constants by name.
func (s *sheet) symbols() [][]string {
	if len(s.p.Symbols) == 0 {
		return nil
	}
	list := slices.Clone(s.p.Symbols)
	slices.SortFunc(list, func(a, b assemble.Symbol) int { return cmp.Compare(a.Name, b.Name) })
	wide, value, kind := len("name"), len("value"), len("what")
	texts := make([][2]string, len(list))
	for i, y := range list {
		texts[i] = s.value(y)
		wide, value, kind = max(wide, len(y.Name)), max(value, len(texts[i][0])), max(kind, len(texts[i][1]))
	}
	row := func(name, number, hexValue, what, at string) string {
		return fmt.Sprintf("%-*s  %20s  %*s  %-*s  %s", wide, name, number, value, hexValue, kind, what, at)
	}
	out := [][]string{{"", rule("symbols", Width), row("name", "value", "hex", "what", "line")}}
	for i, y := range list {
		at := strconv.Itoa(y.At.Line)
		if y.At.File != s.p.Lines[0].At.File {
			at = s.name(y.At.File) + ":" + at
		}
		number := strconv.FormatInt(y.Value, 10)
		if y.Label {
			number = strconv.FormatUint(uint64(y.Value), 10)
		}
		out = append(out, []string{row(y.Name, number, texts[i][0], texts[i][1], at)})
	}
	return out
}

// value is a symbol in hex, and what it is.
func (s *sheet) value(y assemble.Symbol) [2]string {
	if y.Label && y.Memory >= 0 {
		memory := s.p.Memories[y.Memory]
		return [2]string{hex(uint64(y.Value), addressDigits(memory)), "label in " + memory.Name}
	}
	if y.Value < 0 {
		return [2]string{"-" + hex(-uint64(y.Value), 2), "constant"}
	}
	return [2]string{hex(uint64(y.Value), 2), "constant"}
}
