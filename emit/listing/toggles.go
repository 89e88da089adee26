package listing

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
)

// Marks for a switch: one sits high in its line, the other low.
const (
	switchUp   = '^'
	switchDown = '.'
)

// pause is after how many addresses a blank line lets the eye rest; sixteen
// addresses share all but their last hex digit, so a half of that.
const pause = 8

// cautions head the page for hand entry: what spoils memory or machine.
var cautions = []string{
	"Stop the sequencer before you set anything, and keep it stopped.",
	"Move switches only while the write key is released.",
	"Read each word back on the lamps before you tick its box.",
}

// Toggles writes what to set on the front panel to enter one memory of a
// program by hand: one line an address, only those that the program defines,
// with the address and data switches drawn up and down and a box to tick.
// Switches stand in groups of four, a hex digit each, counted from the right,
// so that the groups can be checked against the digits beside them and in the
// listing. memory is an index into Memories. Pages have 60 lines and are set
// off by form feeds; lines have 80 characters unless the switches alone need
// more. An error is the writer's.
func Toggles(w io.Writer, m *machine.Machine, p *assemble.Program, memory int) error {
	t := &toggles{p: p, memory: p.Memories[memory]}
	t.address, t.data = addressBits(t.memory), t.memory.Width
	t.spaced = utf8.RuneCountInString(t.row(box, 0, 0, "")) < Width-24
	total := uint64(0)
	for _, seg := range t.memory.Segments {
		total += uint64(len(seg.Words))
	}
	var before []string
	before = append(before, "", "BEFORE YOU START")
	for _, c := range cautions {
		before = append(before, "  * "+c)
	}
	before = append(before, "", fmt.Sprintf("%c up (1)   %c down (0)   switch numbers stand above", switchUp, switchDown))
	out := newPage(w)
	what := fmt.Sprintf("Switches for %s, sha256 %s: %s of %s", p.Name, short(p.Source), counted(total, "word"), t.memory.Name)
	out.pages(heading(m.Name, m.Title, p.Hash, Width), what, Width, paginate(before, t.head(), t.blocks()))
	return out.flush()
}

const box = "[ ]"

// leastRemark is how many characters a remark has to have to say anything.
const leastRemark = 6

type toggles struct {
	p             *assemble.Program
	memory        assemble.Memory
	address, data int  // switches
	spaced        bool // there is room for a blank between two switches
}

// switches draws the low bits of a value, the highest at the left.
func (t *toggles) switches(bits int, mark func(bit int) byte) string {
	var b strings.Builder
	for bit := bits - 1; bit >= 0; bit-- {
		b.WriteByte(mark(bit))
		if bit > 0 && t.spaced {
			b.WriteByte(' ')
		}
		if bit > 0 && bit%4 == 0 {
			b.WriteByte(' ')
		}
	}
	return b.String()
}

func (t *toggles) row(first string, address, data uint64, remark string) string {
	set := func(value uint64) func(int) byte {
		return func(bit int) byte {
			if value>>bit&1 == 1 {
				return switchUp
			}
			return switchDown
		}
	}
	return fmt.Sprintf("%s  %s %s   %s %s  %s", first, hex(address, hexDigits(t.address)), t.switches(t.address, set(address)),
		hex(data, hexDigits(t.data)), t.switches(t.data, set(data)), remark)
}

// head is what stands above the switches: their numbers, tens above units.
func (t *toggles) head() []string {
	tens := func(bit int) byte {
		if bit >= 10 {
			return '0' + byte(bit/10)
		}
		return ' '
	}
	units := func(bit int) byte { return '0' + byte(bit%10) }
	digits := func(bits int) string { return strings.Repeat(" ", hexDigits(bits)) }
	line := func(first string, mark func(int) byte, remark string) string {
		return fmt.Sprintf("%s  %s %s   %s %s  %s", first, digits(t.address), t.switches(t.address, mark), digits(t.data), t.switches(t.data, mark), remark)
	}
	wide := utf8.RuneCountInString(digits(t.address) + " " + t.switches(t.address, units))
	out := []string{"", fmt.Sprintf("     %-*s   %s", wide, "address", "data")}
	if max(t.address, t.data) > 10 {
		out = append(out, line("   ", tens, ""))
	}
	return append(out, line("box", units, ""), "")
}

// blocks makes a block of up to eight addresses that follow each other.
func (t *toggles) blocks() [][]string {
	from := t.remarks()
	room := Width - utf8.RuneCountInString(t.row(box, 0, 0, ""))
	var out [][]string
	for _, seg := range t.memory.Segments {
		var block []string
		if len(out) > 0 {
			block = append(block, rule("go to address "+hex(seg.Address, hexDigits(t.address)), Width))
		}
		for i, word := range seg.Words {
			at := seg.Address + uint64(i)
			remark := ""
			if room >= leastRemark {
				remark = cut(from[at], room)
			}
			block = append(block, t.row(box, at, word, remark))
			if at%pause == pause-1 || i == len(seg.Words)-1 {
				if len(out) > 0 {
					block = append([]string{""}, block...)
				}
				out = append(out, block)
				block = nil
			}
		}
	}
	return out
}

// remarks gives an address the source it comes from, without its comment's
// blanks; what a line puts into further words is marked as going on.
func (t *toggles) remarks() map[uint64]string {
	out := map[uint64]string{}
	for _, l := range t.p.Lines {
		if l.Memory < 0 || t.p.Memories[l.Memory].Signal != t.memory.Signal {
			continue
		}
		for i := range l.Words {
			if i == 0 {
				out[l.Address] = strconv.Itoa(l.At.Line) + ": " + strings.Join(strings.Fields(plain(l.Text)), " ")
			} else {
				out[l.Address+uint64(i)] = `"`
			}
		}
	}
	return out
}
