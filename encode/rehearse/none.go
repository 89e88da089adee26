package rehearse

import (
	"coilwright/encode/machine"
	"coilwright/encode/store"
	"coilwright/lang/diag"
)

// nones knows which steps say `none`. Variants share places, and a field may
// stand for `none` in one of them only: so it asks by owner.
type nones struct {
	steps map[ownerKey]map[diag.Place]bool
	known map[noneKey]bool
}

type ownerKey struct {
	name string
	at   diag.Place
}

type noneKey struct {
	place
	line int
}

func newNones(m *machine.Machine) *nones {
	n := &nones{steps: map[ownerKey]map[diag.Place]bool{}, known: map[noneKey]bool{}}
	n.add(ownerKey{"fetch", m.FetchAt}, m.Fetch)
	for i := range m.Instructions {
		in := &m.Instructions[i]
		for k := range in.Variants {
			n.add(ownerKey{in.Variants[k].Name, in.At}, in.Variants[k].Body)
		}
	}
	return n
}

func (n *nones) add(key ownerKey, body []machine.Node) {
	for i := range body {
		b := &body[i]
		if b.Kind == machine.Step && b.None {
			if n.steps[key] == nil {
				n.steps[key] = map[diag.Place]bool{}
			}
			n.steps[key][b.At] = true
		}
		n.add(key, b.Then)
		n.add(key, b.Else)
	}
}

// says reports whether a step that strobes a line at p says `none`.
func (n *nones) says(s *store.Store, p place, line int) bool {
	key := noneKey{p, line}
	if v, ok := n.known[key]; ok {
		return v
	}
	v := false
	for i := range s.Rows {
		row := &s.Rows[i]
		if row.Phase != p.phase || !row.Opcode.Matches(p.opcode) || !row.Flags.Matches(p.flags) {
			continue
		}
		o := &s.Owners[row.Owner]
		for _, c := range row.Causes {
			v = v || c.Column == line && c.Role == store.Strobe && n.steps[ownerKey{o.Name, o.At}][c.Step]
		}
	}
	if len(n.known) >= cached {
		clear(n.known)
	}
	n.known[key] = v
	return v
}
