package lamps

import (
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
	t := &table{Subject: s, w: csv.NewWriter(w)}
	t.digits = 1
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
	t.w.Write(append(head, "captures", "notes", "last", "halt", "program", "machine", "hash"))
	return t
}

type table struct {
	Subject
	w      *csv.Writer
	digits int // bits of an address
	record []string
}

func (t *table) View(v *rehearse.View) {
	r := append(t.record[:0], strconv.Itoa(v.Instruction), "", t.Store.Owners[v.Owner].Name, strconv.Itoa(v.Phase), strconv.Itoa(v.Completed), "0x"+hex(v.Opcode, t.Machine.Opcode.Width()))
	if v.Known {
		r[1] = "0x" + hex(v.Address, t.digits)
	}
	for i := range t.Machine.Lines {
		r = append(r, bit(v.Lines.Has(i)))
	}
	for i, x := range t.Machine.Signals {
		switch x.Kind {
		case machine.Bus:
			r = append(r, "0x"+hex(v.Values[i], x.Width), "0x"+hex(v.Driven[i], x.Width))
		case machine.Register:
			r = append(r, "0x"+hex(v.Values[i], x.Width))
		case machine.Flag:
			r = append(r, bit(v.Values[i] != 0))
		}
	}
	var captures, notes []string
	for _, w := range v.Writes {
		captures = append(captures, t.capture(w))
	}
	for _, n := range v.Notes {
		notes = append(notes, n.Kind+": "+n.Text)
	}
	t.record = append(r, strings.Join(captures, "; "), strings.Join(notes, "; "), bit(v.Last), bit(v.Halt), t.Program.Name, t.Store.Machine, "sha256:"+short(t.Store.Hash))
	t.w.Write(t.record)
}

func (t *table) capture(w rehearse.Write) string {
	x := t.Machine.Signals[w.Signal]
	text := x.Name
	if x.Kind == machine.Memory {
		text += "[0x" + hex(w.Index, addressBits(x)) + "]"
	}
	if w.Mask != full(x.Width) {
		text += "&0x" + hex(w.Mask, x.Width)
	}
	return text + "=0x" + hex(w.Value, x.Width) + " by " + t.Machine.Lines[w.Line].Name
}

func bit(on bool) string {
	if on {
		return "1"
	}
	return "0"
}

func (t *table) Close(rehearse.Final) error {
	t.w.Flush()
	if err := t.w.Error(); err != nil {
		return fmt.Errorf("write csv: %w", err)
	}
	return nil
}
