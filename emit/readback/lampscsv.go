package readback

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math/bits"
	"strconv"
	"strings"

	"coilwright/encode/machine"
)

// LampsCSV reads a rehearsal as CSV, record by record, and compares every field
// with the views. An error is a *LineError (the number of a record for its
// line), or the reader's.
func LampsCSV(r io.Reader, x Rehearsed) error {
	in := csv.NewReader(r)
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil {
		return err
	}
	columns := map[string]int{}
	for i, name := range head {
		if _, twice := columns[name]; twice {
			return refuse(1, "two columns are called %q", name)
		}
		columns[name] = i
	}
	var record []string
	n := 1
	checked := 0
	var wrong error
	// is compares a field, each of which has to be asked for once.
	is := func(name, want string) {
		i, ok := columns[name]
		checked++
		if wrong == nil && (!ok || record[i] != want) {
			found := "missing"
			if ok {
				found = strconv.Quote(record[i])
			}
			wrong = refuse(n, "%s is %q, not %s", name, want, found)
		}
	}
	flag := func(name string, on bool) {
		if on {
			is(name, "1")
		} else {
			is(name, "0")
		}
	}
	digits := func(value uint64, width int) string { return fmt.Sprintf("0x%0*X", max((width+3)/4, 1), value) }
	home := 1
	for _, s := range x.Machine.Signals {
		if s.Kind == machine.Memory && s.Program {
			home = max(bits.Len64(s.Words-1), 1)
		}
	}
	for v := x.Next(); v != nil; v = x.Next() {
		n++
		record, err = in.Read()
		if errors.Is(err, io.EOF) {
			return refuse(n, "the record of phase %d of instruction %d is missing", v.Phase, v.Instruction)
		}
		if err != nil {
			return err
		}
		checked = 0
		is("instruction", strconv.Itoa(v.Instruction))
		if v.Known {
			is("address", digits(v.Address, home))
		} else {
			is("address", "")
		}
		is("owner", x.Store.Owners[v.Owner].Name)
		is("phase", strconv.Itoa(v.Phase))
		is("completed", strconv.Itoa(v.Completed))
		is("opcode", digits(v.Opcode, x.Machine.Opcode.Width()))
		for i, l := range x.Machine.Lines {
			flag("line "+l.Name, v.Lines.Has(i))
		}
		for i, s := range x.Machine.Signals {
			switch s.Kind {
			case machine.Bus:
				is("bus "+s.Name, digits(v.Values[i], s.Width))
				is("driven "+s.Name, digits(v.Driven[i], s.Width))
			case machine.Register:
				is("register "+s.Name, digits(v.Values[i], s.Width))
			case machine.Flag:
				flag("flag "+s.Name, v.Values[i] == 1)
			}
		}
		var captures, notes []string
		for _, w := range v.Writes {
			s := x.Machine.Signals[w.Signal]
			text := s.Name
			if s.Kind == machine.Memory {
				text += "[" + digits(w.Index, bits.Len64(s.Words-1)) + "]"
			}
			if w.Mask != ^uint64(0)>>(64-s.Width) {
				text += "&" + digits(w.Mask, s.Width)
			}
			captures = append(captures, fmt.Sprintf("%s=%s by %s", text, digits(w.Value, s.Width), x.Machine.Lines[w.Line].Name))
		}
		for _, note := range v.Notes {
			notes = append(notes, note.Kind+": "+note.Text)
		}
		is("captures", strings.Join(captures, "; "))
		is("notes", strings.Join(notes, "; "))
		flag("last", v.Last)
		flag("halt", v.Halt)
		is("program", x.Program.Name)
		is("machine", x.Store.Machine)
		is("hash", "sha256:"+x.Store.Hash[:min(12, len(x.Store.Hash))])
		if wrong != nil {
			return wrong
		}
		if checked != len(columns) {
			return refuse(1, "%d columns, %d are known", len(columns), checked)
		}
	}
	if _, err := in.Read(); !errors.Is(err, io.EOF) {
		return refuse(n+1, "a record after the last phase")
	}
	return nil
}
