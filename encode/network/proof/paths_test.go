package proof_test

import (
	"maps"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
)

// mention is a terminal, or a part that is named by itself.
var mention = regexp.MustCompile(`\b[A-Z]+\d+(:\w+)?`)

// shown lists the parts and pins that a finding names, and those on its way.
func shown(f proof.Finding) map[string]bool {
	out := map[string]bool{}
	for _, text := range append([]string{f.Text, f.Path}, f.Notes...) {
		for _, m := range mention.FindAllString(text, -1) {
			out[partOf(m)] = true
		}
	}
	return out
}

// partOf is the part of a terminal; a pin is a part of its own.
func partOf(t string) string {
	name, _, _ := strings.Cut(t, ":")
	if name[0] == 'J' {
		return t
	}
	return name
}

// TestPathsNameFaults: of every kind of fault, on every example, some finding
// names the part at fault or leads through it, or else, where the part carries
// nothing any more, through what it was wired to. Of a wire that is missing or
// goes elsewhere the list does not say where it was, so that of these it is
// asked of most.
func TestPathsNameFaults(t *testing.T) {
	for _, name := range []string{"firststeps", "textbook", "millrace"} {
		for _, style := range network.Styles {
			m, s, ch := machineOf(t, name)
			o := proof.Options{Overlap: m.Sequencer.Overlap > 0, Detail: 1000}
			l := roomy(placed(t, m, s, ch, style))
			net := nets(l)
			onNet := map[int]map[string]bool{}
			for at, n := range net {
				if onNet[n] == nil {
					onNet[n] = map[string]bool{}
				}
				onNet[n][partOf(string(at))] = true
			}
			byKind := map[string][]fault{}
			faults(l, plan{reach: 1, travels: travelling(l, s, ch)}, func(f fault) { byKind[f.kind] = append(byKind[f.kind], f) })
			for _, kind := range slices.Sorted(maps.Keys(byKind)) {
				list := byKind[kind]
				dice := rand.New(rand.NewPCG(1, 8))
				dice.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
				found, named, near := 0, 0, 0
				for _, f := range list {
					if found == 12 {
						break
					}
					var c wiring.List
					copyTo(&c, l)
					f.change(&c)
					r, err := proof.Prove(&c, s, ch, o)
					if err != nil {
						t.Fatal(err)
					}
					if r.Proved() {
						continue
					}
					found++
					itself, beside, through := false, false, false
					for _, x := range r.Findings {
						all := shown(x)
						sides := 0
						for _, at := range f.at {
							itself = itself || all[partOf(string(at))]
							for p := range onNet[net[at]] {
								if all[p] {
									sides++
									break
								}
							}
						}
						beside = beside || sides > 0
						through = through || sides == len(f.at)
					}
					// A wire across a part is not named: current comes to one side of it
					// and goes on from the other.
					if kind == stuck || kind == shorted {
						beside = through
					}
					switch {
					case itself:
						named++
					case beside:
						near++
					case kind != swapped && kind != missing:
						t.Errorf("%s %s, %s, %s: no finding shows it or what it is wired to", name, style, kind, f.name())
						for _, x := range r.Findings {
							t.Logf("%s; %s; %s; %q", x.Text, x.Where, x.Path, x.Notes)
						}
					}
				}
				t.Logf("%s %s, %s: of %d, %d are named, and %d by what they are wired to", name, style, kind, found, named, near)
				if found == 0 || named+near <= found/2 {
					t.Errorf("%s %s, %s: of %d only %d are shown", name, style, kind, found, named+near)
				}
			}
		}
	}
}
