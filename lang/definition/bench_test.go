package definition

import (
	"fmt"
	"strings"
	"testing"
)

// big is a definition of close to 1 MiB.
func big() string {
	var b strings.Builder
	for i := 0; b.Len() < maxFile-200; i++ {
		fmt.Fprintf(&b, "instruction op%d value:8 = 0001_%d, value { ; number %d\n    step pc_g ram_g acc_l nxt_l\n    do advance\n}\n", i, i, i)
	}
	return b.String()
}

func BenchmarkParse(b *testing.B) {
	text := big()
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, list := Parse("m.coil", text); len(list) > 0 {
			b.Fatal(list)
		}
	}
}

func BenchmarkParsePage(b *testing.B) {
	text := page(b)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		Parse("m.coil", text)
	}
}

func BenchmarkFormat(b *testing.B) {
	text := big()
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		Format("m.coil", text)
	}
}

// BenchmarkRefuse is a line of 10 MB and three million brackets.
func BenchmarkRefuse(b *testing.B) {
	for _, text := range []string{strings.Repeat("a", 10<<20), strings.Repeat("(", 3_000_000), strings.Repeat(strings.Repeat("(", 90)+strings.Repeat(")", 90)+"\n", 5000)} {
		b.Run(text[:1], func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Parse("m.coil", text)
			}
		})
	}
}

// BenchmarkErrors is what the parser makes of a file that is nothing but errors.
func BenchmarkErrors(b *testing.B) {
	text := strings.Repeat("bus\n", maxFile/4)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		if _, list := Parse("m.coil", text); len(list) != maxFile/4 {
			b.Fatal(len(list))
		}
	}
}
