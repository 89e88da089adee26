package lamps

import (
	"fmt"
	"io"
	"maps"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
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
	rows := t.rows()
	// Names share a column in the block.
	t.name = len("phase")
	for _, i := range t.shown(t.views) {
		t.name = max(t.name, len(t.Machine.Lines[i].Name))
	}
	for _, r := range rows {
		t.name = max(t.name, len(r.name))
	}
	lines := append([]string{t.title()}, t.grid()...)
	lines = append(lines, "")
	lines = append(lines, t.values(rows)...)
	lines = append(lines, t.kept(rows)...)
	lines = append(lines, t.notes()...)
	t.block(lines)
	t.views = t.views[:0]
}

func (t *text) title() string {
	last := t.views[len(t.views)-1]
	name := strconv.Itoa(last.Instruction)
	if last.Known {
		name += " at " + t.hexAddress(last.Address)
		if source, ok := t.from[last.Address]; ok {
			name += ": " + strings.Join(strings.Fields(source), " ")
		}
	}
	return rule(name, fmt.Sprintf("%s, opcode %s", t.Store.Owners[last.Owner].Name, hex(last.Opcode, t.Machine.Opcode.Width())))
}

func (t *text) hexAddress(address uint64) string {
	if t.home < 0 {
		return hex(address, 1)
	}
	return hex(address, addressBits(t.Machine.Signals[t.home]))
}

// shown lists the lines that are on in some of the phases.
func (t *text) shown(views []*rehearse.View) []int {
	var out []int
	for i := range t.Machine.Lines {
		if slices.ContainsFunc(views, func(v *rehearse.View) bool { return v.Lines.Has(i) }) {
			out = append(out, i)
		}
	}
	return out
}

func (t *text) grid() []string {
	var out []string
	const cell = 3
	each := max((Width-t.name)/cell, 4)
	// Parts of equal size read better than a full one and a remainder.
	parts := (len(t.views) + each - 1) / each
	each = (len(t.views) + parts - 1) / parts
	for views := range slices.Chunk(t.views, each) {
		if len(out) > 0 {
			out = append(out, "")
		}
		row := func(name string, cell func(v *rehearse.View) string) {
			var b strings.Builder
			fmt.Fprintf(&b, "%-*s", t.name, name)
			for _, v := range views {
				fmt.Fprintf(&b, "%3s", cell(v))
			}
			out = append(out, b.String())
		}
		row("phase", func(v *rehearse.View) string { return strconv.Itoa(v.Phase) })
		for _, i := range t.shown(views) {
			row(t.Machine.Lines[i].Name, func(v *rehearse.View) string {
				if v.Lines.Has(i) {
					return string(lit)
				}
				return string(dark)
			})
		}
		row("tick", func(*rehearse.View) string { return "[]" })
	}
	return out
}

// row is a value that lamps show for some phases.
type row struct {
	name   string
	signal int
	phases string
	width  int
	value  uint64
	remark string
}

// rows lists what the lamps of buses show while they have a source, what
// those of registers and flags show that change, and what memories take in.
func (t *text) rows() []row {
	var out []row
	last := t.views[len(t.views)-1]
	end := after(t.Machine, last)
	for i, s := range t.Machine.Signals {
		type shown struct{ value, driven uint64 }
		at := func(v *rehearse.View) shown {
			if s.Kind == machine.Bus {
				return shown{v.Values[i], v.Driven[i]}
			}
			return shown{v.Values[i], full(s.Width)}
		}
		switch s.Kind {
		case machine.Memory:
			for _, v := range t.views {
				for _, w := range v.Writes {
					if w.Signal == i {
						out = append(out, row{fmt.Sprintf("%s[%s]", s.Name, hex(w.Index, addressBits(s))), i, "after " + strconv.Itoa(v.Phase), s.Width, w.Value, partial("bits", w.Mask, s.Width)})
					}
				}
			}
			continue
		case machine.Register, machine.Flag:
			still := func(v *rehearse.View) bool { return v.Values[i] == end[i] }
			if !slices.ContainsFunc(t.views, func(v *rehearse.View) bool { return !still(v) }) {
				continue
			}
		}
		for from := 0; from < len(t.views); {
			x, to := at(t.views[from]), from+1
			for to < len(t.views) && at(t.views[to]) == x {
				to++
			}
			if x.driven != 0 {
				phases := strconv.Itoa(t.views[from].Phase)
				if to > from+1 {
					phases += "-" + strconv.Itoa(t.views[to-1].Phase)
				}
				out = append(out, row{s.Name, i, phases, s.Width, x.value, partial("driven", x.driven, s.Width)})
			}
			from = to
		}
		if holds(s) && end[i] != last.Values[i] {
			out = append(out, row{s.Name, i, "after " + strconv.Itoa(last.Phase), s.Width, end[i], ""})
		}
	}
	return out
}

