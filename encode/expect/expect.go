// Package expect holds the end of a rehearsal against what the program says that it should be.
package expect

import (
	"fmt"

	"coilwright/encode/assemble"
	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
	"coilwright/lang/diag"
)

// Check returns the first expectation that the final state does not meet, as
// an error with its place, and how many more there are; an empty list if all
// are met. What a word of a memory holds that has not changed is in setup.
func Check(m *machine.Machine, expects []assemble.Expect, setup rehearse.Setup, f rehearse.Final) diag.List {
	var list diag.List
	var first *diag.Diagnostic
	failed := 0
	for _, e := range expects {
		found := found(m, e, setup, f)
		if found == e.Value {
			continue
		}
		if failed++; first == nil {
			first = list.Errorf("program-expectation", e.At, "%s is %s, not %s", e.Text, value(found, m.Signals[e.Signal].Width), value(e.Value, m.Signals[e.Signal].Width))
		}
	}
	if first != nil && failed > 1 {
		first.Note(diag.Place{}, "%d of %d expectations are not met", failed, len(expects))
	}
	return list
}

func found(m *machine.Machine, e assemble.Expect, setup rehearse.Setup, f rehearse.Final) uint64 {
	if m.Signals[e.Signal].Kind != machine.Memory {
		return f.Values[e.Signal]
	}
	if v, changed := f.Memories[e.Signal][e.Index]; changed {
		return v
	}
	return setup.Memories[e.Signal][e.Index]
}

// value writes a number as programs do and as lamps and listings show it.
func value(v uint64, width int) string {
	if width == 1 || v < 10 {
		return fmt.Sprint(v)
	}
	return fmt.Sprintf("%d (0x%0*X)", v, (width+3)/4, v)
}
