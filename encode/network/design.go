package network

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"

	"coilwright/encode/machine"
	"coilwright/encode/store"
)

// designer looks for the cheapest way to feed every line in every phase. What
// it decides is which phase and pulse wires there are and which conditions
// have a relay; the rest follows: for each line the wires that feed it (the
// fewest, by greedy set cover), for each wire its trees.
type designer struct {
	hw     machine.Hardware
	phases int
	bits   int   // of opcode and flags
	driven []int // columns
	pieces []piece
	vars   []variable
	conds  []condition
	names  map[int]string // of conditions, where the caller has one
	owned  int            // owners of pieces
	flags  uint64         // the bits that are flags
	roots  []*decision    // by condition: its own tree
	coils  []float64      // by condition: what its tree costs by itself
	price  []float64      // of a contact, by variable
	diode  float64        // with its joints
	body   float64        // a relay with its coil's joints and suppression
	cache  map[string]*feed
	moves  map[phaseSet]*travelling // by wire, once they were asked for
	travel phaseSet                 // phases in which the whole opcode is in change-over: nothing may look at it
	nlog   []float64                // n log2 n
	poles  bool                     // weigh a wire as if each group of outputs took one pole
	joint  *feed                    // trees that pull in all conditions at once, if they were made so
	work   int                      // wants looked at so far, in words of pieces: the same on every machine
	low    int                      // lines that end in an inverter
	byCost bool                     // ask variables in the order of what contacts cost
	levels []*level                 // of one tree after the other
	small  map[uint64]*decision
	budget int // nodes of a tree that are tried in several ways
}

// condition is a pattern that has a relay of its own.
type condition struct {
	need, may []bool // by piece: has to be in; may be in
}

// feed is what hangs on one wire.
type feed struct {
	trees []branch
	cost  float64
}

// contacts calls look with the variable of each contact of the trees.
func (f *feed) contacts(look func(v int)) {
	for _, b := range f.trees {
		b.root.contactsOf(look)
	}
}

func (f *feed) empty() bool { return f.cost == 0 }

// branch is one tree on a wire, with the outputs that it may feed.
type branch struct {
	outputs []int // lines (index into driven), or conditions
	root    *decision
	sure    []store.Set // by output: the pieces on which it is fed; only while dealing
}

// demand is the pieces that need an output from a wire.
type demand struct {
	output int
	pieces store.Set
}

func newDesigner(s *store.Store, ch store.Changes, hw machine.Hardware, driven []int, free bool) *designer {
	d := &designer{hw: hw, phases: s.Phases, bits: s.OpcodeBits + len(s.Flags), driven: driven, cache: map[string]*feed{}, small: map[uint64]*decision{}, budget: 6, names: map[int]string{}}
	d.flags = (1<<len(s.Flags) - 1) << s.OpcodeBits
	d.pieces = cut(s, ch, driven, free)
	d.nlog = make([]float64, 2*len(d.pieces)+2)
	for n := 1; n < len(d.nlog); n++ {
		d.nlog[n] = grain(float64(n) * math.Log2(float64(n)))
	}
	opcode := uint64(1)<<s.OpcodeBits - 1
	for _, m := range ch.Moving {
		if m.Bits == opcode && m.Opcode.Care == 0 {
			d.travel.add(m.Phase)
		}
	}
	for _, l := range driven {
		if s.Columns[l].Low {
			d.low++
		}
	}
	d.owned = d.countOwners()
	d.vars = bitVariables(d.pieces, d.bits)
	d.diode = grain(hw.Cost.Diode + 2*hw.Cost.Joint)
	d.body = grain(hw.Cost.Relay + 2*hw.Cost.Joint + float64(suppression(hw))*d.diode)
	d.moves = map[phaseSet]*travelling{}
	for range d.vars {
		d.price = append(d.price, d.contactPrice())
	}
	return d
}

// bodyPrice is what a relay costs with its coil's joints and suppression.
func (d *designer) bodyPrice() float64 { return d.body }

// grain rounds a price so that sums of prices, and small multiples, are exact:
// comparisons then come out alike on every machine, in whatever order a
// compiler adds.
func grain(price float64) float64 { return math.Round(price*(1<<20)) / (1 << 20) }

