package lamps

import (
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/encode/store"
)

// Marks for a lamp, which a terminal without Unicode and a line printer have too.
const (
	lit  = '#'
	dark = '.'
)

// lampsARow is how many lamps of a value stand side by side: half of 64, so
// that a row fits the page whatever the width.
const lampsARow = 32

// NewText returns a recorder of one block an instruction: phases across, lines
// down as lamps, with a box a phase to tick; below them what the lamps of
// buses, registers and flags show and in which phases, each value once, in hex
// digits and as lamps in groups of four; then what else there is to say. Lines
// that are dark throughout, buses without a source and registers that keep
// their value take no rows. 80 characters, pages of 60 lines with form feeds
// between them.
func NewText(w io.Writer, s Subject) Recorder {
	t := &text{Subject: s, from: s.sources(), home: s.program()}
	t.pages = newPages(w, heading(s.Machine.Name, s.Machine.Title, s.Store.Hash), fmt.Sprintf("Lamps of %s, sha256 %s", s.Program.Name, short(s.Program.Source)))
	for _, x := range s.Machine.Signals {
		t.digits = max(t.digits, len(hex(0, x.Width)))
	}
	t.block([]string{
		fmt.Sprintf("%c lit   %c dark   [] tick what you have seen", lit, dark),
		"A line is lit while it is active; lines that are not listed are dark. A bus is",
		"dark in the phases that it is not listed for: nothing drives it. A register",
		"shows what it holds before the latches of a phase capture; \"after 9\" is what it",
		"holds once those of phase 9 have. Groups of four lamps are hex digits.",
	})
	return t
}

type text struct {
	Subject
	*pages
	from   map[uint64]string
	home   int
	name   int // characters of the widest name of the block
	digits int // hex digits of the widest value
	views  []*rehearse.View

	// What the last block has used and the next one uses again.
	out   []byte
	lines []string
	rows  []row
	end   []uint64
	on    store.Set
}

func (t *text) View(v *rehearse.View) {
	if n := len(t.views); n > 0 && t.views[n-1].Instruction != v.Instruction {
		t.instruction()
	}
	t.views = append(t.views, v)
}

func (t *text) Close(f rehearse.Final) error {
	if len(t.views) > 0 {
		t.instruction()
	}
	t.block(finalLines(t.Machine, f))
	return t.flush()
}

// instruction writes the block of the views that have been gathered.
func (t *text) instruction() {
	t.gather()
	// Names share a column in the block.
	t.name = len("phase")
	t.light(t.views)
	for i := range t.Machine.Lines {
		if t.on.Has(i) {
			t.name = max(t.name, len(t.Machine.Lines[i].Name))
		}
	}
	for i := range t.rows {
		t.name = max(t.name, len(t.rows[i].name))
	}
	t.out = append(append(t.out[:0], t.title()...), '\n')
	t.grid()
	t.out = append(t.out, '\n')
	t.values()
	t.kept()
	t.notes()
	t.lines = t.lines[:0]
	for rest := string(t.out); rest != ""; {
		line, more, _ := strings.Cut(rest, "\n")
		t.lines = append(t.lines, line)
		rest = more
	}
	t.block(t.lines)
	t.views = t.views[:0]
}

func (t *text) title() string {
	last := t.views[len(t.views)-1]
	name := strconv.Itoa(last.Instruction)
	if last.Known {
		name += " at " + t.hexAddress(last.Address)
		if source, ok := t.from[last.Address]; ok {
			name += ": " + source
		}
	}
	return rule(name, t.Store.Owners[last.Owner].Name+", opcode "+hex(last.Opcode, t.Machine.Opcode.Width()))
}

func (t *text) hexAddress(address uint64) string {
	if t.home < 0 {
		return hex(address, 1)
	}
	return hex(address, addressBits(t.Machine.Signals[t.home]))
}

// light notes the lines that are on in some of the phases.
func (t *text) light(views []*rehearse.View) {
	t.on = append(t.on[:0], views[0].Lines...)
	for _, v := range views[1:] {
		for i, w := range v.Lines {
			t.on[i] |= w
		}
	}
}

// pad puts text and blanks up to a width.
func (t *text) pad(text string, width int) {
	t.out = append(t.out, text...)
	t.blanks(width - utf8.RuneCountInString(text))
}

func (t *text) blanks(n int) {
	for ; n > 0; n-- {
		t.out = append(t.out, ' ')
	}
}

