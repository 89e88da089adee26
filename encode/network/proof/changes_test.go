package proof_test

import (
	"regexp"
	"slices"
	"testing"

	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/store"
)

// divided is a store that asks for the same by rows that look both ways at what
// travels: lines of the fetch stand once for every instruction, others once for
// either value of a flag.
func divided(s *store.Store, c store.Changes) *store.Store {
	out := *s
	out.Rows = nil
	for _, r := range s.Rows {
		var bits, tested uint64
		for _, m := range c.Moving {
			_, opcode := r.Opcode.And(m.Opcode)
			_, flags := r.Flags.And(m.Flags)
			if m.Phase == r.Phase && opcode && flags {
				bits |= m.Bits &^ r.Opcode.Care
				tested |= m.Tested &^ r.Flags.Care
			}
		}
		rows := []store.Row{r}
		if bits != 0 {
			rows = nil
			for i, o := range s.Owners {
				for _, opcode := range o.Opcodes {
					if at, ok := r.Opcode.And(opcode); ok && o.Kind != "fetch" {
						x := r
						x.Owner, x.Opcode = i, at
						rows = append(rows, x)
					}
				}
			}
		}
		for i := range s.Flags {
			if tested>>i&1 == 0 {
				continue
			}
			for _, x := range slices.Clone(rows) {
				for v := range uint64(2) {
					x.Flags = x.Flags.With(i, v)
					rows = append(rows, x)
				}
			}
			rows = rows[len(rows)/3:] // those that do not look
		}
		out.Rows = append(out.Rows, rows...)
	}
	return &out
}

var throwInPath = regexp.MustCompile(`(K\d+):\d+ - (K\d+):\d+`)

// TestChangesDisregarded: where a builder does not know what travels and builds
// something else for it, the proof finds it, only in states in which something
// travels, and shows a contact on the way.
func TestChangesDisregarded(t *testing.T) {
	differ := 0
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		m, s, ch := machineOf(t, name)
		o := proof.Options{Overlap: m.Sequencer.Overlap > 0, Detail: 1000}
		for _, c := range []struct {
			name    string
			store   *store.Store
			changes store.Changes
		}{
			{"nothing travels", s, store.Changes{Inputs: ch.Inputs}},
			{"nothing travels, and rows look at it both ways", divided(s, ch), store.Changes{Inputs: ch.Inputs}},
		} {
			for _, style := range network.Styles {
				l := placed(t, m, c.store, c.changes, style)
				r, err := proof.Prove(l, s, c.changes, o)
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range r.Findings {
					t.Errorf("%s %s, %s: nothing travels that it was built to let travel, and %s: %s; %s", name, style, c.name, f.Text, f.Where, f.Path)
				}
				if r, err = proof.Prove(l, s, ch, o); err != nil {
					t.Fatal(err)
				}
				if r.Proved() {
					continue
				}
				differ++
				if len(proof.Reference(l, s, ch, o.Overlap)) == 0 {
					t.Errorf("%s %s, %s: the reference finds nothing", name, style, c.name)
				}
				t.Logf("%s %s, %s: %d findings, as %s; %s; %s %q", name, style, c.name, len(r.Findings), r.Findings[0].Text, r.Findings[0].Where, r.Findings[0].Path, r.Findings[0].Notes)
				for _, f := range r.Findings {
					if f.At.Bits|f.At.Tested == 0 {
						t.Errorf("%s %s, %s: nothing travels, and %s; %s", name, style, c.name, f.Text, f.Where)
					}
					if !throwInPath.MatchString(f.Path) && !slices.ContainsFunc(f.Notes, throwInPath.MatchString) {
						t.Errorf("%s %s, %s: %s; %s: no contact is shown in %q %q", name, style, c.name, f.Text, f.Where, f.Path, f.Notes)
					}
				}
			}
		}
	}
	if differ == 0 {
		t.Error("no builder built anything else for what it does not know")
	}
}