// contactPrice is what a transfer costs with its share of a relay body.
func (d *designer) contactPrice() float64 {
	return grain(d.hw.Cost.Contact + 3*d.hw.Cost.Joint + d.bodyPrice()/float64(d.hw.Relay.Poles))
}

// wirePrice is what it takes to have the wire at all.
func (d *designer) wirePrice(w phaseSet) float64 {
	n := w.len()
	switch {
	case n < 2:
		return 0
	case d.hw.Diode.Levels < 2:
		return float64(n)*d.diode + d.bodyPrice() + grain(d.hw.Cost.Contact+2*d.hw.Cost.Joint)
	}
	return float64(n) * d.diode
}

// fits reports whether a wire may feed a line on a piece.
func (d *designer) fits(w phaseSet, piece, line int) bool {
	p := &d.pieces[piece]
	return w.and(p.live).within(p.on[line])
}

// usage is the wires that feed a line, and on which pieces.
type usage struct {
	wires   []int // that feed the line
	pieces  []store.Set
	covered bool
}

// feeds chooses the wires of a line: first those that may feed it whatever the
// opcode, the longest first, then for each piece those that cover most of what is left.
func (d *designer) feeds(line int, wires []phaseSet) usage {
	var out usage
	left := make([]phaseSet, len(d.pieces))
	any := phaseSet{}
	for i := range d.pieces {
		left[i] = d.pieces[i].on[line]
		any = any.or(left[i])
	}
	by := map[int]store.Set{}
	take := func(w, piece int) {
		if by[w] == nil {
			by[w] = store.NewSet(len(d.pieces))
		}
		by[w].Add(piece)
	}
	type candidate struct{ wire, size int }
	var always, some []candidate
	for w, set := range wires {
		if set.and(any).empty() {
			continue
		}
		all, one := true, false
		for i := range d.pieces {
			if d.fits(set, i, line) {
				one = one || !set.and(left[i]).empty()
			} else {
				all = false
			}
		}
		if all {
			always = append(always, candidate{w, set.len()})
		} else if one && (set.len() == 1 || set.and(d.travel).empty()) {
			some = append(some, candidate{w, set.len()})
		}
	}
	longest := func(c []candidate) {
		slices.SortStableFunc(c, func(a, b candidate) int { return cmp.Compare(b.size, a.size) })
	}
	longest(always)
	for _, c := range always {
		gain := false
		for i := range d.pieces {
			if !wires[c.wire].and(left[i]).empty() {
				gain = true
				break
			}
		}
		if !gain {
			continue
		}
		for i := range d.pieces {
			if !wires[c.wire].and(left[i]).empty() {
				take(c.wire, i)
			}
			left[i] = left[i].minus(wires[c.wire])
		}
	}
	longest(some)
	out.covered = true
	for i := range d.pieces {
		for !left[i].empty() {
			best, most := -1, 0
			for _, c := range some {
				if c.size <= most {
					break
				}
				if n := wires[c.wire].and(left[i]).len(); n > most && d.fits(wires[c.wire], i, line) {
					best, most = c.wire, n
				}
			}
			if best < 0 {
				out.covered = false
				return out
			}
			take(best, i)
			left[i] = left[i].minus(wires[best])
		}
	}
	for w := range wires {
		if by[w] != nil {
			out.wires = append(out.wires, w)
			out.pieces = append(out.pieces, by[w])
		}
	}
	return out
}

// hang finds the trees of a wire.
func (d *designer) hang(w phaseSet, demands []demand) *feed {
	if len(demands) == 0 {
		return &feed{}
	}
	key := make([]byte, 0, 64)
	for _, word := range w {
		key = binary.LittleEndian.AppendUint64(key, word)
	}
	for _, x := range demands {
		key = binary.LittleEndian.AppendUint32(key, uint32(x.output))
		for _, word := range x.pieces {
			key = binary.LittleEndian.AppendUint64(key, word)
		}
	}
	if f, ok := d.cache[string(key)]; ok {
		return f
	}
	f := d.arrangeOn(w, demands)
	d.cache[string(key)] = f
	return f
}

