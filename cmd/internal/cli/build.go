package cli

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"coilwright/emit/image"
	"coilwright/encode/network"
)

func newBuild(a *app) *cobra.Command {
	var out string
	style := newStyle()
	cmd := command("build FILE [--style STYLE] [-o DIR]", "All artefacts, into a folder",
		`Writes the store as memory images (store.bin, store.hex, store.srec, store.h,
store.memh, and chipN.bin, chipN.hex where the word is split), the phase chart,
the matrix, the placement list of its diodes, the list of relays and wires
(wires.txt, wires.csv; not for a matrix of more than 2,000 rows), a summary, and
manifest.txt with the size and SHA-256 of each. The folder is "out" beside the
definition unless -o names another.

Every file is read back and compared with the store before any is put in place.
The manifest goes first and comes last: where it stands, the set is complete.
What the manifest of an older build lists and this build does not make is
deleted.`,
		`coilwright build millrace.coil
coilwright build millrace.coil --out soldering`, wants(1, 1, "the FILE with the definition"))
	addStyle(cmd, &style)
	cmd.Flags().StringVarP(&out, "out", "o", "", `write into `+"`DIR`"+` (default "out" beside the definition)`)
	if err := cmd.MarkFlagDirname("out"); err != nil {
		panic(err) // a slip in the line above
	}
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		switch {
		case out == "-":
			return usagef("--out names a folder here: a build is many files")
		case out == "" && cmd.Flags().Changed("out"):
			return usagef("--out is empty: it names a folder")
		case out == "":
			out = filepath.Join(filepath.Dir(args[0]), "out")
		}
		return a.build(args[0], out, style.value)
	}
	return cmd
}

func (a *app) build(path, dir, style string) error {
	l, n, err := a.mayNetwork(path, style)
	if err != nil {
		return err
	}
	if err := image.Possible(l.store); err != nil {
		fmt.Fprintf(a.err, "coilwright: no memory images: %v\n", err)
	}
	a.tellLarge(l)
	if n != nil && len(n.Matrix.Rows) > mostWiredRows {
		fmt.Fprintf(a.err, "coilwright: no wires.txt and wires.csv: the matrix has %d rows; `coilwright wires` prints them\n", len(n.Matrix.Rows))
	}
	entries, err := a.writeSet(dir, l.store, l.artefacts(n))
	if err != nil {
		return err
	}
	if err := a.deliver("", summaryArtefact(l, n)); err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.out, "%d files in %s\n", len(entries)+1, dir)
	return written(err)
}

// mostWiredRows is up to where build lists the wires: beyond it they are
// thousands of pages, which take longer than all the rest.
const mostWiredRows = 2000

// artefacts lists everything that a build makes.
func (l *loaded) artefacts(n *network.Network) []artefact {
	var list []artefact
	if image.Possible(l.store) == nil {
		list = l.images()
	}
	summary := summaryArtefact(l, n)
	summary.name = "summary.txt"
	list = append(list, l.chartArtefact("phases.txt", ""))
	if n == nil {
		return append(list, summary)
	}
	list = append(list,
		matrixArtefact("matrix.txt", l, n, "text"),
		matrixArtefact("matrix.csv", l, n, "csv"),
		diodesArtefact("diodes.txt", l, n, "text"),
		diodesArtefact("diodes.csv", l, n, "csv"),
		summary,
	)
	if len(n.Matrix.Rows) <= mostWiredRows {
		list = append(list, wiresArtefact("wires.txt", n, "text"), wiresArtefact("wires.csv", n, "csv"))
	}
	return list
}

// images lists the memory images. Only the image that is being written is in memory.
func (l *loaded) images() []artefact {
	var list []artefact
	var last imageOf
	var held *image.Image
	add := func(of imageOf, name string, form image.Form) {
		list = append(list, of.artefact(name, form, image.Options{}, func() (*image.Image, error) {
			if held == nil || last != of {
				im, err := of.make()
				if err != nil {
					return nil, err
				}
				last, held = of, im
			}
			return held, nil
		}))
	}
	whole := imageOf{store: l.store}
	add(whole, "store.bin", image.FormBin)
	add(whole, "store.hex", image.FormHex)
	add(whole, "store.srec", image.FormSrec)
	add(whole, "store.h", image.FormHeader)
	add(whole, "store.memh", image.FormMemh)
	if l.store.Word.Split > 0 {
		for n := 1; n <= image.Chips(l.store); n++ {
			chip := imageOf{store: l.store, chip: n}
			add(chip, fmt.Sprintf("chip%d.bin", n), image.FormBin)
			add(chip, fmt.Sprintf("chip%d.hex", n), image.FormHex)
		}
	}
	return list
}
