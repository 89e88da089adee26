package cli

import (
	"bytes"
	"fmt"
	"io"
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
	time  bool
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
writes it: change the list as the card was changed, and see.`,
		`coilwright prove millrace.coil
coilwright prove millrace.coil --style minimal
coilwright prove millrace.coil --wires wires.csv`, wants(1, 1, "the FILE with the definition"))
	addStyle(cmd, &o.style)
	cmd.Flags().StringVar(&o.wires, "wires", "", "prove the list of wires in `FILE`, not one that is worked out")
	cmd.Flags().BoolVar(&o.time, "time", false, "say on standard error how long it took")
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
	l, list, err := a.needList(path, o)
	if err != nil {
		return err
	}
	began := time.Now()
	r, err := proof.Prove(list, l.store, schedule.Changes(l.machine, l.plan), proof.Options{Overlap: l.machine.Sequencer.Overlap > 0})
	if err != nil {
		return inputf("%s", err)
	}
	took := time.Since(began)
	err = a.deliver(o.out, artefact{name: "the proof", write: func(w io.Writer) error { return proofText(w, list, r) }})
	if err != nil {
		return err
	}
	// The time is not on the page: the same input gives the same bytes.
	if o.time {
		fmt.Fprintf(a.err, "coilwright: proved in %d ms\n", took.Milliseconds())
	}
	if !r.Proved() {
		return said(statusInput)
	}
	return nil
}

// needList is a definition with the list that is to be proved.
func (a *app) needList(path string, o proveOptions) (*loaded, *wiring.List, error) {
	if o.wires == "" {
		l, n, err := a.needNetwork(path, o.style.value)
		if err != nil {
			return nil, nil, err
		}
		return l, n.List, nil
	}
	if path == "-" && o.wires == "-" {
		return nil, nil, usagef("the definition and the list of wires cannot both come from standard input")
	}
	l, err := a.need(path)
	if err != nil {
		return nil, nil, err
	}
	text, err := (&reader{app: a, limit: wiresLimit + 1}).root(o.wires)
	switch {
	case err != nil:
		return nil, nil, filef("%s: %w", o.wires, err)
	case len(text) > wiresLimit:
		return nil, nil, inputf("%s: more than %d MiB is no list of wires", o.wires, wiresLimit>>20)
	}
	list, err := readback.WiresCSV(bytes.NewReader(text))
	if err != nil {
		return nil, nil, inputf("%s: %s", o.wires, err)
	}
	if list.Hash != "" && list.Hash != l.store.Hash {
		fmt.Fprintf(a.err, "coilwright: %s was written from another version of the definition; it is proved against this one\n", o.wires)
	}
	return l, list, nil
}

// wiresLimit is the size in bytes that a list of wires may have.
const wiresLimit = 64 << 20

// proofText writes what a proof tried and found, at 80 columns.
func proofText(w io.Writer, l *wiring.List, r *proof.Report) error {
	var b strings.Builder
	what := l.Machine
	if l.Style != "" {
		what += ", style " + l.Style
	}
	n := len(r.Findings) + r.More
	if r.Proved() {
		fmt.Fprintf(&b, "%s: proved\n\n", what)
	} else {
		fmt.Fprintf(&b, "%s: not proved, %s\n\n", what, counted(n, "finding"))
	}
	fmt.Fprintf(&b, "Network   %s, %s, %s, %s, %s\n", counted(r.Relays, "relay"), counted(r.Contacts, "contact"),
		counted(r.Diodes, "diode"), counted(r.Wires, "wire"), counted(r.Pins, "pin"))
	fmt.Fprintf(&b, "Tried     %s, %s of flags, %s:\n", counted(int(r.Opcodes), "opcode"), counted(int(r.Flags), "combination"), counted(r.Phases, "phase"))
	fmt.Fprintf(&b, "          %s, %s between phases,\n          %s with contacts in change-over\n",
		counted(int(r.States), "state"), counted(int(r.Between), "state"), counted(int(r.Moving), "state"))
	for i, f := range r.Findings {
		fmt.Fprintf(&b, "\n%d. %s\n", i+1, f.Text)
		if f.Where != "" {
			folded(&b, "   ", f.Where)
		}
		if f.States > 1 {
			folded(&b, "   ", fmt.Sprintf("the first of %d states, %s", f.States, inPhases(f.Phases)))
		}
		for _, p := range f.Asked {
			folded(&b, "   ", "asked for at "+p.String())
		}
		if f.Path != "" {
			folded(&b, "   ", f.Path)
		}
		for _, note := range f.Notes {
			folded(&b, "   ", note)
		}
	}
	if r.More > 0 {
		fmt.Fprintf(&b, "\nand %s more\n", counted(r.More, "finding"))
	}
	b.WriteString("\nNot shown by this proof:\n")
	for _, u := range proof.Uncovered() {
		folded(&b, "  ", "* "+u)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// inPhases names phases; 0 is between two of them.
func inPhases(phases []int) string {
	between := len(phases) > 0 && phases[0] == 0
	if between {
		phases = phases[1:]
	}
	switch {
	case len(phases) == 0:
		return "between phases"
	case between:
		return "in phases " + network.Spans(phases) + " and between phases"
	case len(phases) == 1:
		return fmt.Sprintf("in phase %d", phases[0])
	}
	return "in phases " + network.Spans(phases)
}

// proofWidth is what fits on paper.
const proofWidth = 80

// folded writes text in lines that fit, what follows the first a little further in.
func folded(b *strings.Builder, indent, text string) {
	line := indent
	for i, word := range strings.Fields(text) {
		if i > 0 && len(line)+1+len(word) > proofWidth {
			b.WriteString(line + "\n")
			line = indent + "   "
		} else if i > 0 {
			line += " "
		}
		line += word
	}
	b.WriteString(line + "\n")
}
