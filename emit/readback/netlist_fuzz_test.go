package readback

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coilwright/emit/netlist"
	"coilwright/encode/network"
	"coilwright/encode/schedule"
)

// FuzzPLA looks for text that makes the reader panic, and for a file that
// passes without the machine's hash.
func FuzzPLA(f *testing.F) {
	_, s, _ := page(f, "quern", "matrix.csv")
	for _, form := range []string{"values", "onehot", "binary"} {
		text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "netlist", "quern-"+form+".pla"))
		if err != nil {
			f.Fatal(err)
		}
		if err := PLA(bytes.NewReader(text), s, 0); err != nil {
			f.Fatalf("%s: %v", form, err)
		}
		f.Add(string(text))
	}
	f.Add("# quern sha256 " + s.Hash[:12] + "\n.i 300\n.o -1\n.e\n")
	f.Fuzz(func(t *testing.T, edited string) {
		if PLA(strings.NewReader(edited), s, 0) == nil && !strings.Contains(edited, s.Hash[:12]) {
			t.Errorf("passes without the hash:\n%s", edited)
		}
	})
}

// FuzzVerilog does the same for the readers of Verilog.
func FuzzVerilog(f *testing.F) {
	m, s, _ := page(f, "quern", "matrix.csv")
	p, list := schedule.Encode(m)
	if len(list) > 0 {
		f.Fatal(list)
	}
	c, err := network.Build(s, schedule.Changes(m, p), m.Hardware, "plain")
	if err != nil {
		f.Fatal(err)
	}
	n, list := network.Place(c, s, m.Hardware)
	if len(list) > 0 {
		f.Fatal(list)
	}
	sum, err := netlist.Store(s, 0)
	if err != nil {
		f.Fatal(err)
	}
	for _, write := range []func(w io.Writer) error{
		func(w io.Writer) error { return netlist.Sums(w, sum, false) },
		func(w io.Writer) error { return netlist.Sums(w, sum, true) },
		func(w io.Writer) error { return netlist.Flow(w, n.List, s, nil) },
		func(w io.Writer) error { return netlist.Flow(w, n.List, s, sum) },
		func(w io.Writer) error { return netlist.Switches(w, n.List, s) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			f.Fatal(err)
		}
		f.Add(b.String())
		head, _, _ := strings.Cut(b.String(), "endmodule")
		f.Add(head + "assign rst = ((((((((((1'b0))))))))));\nendmodule\n")
	}
	f.Fuzz(func(t *testing.T, edited string) {
		passed := Switches(strings.NewReader(edited), n.List, s) == nil
		for _, masked := range []bool{false, true} {
			sums := Sums(strings.NewReader(edited), s, 0, masked)
			flow := Flow(strings.NewReader(edited), n.List, s, 0, masked)
			passed = passed || sums == nil || flow == nil
		}
		if passed && !strings.Contains(edited, s.Hash[:12]) {
			t.Errorf("passes without the hash:\n%s", edited)
		}
	})
}
