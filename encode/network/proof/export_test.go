package proof

import (
	"coilwright/encode/network/wiring"
	"coilwright/encode/store"
)

// Reference is what the slow reading finds wrong with a list.
func Reference(l *wiring.List, s *store.Store, c store.Changes, overlap bool) []string {
	return newBench(l, s, c).judge(overlap).text(false)
}