func (t *text) grid() {
	const cell = 3
	each := max((Width-t.name)/cell, 4)
	// Parts of equal size read better than a full one and a remainder.
	parts := (len(t.views) + each - 1) / each
	each = (len(t.views) + parts - 1) / parts
	for from := 0; from < len(t.views); from += each {
		views := t.views[from:min(from+each, len(t.views))]
		if from > 0 {
			t.out = append(t.out, '\n')
		}
		t.pad("phase", t.name)
		for _, v := range views {
			t.blanks(cell - digitsOf(v.Phase))
			t.out = strconv.AppendInt(t.out, int64(v.Phase), 10)
		}
		t.light(views)
		for i := range t.Machine.Lines {
			if !t.on.Has(i) {
				continue
			}
			t.out = append(t.out, '\n')
			t.pad(t.Machine.Lines[i].Name, t.name)
			for _, v := range views {
				mark := byte(dark)
				if v.Lines.Has(i) {
					mark = lit
				}
				t.out = append(t.out, ' ', ' ', mark)
			}
		}
		t.out = append(t.out, '\n')
		t.pad("tick", t.name)
		for range views {
			t.out = append(t.out, " []"...)
		}
		t.out = append(t.out, '\n')
	}
}

// digitsOf is the length of a number that is not negative.
func digitsOf(n int) int {
	d := 1
	for ; n > 9; n /= 10 {
		d++
	}
	return d
}

// row is a value that lamps show for some phases, or once those of one have
// captured.
type row struct {
	name     string
	signal   int
	after    bool
	from, to int // phases
	width    int
	value    uint64
	remark   string
}

// when says for which phases: "2", "2-5", "after 5".
func (r *row) when(to []byte) []byte {
	if r.after {
		to = append(to, "after "...)
	}
	to = strconv.AppendInt(to, int64(r.from), 10)
	if r.to > r.from {
		to = strconv.AppendInt(append(to, '-'), int64(r.to), 10)
	}
	return to
}

// gather lists what the lamps of buses show while they have a source, what
// those of registers and flags show that change, and what memories take in.
func (t *text) gather() {
	out := t.rows[:0]
	last := t.views[len(t.views)-1]
	t.end = after(t.end[:0], t.Machine, last)
	for i := range t.Machine.Signals {
		s := &t.Machine.Signals[i]
		all := full(s.Width)
		switch s.Kind {
		case machine.Memory:
			for _, v := range t.views {
				for _, w := range v.Writes {
					if w.Signal == i {
						out = append(out, row{s.Name + "[" + hex(w.Index, addressBits(*s)) + "]", i, true, v.Phase, v.Phase, s.Width, w.Value, partial("bits", w.Mask, s.Width)})
					}
				}
			}
			continue
		case machine.Register, machine.Flag:
			still := true
			for _, v := range t.views {
				still = still && v.Values[i] == t.end[i]
			}
			if still {
				continue
			}
		}
		bus := s.Kind == machine.Bus
		for from := 0; from < len(t.views); {
			x, to := t.views[from], from+1
			for to < len(t.views) && t.views[to].Values[i] == x.Values[i] && (!bus || t.views[to].Driven[i] == x.Driven[i]) {
				to++
			}
			driven := all
			if bus {
				driven = x.Driven[i]
			}
			if driven != 0 {
				out = append(out, row{s.Name, i, false, x.Phase, t.views[to-1].Phase, s.Width, x.Values[i], partial("driven", driven, s.Width)})
			}
			from = to
		}
		if !bus && t.end[i] != last.Values[i] {
			out = append(out, row{s.Name, i, true, last.Phase, last.Phase, s.Width, t.end[i], ""})
		}
	}
	t.rows = out
}

// partial says which bits there are, if not all.
func partial(what string, mask uint64, width int) string {
	if mask == full(width) {
		return ""
	}
	return what + " " + hex(mask, width)
}

func (t *text) values() {
	var when [32]byte
	phases := len("after 12") // wide enough for most, so that the columns stay where they are
	for i := range t.rows {
		phases = max(phases, len(t.rows[i].when(when[:0])))
	}
	name := ""
	for i := range t.rows {
		r := &t.rows[i]
		label := r.name
		if label == name {
			label = "" // the rows of one signal stand together
		}
		name = r.name
		t.pad(label, t.name)
		t.blanks(2)
		from := len(t.out)
		t.out = r.when(t.out)
		t.blanks(phases - (len(t.out) - from) + 2 + t.digits - max((r.width+3)/4, 1))
		t.out = append(appendHex(t.out, r.value, r.width), ' ', ' ')
		t.out = appendLamps(t.out, r.value, r.width, t.name+phases+t.digits+6, r.remark)
		t.out = append(t.out, '\n')
	}
}

