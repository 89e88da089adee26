package network

import "strconv"

// Spans writes ascending numbers with runs drawn together: "2-5 7".
func Spans(n []int) string {
	out := ""
	for i := 0; i < len(n); {
		j := i
		for j+1 < len(n) && n[j+1] == n[j]+1 {
			j++
		}
		if out != "" {
			out += " "
		}
		out += strconv.Itoa(n[i])
		if j > i {
			out += "-" + strconv.Itoa(n[j])
		}
		i = j + 1
	}
	return out
}

func phasesName(n []int) string {
	if len(n) == 1 {
		return phaseName(n[0])
	}
	return "phases " + Spans(n)
}

func phaseName(n int) string { return "phase " + strconv.Itoa(n) }
