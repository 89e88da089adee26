package netlist_test

import (
	"bytes"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"coilwright/emit/netlist"
	"coilwright/emit/readback"
	"coilwright/encode/cover"
)

// readBack holds every form of a subject against its store and list.
func readBack(t *testing.T, k *candidate) {
	t.Helper()
	check := func(what string, err error) {
		t.Helper()
		if err != nil {
			t.Errorf("%s, %s, %s: %v", k.name, k.style, what, err)
		}
	}
	s, inputs := k.store, k.changes.Inputs
	functions := []*netlist.Function{k.function(t)}
	for _, r := range k.rows {
		functions = append(functions, k.network(t, r))
	}
	for _, f := range functions {
		for _, form := range netlist.PhaseForms() {
			text := written(t, func(b *bytes.Buffer) error { return netlist.PLA(b, f, form) })
			check("PLA "+string(form), readback.PLA(strings.NewReader(text), s, inputs))
			if _, err := cover.ReadPLA(strings.NewReader(text)); err != nil {
				t.Errorf("%s: %v", k.name, err)
			}
		}
	}
	sums := written(t, func(b *bytes.Buffer) error { return netlist.Sums(b, functions[0], false) })
	check("sums", readback.Sums(strings.NewReader(sums), s, inputs, false))
	check("flow", readback.Flow(strings.NewReader(k.flow(t)), k.list, s, inputs, false))
	pair := k.masked(t)
	check("masked sums", readback.Sums(strings.NewReader(pair[0]), s, inputs, true))
	check("masked flow", readback.Flow(strings.NewReader(pair[1]), k.list, s, inputs, true))
	check("switches", readback.Switches(strings.NewReader(switches(t, k)), k.list, s))
}

func TestReadBack(t *testing.T) {
	for _, x := range examples(t) {
		for _, k := range candidates(t, x, "plain") {
			readBack(t, &k)
		}
	}
	r := rand.New(rand.NewPCG(12, 28))
	for _, x := range randoms(t, 60, 2) {
		k := candidate{subject: x, style: "by dice", list: draw(x.store, x.lines(), r)}
		readBack(t, &k)
	}
}

// TestReadersFindFaults puts one fault after another into files that were
// right. textbook has no state that cannot occur and no two rows that overlap,
// so that every character of its files means something.
func TestReadersFindFaults(t *testing.T) {
	text, err := os.ReadFile("../../../examples/textbook/textbook.coil")
	if err != nil {
		t.Fatal(err)
	}
	// A pattern that takes in a neighbour which does the same is no fault: apart with them.
	x := load(t, "textbook", strings.NewReplacer("= 0001 ", "= 0011 ", "= 0010 ", "= 0101 ").Replace(string(text)))
	k := candidates(t, x, "plain")[0]
	s, inputs := k.store, k.changes.Inputs
	f := k.function(t)
	sums := written(t, func(b *bytes.Buffer) error { return netlist.Sums(b, f, false) })
	pair := k.masked(t)
	forms := []struct {
		name, text string
		read       func(text string) error
	}{
		{"sums", sums, func(text string) error { return readback.Sums(strings.NewReader(text), s, inputs, false) }},
		{"masked sums", pair[0], func(text string) error { return readback.Sums(strings.NewReader(text), s, inputs, true) }},
		{"flow", k.flow(t), func(text string) error { return readback.Flow(strings.NewReader(text), k.list, s, inputs, false) }},
		{"masked flow", pair[1], func(text string) error { return readback.Flow(strings.NewReader(text), k.list, s, inputs, true) }},
		{"switches", switches(t, &k), func(text string) error { return readback.Switches(strings.NewReader(text), k.list, s) }},
	}
	for _, form := range netlist.PhaseForms() {
		text := written(t, func(b *bytes.Buffer) error { return netlist.PLA(b, f, form) })
		forms = append(forms, struct {
			name, text string
			read       func(text string) error
		}{"PLA " + string(form), text, func(text string) error { return readback.PLA(strings.NewReader(text), s, inputs) }})
	}
	for _, form := range forms {
		if err := form.read(form.text); err != nil {
			t.Fatalf("%s: %v", form.name, err)
		}
		tried := 0
		try := func(what, text string) {
			tried++
			if form.read(text) == nil {
				t.Errorf("%s: not found: %s", form.name, what)
			}
		}
		lines := strings.SplitAfter(form.text, "\n")
		for i, line := range lines {
			with := func(other string) string {
				return strings.Join(lines[:i], "") + other + strings.Join(lines[i+1:], "")
			}
			if trimmed := strings.TrimSpace(line); i > 0 && (trimmed == "" || trimmed[0] == '#' || strings.HasPrefix(trimmed, "//")) {
				continue
			}
			if i > 0 && !strings.HasPrefix(line, ".ilb") && !strings.HasPrefix(line, ".ob") { // a file without names is a file
				try("left out: "+line, with(""))
			}
			for at := range line {
				for _, swap := range []string{"01", "10", "1-", "0-", "-1", "-0", "~1", "&|", "|&", "bm", "mb"} {
					if line[at] != swap[0] || i == 0 && at < len("// textbook") {
						continue
					}
					if i == 0 && (line[at] == 'b' || line[at] == 'm' || line[at] == '-' || line[at] == '~') {
						continue // its words are free, the hash is not
					}
					if line[at] == 'b' && at > 0 && line[at-1] == '\'' {
						continue
					}
					try(string(swap[0])+" as "+string(swap[1])+" at "+strings.TrimSpace(line[:at]), with(line[:at]+swap[1:]+line[at+1:]))
				}
			}
			if at := strings.Index(line, "~"); at >= 0 && strings.Contains(line, "assign") {
				try("~ left out: "+line, with(line[:at]+line[at+1:]))
			}
			if head, sum, ok := strings.Cut(strings.TrimSuffix(line, ";\n"), " = "); ok && strings.HasPrefix(head, "    assign") {
				terms := strings.Split(sum, " | ")
				for j := range terms {
					rest := append(append([]string(nil), terms[:j]...), terms[j+1:]...)
					if len(rest) > 0 && !strings.HasSuffix(sum, "|") {
						try("without "+terms[j]+": "+line, with(head+" = "+strings.Join(rest, " | ")+";\n"))
					}
				}
			}
		}
		if tried < 100 {
			t.Errorf("%s: %d faults tried", form.name, tried)
		}
	}
}
