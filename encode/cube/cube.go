// Package cube is a pattern over at most 64 bits: which bits matter and what they must be.
package cube

import (
	"cmp"
	"math/bits"
	"slices"
	"strings"
)

// Cube matches every v with v&Care == Value. Value has no bit outside Care.
// The zero Cube matches everything.
type Cube struct {
	Care, Value uint64
}

// Matches reports whether v lies in c.
func (c Cube) Matches(v uint64) bool { return v&c.Care == c.Value }

// Meets reports whether some value lies in both.
func (c Cube) Meets(d Cube) bool { return (c.Value^d.Value)&c.Care&d.Care == 0 }

// Within reports whether every value of c lies in d.
func (c Cube) Within(d Cube) bool {
	return d.Care&^c.Care == 0 && c.Value&d.Care == d.Value
}

// And returns the values in both; ok is false if there is none.
func (c Cube) And(d Cube) (both Cube, ok bool) {
	if !c.Meets(d) {
		return Cube{}, false
	}
	return Cube{c.Care | d.Care, c.Value | d.Value}, true
}

// With returns c with bit n fixed to v (0 or 1).
func (c Cube) With(n int, v uint64) Cube {
	c.Care |= 1 << n
	c.Value = c.Value&^(1<<n) | v<<n
	return c
}

// Literals counts the bits that matter.
func (c Cube) Literals() int { return bits.OnesCount64(c.Care) }

// Text writes the cube as width characters, most significant first, with '?'
// for a bit that does not matter.
func (c Cube) Text(width int) string {
	var b strings.Builder
	for i := width - 1; i >= 0; i-- {
		switch {
		case c.Care>>i&1 == 0:
			b.WriteByte('?')
		case c.Value>>i&1 == 1:
			b.WriteByte('1')
		default:
			b.WriteByte('0')
		}
	}
	return b.String()
}

// Complement returns disjoint cubes over width bits that hold exactly the
// values that no cube of the list holds. It splits on the bit that the most
// cubes care about (Shannon expansion, the textbook recursion) and joins
// halves that came out alike.
func Complement(list []Cube, width int) []Cube {
	return complement(append([]Cube(nil), list...), width, Cube{})
}

func complement(list []Cube, width int, at Cube) []Cube {
	if len(list) == 0 {
		return []Cube{at}
	}
	var counts [64]int
	for _, c := range list {
		free := c.Care &^ at.Care
		if free == 0 {
			return nil
		}
		for ; free != 0; free &= free - 1 {
			counts[bits.TrailingZeros64(free)]++
		}
	}
	split := -1
	for i := width - 1; i >= 0; i-- {
		if counts[i] > 0 && (split < 0 || counts[i] > counts[split]) {
			split = i
		}
	}
	var halves [2][]Cube
	for v := uint64(0); v < 2; v++ {
		half := at.With(split, v)
		var kept []Cube
		for _, c := range list {
			if c.Meets(half) {
				kept = append(kept, c)
			}
		}
		halves[v] = complement(kept, width, half)
	}
	low, high := halves[0], halves[1]
	bit := uint64(1) << split
	inHigh := make(map[Cube]bool, len(high))
	for _, c := range high {
		inHigh[c] = true
	}
	var out []Cube
	for _, c := range low {
		twin := Cube{c.Care, c.Value | bit}
		if inHigh[twin] {
			delete(inHigh, twin)
			out = append(out, Cube{c.Care &^ bit, c.Value &^ bit})
		} else {
			out = append(out, c)
		}
	}
	for _, c := range high {
		if inHigh[c] {
			out = append(out, c)
		}
	}
	return out
}

// Joined returns cubes that hold the same values as disjoint ones of the list,
// pairs that differ in one bit joined for as long as there are any, in
// ascending order.
func Joined(list []Cube) []Cube {
	out := slices.Clone(list)
	order := func(a, b Cube) int { return cmp.Or(cmp.Compare(a.Value, b.Value), cmp.Compare(a.Care, b.Care)) }
	for again := true; again; {
		again = false
		slices.SortFunc(out, order)
		out = slices.Compact(out)
		at := make(map[Cube]bool, len(out))
		for _, c := range out {
			at[c] = true
		}
		var kept []Cube
		for _, c := range out {
			if !at[c] {
				continue
			}
			for free := c.Care &^ c.Value; free != 0; free &= free - 1 {
				bit := free & -free
				if twin := (Cube{c.Care, c.Value | bit}); at[twin] {
					delete(at, twin)
					delete(at, c)
					c.Care &^= bit
					again = true
					break
				}
			}
			kept = append(kept, c)
		}
		out = kept
	}
	return out
}
