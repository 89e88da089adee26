package assemble

import (
	"fmt"
	"math/bits"
	"strings"
)

// num is a whole number between -(2^64-1) and 2^64-1; 0 is not negative.
type num struct {
	mag uint64
	neg bool
}

// bits is the number modulo 2^64.
func (n num) bits() uint64 {
	if n.neg {
		return -n.mag
	}
	return n.mag
}

func (n num) String() string {
	if n.neg {
		return fmt.Sprintf("-%d", n.mag)
	}
	return fmt.Sprint(n.mag)
}

func (n num) minus() num { return num{n.mag, !n.neg && n.mag > 0} }

func (n num) plus(m num) (sum num, ok bool) {
	switch {
	case n.neg == m.neg:
		s, carry := bits.Add64(n.mag, m.mag, 0)
		return num{s, n.neg}, carry == 0
	case n.mag >= m.mag:
		return num{n.mag - m.mag, n.neg && n.mag > m.mag}, true
	}
	return num{m.mag - n.mag, m.neg}, true
}

func (n num) times(m num) (product num, ok bool) {
	high, low := bits.Mul64(n.mag, m.mag)
	return num{low, n.neg != m.neg && low > 0}, high == 0
}

// over divides and rounds towards 0; m is not 0.
func (n num) over(m num) num {
	q := n.mag / m.mag
	return num{q, n.neg != m.neg && q > 0}
}

// less reports whether n < m.
func (n num) less(m num) bool {
	switch {
	case n.neg != m.neg:
		return n.neg
	case n.neg:
		return n.mag > m.mag
	}
	return n.mag < m.mag
}

// fits reports whether n is a number of width bits, read with or without a
// sign, or only with one (language.md E.4).
func (n num) fits(width int, signed bool) bool {
	switch {
	case n.neg:
		return n.mag <= 1<<(width-1)
	case signed:
		return n.mag < 1<<(width-1)
	}
	return width == 64 || n.mag < 1<<width
}

// limits are the numbers that fit.
func limits(width int, signed bool) (lo, hi num) {
	lo = num{1 << (width - 1), true}
	if signed {
		return lo, num{1<<(width-1) - 1, false}
	}
	return lo, num{^uint64(0) >> (64 - width), false}
}

// excess says by how much n is outside of the limits.
func excess(n num, width int, signed bool) string {
	lo, hi := limits(width, signed)
	if n.neg {
		d, _ := lo.plus(n.minus()) // both within 2^64, of opposite sign
		return d.String() + " too small"
	}
	d, _ := n.plus(hi.minus())
	return d.String() + " too large"
}

func reach(width int, signed bool) string {
	lo, hi := limits(width, signed)
	return fmt.Sprintf("%s from %s to %s", plural(width, "bit"), lo, hi)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func addresses(from, to uint64) string {
	if from == to {
		return fmt.Sprintf("address %d (0x%X)", from, from)
	}
	return fmt.Sprintf("addresses %d to %d (0x%X to 0x%X)", from, to, from, to)
}

// anyOf lists names as alternatives, not more than a message can hold.
func anyOf(names []string) string {
	const most = 8
	more := ""
	if len(names) > most {
		more = fmt.Sprintf(" or %d more", len(names)-most)
		names = names[:most]
	}
	if more == "" && len(names) > 1 {
		return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
	}
	return strings.Join(names, ", ") + more
}

// short keeps a word of thousands of characters out of a message.
func short(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:36]) + " ..."
	}
	return s
}
