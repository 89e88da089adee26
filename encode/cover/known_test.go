package cover

import (
	"context"
	"testing"
)

// function is a truth table: for each input word (the first variable is the
// highest bit) the outputs that are on and the outputs that are free.
type function struct {
	inputs, outputs int
	at              func(x int) (on, free int) // output 0 is the highest bit
}

func (f function) problem(t testing.TB) Problem {
	shape := Shape{Outputs: f.outputs}
	for range f.inputs {
		shape.Sizes = append(shape.Sizes, 2)
	}
	on, err := New(shape)
	if err != nil {
		t.Fatal(err)
	}
	free := on.Empty()
	for x := range 1 << f.inputs {
		one, any := f.at(x)
		for n, set := range []int{one &^ any, any} {
			if set == 0 {
				continue
			}
			c := []*Cover{on, free}[n].Full()
			for v := range f.inputs {
				c.Drop(v, 1-x>>(f.inputs-1-v)&1)
			}
			for o := range f.outputs {
				if set>>(f.outputs-1-o)&1 == 0 {
					c.Drop(on.OutputVar(), o)
				}
			}
		}
	}
	return Problem{On: on, Free: free}
}

// sum is a function of one output given by its minterms.
func sum(inputs int, on []int, free ...int) function {
	return function{inputs, 1, func(x int) (int, int) {
		for _, m := range free {
			if m == x {
				return 0, 1
			}
		}
		for _, m := range on {
			if m == x {
				return 1, 0
			}
		}
		return 0, 0
	}}
}

// whole is a function without don't-cares.
func whole(inputs, outputs int, at func(x int) int) function {
	return function{inputs, outputs, func(x int) (int, int) { return at(x) & (1<<outputs - 1), 0 }}
}

// digits is a function of the decimal digits in four bits; the rest is free.
func digits(outputs int, at func(x int) int) function {
	return function{4, outputs, func(x int) (int, int) {
		if x > 9 {
			return 0, 1<<outputs - 1
		}
		return at(x), 0
	}}
}

func parity(x int) int {
	n := 0
	for ; x != 0; x &= x - 1 {
		n ^= 1
	}
	return n
}

