package proof

import (
	"cmp"
	"slices"

	"coilwright/encode/store"
)

// Late is a relay whose coil hangs on phase wires, straight or by way of
// another such relay: it follows them late, and its contacts switch what they
// carry. The proof takes such relays as following at once.
type Late struct {
	Name    string
	Inverts bool  // it breaks the feed of a `low` line
	Phases  []int // whose wires lead to its coil
	Lines   []int // columns that its contacts may decide
}

const (
	// mostLate bounds for how many relays it is worked out what they feed.
	mostLate = 1000
	// longestDrive is how many relays that switch with the phases drive each
	// other in a row at most, in anything that anybody would build.
	longestDrive = 8
)

// late lists the relays that switch with the phases.
func (p *prover) late() []Late {
	w := p.circuit
	all := make([]Late, len(w.relays))
	phases, lines := make([]store.Set, len(w.relays)), make([]store.Set, len(w.relays))
	for r := range all {
		phases[r], lines[r] = store.NewSet(len(w.phase)), store.NewSet(len(w.line))
	}
	for ph, n := range w.phase {
		if n < 0 {
			continue
		}
		reached := p.graph.reach(n)
		for r, coil := range w.coils {
			if coil >= 0 && reached[coil] {
				phases[r].Add(ph)
			}
		}
	}
	of := make([][]contact, len(w.relays))
	for _, c := range w.contacts {
		of[c.relay] = append(of[c.relay], c)
	}
	drives := make([][]int, len(w.relays)) // relays whose coils its contacts reach
	known := make([]bool, len(w.relays))
	var todo []int
	for r := range all {
		if len(phases[r].Columns()) > 0 {
			todo = append(todo, r)
			known[r] = true
		}
	}
	var order []int
	for len(todo) > 0 {
		r := todo[0]
		todo = todo[1:]
		order = append(order, r)
		if len(order) > mostLate {
			continue
		}
		var from []int
		for _, c := range of[r] {
			all[r].Inverts = all[r].Inverts || !c.made
			for _, n := range []int{c.common, c.throw} {
				if n != w.feed {
					from = append(from, n)
				}
			}
		}
		reached := p.graph.reach(from...)
		for col, net := range w.line {
			if net >= 0 && reached[net] {
				lines[r].Add(col)
			}
		}
		for k, coil := range w.coils {
			if coil < 0 || !reached[coil] || k == r {
				continue
			}
			drives[r] = append(drives[r], k)
			if !known[k] {
				known[k] = true
				todo = append(todo, k)
			}
		}
	}
	// What one drives has its phases, and it decides what that one decides.
	for range min(len(order), longestDrive) {
		for _, r := range order {
			for _, k := range drives[r] {
				phases[k].Or(phases[r])
				lines[r].Or(lines[k])
			}
		}
	}
	slices.Sort(order)
	var out []Late
	for _, r := range order {
		x := all[r]
		x.Name, x.Phases, x.Lines = w.relays[r], phases[r].Columns(), lines[r].Columns()
		out = append(out, x)
	}
	return out
}

// Meeting is what may come of a relay that lets go late: a line that it holds on
// past a phase meets what the next phase has.
type Meeting struct {
	Line, Other int // columns
	Relay       string
	Phase, Then int  // where the line goes off, and what follows
	Lost        bool // Other goes off at once and is needed as long as Line is on; else it comes on at once, and must not
}

// Meetings lists what may come of relays that let go late: clash tells lines that
// must not be on together, needs that a line wants another on as long as it is.
func Meetings(late []Late, s *store.Store, clash, needs func(line, other int) bool) []Meeting {
	type when struct{ line, phase int }
	held := map[when]string{}
	for _, x := range late {
		for _, c := range x.Lines {
			for _, ph := range x.Phases {
				if held[when{c, ph}] == "" {
					held[when{c, ph}] = x.Name
				}
			}
		}
	}
	rows := make([][]store.Row, s.Phases+2)
	for _, r := range s.Rows {
		if r.Phase >= 1 && r.Phase <= s.Phases {
			rows[r.Phase] = append(rows[r.Phase], r)
		}
	}
	meet := func(a, b store.Row) bool { return a.Opcode.Meets(b.Opcode) && a.Flags.Meets(b.Flags) }
	restarts := func(r store.Row) bool {
		return slices.ContainsFunc(r.Lines.Columns(), func(c int) bool { return s.Columns[c].Kind == store.Restart })
	}
	var out []Meeting
	known := map[Meeting]bool{}
	add := func(m Meeting) {
		if !known[m] {
			known[m] = true
			out = append(out, m)
		}
	}
	// goesOn reports whether a line is on in a phase wherever a row holds.
	goesOn := func(line, phase int, a store.Row) bool {
		return slices.ContainsFunc(rows[phase], func(b store.Row) bool {
			return b.Lines.Has(line) && a.Opcode.Within(b.Opcode) && a.Flags.Within(b.Flags)
		})
	}
	follow := func(line int, relay string, a store.Row, then int, any bool) {
		m := Meeting{Line: line, Relay: relay, Phase: a.Phase, Then: then}
		for _, b := range rows[then] {
			if !any && !meet(a, b) {
				continue
			}
			for _, c := range b.Lines.Columns() {
				if c != line && held[when{c, then}] == "" && clash(line, c) {
					m.Other, m.Lost = c, false
					add(m)
				}
			}
		}
		if goesOn(line, then, a) {
			return
		}
		for _, b := range rows[a.Phase] {
			if !meet(a, b) {
				continue
			}
			both := a
			both.Opcode, _ = a.Opcode.And(b.Opcode)
			both.Flags, _ = a.Flags.And(b.Flags)
			for _, c := range b.Lines.Columns() {
				if c != line && held[when{c, a.Phase}] == "" && needs(line, c) && !goesOn(c, then, both) {
					m.Other, m.Lost = c, true
					add(m)
				}
			}
		}
	}
	for _, a := range s.Rows {
		for _, line := range a.Lines.Columns() {
			relay := held[when{line, a.Phase}]
			if relay == "" {
				continue
			}
			back := a.Phase == s.Phases || slices.ContainsFunc(rows[a.Phase], func(b store.Row) bool { return restarts(b) && meet(a, b) })
			if back {
				follow(line, relay, a, 1, true)
			}
			if a.Phase < s.Phases && !(back && goesBack(a, rows[a.Phase], restarts)) {
				follow(line, relay, a, a.Phase+1, false)
			}
		}
	}
	slices.SortFunc(out, func(a, b Meeting) int {
		return cmp.Or(a.Phase-b.Phase, a.Then-b.Then, a.Line-b.Line, a.Other-b.Other)
	})
	return out
}

// goesBack reports whether the ring restarts wherever a row holds.
func goesBack(a store.Row, rows []store.Row, restarts func(store.Row) bool) bool {
	return slices.ContainsFunc(rows, func(b store.Row) bool {
		return restarts(b) && a.Opcode.Within(b.Opcode) && a.Flags.Within(b.Flags)
	})
}
