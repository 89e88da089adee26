package readback

import (
	"encoding/csv"
	"errors"
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
	var asked []int // columns in the order of the questions, which is that of every record
	// is compares a field, each of which has to be asked for once.
	is := func(name, want string) {
		if checked == len(asked) {
			i, ok := columns[name]
			if !ok {
				i = -1
			}
			asked = append(asked, i)
		}
		i := asked[checked]
		checked++
		if wrong == nil && (i < 0 || record[i] != want) {
			found := "missing"
			if i >= 0 {
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
	digits := func(value uint64, width int) string {
		var b [18]byte
		least := len(b) - max((width+3)/4, 1)
		i := len(b)
		for ; i > least || value > 0; value >>= 4 {
			i--
			b[i] = "0123456789ABCDEF"[value%16]
		}
		b[i-2], b[i-1] = '0', 'x'
		return string(b[i-2:])
	}
	home := 1
	for _, s := range x.Machine.Signals {
		if s.Kind == machine.Memory && s.Program {
			home = max(bits.Len64(s.Words-1), 1)
		}
	}
	lines, signals := make([]string, len(x.Machine.Lines)), make([]string, len(x.Machine.Signals))
	for i, l := range x.Machine.Lines {
		lines[i] = "line " + l.Name
	}
	for i, s := range x.Machine.Signals {
		signals[i] = s.Kind.String() + " " + s.Name
	}
	hash := "sha256:" + x.Store.Hash[:min(12, len(x.Store.Hash))]
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
		for i, name := range lines {
			flag(name, v.Lines.Has(i))
		}
		for i, name := range signals {
			switch s := &x.Machine.Signals[i]; s.Kind {
			case machine.Bus:
				is(name, digits(v.Values[i], s.Width))
				is("driven "+s.Name, digits(v.Driven[i], s.Width))
			case machine.Register:
				is(name, digits(v.Values[i], s.Width))
			case machine.Flag:
				flag(name, v.Values[i] == 1)
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
			captures = append(captures, text+"="+digits(w.Value, s.Width)+" by "+x.Machine.Lines[w.Line].Name)
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
		is("hash", hash)
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
