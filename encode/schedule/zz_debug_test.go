package schedule_test

import (
	"coilwright/encode/internal/reference"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

func TestZZ(t *testing.T) {
	skip := strings.Split(os.Getenv("ZZ_SKIP"), ",")
	var from, n uint64
	fmt.Sscan(os.Getenv("ZZ"), &from, &n)
	valid, bad := 0, 0
	both := map[bool]int{}
	for seed := from; seed < from+n; seed++ {
		text := reference.Random(rand.New(rand.NewPCG(seed, 2)))
		src := load(t, "random.coil", text)
		f := reference.Features(src)
		no := false
		for _, s := range skip {
			yes := true
			for _, x := range strings.Split(s, "+") {
				yes = yes && f[x]
			}
			no = no || yes
		}
		if no {
			continue
		}
		ok, d := disagree(t, src)
		both[ok]++
		if ok {
			valid++
		}
		if d != "" {
			bad++
			fmt.Println("seed", seed, d)
			if os.Getenv("ZZ_TEXT") != "" {
				fmt.Println(number(text))
			}
			if bad > 12 {
				break
			}
		}
	}
	fmt.Println(both, "bad", bad)
}