// arrangeOn finds the trees of a wire, whether they were found before or not.
func (d *designer) arrangeOn(w phaseSet, demands []demand) *feed {
	alive, frozen := d.powered(w)
	may := func(piece, line int) bool { return d.fits(w, piece, line) }
	if d.poles {
		return &feed{cost: d.wirePrice(w) + d.poleCost(demands, alive, may)}
	}
	f := d.arrange(demands, alive, frozen, may)
	f.cost += d.wirePrice(w)
	return f
}

// travelling is what is in change-over while a wire is powered: bits, by piece
// and on any.
type travelling struct {
	bits []uint64
	any  uint64
}

func (d *designer) moving(w phaseSet) *travelling {
	if t, ok := d.moves[w]; ok {
		return t
	}
	t := &travelling{bits: make([]uint64, len(d.pieces))}
	for i := range d.pieces {
		t.bits[i] = d.pieces[i].frozenIn(w)
		t.any |= t.bits[i]
	}
	d.moves[w] = t
	return t
}

// powered lists the pieces that can occur while a wire is powered, and by piece
// the bits that are in change-over then.
func (d *designer) powered(w phaseSet) (alive []int32, frozen []uint64) {
	for i := range d.pieces {
		if !w.and(d.pieces[i].live).empty() {
			alive = append(alive, int32(i))
		}
	}
	return alive, d.moving(w).bits
}

// poleCost is what a wire costs if every group of outputs that is not always
// fed takes one pole of a relay.
func (d *designer) poleCost(demands []demand, alive []int32, may func(piece, output int) bool) float64 {
	cost := 0.0
	for _, g := range groups(demands) {
		cost += d.diode * float64(len(g))
		for _, p := range alive {
			if !may(int(p), g[0].output) {
				cost += d.contactPrice()
				break
			}
		}
	}
	return cost
}

// groups puts outputs together that the same pieces need.
func groups(demands []demand) [][]demand {
	var out [][]demand
	at := map[string]int{}
	for _, x := range demands {
		key := string(bytesOf(x.pieces))
		i, ok := at[key]
		if !ok {
			i = len(out)
			at[key] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], x)
	}
	return out
}

// arrange splits the outputs of one wire into trees: outputs needed by the
// same pieces share one, and trees are joined while that is cheaper.
func (d *designer) arrange(demands []demand, alive []int32, frozen []uint64, may func(piece, output int) bool) *feed {
	grow := func(g []demand) branch {
		b := branch{root: d.grow(g, alive, frozen, may)}
		for _, x := range g {
			b.outputs = append(b.outputs, x.output)
		}
		return b
	}
	type part struct {
		group []demand
		branch
	}
	var parts []part
	var always []demand
	for _, g := range groups(demands) {
		b := grow(g)
		if b.root.v < 0 && b.root.cost < impossible {
			always = append(always, g...)
			continue
		}
		parts = append(parts, part{g, b})
	}
	// All in one tree, and then out of it whatever is cheaper by itself or in
	// a tree that came out before: source and destination of a move, for one.
	if len(parts) > 1 {
		var whole []demand
		for _, p := range parts {
			whole = append(whole, p.group...)
		}
		joint := part{whole, grow(whole)}
		var out []part
		for _, p := range parts {
			if len(joint.group) == len(p.group) {
				break
			}
			rest := slices.DeleteFunc(slices.Clone(joint.group), func(x demand) bool {
				return slices.ContainsFunc(p.group, func(y demand) bool { return y.output == x.output })
			})
			less := part{rest, grow(rest)}
			best, gain := -1, joint.root.cost-less.root.cost-p.root.cost
			var with part
			for k := range out {
				g := append(slices.Clone(out[k].group), p.group...)
				q := part{g, grow(g)}
				if n := joint.root.cost - less.root.cost - q.root.cost + out[k].root.cost; n > gain {
					best, gain, with = k, n, q
				}
			}
			if gain <= 1e-9 {
				continue
			}
			joint = less
			if best >= 0 {
				out[best] = with
			} else {
				out = append(out, p)
			}
		}
		parts = append(out, joint)
	}
	f := &feed{}
	if len(always) > 0 {
		b := grow(always)
		f.trees = append(f.trees, b)
		f.cost += b.root.cost
	}
	for _, p := range parts {
		f.trees = append(f.trees, p.branch)
		f.cost += p.root.cost
	}
	return f
}

