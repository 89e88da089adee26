package lamps

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"

	"coilwright/encode/machine"
	"coilwright/encode/rehearse"
)

// NewCSV returns a recorder of one record a phase. Fields are instruction,
// address (empty until it is known), owner, phase, completed, opcode; "line
// NAME" for every line, 1 while it is active; "bus NAME" and "driven NAME"
// (the bits that have a source) for every bus; "register NAME" and "flag
// NAME", as they are before the latches capture; captures ("acc=0x2A by
// acc_l", "ram[0x14]=0x2A by ram_l", "acc&0x0F=0x02 by low_l" for some bits
// only), notes, last (the ring goes back after this phase), halt, program,
// machine, hash. Numbers of bits begin with 0x and hashes with sha256:, or a
// spreadsheet would change them.
func NewCSV(w io.Writer, s Subject) Recorder {
	t := &table{Subject: s, w: bufio.NewWriterSize(w, 64<<10), digits: 1}
	if home := s.program(); home >= 0 {
		t.digits = addressBits(s.Machine.Signals[home])
	}
	head := []string{"instruction", "address", "owner", "phase", "completed", "opcode"}
	for _, l := range s.Machine.Lines {
		head = append(head, "line "+l.Name)
	}
	for _, x := range s.Machine.Signals {
		switch x.Kind {
		case machine.Bus:
			head = append(head, "bus "+x.Name, "driven "+x.Name)
		case machine.Register:
			head = append(head, "register "+x.Name)
		case machine.Flag:
			head = append(head, "flag "+x.Name)
		}
	}
	head = append(head, "captures", "notes", "last", "halt", "program", "machine", "hash")
	t.w.WriteString(fields(head...) + "\n")
	for _, o := range s.Store.Owners {
		t.owners = append(t.owners, fields(o.Name))
	}
	t.end = "," + fields(s.Program.Name, s.Store.Machine, "sha256:"+short(s.Store.Hash)) + "\n"
	return t
}

type table struct {
	Subject
	w      *bufio.Writer
	digits int      // bits of an address
	owners []string // as fields
	end    string   // of every record
	record []byte
}

// fields writes texts as fields of a record, with quotes where they need them.
func fields(texts ...string) string {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write(texts)
	w.Flush()
	return strings.TrimSuffix(b.String(), "\n")
}

// plain reports whether a text is a field without quotes: most are, and
// nothing has to be asked about them.
func plain(text []byte) bool {
	for _, c := range text {
		if c < ' ' || c == '"' || c == ',' || c == '\\' || c >= 0x80 {
			return false
		}
	}
	return len(text) == 0 || text[0] != ' '
}

func (t *table) View(v *rehearse.View) {
	r := strconv.AppendInt(t.record[:0], int64(v.Instruction), 10)
	r = append(r, ',')
	if v.Known {
		r = append(r, "0x"...)
		r = appendHex(r, v.Address, t.digits)
	}
	r = append(append(append(r, ','), t.owners[v.Owner]...), ',')
	r = append(strconv.AppendInt(r, int64(v.Phase), 10), ',')
	r = append(strconv.AppendInt(r, int64(v.Completed), 10), ",0x"...)
	r = appendHex(r, v.Opcode, t.Machine.Opcode.Width())
	for i := range t.Machine.Lines {
		r = append(r, ',', bit(v.Lines.Has(i)))
	}
	for i := range t.Machine.Signals {
		switch x := &t.Machine.Signals[i]; x.Kind {
		case machine.Bus:
			r = appendHex(append(r, ",0x"...), v.Values[i], x.Width)
			r = appendHex(append(r, ",0x"...), v.Driven[i], x.Width)
		case machine.Register:
			r = appendHex(append(r, ",0x"...), v.Values[i], x.Width)
		case machine.Flag:
			r = append(r, ',', bit(v.Values[i] != 0))
		}
	}
	r = append(r, ',')
	from := len(r)
	for i := range v.Writes {
		if i > 0 {
			r = append(r, "; "...)
		}
		r = t.capture(r, &v.Writes[i])
	}
	r = append(quote(r, from), ',')
	from = len(r)
	for i, n := range v.Notes {
		if i > 0 {
			r = append(r, "; "...)
		}
		r = append(append(append(r, n.Kind...), ": "...), n.Text...)
	}
	r = append(quote(r, from), ',', bit(v.Last), ',', bit(v.Halt))
	t.record = append(r, t.end...)
	t.w.Write(t.record)
}

// quote makes what stands from a place on a field.
func quote(r []byte, from int) []byte {
	if text := r[from:]; !plain(text) {
		return append(r[:from], fields(string(text))...)
	}
	return r
}

func (t *table) capture(to []byte, w *rehearse.Write) []byte {
	x := &t.Machine.Signals[w.Signal]
	to = append(to, x.Name...)
	if x.Kind == machine.Memory {
		to = append(appendHex(append(to, "[0x"...), w.Index, addressBits(*x)), ']')
	}
	if w.Mask != full(x.Width) {
		to = appendHex(append(to, "&0x"...), w.Mask, x.Width)
	}
	to = appendHex(append(to, "=0x"...), w.Value, x.Width)
	return append(append(to, " by "...), t.Machine.Lines[w.Line].Name...)
}

func bit(on bool) byte {
	if on {
		return '1'
	}
	return '0'
}

func (t *table) Close(rehearse.Final) error {
	if err := t.w.Flush(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}
