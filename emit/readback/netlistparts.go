package readback

import (
	"fmt"
	"io"
	"maps"
	"math/bits"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"coilwright/encode/cube"
	bare "coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// Sums reads the store as a Verilog module of sums of products and holds it
// against the store: its lines everywhere, and its last output, which says
// which states can occur. Masked, the lines have to be 0 in the other states.
// Up to 2^14 settings of opcode and flags are all tried; of more, some for
// every row and some by chance.
func Sums(r io.Reader, s *store.Store, inputs uint64, masked bool) error {
	v, at, err := openVerilog(r, s, "store", 1)
	if err != nil {
		return err
	}
	if len(v.gates) > 0 {
		return refuse(v.gates[0].line, "a gate among sums")
	}
	if masked {
		return holdModule(v, at, s, inputs, maskedLines)
	}
	return holdModule(v, at, s, inputs, allLines)
}

// Flow reads a network as a Verilog module of sums in the order of flow. Each
// term has to be a contact or a diode of the list, each part of the list has to
// be a term or to be named as left out, and the lines have to be the store's
// wherever a state can occur, tried as by Sums. Masked, it has the last output
// of Sums too.
func Flow(r io.Reader, l *bare.List, s *store.Store, inputs uint64, masked bool) error {
	extra := 0
	if masked {
		extra = 1
	}
	v, at, err := openVerilog(r, s, "network", extra)
	if err != nil {
		return err
	}
	if len(v.gates) > 0 {
		return refuse(v.gates[0].line, "a gate among sums")
	}
	b, err := newBoard(l, s, v)
	if err != nil {
		return err
	}
	if !masked {
		if err := b.follow(v); err != nil {
			return err
		}
		return holdModule(v, at, s, inputs, occurring)
	}
	bare, err := b.unmask(v)
	if err != nil {
		return err
	}
	if err := b.follow(bare); err != nil {
		return err
	}
	return holdModule(v, at, s, inputs, maskedLines)
}

// unmask takes the mask out of a module: what its last output depends on, and
// the assignments of the lines, whose unmasked wires become the lines.
func (b *board) unmask(v *verilog) (*verilog, error) {
	occurs := v.outputs[len(v.outputs)-1]
	by := map[string]assign{}
	for _, a := range v.assigns {
		by[a.to] = a
	}
	mask := map[string]bool{occurs: true}
	var take func(sum []product)
	take = func(sum []product) {
		for _, p := range sum {
			for _, f := range p {
				take(f.sum)
				if a, ok := by[f.name]; ok && !mask[f.name] {
					mask[f.name] = true
					take(a.sum)
				}
			}
		}
	}
	take(by[occurs].sum)
	out := *v
	out.outputs = v.outputs[:len(v.outputs)-1]
	line := map[string]string{} // by the wire that is masked
	for _, o := range out.outputs {
		a := by[o]
		if len(a.sum) != 1 || len(a.sum[0]) != 2 {
			return nil, refuse(a.line, "%s is no wire with the mask", o)
		}
		wire, with := a.sum[0][0], a.sum[0][1]
		if wire.not || with.not || with.name != occurs || line[wire.name] != "" {
			return nil, refuse(a.line, "%s is no wire with the mask", o)
		}
		line[wire.name] = o
	}
	out.assigns = nil
	for _, a := range v.assigns {
		if mask[a.to] {
			_, net := look(b.byName, a.to)
			_, relay := look(b.relay, a.to)
			if net || relay || line[a.to] != "" {
				return nil, refuse(a.line, "%s is part of the mask", a.to)
			}
			continue
		}
		if slices.Contains(out.outputs, a.to) {
			continue
		}
		if o := line[a.to]; o != "" {
			a.to = o
		}
		out.assigns = append(out.assigns, a)
	}
	return &out, nil
}

// Switches reads a network as a Verilog module of switches and compares it
// with the list, part by part.
func Switches(r io.Reader, l *bare.List, s *store.Store) error {
	v, _, err := openVerilog(r, s, "network", 0)
	if err != nil {
		return err
	}
	b, err := newBoard(l, s, v)
	if err != nil {
		return err
	}
	return b.match(v)
}

// openVerilog reads a module and checks its ports against the store.
func openVerilog(r io.Reader, s *store.Store, kind string, extra int) (*verilog, map[string]int, error) {
	v, err := readVerilog(r)
	if err != nil {
		return nil, nil, err
	}
	if err := headed(1, v.about, s); err != nil {
		return nil, nil, err
	}
	if !sameName(v.name, s.Machine+"_"+kind) {
		return nil, nil, refuse(1, "module %s, not %s_%s", v.name, s.Machine, kind)
	}
	var in []string
	for i := s.OpcodeBits - 1; i >= 0; i-- {
		in = append(in, "opcode_"+strconv.Itoa(i))
	}
	in = append(in, s.Flags...)
	for i := 1; i <= s.Phases; i++ {
		in = append(in, "phase_"+strconv.Itoa(i))
	}
	var out []string
	for _, l := range drivenLines(s) {
		out = append(out, s.Columns[l].Name)
	}
	same := func(found, want []string, more int) error {
		if len(found) != len(want)+more {
			return refuse(1, "%d ports, %d are wanted", len(found), len(want)+more)
		}
		for i := range want {
			if !sameName(found[i], want[i]) {
				return refuse(1, "port %s stands where %s should", found[i], want[i])
			}
		}
		return nil
	}
	if err := same(v.inputs, in, 0); err != nil {
		return nil, nil, err
	}
	if err := same(v.outputs, out, extra); err != nil {
		return nil, nil, err
	}
	if strings.Join(v.ports, ",") != strings.Join(append(v.inputs[:len(v.inputs):len(v.inputs)], v.outputs...), ",") {
		return nil, nil, refuse(1, "the ports are not the inputs and outputs")
	}
	var at map[string]int
	if len(v.gates) == 0 {
		at, err = v.places()
	}
	return v, at, err
}

// mostWork bounds the products that are worked out to try a module.
const mostWork = 1 << 25

// held says what a module has to do.
type held int

const (
	occurring   held = iota // its lines are right where a state can occur
	allLines                // everywhere, and its last output says where a state can occur
	maskedLines             // where a state can occur and 0 elsewhere, and so is its last output
)

// holdModule tries a module against the store, 64 settings at a time.
func holdModule(v *verilog, at map[string]int, s *store.Store, inputs uint64, how held) error {
	products := 1
	for _, a := range v.assigns {
		products += len(a.sum)
	}
	n := s.OpcodeBits + len(s.Flags)
	settings := settingsOf(s, n, max(1, mostWork/products/(s.Phases+1))*64)
	free := freeStates(s, inputs)
	rows := make([][]store.Row, s.Phases+1)
	for _, r := range s.Rows {
		rows[r.Phase] = append(rows[r.Phase], r)
	}
	lines := drivenLines(s)
	values := make([]lanes, len(at))
	values[1] = ^lanes(0)
	outputs := make([]int, len(v.outputs))
	for i, name := range v.outputs {
		outputs[i] = at[name]
	}
	for first := true; len(settings) > 0; first = false {
		some := settings[:min(64, len(settings))]
		settings = settings[len(some):]
		bit := make([]lanes, n)
		used := ^lanes(0) >> (64 - len(some))
		for k, x := range some {
			for i := range bit {
				bit[i] |= x >> i & 1 << k
			}
		}
		matching := func(c cube.Cube) lanes {
			out := used
			for i := range bit {
				if c.Care>>i&1 == 1 {
					out &= bit[i] ^ (c.Value>>i&1 - 1)
				}
			}
			return out
		}
		for i := range n {
			j := i
			if i < s.OpcodeBits {
				j = s.OpcodeBits - 1 - i
			}
			values[constants+i] = bit[j]
		}
		// on works out what the store asks for in a phase, and where it can occur.
		on := func(phase int) (want []lanes, occurs lanes) {
			occurs = used
			for _, c := range free[phase] {
				occurs &^= matching(c)
			}
			want = make([]lanes, len(lines))
			for _, r := range rows[phase] {
				on := matching(joint(s, r.Opcode, r.Flags))
				for i, l := range lines {
					if r.Lines.Has(l) {
						want[i] |= on
					}
				}
			}
			return want, occurs
		}
		power := func(phases ...int) {
			for i := range s.Phases {
				values[constants+n+i] = 0
				if slices.Contains(phases, i+1) {
					values[constants+n+i] = ^lanes(0)
				}
			}
			v.settle(values)
		}
		for phase := 0; phase <= s.Phases; phase++ {
			power(phase)
			want, occurs := on(phase)
			for i, l := range lines {
				if how == maskedLines {
					want[i] &= occurs
				}
				wrong := (values[outputs[i]] ^ want[i]) & used
				if how == occurring {
					wrong &= occurs
				}
				if wrong != 0 {
					k := bits.TrailingZeros64(wrong)
					is := "off"
					if want[i]>>k&1 == 0 {
						is = "on"
					}
					return differ(s, some[k], phase, l, is)
				}
			}
			if phase == 0 {
				occurs = 0
			}
			if how != occurring && (values[outputs[len(lines)]]^occurs)&used != 0 {
				return fmt.Errorf("phase %d: whether it can occur is wrong", phase)
			}
		}
		// Two wires at once cannot occur, and both count; some settings will do.
		for phase := 1; how != occurring && first && phase <= s.Phases; phase++ {
			for _, other := range []int{phase%s.Phases + 1, phase*7%s.Phases + 1} {
				if other == phase {
					continue
				}
				power(phase, other)
				want, _ := on(phase)
				more, _ := on(other)
				for i := range lines {
					both := want[i] | more[i]
					if how == maskedLines {
						both = 0
					}
					if (values[outputs[i]]^both)&used != 0 {
						return fmt.Errorf("phases %d and %d at once: %s is wrong", phase, other, s.Columns[lines[i]].Name)
					}
				}
				if values[outputs[len(lines)]]&used != 0 {
					return fmt.Errorf("phases %d and %d at once can occur", phase, other)
				}
			}
		}
	}
	return nil
}

// settingsOf lists settings of opcode and flags to try, at most about most: all
// of them, or some that match each row and others by chance, the same in every run.
func settingsOf(s *store.Store, n, most int) []uint64 {
	if n <= 14 && 1<<n <= most {
		out := make([]uint64, 1<<n)
		for i := range out {
			out[i] = uint64(i)
		}
		return out
	}
	most = min(most, 1<<14)
	r := rand.New(rand.NewPCG(1364, 2005))
	mask := ^uint64(0) >> (64 - n)
	var out []uint64
	step := max(1, (2*len(s.Rows)+most-1)/most)
	for i := 0; i < len(s.Rows); i += step {
		c := joint(s, s.Rows[i].Opcode, s.Rows[i].Flags)
		x := r.Uint64()&mask&^c.Care | c.Value
		out = append(out, x)
		if c.Care != 0 { // just outside
			var care []int
			for b := range n {
				if c.Care>>b&1 == 1 {
					care = append(care, b)
				}
			}
			out = append(out, x^1<<care[r.IntN(len(care))])
		}
	}
	for len(out) < most {
		out = append(out, r.Uint64()&mask)
	}
	return out
}

// board is a list by nets, read on its own: a net is named by each of its terminals.
type board struct {
	l        *bare.List
	s        *store.Store
	net      map[bare.Terminal]int
	byName   map[string]int // net by what Verilog makes of a terminal
	ret      int
	feed     int
	relay    map[string]string // relay by what Verilog makes of its name
	coil     map[string]int    // net, by relay
	contacts []boardContact
	diodes   []boardDiode
	brings   map[int][]string // input ports by net
	line     map[int]int      // net by column
}

type boardContact struct {
	relay    string
	pole     int
	made     bool
	a, b     int
	terminal string // "K1:11-12"
}

type boardDiode struct {
	name     string
	from, to int
}

var noName = regexp.MustCompile(`[^A-Za-z0-9_]`)

func verilogName(text string) string { return noName.ReplaceAllString(text, "_") }

func newBoard(l *bare.List, s *store.Store, v *verilog) (*board, error) {
	b := &board{l: l, s: s, net: map[bare.Terminal]int{}, byName: map[string]int{}, ret: -1, feed: -1,
		relay: map[string]string{}, coil: map[string]int{}, brings: map[int][]string{}, line: map[int]int{}}
	// Everything that hangs together gets one number, by spreading from terminal to terminal.
	next := map[bare.Terminal][]bare.Terminal{}
	wired := map[bare.Terminal]bool{}
	for _, w := range l.Wires {
		next[w.From] = append(next[w.From], w.To)
		next[w.To] = append(next[w.To], w.From)
		wired[w.From], wired[w.To] = true, true
	}
	byUse := map[bare.Use]bare.Terminal{}
	use := func(u bare.Use) bare.Use {
		u.Name = ""
		if u.Kind == bare.Feed || u.Kind == bare.Return {
			u.N = 0
		}
		return u
	}
	for _, p := range l.Pins {
		u := use(p.Use)
		if first, ok := byUse[u]; ok && u.Kind != bare.Spare {
			next[first] = append(next[first], p.Terminal())
			next[p.Terminal()] = append(next[p.Terminal()], first)
		} else {
			byUse[u] = p.Terminal()
		}
	}
	nets := 0
	spread := func(t bare.Terminal) {
		if _, ok := b.net[t]; ok {
			return
		}
		for stack := []bare.Terminal{t}; len(stack) > 0; {
			t := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			if _, ok := b.net[t]; ok {
				continue
			}
			b.net[t] = nets
			b.byName["at_"+verilogName(string(t))] = nets
			stack = append(stack, next[t]...)
		}
		nets++
	}
	for _, k := range l.Relays {
		a1, a2 := k.Coil()
		spread(a1)
		spread(a2)
		for n := 1; n <= k.Poles; n++ {
			c, br, mk := k.Pole(n)
			spread(c)
			spread(br)
			spread(mk)
		}
	}
	for _, d := range l.Diodes {
		a, k := d.Ends()
		spread(a)
		spread(k)
	}
	for _, p := range l.Pins {
		spread(p.Terminal())
	}
	at := func(kind bare.Kind, n int) int {
		if t, ok := byUse[bare.Use{Kind: kind, N: n}]; ok {
			return b.net[t]
		}
		return -1
	}
	b.ret, b.feed = at(bare.Return, 0), at(bare.Feed, 0)
	port := 0
	bring := func(kind bare.Kind, n int) {
		if net := at(kind, n); net >= 0 {
			b.brings[net] = append(b.brings[net], v.inputs[port])
		}
		port++
	}
	for i := s.OpcodeBits - 1; i >= 0; i-- {
		bring(bare.Opcode, i)
	}
	for i := range s.Flags {
		bring(bare.Flag, i)
	}
	for i := 1; i <= s.Phases; i++ {
		bring(bare.Phase, i)
	}
	for _, c := range drivenLines(s) {
		b.line[c] = at(bare.Line, c)
	}
	for _, k := range l.Relays {
		b.relay[verilogName(k.Name)] = k.Name
		a1, a2 := k.Coil()
		b.coil[k.Name] = b.net[a1]
		if b.net[a1] == b.ret {
			b.coil[k.Name] = b.net[a2]
		}
		for n := 1; n <= k.Poles; n++ {
			c, br, mk := k.Pole(n)
			for made, t := range map[bool]bare.Terminal{false: br, true: mk} {
				if wired[c] && wired[t] {
					b.contacts = append(b.contacts, boardContact{k.Name, n, made, b.net[c], b.net[t], fmt.Sprintf("%s-%s", c, t)})
				}
			}
		}
	}
	for _, d := range l.Diodes {
		a, k := d.Ends()
		if wired[a] && wired[k] {
			x := boardDiode{d.Name, b.net[a], b.net[k]}
			if l.Negative {
				x.from, x.to = x.to, x.from
			}
			b.diodes = append(b.diodes, x)
		}
	}
	return b, nil
}

// look finds a net or relay by a name in a file, which may have underscores behind it.
func look[T any](m map[string]T, name string) (T, bool) {
	for {
		if x, ok := m[name]; ok {
			return x, true
		}
		shorter, ok := strings.CutSuffix(name, "_")
		if !ok {
			var none T
			return none, false
		}
		name = shorter
	}
}

// follow checks every assignment of a network in the order of flow.
func (b *board) follow(v *verilog) error {
	type join struct {
		relay string
		made  bool
		a, b  int
	}
	contacts, diodes := map[join]bool{}, map[[2]int]bool{}
	for _, c := range b.contacts {
		contacts[join{c.relay, c.made, c.a, c.b}] = false
	}
	for _, d := range b.diodes {
		diodes[[2]int{d.from, d.to}] = false
	}
	lines := drivenLines(b.s)
	byPort := map[string]int{}
	for i, c := range lines {
		byPort[v.outputs[i]] = c
	}
	inputs := map[string]int{}
	for net, ports := range b.brings {
		for _, p := range ports {
			inputs[p] = net
		}
	}
	// where is the net that a name stands for.
	where := func(name string) (int, bool) {
		if net, ok := inputs[name]; ok {
			return net, true
		}
		if name == "1'b1" {
			return b.feed, b.feed >= 0
		}
		return look(b.byName, name)
	}
	relays := map[string]bool{} // by wire: it is a relay
	known := func(f factor) (string, bool) {
		name, ok := look(b.relay, f.name)
		return name, ok && relays[f.name]
	}
	for _, a := range v.assigns {
		if c, ok := byPort[a.to]; ok {
			if len(a.sum) != 1 || len(a.sum[0]) != 1 {
				return refuse(a.line, "%s is more than one net", a.to)
			}
			f := a.sum[0][0]
			net, ok := where(f.name)
			if f.name == "1'b0" {
				net, ok = -1, true
			}
			if f.not != b.s.Columns[c].Low || !ok || net != b.line[c] {
				return refuse(a.line, "%s is not what the list brings to its pin", a.to)
			}
			continue
		}
		if relay, ok := look(b.relay, a.to); ok && !strings.HasPrefix(a.to, "at_") {
			net, ok := -1, false
			if len(a.sum) == 1 && len(a.sum[0]) == 1 && !a.sum[0][0].not {
				net, ok = where(a.sum[0][0].name)
			}
			if !ok || net != b.coil[relay] {
				return refuse(a.line, "%s is not what the list brings to its coil", a.to)
			}
			relays[a.to] = true
			continue
		}
		to, ok := look(b.byName, a.to)
		if !ok {
			return refuse(a.line, "the list has no net %s", a.to)
		}
		brought := map[string]bool{}
		for _, p := range b.brings[to] {
			brought[p] = true
		}
		for _, p := range a.sum {
			f := p[len(p)-1]
			if len(p) == 1 {
				if brought[f.name] && !f.not {
					delete(brought, f.name)
					continue
				}
				if relay, ok := known(f); ok { // a contact from the feed
					x, y := join{relay, !f.not, b.feed, to}, join{relay, !f.not, to, b.feed}
					if !mark(contacts, x, y) {
						return refuse(a.line, "the list has no contact of %s from the feed to %s", relay, a.to)
					}
					continue
				}
				if f.name == "1'b0" && len(a.sum) == 1 {
					continue
				}
				if from, ok := where(f.name); ok && !f.not {
					if from == to && f.name == "1'b1" || mark(diodes, [2]int{from, to}) {
						continue
					}
				}
				return refuse(a.line, "the list has no diode from %s to %s", f.name, a.to)
			}
			relay, isRelay := known(f)
			from, ok := where(p[0].name)
			if !isRelay || !ok || p[0].not || len(p) != 2 ||
				!mark(contacts, join{relay, !f.not, from, to}, join{relay, !f.not, to, from}) {
				return refuse(a.line, "the list has no contact of %s from %s to %s", f.name, p[0].name, a.to)
			}
		}
		if len(brought) > 0 {
			return refuse(a.line, "%s lacks what comes in", a.to)
		}
	}
	out := map[string]bool{}
	if _, list, ok := strings.Cut(strings.Join(v.remarks, " "), "Left out altogether: "); ok {
		for _, part := range strings.Fields(list) {
			out[part] = true
		}
	}
	for _, c := range b.contacts {
		if found := contacts[join{c.relay, c.made, c.a, c.b}]; !found && !out[c.terminal] {
			return fmt.Errorf("the contact %s is in no sum, and not named as left out", c.terminal)
		}
	}
	for _, d := range b.diodes {
		if !diodes[[2]int{d.from, d.to}] && !out[d.name] {
			return fmt.Errorf("the diode %s is in no sum, and not named as left out", d.name)
		}
	}
	return nil
}

// mark notes that a part was found, in either direction.
func mark[K comparable](parts map[K]bool, keys ...K) bool {
	found := false
	for _, k := range keys {
		if _, ok := parts[k]; ok {
			parts[k] = true
			found = true
		}
	}
	return found
}

// match compares switches with the list, part by part.
func (b *board) match(v *verilog) error {
	inputs := map[string]bool{}
	for _, p := range v.inputs {
		inputs[p] = true
	}
	net := func(name string) int {
		if n, ok := look(b.byName, name); ok && v.kinds[name] == "wire" {
			return n
		}
		return -1
	}
	found := map[string]int{}
	say := func(format string, args ...any) { found[fmt.Sprintf(format, args...)]++ }
	pulled, declared := map[int]bool{}, map[int]bool{}
	for _, name := range slices.Sorted(maps.Keys(v.kinds)) {
		if n := net(name); n >= 0 {
			if declared[n] {
				return fmt.Errorf("the net of %s has two names", name)
			}
			declared[n] = true
		}
	}
	for _, g := range v.gates {
		e := g.ends
		switch {
		case g.kind == "pulldown" && len(e) == 1:
			if net(e[0]) < 0 || pulled[net(e[0])] {
				return refuse(g.line, "%s is no net, or pulled down twice", e[0])
			}
			pulled[net(e[0])] = true
		case g.kind == "buf" && len(e) == 2 && e[1] == "1'b1":
			say("feed to %d", net(e[0]))
		case g.kind == "bufif1" && len(e) == 3 && e[1] == "1'b1" && inputs[e[2]]:
			if !sameName(g.name, e[2]+"_in") {
				return refuse(g.line, "%s brings in %s", g.name, e[2])
			}
			say("%s to %d", e[2], net(e[0]))
		case g.kind == "bufif1" && len(e) == 3 && e[1] == "1'b1":
			say("diode %s %d to %d", strings.TrimRight(g.name, "_"), net(e[2]), net(e[0]))
		case (g.kind == "tranif0" || g.kind == "tranif1") && len(e) == 3:
			relay, _ := look(b.relay, e[2])
			say("contact %s %s %d %d by %s", strings.TrimRight(g.name, "_"), g.kind, net(e[0]), net(e[1]), relay)
		default:
			return refuse(g.line, "a %s of %d ends", g.kind, len(e))
		}
	}
	lines := map[string]int{}
	for i, c := range drivenLines(b.s) {
		lines[v.outputs[i]] = c
	}
	for _, a := range v.assigns {
		if len(a.sum) != 1 || len(a.sum[0]) != 1 || a.sum[0][0].sum != nil {
			return refuse(a.line, "%s is more than one net", a.to)
		}
		f := a.sum[0][0]
		at := net(f.name)
		if f.name == "1'b0" {
			at = -2
		}
		if c, ok := lines[a.to]; ok {
			say("line %d is %t %d", c, f.not, at)
			continue
		}
		relay, ok := look(b.relay, a.to)
		if !ok || f.not || v.kinds[a.to] != "wire" {
			return refuse(a.line, "%s is no relay", a.to)
		}
		say("coil %s at %d", relay, at)
	}

	want := map[string]int{}
	need := func(format string, args ...any) { want[fmt.Sprintf(format, args...)]++ }
	if b.feed >= 0 {
		need("feed to %d", b.feed)
	}
	for n, ports := range b.brings {
		for _, p := range ports {
			need("%s to %d", p, n)
		}
	}
	used := map[string]bool{}
	for _, c := range b.contacts {
		kind, letter := "tranif0", "b"
		if c.made {
			kind, letter = "tranif1", "m"
		}
		used[c.relay] = true
		need("contact %s %s %d %d by %s", verilogName(fmt.Sprintf("%s_%d%s", c.relay, c.pole, letter)), kind, c.a, c.b, c.relay)
	}
	for _, k := range b.l.Relays {
		at := b.coil[k.Name]
		if !used[k.Name] {
			at = -2
		}
		need("coil %s at %d", k.Name, at)
	}
	for _, d := range b.diodes {
		need("diode %s %d to %d", verilogName(d.name), d.from, d.to)
	}
	for c, n := range b.line {
		if n < 0 {
			n = -2
		}
		need("line %d is %t %d", c, b.s.Columns[c].Low, n)
	}
	for part := range found {
		want[part] += 0
	}
	for _, part := range slices.Sorted(maps.Keys(want)) {
		if found[part] != want[part] {
			return fmt.Errorf("the list has %s %d times, the file %d times", part, want[part], found[part])
		}
	}
	for n := range declared {
		if !pulled[n] {
			return fmt.Errorf("a net is not pulled down")
		}
	}
	return nil
}