func bytesOf(s store.Set) []byte {
	var out []byte
	for _, w := range s {
		out = binary.LittleEndian.AppendUint64(out, w)
	}
	return out
}

// grow finds one tree for a group of outputs. Its outputs are numbered within the group.
func (d *designer) grow(group []demand, alive []int32, frozen []uint64, may func(piece, output int) bool) *decision {
	words := len(store.NewSet(len(d.pieces)))
	g := &grower{vars: d.vars, price: d.price, diode: d.diode, left: d.budget, nlog: d.nlog, work: &d.work, share: d.contactPrice(), byCost: d.byCost, levels: d.levels}
	if words > 1 {
		g.memo = map[string]*decision{}
	} else {
		clear(d.small)
		g.small = d.small
	}
	defer func() { d.levels = g.levels }()
	g.sortOf = make([]int, len(d.pieces))
	at := map[string]int{}
	pieces := store.NewSet(len(d.pieces))
	key := make([]byte, 0, 4*len(group))
	full, need, can := store.NewSet(len(group)), store.NewSet(len(group)), store.NewSet(len(group))
	for k := range group {
		full.Add(k)
	}
	for _, p := range alive {
		clear(need)
		clear(can)
		for k, x := range group {
			if x.pieces.Has(int(p)) {
				need.Add(k)
			}
			if may(int(p), x.output) {
				can.Add(k)
			}
		}
		if need.Empty() && can.Equal(full) {
			continue
		}
		key = key[:0]
		for i := range need {
			key = binary.LittleEndian.AppendUint64(key, need[i])
			key = binary.LittleEndian.AppendUint64(key, can[i])
		}
		c, ok := at[string(key)]
		if !ok {
			c = len(g.wants)
			at[string(key)] = c
			g.wants = append(g.wants, want{slices.Clone(need), slices.Clone(can)})
			g.sorts = append(g.sorts, make(store.Set, words))
		}
		g.sorts[c].Add(int(p))
		g.sortOf[p] = c
		pieces.Add(int(p))
	}
	if len(g.wants) == 0 {
		return &decision{v: -1, outputs: store.NewSet(len(group))}
	}
	g.tally = make([]int, len(g.wants))
	for side := range g.space {
		g.space[side] = make([]uint64, 2*len(full)*len(g.wants))
		g.groups[side] = make([]cluster, 0, len(g.wants))
	}
	for v := range d.vars {
		x := &d.vars[v]
		barred := make(store.Set, words)
		for _, p := range alive {
			if d.price[v] >= impossible {
				break
			}
			if x.looks[p]&frozen[p] != 0 {
				barred.Add(int(p))
			}
		}
		g.off, g.on, g.barred = append(g.off, x.off), append(g.on, x.on), append(g.barred, barred)
	}
	return g.grow(pieces)
}

// plan is one choice of wires, and what follows from it.
type plan struct {
	wires []phaseSet
	usage []usage // by line
	feeds []*feed // by wire
	cost  float64 // of what hangs on the wires, by the shares of bodies
	order []int   // conditions in use, once they are settled
	coils *feed   // the trees that pull them in
}

// contacts calls look with the variable of each contact of all wires.
func (p *plan) contacts(look func(v int)) {
	for _, f := range p.feeds {
		f.contacts(look)
	}
}

// trees lists what hangs on a wire.
func (p *plan) trees(wire int) []branch { return p.feeds[wire].trees }

// settle completes a plan by the conditions in use and the trees of their coils.
func (d *designer) settle(p *plan) *plan {
	q := *p
	q.order = d.inUse(p)
	if len(q.order) > 0 && q.coils == nil {
		q.coils = d.coilFeed(p, q.order)
	}
	return &q
}

