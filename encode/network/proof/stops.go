package proof

// stops tells why a net that nothing live leads to may be cut off: it has no
// wire, or a diode before it lies the wrong way round. What the right list would
// be nobody knows here, so these are places to look at.
func (t *teller) stops(to int, end string) []string {
	w := t.circuit
	var out []string
	if w.alone[to] {
		out = append(out, "nothing is wired to "+end)
	}
	towards, goal := t.circuit.against(to), w.goals()
	gathers := w.goals() // nets that diodes lead into
	for _, d := range w.diodes {
		gathers[d.to] = true
	}
	for _, d := range w.diodes {
		// A diode that keeps the current of another line, or of another phase, out
		// of where it comes from lies as it should.
		if !gathers[d.from] || !towards[d.from] || towards[d.to] || t.possible.live[d.to]&1 == 0 || goal[d.to] {
			continue
		}
		here := w.lying[d.number].first
		far := here + 1
		if w.net[here] != d.to {
			here, far = far, here
		}
		out = append(out, w.lying[d.number].name+" stops it: "+string(w.terms[here])+" is live, and "+string(w.terms[far])+" leads to "+end)
	}
	return out
}

// rests tells what may keep a relay at rest that should have pulled in: parts on
// the way to its coil that hang in the air. What is wired says nothing of whether
// the relay should have pulled in.
func (t *teller) rests(relay int) []string {
	w := t.circuit
	coil := w.coils[relay]
	if coil < 0 || t.outside(coil) {
		return nil
	}
	towards := w.against(coil)
	out := t.hanging(towards, "coil of "+w.relays[relay])
	if out = append(out, t.starts(coil, towards)...); len(out) == 0 {
		out = t.lacking(coil, "coil of "+w.relays[relay], map[int]bool{relay: true})
	}
	return out
}

// hanging names leads without a wire whose part leads on to a net. A contact
// that has a wire on one side alone is good for nothing.
func (t *teller) hanging(towards []bool, end string) []string {
	w := t.circuit
	var out []string
	add := func(open, held int) {
		if !w.wired[open] && w.wired[held] && towards[w.net[held]] && len(out) < maxReasons {
			out = append(out, "nothing is wired to "+string(w.terms[open])+", and "+string(w.terms[held])+" leads to "+end)
		}
	}
	for _, d := range w.lying {
		add(d.first, d.first+1)
		add(d.first+1, d.first)
	}
	for _, k := range w.at {
		for n := range k.poles {
			common := k.first + 3*n
			add(common, common+1)
			add(common, common+2)
			if !w.wired[common+1] && !w.wired[common+2] {
				add(common+1, common)
				add(common+2, common)
			}
		}
	}
	return out
}

// starts tells where ways to a net begin without a feed: the wire that should
// bring it is missing.
func (t *teller) starts(to int, towards []bool) []string {
	w := t.circuit
	var out []string
	fed := t.fed()
	led := make([]bool, w.nets) // there is a way into the net
	for _, c := range w.contacts {
		led[c.common], led[c.throw] = true, true
	}
	for _, d := range w.diodes {
		led[d.to] = true
	}
	var starts []int
	for n := range w.nets {
		if towards[n] && !fed[n] && !led[n] && n != to && len(starts) < maxReasons {
			starts = append(starts, n)
		}
	}
	for _, n := range starts {
		if names := w.on(n); len(names) > 0 {
			out = append(out, "nothing brings current to "+someOf(names, ", "))
		}
	}
	return out
}

// on lists the terminals that are wired on a net.
func (w *circuit) on(net int) []string {
	var out []string
	for t, n := range w.net {
		if n == net && w.wired[t] {
			out = append(out, string(w.terms[t]))
		}
	}
	return out
}

// goals are the nets that current is to reach.
func (w *circuit) goals() []bool {
	goal := make([]bool, w.nets)
	for _, list := range [][]int{w.line, w.coils, {w.ret, w.feed}} {
		for _, n := range list {
			if n >= 0 {
				goal[n] = true
			}
		}
	}
	return goal
}

// unwired names terminals that closed contacts make live in a phase, and that no
// wire leads on from.
func (t *teller) unwired() []string {
	w := t.circuit
	live := func(net int) bool { return t.possible.live[net]&^t.saved[1].live[net]&1 == 1 }
	var names []string
	for r, k := range w.at {
		for n := range k.poles {
			common := k.first + 3*n
			throw := common + 1
			if t.possible.ctl[1+2*r]&1 == 1 {
				throw = common + 2
			}
			switch {
			case w.wired[common] && !w.wired[throw] && live(w.net[common]):
				names = append(names, string(w.terms[throw]))
			case w.wired[throw] && !w.wired[common] && live(w.net[throw]):
				names = append(names, string(w.terms[common]))
			}
		}
	}
	return listed("live as far as ", names, ", and no wire leads on from there")
}
