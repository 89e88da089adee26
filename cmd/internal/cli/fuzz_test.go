package cli

import (
	"bytes"
	"io/fs"
	"os"
	"strings"
	"testing"

	"coilwright/emit/table"
	"coilwright/examples"
)

// FuzzBuild takes any text through every stage and, if it is a machine, makes
// every artefact and reads it back: a difference is a bug.
func FuzzBuild(f *testing.F) {
	for _, name := range examples.Names() {
		text, err := fs.ReadFile(examples.FS, name+"/"+name+".coil")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	page, err := os.ReadFile("../../../testdata/definition/millrace-page.coil")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(page))
	// The page's machine with a line or two changed reaches what the examples leave out.
	for _, change := range [][2]string{
		{"restart steers", "restart cuts"}, {"undefined restart", "undefined idle"}, {"undefined restart", "undefined free"},
		{"undefined restart", "undefined halt"}, {"dead    0", "dead 2"}, {"decode  1", "decode 3"}, {"split 8", "split 3, order little"},
		{"bus data 8", "bus data 8 or"}, {"register acc 8", "register acc 8 buffered"}, {"line sub ", "line sub low "},
		{"{ step bell }", "{ step bell\n wait 3\n step none }"},
	} {
		f.Add(strings.Replace(string(page), change[0], change[1], 1))
	}
	f.Fuzz(func(t *testing.T, text string) {
		l := pipeline("fuzz.coil", func(string) ([]byte, error) { return []byte(text), nil })
		for _, d := range l.list {
			if !d.At.IsZero() && d.At.File == "" {
				t.Errorf("%s has a place without a file", d.Name)
			}
		}
		if l.store == nil {
			if l.list.Errors() == 0 {
				t.Fatal("no store and no error")
			}
			return
		}
		// A table of a million words takes its time; what is larger is the
		// same code with more of it.
		if l.store.AddressBits() > 14 || len(l.store.Rows) > 5000 {
			return
		}
		n := l.network("plain")
		if n == nil {
			return
		}
		arts := l.artefacts(n)
		names := append([]string{"fetch", "undefined"}, table.Instructions(l.machine)...)
		for _, name := range names[:min(4, len(names))] {
			arts = append(arts, l.chartArtefact("chart of "+name, name))
		}
		for _, art := range arts {
			var b bytes.Buffer
			if err := art.write(&b); err != nil {
				t.Fatalf("%s: %v", art.name, err)
			}
			if art.verify != nil {
				if err := art.verify(bytes.NewReader(b.Bytes())); err != nil {
					t.Fatalf("%s: %v", art.name, err)
				}
			}
		}
	})
}
