package network

import "slices"

// workLimit bounds the search for a better layout by a count of evaluations, which
// is the same on every machine.
const workLimit = 1_500_000

// improve lowers the number of pins. Atoms move from card to card in passes
// in the manner of Fiduccia and Mattheyses ("A linear-time heuristic for
// improving network partitions", DAC 1982), with several cards to go to as in
// Sanchis ("Multiple-way network partitioning", IEEE Trans. Computers 38(1),
// 1989): the best move first, even if it makes things worse, each atom once a
// pass, and back to the best state at its end. A card may be over its limits
// in between, so that two full cards can change places of two atoms. Then
// contacts of one signal change places between its bodies, after Kernighan
// and Lin ("An efficient heuristic procedure for partitioning graphs", BSTJ
// 49(2), 1970).
func (l *layout) improve() {
	for l.work < workLimit {
		before := l.allPins()
		for l.pass() && l.work < workLimit {
		}
		l.swap()
		if l.allPins() >= before {
			return
		}
	}
}

// excess is by how much a card is over its limits once room has been taken.
func excess(room, takes [4]int) int {
	n := 0
	for i := range room {
		n += max(0, takes[i]-room[i])
	}
	return n
}

// slack is by how much a card may be over its limits between two moves.
const slack = 6

// patience is how many moves a pass goes on without a new best state.
const patience = 60

// pass moves atoms once each and reports whether that brought something.
func (l *layout) pass() bool {
	cards := len(l.pins)
	gain := make([][]int, len(l.atoms)) // pins saved by atom and card
	refresh := func(i int) {
		for c := 1; c < cards; c++ {
			if c != l.on[i] {
				left, entered := l.change(i, c)
				gain[i][c] = -left - entered
			}
		}
	}
	for i := range gain {
		gain[i] = make([]int, cards)
		refresh(i)
	}
	locked := make([]bool, len(l.atoms))
	type step struct{ atom, from int }
	var steps []step
	saved, most, good := 0, 0, 0
	over := 0 // the card over its limits, or none
	for l.work < workLimit && len(steps) < good+patience {
		pick, to, best := -1, 0, 0
		l.work += len(l.atoms) * cards / 8 // looking at a known gain is cheap, and there are many
		for i := range l.atoms {
			if locked[i] || over > 0 && l.on[i] != over {
				continue
			}
			for c := 1; c < cards; c++ {
				if c == l.on[i] || pick >= 0 && gain[i][c] <= best {
					continue
				}
				t := l.takes(i, c)
				left, entered := l.change(i, c)
				gain[i][c] = -left - entered
				t[3] = entered
				if x := excess(l.room(c), t); x > slack || over > 0 && x > 0 || pick >= 0 && gain[i][c] <= best {
					continue
				}
				pick, to, best = i, c, gain[i][c]
			}
		}
		if pick < 0 {
			break
		}
		from := l.on[pick]
		left, entered := l.change(pick, to)
		l.move(pick, to)
		locked[pick] = true
		steps = append(steps, step{pick, from})
		saved -= left + entered
		over = 0
		for _, c := range []int{from, to} {
			if excess(l.room(c), [4]int{}) > 0 {
				over = c
			}
		}
		if over == 0 && saved > most {
			most, good = saved, len(steps)
		}
		near := map[int]bool{}
		for _, u := range l.atoms[pick].nets {
			if len(l.touch[u.net]) > 48 && l.count[u.net][from] > 0 && l.count[u.net][to] > u.n {
				continue // a wire that is everywhere: nothing turns on it
			}
			for _, i := range l.touch[u.net] {
				near[i] = true
			}
		}
		for i := range near {
			if !locked[i] {
				refresh(i)
			}
		}
	}
	for _, s := range slices.Backward(steps[good:]) {
		l.move(s.atom, s.from)
	}
	return most > 0
}

// swap exchanges contacts, or a contact and a free pole, between bodies of one
// signal on different cards where that saves pins.
func (l *layout) swap() {
	bodies := make([][]int, len(l.n.c.Signals))
	for i := range l.atoms {
		if s := l.atoms[i].signal; s >= 0 {
			bodies[s] = append(bodies[s], i)
		}
	}
	for _, mine := range bodies {
		for again := true; again && l.work < workLimit; {
			again = false
			for x, i := range mine {
				for _, j := range mine[x+1:] {
					if l.on[i] == l.on[j] {
						continue
					}
					for a := range l.atoms[i].contacts {
						for b := range l.atoms[j].contacts {
							again = l.exchange(i, a, j, b) || again
						}
					}
				}
			}
		}
	}
}

// exchange swaps two poles if that saves pins and both cards stay within their limits.
func (l *layout) exchange(i, a, j, b int) bool {
	x, y := &l.atoms[i], &l.atoms[j]
	if x.contacts[a] < 0 && y.contacts[b] < 0 {
		return false
	}
	l.work++
	if l.saves(x.contacts[a], l.on[i], y.contacts[b], l.on[j]) <= 0 {
		return false
	}
	turn := func() {
		l.lift(i)
		l.lift(j)
		x.contacts[a], y.contacts[b] = y.contacts[b], x.contacts[a]
		l.lower(i)
		l.lower(j)
	}
	turn()
	if excess(l.room(l.on[i]), [4]int{}) == 0 && excess(l.room(l.on[j]), [4]int{}) == 0 {
		return true
	}
	turn()
	return false
}

