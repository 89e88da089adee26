package schedule

import (
	"encoding/binary"
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
	differ   []int // phases in which the sides differ, as compare found them
	previous int   // last strobe phase of the flag before the test, 0 without one
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
// (a reduced decision diagram, Bryant 1986, on the order of the tests).
type canon struct {
	leaves map[string]int
	forks  map[[3]int]int
	key    []byte
}

func (c *canon) leaf(s store.Set) int {
	c.key = c.key[:0]
	for _, w := range s {
		c.key = binary.LittleEndian.AppendUint64(c.key, w)
	}
	if n, ok := c.leaves[string(c.key)]; ok {
		return n
	}
	n := len(c.leaves) + len(c.forks)
	c.leaves[string(c.key)] = n
	return n
}

func (c *canon) fork(flag, off, on int) int {
	if off == on {
		return off
	}
	key := [3]int{flag, off, on}
	if n, ok := c.forks[key]; ok {
		return n
	}
	n := len(c.leaves) + len(c.forks)
	c.forks[key] = n
	return n
}

// compare fills in, for every test of the tree, the phases in which its sides differ.
func (t *tree) compare(lines phaseLines) {
	var clear func(t *tree)
	clear = func(t *tree) {
		if t.leaf == nil {
			t.differ = nil
			clear(t.off)
			clear(t.on)
		}
	}
	clear(t)
	if t.leaf != nil {
		return
	}
	for p, end := 1, t.end(); p <= end; p++ {
		c := &canon{leaves: map[string]int{}, forks: map[[3]int]int{}}
		var visit func(t *tree) int
		visit = func(t *tree) int {
			if t.leaf != nil {
				return c.leaf(lines(t.leaf, p))
			}
			off, on := visit(t.off), visit(t.on)
			if off != on {
				t.differ = append(t.differ, p)
			}
			return c.fork(t.flag, off, on)
		}
		visit(t)
	}
}

// end is the last phase of the paths under t, restart included.
func (t *tree) end() int {
	if t.leaf != nil {
		return t.leaf.path.Last + 1
	}
	return max(t.off.end(), t.on.end())
}

// phaseLines gives the lines that a path has on in a phase; the next call may
// overwrite them.
type phaseLines func(w *walker, phase int) store.Set

// early lists the tests whose sides differ before their flag is decoded.
func (t *tree) early(decode int) []testKey {
	if t.leaf != nil {
		return nil
	}
	var out []testKey
	if t.previous > 0 && len(t.differ) > 0 && t.differ[0] < t.previous+decode {
		out = append(out, t.key)
	}
	return append(append(out, t.off.early(decode)...), t.on.early(decode)...)
}

// fresh calls visit for each test of a flag that the path has not latched
// before, with the first phase in which its sides differ.
func (t *tree) fresh(visit func(flag, phase int)) {
	if t.leaf != nil {
		return
	}
	if t.previous == 0 && len(t.differ) > 0 {
		visit(t.flag, t.differ[0])
	}
	t.off.fresh(visit)
	t.on.fresh(visit)
}

// each visits the paths under t until visit says no, and reports whether it never did.
func (t *tree) each(visit func(w *walker) bool) bool {
	if t.leaf != nil {
		return visit(t.leaf)
	}
	return t.off.each(visit) && t.on.each(visit)
}

// changes reports lines that latch a flag while the sides of a test of it differ.
func (t *tree) changes(e *encoder, f *family) {
	if t.leaf != nil {
		return
	}
	if n := len(t.differ); n > 0 {
		t.latched(e, f, t.differ[0], t.differ[n-1])
	}
	t.off.changes(e, f)
	t.on.changes(e, f)
}

// latched looks from the test on, not from the first difference: a flag that
// changes in between would have the store choose the arm by its new value.
func (t *tree) latched(e *encoder, f *family, first, last int) {
	m := e.m
	if len(e.r.writers[t.flag]) == 0 {
		return
	}
	t.each(func(w *walker) bool {
		before := len(w.path.Steps)
		for _, test := range w.path.Tests {
			if test.key == t.key {
				before = test.Before
			}
		}
		for _, win := range w.windows {
			l := &m.Lines[win.line]
			if l.Writes(t.flag) == 0 || win.from > last || win.to < first && win.step < before {
				continue
			}
			flag := m.Signals[t.flag].Name
			step := w.path.Steps[win.step]
			text := fmt.Sprintf("while the arms of a test of it differ (phases %d to %d)", first, last)
			if win.to < first {
				text = fmt.Sprintf("after it was tested and before the arms differ (phases %d to %d): the new value would choose the arm", first, last)
			}
			e.list.Errorf("flag-change", step.place(win.line), "%s latches flag %s in phase %d, %s", l.Name, flag, win.from, text).
				Note(t.key.node.At, "%s is tested here", flag).
				Hintf("copy the flag into another one first, and test the copy").
				Because("flag-change %v %v", step.At, t.key.node.At)
			f.ok = false
			return false
		}
		return true
	})
}
