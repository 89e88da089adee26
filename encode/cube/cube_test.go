package cube

import (
	"math/rand/v2"
	"testing"
)

// TestComplement holds the complement against every value, one by one.
func TestComplement(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for n := 0; n < 500; n++ {
		width := 1 + r.IntN(8)
		full := uint64(1)<<width - 1
		var list []Cube
		for range r.IntN(10) {
			care := r.Uint64() & full
			list = append(list, Cube{care, r.Uint64() & care})
		}
		rest := Complement(list, width)
		for v := uint64(0); v <= full; v++ {
			in, out := 0, 0
			for _, c := range list {
				if c.Matches(v) {
					in = 1
				}
			}
			for _, c := range rest {
				if c.Matches(v) {
					out++
				}
			}
			if in+out != 1 {
				t.Fatalf("width %d, list %v: value %b lies in %d cubes of the complement, in the list: %d", width, list, v, out, in)
			}
		}
	}
}

func TestComplementIsSmall(t *testing.T) {
	// All of 8 bits but one value: eight cubes, one for each bit that differs.
	if got := len(Complement([]Cube{{0xff, 0x5a}}, 8)); got != 8 {
		t.Errorf("complement of one value of 8 bits: %d cubes, want 8", got)
	}
	if got := Complement(nil, 8); len(got) != 1 || got[0] != (Cube{}) {
		t.Errorf("complement of nothing: %v, want everything", got)
	}
	if got := Complement([]Cube{{}}, 8); len(got) != 0 {
		t.Errorf("complement of everything: %v, want nothing", got)
	}
}

func TestText(t *testing.T) {
	c := Cube{}.With(3, 1).With(0, 0)
	if got := c.Text(5); got != "?1??0" {
		t.Errorf("Text = %s, want ?1??0", got)
	}
	if c.Literals() != 2 || !c.Matches(0b01000) || c.Matches(0b01001) {
		t.Errorf("%+v has %d literals", c, c.Literals())
	}
	d := Cube{}.With(3, 0)
	if _, ok := c.And(d); ok || c.Meets(d) || !c.Within(Cube{}) || c.Within(d) {
		t.Error("cubes that differ in bit 3 meet")
	}
}

// TestJoined holds the joined cubes against every value, and against joining by hand.
func TestJoined(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for n := 0; n < 500; n++ {
		width := 1 + r.IntN(6)
		var list []Cube
		in := map[uint64]bool{}
		for v := range uint64(1) << width {
			if r.IntN(3) > 0 {
				list = append(list, Cube{Care: 1<<width - 1, Value: v})
				in[v] = true
			}
		}
		joined := Joined(list)
		for v := range uint64(1) << width {
			held := 0
			for _, c := range joined {
				if c.Matches(v) {
					held++
				}
			}
			if (held == 1) != in[v] || held > 1 {
				t.Fatalf("width %d: %b lies in %d cubes, in the list: %t", width, v, held, in[v])
			}
		}
		for i, a := range joined {
			for _, b := range joined[:i] {
				if differ := a.Value ^ b.Value; a.Care == b.Care && differ&(differ-1) == 0 {
					t.Fatalf("width %d: %v and %v are left apart", width, a, b)
				}
			}
		}
	}
}