func count(x int) int {
	n := 0
	for ; x != 0; x &= x - 1 {
		n++
	}
	return n
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// Seven segments a to g, a the highest bit: 6 and 9 with their tails, and A to F
// as A b C d E F.
var segments = []int{
	0b1111110, 0b0110000, 0b1101101, 0b1111001, 0b0110011, 0b1011011, 0b1011111, 0b1110000,
	0b1111111, 0b1111011, 0b1110111, 0b0011111, 0b1001110, 0b0111101, 0b1001111, 0b1000111,
}

// withoutTails are the digits of the 7447, whose 6 and 9 have no tails.
func withoutTails(x int) int {
	switch x {
	case 6:
		return 0b0011111
	case 9:
		return 0b1110011
	}
	return segments[x]
}

// TestKnownMinima holds the exact mode to functions whose fewest terms and, among
// such covers, fewest literals are known. literals is -1 where none is stated.
func TestKnownMinima(t *testing.T) {
	cases := []struct {
		name            string
		source          string
		f               function
		terms, literals int
	}{
		{"4,8,10,11,12,15+9,14", "article on the Quine-McCluskey method: bc'd' + ab' (or ad') + ac", sum(4, []int{4, 8, 10, 11, 12, 15}, 9, 14), 3, 7},
		{"cyclic 0,1,2,5,6,7", "Roth, Fundamentals of Logic Design, ch. 6: two minima", sum(3, []int{0, 1, 2, 5, 6, 7}), 3, 6},
		{"0,1,2,5..10,14", "Roth ch. 6: a'bd + b'c' + cd'", sum(4, []int{0, 1, 2, 5, 6, 7, 8, 9, 10, 14}), 3, 7},
		{"2,3,7,9,11,13+1,10,15", "Roth ch. 6", sum(4, []int{2, 3, 7, 9, 11, 13}, 1, 10, 15), 3, 6},
		{"BSTJ five variables", "McCluskey, BSTJ 35 (1956) 1417-1444", sum(5, []int{0, 2, 4, 6, 7, 8, 10, 11, 12, 13, 14, 16, 18, 19, 29, 30}), 7, 25},
		{"BSTJ second", "McCluskey 1956", sum(5, []int{0, 4, 12, 16, 19, 24, 27, 28, 29, 31}), 5, 20},
		{"0,1,2,5,8,9,10", "Mano, Digital Design: b'd' + b'c' + a'c'd", sum(4, []int{0, 1, 2, 5, 8, 9, 10}), 3, 7},
		{"Mano five variables", "Mano: a'b'e' + bd'e + ace", sum(5, []int{0, 2, 4, 6, 9, 13, 21, 23, 25, 29, 31}), 3, 9},
		{"1,3,7,11,15+0,2,5", "Mano", sum(4, []int{1, 3, 7, 11, 15}, 0, 2, 5), 2, 4},
		{"0,2,3,5,7..11,13,15", "Mano", sum(4, []int{0, 2, 3, 5, 7, 8, 9, 10, 11, 13, 15}), 4, 8},
		{"parity 4", "half of all words, none adjacent", whole(4, 1, parity), 8, 32},
		{"xor5", "half of all words, none adjacent; MCNC xor5", whole(5, 1, parity), 16, 80},
		{"majority 3", "choose 2 of 3", whole(3, 1, func(x int) int { return b2i(count(x) >= 2) }), 3, 6},
		{"majority 5", "choose 3 of 5", whole(5, 1, func(x int) int { return b2i(count(x) >= 3) }), 10, 30},
		{"majority 7", "choose 4 of 7", whole(7, 1, func(x int) int { return b2i(count(x) >= 4) }), 35, 140},
		{"full adder", "4 for the sum, 3 for the carry; nothing can be shared", whole(3, 2, count), 7, 18},
		{"full subtractor", "computed from all primes; separate covers take 4 + 3", whole(3, 2, func(x int) int {
			d := x>>2 - x>>1&1 - x&1
			return d&1<<1 | b2i(d < 0)
		}), 5, 14},
		{"seven segments, tails", "Katz, Contemporary Logic Design: 9", digits(7, func(x int) int { return segments[x] }), 9, 18},
		{"seven segments, no tails", "computed from all primes", digits(7, withoutTails), 9, 18},
		{"seven segments, blank above 9", "computed from all primes", whole(4, 7, func(x int) int {
			if x > 9 {
				return 0
			}
			return segments[x]
		}), 9, 27},
		{"seven segments, A to F", "computed from all primes", whole(4, 7, func(x int) int { return segments[x] }), 14, 41},
		{"BCD to excess 3", "Mano; separate covers take 3 + 3 + 2 + 1", digits(4, func(x int) int { return x + 3 }), 8, 18},
		{"binary to Gray", "Gray, US patent 2632058: x xor x/2", whole(4, 4, func(x int) int { return x ^ x>>1 }), 7, 13},
		{"Mano PLA, true outputs", "Mano, PLA example: F1 = 0,1,2,4, F2 = 0,5,6,7", whole(3, 2, func(x int) int {
			return b2i(x == 0 || x == 1 || x == 2 || x == 4)<<1 | b2i(x == 0 || x >= 5)
		}), 6, -1},
		{"Mano PLA, F1 complemented", "Mano: AB, AC, BC, A'B'C'", whole(3, 2, func(x int) int {
			return b2i(x != 0 && x != 1 && x != 2 && x != 4)<<1 | b2i(x == 0 || x >= 5)
		}), 4, -1},
		{"2 x 2 bits", "computed from all primes; separate covers take 8", whole(4, 4, func(x int) int { return (x >> 2) * (x & 3) }), 7, 22},
		{"2-bit adder", "computed from all primes", whole(4, 3, func(x int) int { return x>>2 + x&3 }), 11, 32},
		{"2-bit adder with carry", "computed from all primes", whole(5, 3, func(x int) int { return x>>3 + x>>1&3 + x&1 }), 23, 80},
		{"2-bit comparator", "computed from all primes", whole(4, 3, func(x int) int {
			a, b := x>>2, x&3
			return b2i(a < b)<<2 | b2i(a == b)<<1 | b2i(a > b)
		}), 10, 32},
		{"3-bit square", "Mano, ROM example: bit 1 is never on, bit 0 is the input", whole(3, 5, func(x int) int { return x*x>>2<<1&30 | x&1 }), 7, 15},
		{"rd53", "MCNC rd53: how many of 5 are on", whole(5, 3, count), 31, -1},
		{"rd73", "MCNC rd73: how many of 7 are on", whole(7, 3, count), 127, -1},
		{"rd84", "MCNC rd84: how many of 8 are on", whole(8, 4, count), 255, -1},
		{"9sym", "MCNC 9sym: three to six of nine are on", whole(9, 1, func(x int) int { return b2i(count(x) >= 3 && count(x) <= 6) }), 84, -1},
		{"5-bit square", "computed from all primes", whole(5, 10, func(x int) int { return x * x }), 26, -1},
		{"5-bit square without bit 0", "MCNC squar5: 25", whole(5, 9, func(x int) int { return x * x >> 1 }), 25, -1},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r, err := Minimise(context.Background(), c.f.problem(t), Options{Exact: true, Literals: c.literals >= 0})
			if err != nil {
				t.Fatal(err)
			}
			if r.Cover.Len() != c.terms || r.Bound != int64(c.terms) || !r.Optimal {
				t.Errorf("%d terms (bound %d), want %d: %s", r.Cover.Len(), r.Bound, c.terms, c.source)
			}
			if c.literals >= 0 && (r.Literals != c.literals || !r.FewestLiterals) {
				t.Errorf("%d literals (proved: %v), want %d: %s", r.Literals, r.FewestLiterals, c.literals, c.source)
			}
		})
	}
}

// TestPrimeCounts holds the primes to published counts.
func TestPrimeCounts(t *testing.T) {
	for _, c := range []struct {
		name   string
		f      function
		primes int
	}{
		// The list of cases of TestKnownMinima says where each is from.
		{"4,8,10,11,12,15+9,14", sum(4, []int{4, 8, 10, 11, 12, 15}, 9, 14), 4},
		{"cyclic 0,1,2,5,6,7", sum(3, []int{0, 1, 2, 5, 6, 7}), 6},
		{"BSTJ five variables", sum(5, []int{0, 2, 4, 6, 7, 8, 10, 11, 12, 13, 14, 16, 18, 19, 29, 30}), 8},
		{"BSTJ second", sum(5, []int{0, 4, 12, 16, 19, 24, 27, 28, 29, 31}), 10},
		{"0,2,3,5,7..11,13,15", sum(4, []int{0, 2, 3, 5, 7, 8, 9, 10, 11, 13, 15}), 6},
		{"9sym", whole(9, 1, func(x int) int { return b2i(count(x) >= 3 && count(x) <= 6) }), 1680},
	} {
		p := c.f.problem(t)
		k := &worker{space: p.On.s, law: &law{s: p.On.s}, ctx: context.Background()}
		l, ok := k.admissiblePrimes(append(k.proper(p.On), p.Free.w...))
		if !ok || k.len(l) != c.primes {
			t.Errorf("%s: %d primes, want %d", c.name, k.len(l), c.primes)
		}
	}
}