// possible reports whether every line is fed without looking at what travels.
func (p *plan) possible() bool {
	if p.cost >= impossible {
		return false
	}
	for _, f := range p.feeds {
		for _, b := range f.trees {
			if b.root.cost >= impossible {
				return false
			}
		}
	}
	return true
}

// weigh works out what a choice of wires costs. Lines that do not use a wire
// taken away keep what they had in base.
func (d *designer) weigh(wires []phaseSet, base *plan, gone int) *plan {
	p := &plan{wires: wires, usage: make([]usage, len(d.driven))}
	demands := make([][]demand, len(wires))
	for line := range d.driven {
		if base != nil && gone >= 0 && !slices.Contains(base.usage[line].wires, gone) {
			u := usage{covered: true, pieces: base.usage[line].pieces}
			for _, w := range base.usage[line].wires {
				if w > gone {
					w--
				}
				u.wires = append(u.wires, w)
			}
			p.usage[line] = u
		} else {
			p.usage[line] = d.feeds(line, wires)
		}
		u := &p.usage[line]
		if !u.covered {
			p.cost = impossible
			return p
		}
		for k, w := range u.wires {
			demands[w] = append(demands[w], demand{line, u.pieces[k]})
		}
	}
	for w := range wires {
		f := d.hang(wires[w], demands[w])
		p.feeds = append(p.feeds, f)
		p.cost += f.cost
	}
	return p
}

// candidates lists wires that lines could use as they are: the unbroken runs
// of phases of each line on each piece and of what every piece agrees on.
func (d *designer) candidates() []phaseSet {
	seen := map[phaseSet]bool{}
	var out []phaseSet
	add := func(s phaseSet) {
		if s.len() < 2 {
			return
		}
		if !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	runs := func(s phaseSet) {
		run := phaseSet{}
		for q := 1; q <= d.phases+1; q++ {
			if q <= d.phases && s.has(q) {
				run.add(q)
				continue
			}
			add(run)
			run = phaseSet{}
		}
	}
	for line := range d.driven {
		agreed := phaseSet{}
		for q := 1; q <= d.phases; q++ {
			all, one := true, false
			for i := range d.pieces {
				p := &d.pieces[i]
				if p.on[line].has(q) {
					one = true
				} else if p.live.has(q) {
					all = false
					break
				}
			}
			if all && one {
				agreed.add(q)
			}
		}
		add(agreed)
		runs(agreed)
		for i := range d.pieces {
			add(d.pieces[i].on[line])
			add(d.pieces[i].on[line].minus(agreed))
			runs(d.pieces[i].on[line])
			runs(d.pieces[i].on[line].minus(agreed))
		}
	}
	slices.SortStableFunc(out, func(a, b phaseSet) int {
		return cmp.Or(cmp.Compare(b.len(), a.len()), slices.Compare(a.phases(), b.phases()))
	})
	return out
}

// search begins with every candidate wire, or with those of a plan, takes away
// what the design is cheaper without, and puts back what it misses, until
// neither helps or the tries are used up.
func (d *designer) search(from *plan, until int) *plan {
	all := d.candidates()
	var wires []phaseSet
	if from != nil {
		wires = from.wires
	} else {
		for q := 1; q <= d.phases; q++ {
			w := phaseSet{}
			w.add(q)
			wires = append(wires, w)
		}
		wires = append(wires, all...)
	}
	best := d.weigh(wires, nil, -1)
	for improved := true; improved && d.work < until; {
		improved = false
		for w := len(best.wires) - 1; w >= d.phases && d.work < until; w-- {
			next := d.weigh(slices.Delete(slices.Clone(best.wires), w, w+1), best, w)
			if next.cost < best.cost-1e-9 || best.feeds[w].empty() {
				improved = improved || !best.feeds[w].empty()
				best = next
			}
		}
		for _, c := range all {
			if d.work >= until {
				break
			}
			if slices.Contains(best.wires, c) {
				continue
			}
			next := d.weigh(append(slices.Clone(best.wires), c), nil, -1)
			if next.cost < best.cost-1e-9 {
				best, improved = next, true
			}
		}
	}
	return best
}