// saves returns the pins that go if contacts k and m (-1 = a free pole) of
// cards a and b change places.
func (l *layout) saves(k, a, m, b int) int {
	var moved [6]use // terminals that go from a to b
	n := 0
	note := func(contact, by int) {
		if contact < 0 {
			return
		}
	next:
		for _, net := range l.n.c.ends(contact) {
			if net < 0 {
				continue
			}
			for i := range moved[:n] {
				if moved[i].net == net {
					moved[i].n += by
					continue next
				}
			}
			moved[n] = use{net, by}
			n++
		}
	}
	note(k, 1)
	note(m, -1)
	on := func(terminals int) int { return min(terminals, 1) }
	saved := 0
	for _, u := range moved[:n] {
		fromA, fromB := l.count[u.net][a], l.count[u.net][b]
		was := on(fromA) + on(fromB)
		will := on(fromA-u.n) + on(fromB+u.n)
		others := l.span[u.net] - was
		saved += was*l.needs(u.net, was+others) - will*l.needs(u.net, will+others)
		// A third card can't lose or win its pin: where it has the net, so has a or b, before and after.
	}
	return saved
}

// ends are the points of a contact.
func (c *Circuit) ends(contact int) [3]int {
	k := c.Contacts[contact]
	return [3]int{k.Common, k.Break, k.Make}
}

// lift takes an atom off its card, pins included, to be changed; lower puts it back.
func (l *layout) lift(i int) {
	card := l.on[i]
	a := &l.atoms[i]
	l.unpin(a)
	l.leave(a, card)
	l.pin(a)
	for _, u := range a.nets {
		l.touch[u.net] = without(l.touch[u.net], i)
	}
}

func (l *layout) lower(i int) {
	a := &l.atoms[i]
	a.touch(l.n)
	l.unpin(a)
	l.enter(a, l.on[i])
	l.pin(a)
	for _, u := range a.nets {
		l.touch[u.net] = append(l.touch[u.net], i)
	}
}

// unpin takes the pins of the nets of an atom off all cards, pin puts them back.
func (l *layout) unpin(a *atom) { l.pinNets(a, -1) }
func (l *layout) pin(a *atom)   { l.pinNets(a, 1) }

func (l *layout) pinNets(a *atom, sign int) {
	for _, u := range a.nets {
		need := sign * l.needs(u.net, l.span[u.net])
		if need == 0 {
			continue
		}
		for c := range l.pins {
			if l.count[u.net][c] > 0 {
				l.pins[c] += need
			}
		}
	}
}

func without(list []int, x int) []int {
	if i := slices.Index(list, x); i >= 0 {
		list[i] = list[len(list)-1]
		return list[:len(list)-1]
	}
	return list
}

// dissolve tries to do without a card, the one with the least on it first.
func (l *layout) dissolve() {
	closed := make([]bool, len(l.pins))
	for c := 1; c < len(l.pins); c++ {
		var mine, moved []int
		for i, on := range l.on {
			if on == c {
				mine = append(mine, i)
			}
		}
		for _, i := range mine {
			to := l.roomier(i, c, closed)
			if to < 0 {
				break
			}
			l.move(i, to)
			moved = append(moved, i)
		}
		if len(moved) < len(mine) {
			for _, i := range slices.Backward(moved) {
				l.move(i, c)
			}
			continue
		}
		closed[c] = true
	}
	l.close(closed)
}

// roomier is the open card other than c on which atom i fits with the fewest pins more, or -1.
func (l *layout) roomier(i, c int, closed []bool) int {
	pick, least := -1, 0
	for to := 1; to < len(l.pins); to++ {
		if to == c || closed[to] {
			continue
		}
		t := l.takes(i, to)
		left, entered := l.change(i, to)
		if t[3] = entered; excess(l.room(to), t) == 0 && (pick < 0 || left+entered < least) {
			pick, least = to, left+entered
		}
	}
	return pick
}

// close takes empty cards out.
func (l *layout) close(closed []bool) {
	number := make([]int, len(closed))
	n := 0
	for c, gone := range closed {
		number[c] = n
		if !gone {
			n++
		}
	}
	if n == len(closed) {
		return
	}
	keep := func(of []int) []int {
		for c, gone := range closed {
			if !gone {
				of[number[c]] = of[c]
			}
		}
		return of[:n]
	}
	for i := range l.count {
		l.count[i] = keep(l.count[i])
	}
	for i := range l.columns {
		if l.n.column[i] {
			l.columns[i] = keep(l.columns[i])
		}
	}
	l.width, l.relays, l.rows, l.pins = keep(l.width), keep(l.relays), keep(l.rows), keep(l.pins)
	for i, c := range l.on {
		l.on[i] = number[c]
	}
}