// partial says which bits there are, if not all.
func partial(what string, mask uint64, width int) string {
	if mask == full(width) {
		return ""
	}
	return what + " " + hex(mask, width)
}

func (t *text) values(rows []row) []string {
	phases := len("after 12") // wide enough for most, so that the columns stay where they are
	for _, r := range rows {
		phases = max(phases, len(r.phases))
	}
	var out []string
	name := ""
	for _, r := range rows {
		digits := hex(r.value, r.width)
		label := r.name
		if label == name {
			label = "" // the rows of one signal stand together
		}
		name = r.name
		for i, lamps := range lampRows(r.value, r.width) {
			if i > 0 {
				out = append(out, fmt.Sprintf("%*s%s", t.name+phases+t.digits+6, "", lamps))
				continue
			}
			text := fmt.Sprintf("%-*s  %-*s  %*s  %s", t.name, label, phases, r.phases, t.digits, digits, lamps)
			if r.remark != "" {
				text += "  " + r.remark
			}
			out = append(out, text)
		}
	}
	return out
}

// lampRows draws a value in groups of four, counted from the right, the
// highest bit first; wide ones on several rows.
func lampRows(value uint64, width int) []string {
	var rows []string
	var b strings.Builder
	for bit := width - 1; bit >= 0; bit-- {
		if value>>bit&1 == 1 {
			b.WriteByte(lit)
		} else {
			b.WriteByte(dark)
		}
		switch {
		case bit > 0 && bit%lampsARow == 0:
			rows = append(rows, b.String())
			b.Reset()
		case bit > 0 && bit%4 == 0:
			b.WriteByte(' ')
		}
	}
	return append(rows, b.String())
}

// kept lists the registers and flags that have no rows.
func (t *text) kept(rows []row) []string {
	var words []string
	for i, s := range t.Machine.Signals {
		if holds(s) && !slices.ContainsFunc(rows, func(r row) bool { return r.signal == i }) {
			words = append(words, s.Name+"="+hex(t.views[0].Values[i], s.Width))
		}
	}
	if len(words) == 0 {
		return nil
	}
	const first = "unchanged: "
	return wrap(first, strings.Repeat(" ", len(first)), words)
}

func (t *text) notes() []string {
	var out []string
	for _, v := range t.views {
		for _, n := range v.Notes {
			words := strings.Fields(fmt.Sprintf("%s: %s", n.Kind, n.Text))
			if !n.At.IsZero() {
				words = append(words, fmt.Sprintf("(%s:%d)", filepath.Base(n.At.File), n.At.Line))
			}
			out = append(out, wrap(fmt.Sprintf("! phase %d: ", v.Phase), "    ", words)...)
		}
		if v.Halt {
			out = append(out, fmt.Sprintf("! phase %d: the machine halts in it and stays there", v.Phase))
		}
	}
	return out
}

// wordsARow is how many words of a memory stand side by side at the end.
const wordsARow = 8

// reasons say why a rehearsal ended.
var reasons = map[rehearse.Reason]string{
	rehearse.Halted:           "the machine has halted",
	rehearse.ReachedAddress:   "the address is reached",
	rehearse.PhaseBound:       "so many phases were asked for",
	rehearse.InstructionBound: "so many instructions were asked for",
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
		for k, lamps := range lampRows(f.Values[i], s.Width) {
			if k > 0 {
				out = append(out, fmt.Sprintf("%*s%s", name+digits+4, "", lamps))
				continue
			}
			out = append(out, fmt.Sprintf("%-*s  %*s  %s", name, s.Name, digits, hex(f.Values[i], s.Width), lamps))
		}
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
