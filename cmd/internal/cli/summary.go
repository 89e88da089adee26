package cli

import (
	"io"

	"coilwright/emit/readback"
	"coilwright/emit/table"
	"coilwright/encode/network"
)

// summaryArtefact is what a machine amounts to, on one screen.
// There is no matrix in it if n is nil.
func summaryArtefact(l *loaded, n *network.Network) artefact {
	var mx *network.Matrix
	if n != nil {
		mx = n.Matrix
	}
	return artefact{
		name: "summary",
		write: func(w io.Writer) error {
			return table.Summary(w, table.Facts{Machine: l.machine, Plan: l.plan, Store: l.store, Matrix: mx, Network: n})
		},
		verify: func(r io.Reader) error { return readback.Summary(r, l.machine, l.store, n) },
	}
}
