package lamps

import (
	"bufio"
	"fmt"
	"io"
	"math"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
)

// NewVCD returns a recorder of a value change dump for waveform viewers
// (IEEE Std 1364-2005, clause 18): scopes for the ring, lines (1 is active),
// buses (z where nothing drives a bit), registers and flags. The timescale is
// the longest of those the standard has that the phase period is a whole
// number of; a phase begins at the number of phases completed before it, and
// what its latches capture shows with the next. Only changes are written. It
// has no date, so that the same rehearsal gives the same bytes.
func NewVCD(w io.Writer, s Subject) Recorder {
	d := &dump{Subject: s, w: bufio.NewWriterSize(w, 64<<10)}
	unit, ticks := timescale(s.Machine.Sequencer.Period)
	d.ticks = ticks
	fmt.Fprintf(d.w, "$comment machine %s, definition sha256 %s, program %s sha256 %s $end\n", s.Store.Machine, short(s.Store.Hash), comment(s.Program.Name), short(s.Program.Source))
	fmt.Fprintf(d.w, "$version coilwright $end\n$timescale %s $end\n$scope module %s $end\n", unit, s.Store.Machine)
	d.scope("ring", func() {
		d.declare("integer", 32, "phase", false)
		d.declare("integer", 32, "instruction", false)
		d.declare("wire", 1, "halted", false)
	})
	d.scope("lines", func() {
		for _, l := range s.Machine.Lines {
			d.declare("wire", 1, l.Name, false)
		}
	})
	for _, k := range []struct {
		name string
		kind machine.SignalKind
		as   string
	}{{"buses", machine.Bus, "tri"}, {"registers", machine.Register, "reg"}, {"flags", machine.Flag, "reg"}} {
		d.scope(k.name, func() {
			for i, x := range s.Machine.Signals {
				if x.Kind == k.kind {
					d.declare(k.as, x.Width, x.Name, true)
					d.signals = append(d.signals, i)
				}
			}
		})
	}
	fmt.Fprint(d.w, "$upscope $end\n$enddefinitions $end\n")
	return d
}

// comment keeps a name from ending a comment.
func comment(name string) string {
	out := []byte(name)
	for i, c := range out {
		if c == '$' || c <= ' ' {
			out[i] = '_'
		}
	}
	return string(out)
}

type dump struct {
	Subject
	w       *bufio.Writer
	ticks   uint64 // of the timescale a phase
	vars    []wave
	signals []int // of the vars after ring and lines
	begun   bool
	last    *rehearse.View
}

// wave is a variable and what it was last written as.
type wave struct {
	code          string
	width         int
	value, driven uint64
}

func (d *dump) scope(name string, inside func()) {
	fmt.Fprintf(d.w, "$scope module %s $end\n", name)
	inside()
	fmt.Fprint(d.w, "$upscope $end\n")
}

func (d *dump) declare(kind string, width int, name string, ranged bool) {
	code := identifier(len(d.vars))
	d.vars = append(d.vars, wave{code: code, width: width})
	if ranged && width > 1 {
		name += fmt.Sprintf(" [%d:0]", width-1)
	}
	fmt.Fprintf(d.w, "$var %s %d %s %s $end\n", kind, width, code, name)
}

// identifier is a short name of printable characters, ! to ~.
func identifier(n int) string {
	const first, count = '!', '~' - '!' + 1
	var out []byte
	for n++; n > 0; n = (n - 1) / count {
		out = append(out, first+byte((n-1)%count))
	}
	return string(out)
}

func (d *dump) View(v *rehearse.View) {
	d.time(uint64(v.Completed))
	values := []uint64{uint64(v.Phase), uint64(v.Instruction), 0}
	if v.Halt {
		values[2] = 1
	}
	n := 0
	put := func(value, driven uint64) {
		d.put(n, value, driven)
		n++
	}
	for i, value := range values {
		put(value, full(d.vars[i].width))
	}
	for i := range d.Machine.Lines {
		on := uint64(0)
		if v.Lines.Has(i) {
			on = 1
		}
		put(on, 1)
	}
	for _, i := range d.signals {
		driven := full(d.Machine.Signals[i].Width)
		if d.Machine.Signals[i].Kind == machine.Bus {
			driven = v.Driven[i]
		}
		put(v.Values[i], driven)
	}
	if !d.begun {
		fmt.Fprint(d.w, "$end\n")
		d.begun = true
	}
	d.last = v
}

func (d *dump) time(phases uint64) {
	fmt.Fprintf(d.w, "#%d\n", phases*d.ticks)
	if !d.begun {
		fmt.Fprint(d.w, "$dumpvars\n")
	}
}

// put writes variable n unless it stands as it is.
func (d *dump) put(n int, value, driven uint64) {
	x := &d.vars[n]
	value &= driven
	if d.begun && x.value == value && x.driven == driven {
		return
	}
	x.value, x.driven = value, driven
	state := func(bit int) byte {
		switch {
		case driven>>bit&1 == 0:
			return 'z'
		case value>>bit&1 == 1:
			return '1'
		}
		return '0'
	}
	if x.width == 1 {
		d.w.WriteByte(state(0))
	} else {
		d.w.WriteByte('b')
		// What is missing at the left is read as 0, or as z before a z.
		top := x.width - 1
		for top > 0 && (state(top) == 'z' && state(top-1) == 'z' || state(top) == '0' && state(top-1) != 'z') {
			top--
		}
		for ; top >= 0; top-- {
			d.w.WriteByte(state(top))
		}
		d.w.WriteByte(' ')
	}
	d.w.WriteString(x.code)
	d.w.WriteByte('\n')
}

// Close writes the end of the last phase, with what its latches have captured.
func (d *dump) Close(f rehearse.Final) error {
	if d.last != nil {
		d.time(uint64(d.last.Completed) + 1)
		n := len(d.vars) - len(d.signals)
		for _, i := range d.signals {
			if holds(d.Machine.Signals[i]) {
				d.put(n, f.Values[i], full(d.vars[n].width))
			}
			n++
		}
	}
	return d.w.Flush()
}

// timescale is the longest unit that a period in seconds is a whole number
// of, and how many. A period is a decimal number that went through a float:
// what is off by less than a part in 10^12 is taken for whole.
func timescale(period float64) (unit string, ticks uint64) {
	names := []string{"s", "ms", "us", "ns", "ps", "fs"}
	for exponent := 2; exponent >= -15; exponent-- {
		n := period * math.Pow10(-exponent)
		whole := math.Round(n)
		if whole >= 1 && math.Abs(n-whole) <= n*1e-12 || exponent == -15 {
			// 100 ms comes before 10 ms and 1 ms: the unit is the next smaller one.
			unit := (2 - exponent) / 3
			return fmt.Sprintf("%.0f %s", math.Pow10(3*unit+exponent), names[unit]), max(uint64(whole), 1)
		}
	}
	panic("unreachable: the last exponent returns")
}
