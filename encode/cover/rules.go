package cover

import "fmt"

// Rule forbids products: one that accepts any of Values in variable Var has to
// accept every value of each variable in Frozen.
type Rule struct {
	Var    int
	Values []int
	Frozen []int
}

// law is the rules of a problem in words.
//
// If two products obey a rule, so does what they have in common. Each product
// therefore lies in a smallest admissible one (closure), and holds a largest
// admissible one or none (interior). An admissible implicant lies in some prime,
// so in the interior of that prime: the maximal admissible implicants are the
// maximal ones among the interiors of the primes.
type law struct {
	s     *space
	rules []lawRule
}

type lawRule struct {
	f      int
	when   []uint64 // the values of f that ask for the rest
	frozen []int
}

func newLaw(s *space, rules []Rule) (*law, error) {
	l := &law{s: s}
	for n, r := range rules {
		if r.Var < 0 || r.Var >= len(s.fields) {
			return nil, fmt.Errorf("rule %d: no variable %d", n, r.Var)
		}
		lr := lawRule{f: r.Var, when: make([]uint64, s.w)}
		for _, v := range r.Values {
			if v < 0 || v >= s.fields[r.Var].size {
				return nil, fmt.Errorf("rule %d: variable %d has no value %d", n, r.Var, v)
			}
			set(lr.when, s.bit(r.Var, v))
		}
		for _, f := range r.Frozen {
			if f < 0 || f >= len(s.fields) || f == r.Var {
				return nil, fmt.Errorf("rule %d: variable %d cannot be frozen by variable %d", n, f, r.Var)
			}
			lr.frozen = append(lr.frozen, f)
		}
		if len(r.Values) > 0 && len(lr.frozen) > 0 {
			l.rules = append(l.rules, lr)
		}
	}
	return l, nil
}

// obeyed reports whether the rule holds for c.
func (r *lawRule) obeyed(s *space, c []uint64) bool {
	if !s.meetsIn(c, r.when, r.f) {
		return true
	}
	for _, f := range r.frozen {
		if !s.fullIn(c, f) {
			return false
		}
	}
	return true
}

func (l *law) obeyed(c []uint64) bool {
	for i := range l.rules {
		if !l.rules[i].obeyed(l.s, c) {
			return false
		}
	}
	return true
}

// close grows c to the smallest admissible product around it.
func (l *law) close(c []uint64) {
	for again := true; again; {
		again = false
		for i := range l.rules {
			r := &l.rules[i]
			if !r.obeyed(l.s, c) {
				for _, f := range r.frozen {
					l.s.fill(c, f)
				}
				again = len(l.rules) > 1
			}
		}
	}
}

// interior shrinks c to the largest admissible product in it; false if there is none.
func (l *law) interior(c []uint64) bool {
	for again := true; again; {
		again = false
		for i := range l.rules {
			r := &l.rules[i]
			if r.obeyed(l.s, c) {
				continue
			}
			fd := l.s.fields[r.f]
			for j := fd.word; j < fd.word+fd.words; j++ {
				c[j] &^= r.when[j]
			}
			if !l.s.meetsIn(c, c, r.f) {
				return false
			}
			again = true
		}
	}
	return true
}

// Admissible reports whether every product of list obeys the rules. The error
// names the first that does not, or a rule that makes no sense.
func Admissible(list *Cover, rules []Rule) error {
	l, err := newLaw(list.s, rules)
	if err != nil {
		return err
	}
	for i := range list.Len() {
		for n := range l.rules {
			if !l.rules[n].obeyed(list.s, list.At(i).w) {
				return fmt.Errorf("product %s breaks a rule about variable %d", list.At(i), l.rules[n].f)
			}
		}
	}
	return nil
}

// Impossible is the error of Minimise for a point of On that lies in no
// admissible product of On and Free.
type Impossible struct {
	Point Cube // of On; Product, the least that the rules allow around it,
	// meets what is neither on nor free in Off.
	Product, Off Cube
}

func (e *Impossible) Error() string {
	return fmt.Sprintf("no admissible product covers %s: the least is %s, and %s has to be off", e.Point, e.Product, e.Off)
}
