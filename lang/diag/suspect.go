package diag

import "container/heap"

// convict gives a root to every diagnostic that has suspects and no root yet:
// the one that explains most of them first, then the one that explains most of
// the rest, and so on (the greedy cover of Johnson 1974). Of two that explain
// as many, the one named first is taken. A suspect of one diagnostic alone
// merges nothing. It returns the notes of the roots that have one.
func (l List) convict() map[string]Note {
	byName := map[string]*suspect{}
	var order suspects
	for i := range l {
		if l[i].Root != "" {
			continue
		}
		for _, c := range l[i].Suspects {
			s := byName[c.Key]
			if s == nil {
				s = &suspect{cause: c, at: len(byName)}
				byName[c.Key] = s
				order = append(order, s)
			}
			if n := len(s.of); n == 0 || s.of[n-1] != i {
				s.of = append(s.of, i)
			}
		}
	}
	for _, s := range order {
		s.left = len(s.of)
	}
	why := map[string]Note{}
	heap.Init(&order)
	for len(order) > 0 && order[0].left > 0 {
		s := order[0]
		left := 0
		for _, i := range s.of {
			if l[i].Root == "" {
				left++
			}
		}
		if left < s.left { // others have been convicted of some since
			s.left = left
			heap.Fix(&order, 0)
			continue
		}
		for _, i := range s.of {
			if l[i].Root == "" {
				l[i].Root = "suspect " + s.cause.Key
			}
		}
		if s.cause.Note.Text != "" {
			why["suspect "+s.cause.Key] = s.cause.Note
		}
		heap.Pop(&order)
	}
	return why
}

// suspect is one possible cause.
type suspect struct {
	cause Cause
	of    []int // diagnostics, by index
	left  int   // how many of them may still be without a root
	at    int   // order of first mention
}

// suspects is a heap with the one of most diagnostics on top.
type suspects []*suspect

func (s suspects) Len() int { return len(s) }
func (s suspects) Less(i, j int) bool {
	if s[i].left != s[j].left {
		return s[i].left > s[j].left
	}
	return s[i].at < s[j].at
}
func (s suspects) Swap(i, j int) { s[i], s[j] = s[j], s[i] }
func (s *suspects) Push(x any)   { *s = append(*s, x.(*suspect)) }
func (s *suspects) Pop() any {
	last := (*s)[len(*s)-1]
	*s = (*s)[:len(*s)-1]
	return last
}
