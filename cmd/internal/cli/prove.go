package cli

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coilwright/emit/readback"
	"coilwright/encode/network"
	"coilwright/encode/network/proof"
	"coilwright/encode/network/wiring"
	"coilwright/encode/schedule"
)

type proveOptions struct {
	out   string
	style choice
	wires string
}

func newProve(a *app) *cobra.Command {
	o := proveOptions{style: newStyle()}
	cmd := command("prove FILE [--style plain|shared|minimal | --wires FILE] [-o FILE]", "The proof that the wires do what the store says",
		`Takes the network as it would be soldered, a bare list of contacts, diodes,
wires and coils, and follows the current: for every opcode, combination of flags
and phase, between two phases, and while contacts travel. Exactly the lines of
the store have to be active. What is wrong is told with the way of the current,
terminal by terminal, and where the definition asks for a line that is missing;
the exit status is then 1.

--wires proves a list of wires from a file, as coilwright wires --form csv
writes it: change the list as the card was changed, and see. Such a list has to
fit the definition too: levels of diodes, side of the feed, poles, sites, cards,
pins, fixed pins, and no wire from card to card past the connectors. Relays and
pins may be more than were drawn. Columns are read by the names in the header,
in any order; others are ignored; commas, semicolons or tabs part them. If the
list is not proved, the page says in which wires and parts it differs from the
one that is worked out.

Relays that hang on phase wires, pulse relays and those of low lines, are late
by their own times, which the proof does not know: a caution names them, and
the sources that may meet on a bus because of them.`,
		`coilwright prove millrace.coil
coilwright prove millrace.coil --style minimal
coilwright prove millrace.coil --wires wires.csv`, wants(1, 1, "the FILE with the definition"))
	addStyle(cmd, &o.style)
	cmd.Flags().StringVar(&o.wires, "wires", "", "prove the list of wires in `FILE`, not one that is worked out")
	// The time is always said; scripts may still ask for it.
	cmd.Flags().Bool("time", true, "say how long it took")
	cmd.Flags().MarkHidden("time")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		fromFile := cmd.Flags().Changed("wires")
		switch {
		case fromFile && cmd.Flags().Changed("style"):
			return usagef("--style says how a network is worked out, and with --wires none is")
		case fromFile && o.wires == "":
			return usagef("--wires is empty: it names the file with a list of wires")
		}
		return a.prove(args[0], o)
	}
	return cmd
}

func (a *app) prove(path string, o proveOptions) error {
	l, list, notes, err := a.needList(path, o)
	if err != nil {
		return err
	}
	hw := &l.machine.Hardware
	began := time.Now()
	r, err := proof.Prove(list, l.store, schedule.Changes(l.machine, l.plan), proof.Options{Overlap: l.machine.Sequencer.Overlap > 0, Hardware: hw})
	if err != nil {
		return inputf("%s", err)
	}
	page := proofPage{list: list, machine: l.machine, store: l.store, report: r, took: time.Since(began), notes: append(notes, r.Notes...)}
	if o.wires != "" && !r.Proved() {
		page.differs = l.differences(list)
	}
	err = a.deliver(o.out, artefact{name: "the proof", write: page.text})
	if err != nil {
		return err
	}
	if !r.Proved() {
		return said(statusInput)
	}
	return nil
}

// needList is a definition with the list that is to be proved, and what is odd
// about the file that the list comes from.
func (a *app) needList(path string, o proveOptions) (*loaded, *wiring.List, []string, error) {
	if o.wires == "" {
		l, n, err := a.needNetwork(path, o.style.value)
		if err != nil {
			return nil, nil, nil, err
		}
		return l, n.List, nil, nil
	}
	if path == "-" && o.wires == "-" {
		return nil, nil, nil, usagef("the definition and the list of wires cannot both come from standard input")
	}
	l, err := a.need(path)
	if err != nil {
		return nil, nil, nil, err
	}
	text, err := (&reader{app: a, limit: wiresLimit + 1}).root(o.wires)
	switch {
	case err != nil:
		return nil, nil, nil, filef("%s: %w", o.wires, err)
	case len(text) > wiresLimit:
		return nil, nil, nil, inputf("%s: more than %d MiB is no list of wires", o.wires, wiresLimit>>20)
	}
	list, notes, err := readback.WiresFile(bytes.NewReader(text))
	switch {
	case err != nil:
		return nil, nil, nil, inputf("%s: %s", o.wires, err)
	case list.Machine != l.store.Machine:
		return nil, nil, nil, inputf("%s: this list is of machine %s, not of %s", o.wires, list.Machine, l.store.Machine)
	}
	if list.Hash != "" && list.Hash != l.store.Hash {
		fmt.Fprintf(a.err, "coilwright: %s was written from another version of the definition; it is proved against this one\n", o.wires)
	}
	if !slices.Contains(network.Styles, list.Style) {
		notes = append(notes, fmt.Sprintf("the list says style %q, which is none of %s: it is compared with no list of ours", list.Style, strings.Join(network.Styles, ", ")))
	}
	return l, list, notes, nil
}

// wiresLimit is the size in bytes that a list of wires may have.
const wiresLimit = 64 << 20
