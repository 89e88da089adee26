package table

import (
	"bytes"
	"io"
	"testing"
)

func BenchmarkPages(b *testing.B) {
	f := load(b, "millrace")
	for _, a := range artefacts {
		b.Run("write/"+a.name, func(b *testing.B) {
			for b.Loop() {
				if err := a.write(io.Discard, f); err != nil {
					b.Fatal(err)
				}
			}
		})
		text := written(b, a, f)
		b.Run("read/"+a.name, func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				if err := a.read(bytes.NewReader([]byte(text)), f); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
