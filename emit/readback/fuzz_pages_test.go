package readback

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/encode/machine"
	"coilwright/encode/network"
	bare "coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
	"coilwright/encode/store"
	"coilwright/lang/definition"
)

// page returns a small machine, its store and one of its golden pages.
func page(t testing.TB, machineName, name string) (*machine.Machine, *store.Store, string) {
	t.Helper()
	folder := filepath.Join("..", "..", "testdata", "table")
	src, list := definition.Load(filepath.Join(folder, machineName+".coil"), os.ReadFile)
	m, more := machine.Resolve(src)
	list = append(list, more...)
	p, more := schedule.Encode(m)
	if list = append(list, more...); len(list) > 0 {
		t.Fatal(list)
	}
	text, err := os.ReadFile(filepath.Join(folder, machineName, name))
	if err != nil {
		t.Fatal(err)
	}
	return m, schedule.Weave(m, p), string(text)
}

// fuzzPage looks for text that makes a reader panic, and for a page that
// passes without the machine's hash.
func fuzzPage(f *testing.F, name string, read func(io.Reader, *store.Store) error) {
	_, s, text := page(f, "quern", name)
	for _, m := range []string{"quern", "hoist"} {
		_, other, seed := page(f, m, name)
		if err := read(strings.NewReader(seed), other); err != nil {
			f.Fatalf("%s %s: %v", m, name, err)
		}
		f.Add(seed)
		f.Add(strings.ReplaceAll(seed, other.Hash[:12], s.Hash[:12])) // past the first check
	}
	f.Add(strings.Replace(text, "##", "??", 1))
	f.Add("quern")
	f.Fuzz(func(t *testing.T, edited string) {
		if read(strings.NewReader(edited), s) == nil && !strings.Contains(edited, s.Hash[:12]) {
			t.Errorf("passes without the hash:\n%s", edited)
		}
	})
}

// FuzzSummary is fuzzPage for the reader that wants the machine too.
func FuzzSummary(f *testing.F) {
	m, s, text := page(f, "quern", "summary.txt")
	c, err := network.Build(s, store.Changes{}, m.Hardware, "plain")
	if err != nil {
		f.Fatal(err)
	}
	n, list := network.Place(c, s, m.Hardware)
	if len(list) > 0 {
		f.Fatal(list)
	}
	if err := Summary(strings.NewReader(text), m, s, n); err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(strings.Replace(text, " in ", "\n              in ", 1))
	f.Fuzz(func(t *testing.T, edited string) {
		if Summary(strings.NewReader(edited), m, s, n) == nil && !strings.Contains(edited, s.Hash[:12]) {
			t.Errorf("passes without the hash:\n%s", edited)
		}
	})
}

func FuzzChart(f *testing.F)      { fuzzPage(f, "phases.txt", Chart) }
func FuzzMatrixText(f *testing.F) { fuzzPage(f, "matrix.txt", plain(MatrixText)) }
func FuzzMatrixCSV(f *testing.F)  { fuzzPage(f, "matrix.csv", plain(MatrixCSV)) }
func FuzzDiodesText(f *testing.F) { fuzzPage(f, "diodes.txt", plain(DiodesText)) }
func FuzzDiodesCSV(f *testing.F)  { fuzzPage(f, "diodes.csv", plain(DiodesCSV)) }

// plain reads a page beside the list of wires of its machine.
func plain(read func(io.Reader, *store.Store, *bare.List) error) func(io.Reader, *store.Store) error {
	lists := map[string]*bare.List{}
	return func(r io.Reader, s *store.Store) error {
		if lists[s.Machine] == nil {
			text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "table", s.Machine, "wires.csv"))
			if err != nil {
				return err
			}
			if lists[s.Machine], err = WiresCSV(bytes.NewReader(text)); err != nil {
				return err
			}
		}
		return read(r, s, lists[s.Machine])
	}
}
