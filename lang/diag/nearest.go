package diag

import "sort"

// Nearest returns the candidate closest to name, or "" if none is close enough
// to be what was meant. The measure is the restricted Damerau-Levenshtein
// distance (insert, delete, replace, swap of neighbours); ties go to the
// candidate that sorts first, so the answer does not depend on their order.
func Nearest(name string, candidates []string) string {
	sorted := append([]string(nil), candidates...)
	sort.Strings(sorted)
	limit := 1 + len(name)/4
	best, bestDistance := "", limit+1
	for _, c := range sorted {
		if c == name || abs(len(c)-len(name)) > limit {
			continue
		}
		if d := distance(name, c); d < bestDistance && d < len(name) {
			best, bestDistance = c, d
		}
	}
	return best
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

func distance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
