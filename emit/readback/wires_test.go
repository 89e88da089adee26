package readback

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	bare "coilwright/encode/network/wiring"

	"github.com/google/go-cmp/cmp"
)

func wiresPage(t testing.TB, machine, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "table", machine, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func wiresOf(t testing.TB, machine string) *bare.List {
	t.Helper()
	l, err := WiresCSV(strings.NewReader(wiresPage(t, machine, "wires.csv")))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// TestWiresFromASpreadsheet: what a spreadsheet and a person do to the list
// and must not matter.
func TestWiresFromASpreadsheet(t *testing.T) {
	text := wiresPage(t, "hoist", "wires.csv")
	want := wiresOf(t, "hoist")
	if len(want.Relays) < 10 || len(want.Wires) < 200 || !want.Negative || want.Title == "" {
		t.Fatalf("the list is worth little: %d relays, %d wires", len(want.Relays), len(want.Wires))
	}
	lines := strings.Split(strings.TrimSpace(text), "\n")
	shuffled := append([]string(nil), lines[1:]...)
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	for what, edited := range map[string]string{
		"sorted otherwise":      lines[0] + "\n" + strings.Join(shuffled, "\n") + "\n",
		"lines of another OS":   strings.ReplaceAll(text, "\n", "\r\n"),
		"a byte order mark":     "\ufeff" + text,
		"empty records":         text + ",,,,,,,,,,,,\n,,,,,,,,,,,,\n",
		"all in quotes":         quoted(text),
		"no newline at the end": strings.TrimSuffix(text, "\n"),
	} {
		if err := WiresCSVOf(strings.NewReader(edited), want); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	added, err := WiresCSV(strings.NewReader(text + "wire,,,,,,,,K1:A1,K2:A1,by hand,,\nwire,,,,,,,,D1:A,D2:K\n"))
	if err != nil {
		t.Fatal(err)
	}
	wires := append(append([]bare.Wire(nil), want.Wires...), bare.Wire{Net: "by hand", From: "K1:A1", To: "K2:A1"}, bare.Wire{From: "D1:A", To: "D2:K"})
	if d := cmp.Diff(wires, added.Wires); d != "" {
		t.Error(d)
	}
}

// quoted puts every field in quotes, as some programs do. The title alone has a comma.
func quoted(text string) string {
	var out []string
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		title := ""
		if from := strings.Index(line, `"`); from >= 0 {
			to := strings.LastIndex(line, `"`)
			title = line[from+1 : to]
			line = line[:from] + "TITLE" + line[to+1:]
		}
		line = `"` + strings.ReplaceAll(line, ",", `","`) + `"`
		out = append(out, strings.Replace(line, "TITLE", title, 1))
	}
	return strings.Join(out, "\n") + "\n"
}

// TestEveryWireMatters leaves out, doubles and moves single wires of both forms.
func TestEveryWireMatters(t *testing.T) {
	want := wiresOf(t, "quern")
	lines := strings.SplitAfter(wiresPage(t, "quern", "wires.csv"), "\n")
	tried := 0
	for i, line := range lines {
		if i < 2 || line == "" {
			continue
		}
		tried++
		rest := strings.Join(lines[:i], "") + strings.Join(lines[i+1:], "")
		if WiresCSVOf(strings.NewReader(rest), want) == nil {
			t.Errorf("passes without %s", line)
		}
		if WiresCSVOf(strings.NewReader(rest+line+line), want) == nil {
			t.Errorf("passes with %s twice", line)
		}
	}
	text := wiresPage(t, "quern", "wires.txt")
	boxes := strings.Split(text, "[ ] ")
	for i := 1; i < len(boxes); i++ {
		tried++
		item, after := boxes[i], ""
		if cut := strings.IndexAny(item, "\n"); cut >= 0 {
			item, after = item[:cut], item[cut:]
		}
		edited := strings.Join(boxes[:i], "[ ] ") + after
		if i+1 < len(boxes) {
			edited += "[ ] " + strings.Join(boxes[i+1:], "[ ] ")
		}
		if WiresText(strings.NewReader(edited), want) == nil {
			t.Errorf("the page passes without %q", item)
		}
	}
	if tried < 150 {
		t.Errorf("only %d items tried", tried)
	}
}

func FuzzWiresCSV(f *testing.F) {
	for _, m := range []string{"quern", "hoist"} {
		f.Add(wiresPage(f, m, "wires.csv"))
	}
	f.Add(strings.Join(wiresHead, ",") + "\nlist,plain,,2,,positive,,,,,,m,sha256:" + strings.Repeat("0", 64) + "\nrelay,K1,c,1,4\nwire,,,,,,,,K1:A1,K1:11\n")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := WiresCSV(strings.NewReader(text))
		if err != nil {
			return
		}
		known := map[bare.Terminal]bool{}
		for _, r := range l.Relays {
			a1, a2 := r.Coil()
			known[a1], known[a2] = true, true
			for p := 1; p <= r.Poles; p++ {
				common, breaks, makes := r.Pole(p)
				known[common], known[breaks], known[makes] = true, true, true
			}
		}
		for _, d := range l.Diodes {
			anode, cathode := d.Ends()
			known[anode], known[cathode] = true, true
		}
		for _, p := range l.Pins {
			known[p.Terminal()] = true
		}
		for _, w := range l.Wires {
			if !known[w.From] || !known[w.To] || w.From == w.To {
				t.Errorf("accepted: %+v", w)
			}
		}
	})
}

func FuzzWiresText(f *testing.F) {
	want := wiresOf(f, "quern")
	text := wiresPage(f, "quern", "wires.txt")
	f.Add(text)
	f.Add(strings.ReplaceAll(wiresPage(f, "hoist", "wires.txt"), wiresOf(f, "hoist").Hash[:12], want.Hash[:12]))
	f.Add(strings.Replace(text, "[ ] ", "[x] ", 1))
	f.Fuzz(func(t *testing.T, edited string) {
		if WiresText(strings.NewReader(edited), want) == nil && !strings.Contains(edited, want.Hash[:12]) {
			t.Errorf("passes without the hash:\n%s", edited)
		}
	})
}
