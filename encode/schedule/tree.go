package schedule

import (
	"fmt"

	"coilwright/encode/store"
)

// tree is the decision tree of the `when`s of one body: at a test the paths
// with the flag off and on, at a leaf one path.
type tree struct {
	key      testKey
	flag     int // signal
	off, on  *tree
	leaf     *walker
	previous int // last strobe phase of the flag before the test, 0 without one
}

// grow builds the tree from paths in the order routes gives them.
func grow(walkers []*walker, depth int) *tree {
	w := walkers[0]
	if len(walkers) == 1 && depth == len(w.path.Tests) {
		return &tree{leaf: w}
	}
	t := w.path.Tests[depth]
	split := len(walkers)
	for i, x := range walkers {
		if x.path.Tests[depth].On {
			split = i
			break
		}
	}
	return &tree{key: t.key, flag: t.Flag, previous: w.tests[depth].strobe,
		off: grow(walkers[:split], depth+1), on: grow(walkers[split:], depth+1)}
}

// canon numbers the functions from flags to line sets of one phase, so that
// equal subtrees have equal numbers and a test whose sides are equal vanishes
// (a reduced decision tree, as in Bryant 1986).
type canon struct {
	ids map[string]int
}

func (c *canon) id(key string) int {
	if n, ok := c.ids[key]; ok {
		return n
	}
	n := len(c.ids)
	c.ids[key] = n
	return n
}

func (t *tree) canon(c *canon, lines func(*walker) store.Set) int {
	if t.leaf != nil {
		return c.id(fmt.Sprint(lines(t.leaf)))
	}
	off, on := t.off.canon(c, lines), t.on.canon(c, lines)
	if off == on {
		return off
	}
	return c.id(fmt.Sprintf("%d?%d:%d", t.flag, on, off))
}

// end is the last phase of the paths under t, restart included.
func (t *tree) end() int {
	if t.leaf != nil {
		return t.leaf.path.Last + 1
	}
	return max(t.off.end(), t.on.end())
}

type phaseLines func(w *walker, phase int) store.Set

// differs reports whether the two sides of a test differ in a phase.
func (t *tree) differ(lines phaseLines, phase int) bool {
	c := &canon{ids: map[string]int{}}
	at := func(w *walker) store.Set { return lines(w, phase) }
	return t.off.canon(c, at) != t.on.canon(c, at)
}

// early lists the tests whose sides differ before their flag is decoded.
func (t *tree) early(decode int, lines phaseLines) []testKey {
	if t.leaf != nil {
		return nil
	}
	var out []testKey
	if t.previous > 0 {
		for p := 1; p < t.previous+decode; p++ {
			if t.differ(lines, p) {
				out = append(out, t.key)
				break
			}
		}
	}
	return append(append(out, t.off.early(decode, lines)...), t.on.early(decode, lines)...)
}

// differs gives, for each flag tested before the path latches it, the first phase in which
// the sides of the test differ.
func (t *tree) differs(lines phaseLines) map[int]int {
	out := map[int]int{}
	var visit func(t *tree)
	visit = func(t *tree) {
		if t.leaf != nil {
			return
		}
		if t.previous == 0 {
			for p := 1; p <= t.end(); p++ {
				if t.differ(lines, p) {
					if at, ok := out[t.flag]; !ok || p < at {
						out[t.flag] = p
					}
					break
				}
			}
		}
		visit(t.off)
		visit(t.on)
	}
	visit(t)
	return out
}

// walkers lists the paths under t.
func (t *tree) walkers() []*walker {
	if t.leaf != nil {
		return []*walker{t.leaf}
	}
	return append(t.off.walkers(), t.on.walkers()...)
}

// changes reports lines that latch a flag while the sides of a test of it differ.
func (t *tree) changes(e *encoder, f *family, family int) {
	if t.leaf != nil {
		return
	}
	lines := f.leafLines(e.r)
	first, last := 0, 0
	for p := 1; p <= t.end(); p++ {
		if t.differ(lines, p) {
			if first == 0 {
				first = p
			}
			last = p
		}
	}
	if first > 0 {
		t.latched(e, f, first, last)
	}
	t.off.changes(e, f, family)
	t.on.changes(e, f, family)
}

func (t *tree) latched(e *encoder, f *family, first, last int) {
	m := e.m
	for _, w := range t.walkers() {
		for _, win := range w.windows {
			l := &m.Lines[win.line]
			if writes(l, t.flag) == 0 || win.to < first || win.from > last {
				continue
			}
			flag := m.Signals[t.flag].Name
			step := w.path.Steps[win.step]
			e.list.Errorf("flag-change", step.At, "%s latches flag %s in phase %d, while the arms of a test of it differ (phases %d to %d)",
				l.Name, flag, win.from, first, last).
				Note(t.key.node.At, "%s is tested here", flag).
				Hintf("copy the flag into another one first, and test the copy").
				Because("flag-change %v %v", step.At, t.key.node.At)
			f.ok = false
			return
		}
	}
}
