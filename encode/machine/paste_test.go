package machine_test

import (
	"fmt"
	"strings"
	"testing"
)

// Sequences that do each other grow as a power of their depth, or without end:
// either is one error, found before much is pasted.
func TestSequencesThatGrow(t *testing.T) {
	var deep, round strings.Builder
	deep.WriteString("sequence s0 { step acc_g tmp_l }\n")
	for i := 1; i <= 30; i++ {
		fmt.Fprintf(&deep, "sequence s%d {\n%s}\n", i, strings.Repeat(fmt.Sprintf("do s%d\n", i-1), 10))
	}
	for i := range 31 { // each does the next one, over and over, and the last the first
		fmt.Fprintf(&round, "sequence s%d {\n%s}\n", i, strings.Repeat(fmt.Sprintf("do s%d\n", (i+1)%31), 10))
	}
	for _, c := range []struct{ name, sequences, want string }{
		{"deep", deep.String(), "sequence-size"},
		{"without a step", strings.Replace(deep.String(), "{ step acc_g tmp_l }", "{ }", 1), "sequence-size"},
		{"round", round.String(), "sequence-loop"},
		{"wrong inside", strings.Replace(deep.String(), "acc_g tmp_l", "acc_g tmp_q", 1), "unknown-name sequence-size"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, list := resolve(t, small+c.sequences+"instruction a = 0000_0000 { do s0 }\ninstruction b = 0000_0001 {\ndo s30\n}\n")
			if got := names(list); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
