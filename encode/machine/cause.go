package machine

import (
	"fmt"

	"coilwright/lang/diag"
)

// The causes that this stage and the schedule put errors down to: that a name
// of the datapath should be another or stand for another thing, that it should
// be wider or narrower, that a step is wrong.

func nameCause(name string) string  { return "name " + name }
func widthCause(name string) string { return "width of " + name }

// LineCause is that a line does something else than was meant.
func (m *Machine) LineCause(line int) diag.Cause {
	l := &m.Lines[line]
	return diag.Cause{Key: nameCause(l.Name), Note: diag.Note{
		At: l.At, Text: fmt.Sprintf("%s is in each of these steps: it may be %s that is wrong", l.Name, l.Name)}}
}

// SignalCause is that a bus, register, flag or memory is another thing than was meant.
func (m *Machine) SignalCause(signal int) diag.Cause {
	s := &m.Signals[signal]
	return diag.Cause{Key: nameCause(s.Name), Note: diag.Note{
		At: s.At, Text: fmt.Sprintf("each of these steps reads %s %s: it may be %s that is wrong", s.Kind, s.Name, s.Name)}}
}

// StepCause is that a step is another than was meant.
func StepCause(at diag.Place) diag.Cause { return diag.Cause{Key: "step " + at.String()} }
