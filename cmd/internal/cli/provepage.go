package cli

import (
	"fmt"
	"io"
	"strings"
	"time"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// proofPage is what a proof tried and found, for a person to read.
type proofPage struct {
	list    *wiring.List
	machine *machine.Machine
	store   *store.Store
	report  *proof.Report
	took    time.Duration
	differs []string // in what the list differs from the one that is worked out
	notes   []string
}

// text writes the page at 80 columns.
func (p *proofPage) text(w io.Writer) error {
	var b strings.Builder
	r := p.report
	what := p.list.Machine
	if p.list.Style != "" {
		what += ", style " + p.list.Style
	}
	if r.Proved() {
		fmt.Fprintf(&b, "%s: proved\n\n", what)
	} else {
		fmt.Fprintf(&b, "%s: not proved, %s\n\n", what, counted(len(r.Findings)+r.More, "finding"))
	}
	fmt.Fprintf(&b, "Network   %s, %s, %s, %s, %s\n", counted(r.Relays, "relay"), counted(r.Contacts, "contact"),
		counted(r.Diodes, "diode"), counted(r.Wires, "wire"), counted(r.Pins, "pin"))
	fmt.Fprintf(&b, "Tried     %s, %s of flags, %s:\n", counted(int(r.Opcodes), "opcode"), counted(int(r.Flags), "combination"), counted(r.Phases, "phase"))
	fmt.Fprintf(&b, "          %s, %s between phases", counted(int(r.States), "state"), counted(int(r.Between), "state"))
	if r.Contacts > 0 {
		fmt.Fprintf(&b, ",\n          %s with contacts in change-over", counted(int(r.Moving), "state"))
	}
	fmt.Fprintf(&b, ", in %s\n", elapsed(p.took))
	p.findings(&b)
	if len(p.differs) > 0 {
		b.WriteString("\n")
		folded(&b, "", p.differs[0])
		for _, d := range p.differs[1:] {
			folded(&b, "  ", "* "+d)
		}
	}
	if len(p.notes) > 0 {
		b.WriteString("\nNoticed, and no fault:\n")
		for _, n := range p.notes {
			folded(&b, "  ", "* "+n)
		}
	}
	p.caution(&b)
	b.WriteString("\nNot shown by this proof:\n")
	for _, u := range proof.Uncovered(r) {
		folded(&b, "  ", "* "+u)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (p *proofPage) findings(b *strings.Builder) {
	against := false
	for i, f := range p.report.Findings {
		if f.Path != "" && p.list.Negative && !against {
			against = true
			b.WriteString("\n")
			folded(b, "", "Ways are told from the feed, which is the negative side of the supply here: the current runs them the other way.")
		}
		b.WriteString("\n")
		folded(b, "", fmt.Sprintf("%d. %s", i+1, f.Text))
		if f.Where != "" {
			folded(b, "   ", f.Where)
		}
		if f.States > 1 {
			folded(b, "   ", fmt.Sprintf("the first of %d states, %s", f.States, inPhases(f.Phases)))
		}
		for _, p := range f.Asked {
			folded(b, "   ", "asked for at "+p.String())
		}
		if f.Path != "" {
			folded(b, "   ", f.Path)
		}
		for _, note := range f.Notes {
			folded(b, "   ", note)
		}
	}
	if more := p.report.More; more > 0 {
		fmt.Fprintf(b, "\nand %s more\n", counted(more, "finding"))
	}
}

// mostNamed bounds how much of a kind is named.
const mostNamed = 8

// caution speaks of relays that follow phases, for whose times nothing allows.
func (p *proofPage) caution(b *strings.Builder) {
	late := p.report.Late
	if len(late) == 0 {
		return
	}
	hw := p.machine.Hardware.Relay
	hang, feed, whose := "hangs", "it feeds", "Its"
	if len(late) > 1 {
		hang, feed, whose = "hang", "they feed", "Their"
	}
	var names []string
	for _, x := range late {
		names = append(names, x.Name)
	}
	b.WriteString("\n")
	folded(b, "", fmt.Sprintf("Caution: %s %s on phase wires. What %s comes on late by the time to operate, %s or so, and goes off late by the time to release, %s or more, in the phase that follows. Nothing in the store allows for that. %s contacts switch live.",
		andMore(names), hang, feed, milliseconds(hw.Operate), milliseconds(hw.Release), whose))
	for i, x := range late {
		if i == mostNamed {
			folded(b, "  ", fmt.Sprintf("* and %s more", counted(len(late)-i, "relay")))
			break
		}
		var lines []string
		for _, c := range x.Lines {
			lines = append(lines, p.store.Columns[c].Name)
		}
		kind := "pulse relay"
		if x.Inverts {
			kind = "inverting relay"
		}
		text := fmt.Sprintf("* %s, %s, %s", x.Name, kind, inPhases(x.Phases))
		if len(lines) > 0 {
			text += ": " + andMore(lines)
		}
		folded(b, "  ", text)
	}
	clash, needs := p.busses()
	meet := proof.Meetings(late, p.store, clash, needs)
	for i, m := range meet {
		if i == mostNamed {
			folded(b, "  ", fmt.Sprintf("* and %d more of the kind", len(meet)-i))
			break
		}
		line, other := p.store.Columns[m.Line].Name, p.store.Columns[m.Other].Name
		if m.Lost {
			folded(b, "  ", fmt.Sprintf("* a latch without its source: %s holds %s on past phase %d, and %s goes off", m.Relay, line, m.Phase, other))
			continue
		}
		folded(b, "  ", fmt.Sprintf("* two sources on one bus: %s holds %s on past phase %d, and %s comes on in phase %d", m.Relay, line, m.Phase, other, m.Then))
	}
}

// busses tells whether two lines put sources onto the same bits of a bus, and
// whether a latch reads what a gate puts onto one.
func (p *proofPage) busses() (clash, needs func(line, other int) bool) {
	m := p.machine
	drives := make([]map[int]uint64, len(m.Lines))
	reads := make([]map[int]uint64, len(m.Lines))
	uses, _ := m.Uses()
	for i := range m.Lines {
		drives[i], reads[i] = map[int]uint64{}, map[int]uint64{}
		for j := range m.Lines[i].Effects {
			t := &m.Lines[i].Effects[j]
			if s := t.Target.Signal; m.Signals[s].Kind == machine.Bus && !t.Joins(m) {
				drives[i][s] |= t.Target.Mask()
			}
		}
		if m.Lines[i].Kind != store.Latch {
			continue
		}
		for _, u := range uses[i] {
			if m.Signals[u.Signal].Kind == machine.Bus {
				reads[i][u.Signal] |= u.Mask
			}
		}
	}
	share := func(a, b map[int]uint64, and func(signal int) bool) bool {
		for s, bits := range a {
			if bits&b[s] != 0 && and(s) {
				return true
			}
		}
		return false
	}
	clash = func(line, other int) bool {
		return share(drives[line], drives[other], func(s int) bool { return !m.Signals[s].Or })
	}
	needs = func(line, other int) bool {
		return share(reads[line], drives[other], func(int) bool { return true })
	}
	return clash, needs
}

// milliseconds writes a time of the definition.
func milliseconds(s float64) string { return fmt.Sprintf("%.4g ms", s*1000) }

// elapsed writes how long something took, to what a person cares about.
func elapsed(d time.Duration) string {
	switch ms := float64(d.Microseconds()) / 1000; {
	case d < 10*time.Millisecond:
		return fmt.Sprintf("%.1f ms", ms)
	case d < 10*time.Second:
		return fmt.Sprintf("%.0f ms", ms)
	}
	return fmt.Sprintf("%.1f s", d.Seconds())
}

func andMore(list []string) string {
	if n := len(list); n > mostNamed {
		return strings.Join(list[:mostNamed], ", ") + fmt.Sprintf(" and %d more", n-mostNamed)
	}
	return strings.Join(list, ", ")
}

// inPhases names phases; 0 is between two of them.
func inPhases(phases []int) string {
	between := len(phases) > 0 && phases[0] == 0
	if between {
		phases = phases[1:]
	}
	switch {
	case len(phases) == 0:
		return "between phases"
	case between:
		return "in phases " + network.Spans(phases) + " and between phases"
	case len(phases) == 1:
		return fmt.Sprintf("in phase %d", phases[0])
	}
	return "in phases " + network.Spans(phases)
}

// proofWidth is what fits on paper.
const proofWidth = 80

// folded writes text in lines that fit, what follows the first a little further in.
func folded(b *strings.Builder, indent, text string) {
	line := indent
	for i, word := range strings.Fields(text) {
		if i > 0 && len(line)+1+len(word) > proofWidth {
			b.WriteString(line + "\n")
			line = indent + "   "
		} else if i > 0 {
			line += " "
		}
		line += word
	}
	b.WriteString(line + "\n")
}