// appendLamps draws a value in groups of four, counted from the right, the
// highest bit first; wide ones on several rows, with a margin before those
// after the first and a remark behind it.
func appendLamps(to []byte, value uint64, width, margin int, remark string) []byte {
	for bit := width - 1; bit >= 0; bit-- {
		mark := byte(dark)
		if value>>bit&1 == 1 {
			mark = lit
		}
		to = append(to, mark)
		if bit > 0 && bit%lampsARow != 0 {
			if bit%4 == 0 {
				to = append(to, ' ')
			}
			continue
		}
		if remark != "" {
			to = append(append(to, "  "...), remark...)
			remark = ""
		}
		if bit > 0 {
			to = append(to, '\n')
			for range margin {
				to = append(to, ' ')
			}
		}
	}
	return to
}

// kept lists the registers and flags that have no rows.
func (t *text) kept() {
	var words []string
	for i := range t.Machine.Signals {
		s := &t.Machine.Signals[i]
		if holds(*s) && !slices.ContainsFunc(t.rows, func(r row) bool { return r.signal == i }) {
			words = append(words, s.Name+"="+hex(t.views[0].Values[i], s.Width))
		}
	}
	if len(words) > 0 {
		const first = "unchanged: "
		t.wrapped(first, strings.Repeat(" ", len(first)), words)
	}
}

func (t *text) wrapped(first, indent string, words []string) {
	for _, line := range wrap(first, indent, words) {
		t.out = append(append(t.out, line...), '\n')
	}
}

func (t *text) notes() {
	for _, v := range t.views {
		for _, n := range v.Notes {
			words := strings.Fields(fmt.Sprintf("%s: %s", n.Kind, n.Text))
			if !n.At.IsZero() {
				words = append(words, fmt.Sprintf("(%s:%d)", filepath.Base(n.At.File), n.At.Line))
			}
			t.wrapped(fmt.Sprintf("! phase %d: ", v.Phase), "    ", words)
		}
		if v.Halt {
			t.out = fmt.Appendf(t.out, "! phase %d: the machine halts in it and stays there\n", v.Phase)
		}
	}
}

// wordsARow is how many words of a memory stand side by side at the end.
const wordsARow = 8

// reasons say why a rehearsal ended.
var reasons = map[rehearse.Reason]string{
	rehearse.Halted:           "the machine has halted",
	rehearse.ReachedAddress:   "the address is reached",
	rehearse.PhaseBound:       "the bound of phases is reached",
	rehearse.InstructionBound: "the bound of instructions is reached",
}

// FinalText writes the state at the end of a rehearsal: how it ended, what it
// took, what registers and flags hold, and the memory words that have changed.
// An error is the writer's.
func FinalText(w io.Writer, s Subject, f rehearse.Final) error {
	p := newPages(w, heading(s.Machine.Name, s.Machine.Title, s.Store.Hash), "")
	p.second = fmt.Sprintf("End of %s, sha256 %s", s.Program.Name, short(s.Program.Source))
	p.block(finalLines(s.Machine, f))
	return p.flush()
}

func finalLines(m *machine.Machine, f rehearse.Final) []string {
	out := []string{rule("end", string(f.Reason)),
		reasons[f.Reason] + ": " + counted(f.Instructions, "instruction") + ", " + counted(f.Phases, "phase") + ", " + seconds(f.Seconds) + " s", ""}
	name, digits := 0, 0
	for _, s := range m.Signals {
		if holds(s) {
			name, digits = max(name, len(s.Name)), max(digits, len(hex(0, s.Width)))
		}
	}
	for i, s := range m.Signals {
		if !holds(s) {
			continue
		}
		text := fmt.Sprintf("%-*s  %*s  ", name, s.Name, digits, hex(f.Values[i], s.Width))
		out = append(out, strings.Split(string(appendLamps([]byte(text), f.Values[i], s.Width, name+digits+4, "")), "\n")...)
	}
	for i, s := range m.Signals {
		words := f.Memories[i]
		if len(words) == 0 {
			continue
		}
		out = append(out, "", s.Name+", "+counted(len(words), "changed word"))
		for _, run := range runs(words) {
			text := "  " + hex(run, addressBits(s)) + " "
			for at := run; ; at++ {
				text += " " + hex(words[at], s.Width)
				if _, more := words[at+1]; !more || (at+1)%wordsARow == 0 {
					break
				}
			}
			out = append(out, text)
		}
	}
	return out
}

// seconds writes a time to the microsecond, shorter ones to six digits.
func seconds(s float64) string {
	if s != 0 && s < 1e-3 {
		return strconv.FormatFloat(s, 'g', 6, 64)
	}
	return strings.TrimSuffix(strings.TrimRight(strconv.FormatFloat(s, 'f', 6, 64), "0"), ".")
}

// runs lists where the rows of words begin: at a word whose forerunner has not
// changed, and at every eighth address.
func runs(words map[uint64]uint64) []uint64 {
	var out []uint64
	for _, at := range slices.Sorted(maps.Keys(words)) {
		if _, before := words[at-1]; at%wordsARow == 0 || !before {
			out = append(out, at)
		}
	}
	return out
}
