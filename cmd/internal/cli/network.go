package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"coilwright/encode/network"
	"coilwright/encode/schedule"
)

// styleHelp says what the styles are, for every command that draws a network.
const styleHelp = `Style plain has one row for each instruction, flag pattern and set of phases:
easy to read, and to rework while the instruction set still moves. In style
shared instructions share rows, trees of contacts and wires, which takes fewer
relays. Style minimal also uses what is free: opcodes that are "undefined free"
and the phases after the restart of a path.`

func newStyle() choice { return newChoice(network.Styles[0], network.Styles...) }

// addStyle makes a style a flag of cmd.
func addStyle(cmd *cobra.Command, style *choice) {
	style.add(cmd, "style", "how instructions share rows and relays")
}

// needNetwork loads a definition for a command that wants its relays, diodes and wires.
func (a *app) needNetwork(path, style string) (*loaded, *network.Network, error) {
	l, n, err := a.mayNetwork(path, style)
	if err == nil && l.large != nil {
		err = inputf("%v", l.large)
	}
	return l, n, err
}

// mayNetwork is needNetwork for a command that goes on without: the network is
// nil if the store is too large for one.
func (a *app) mayNetwork(path, style string) (*loaded, *network.Network, error) {
	l := a.load(path)
	n := l.network(style)
	if err := a.say(l); err != nil {
		return nil, nil, err
	}
	if status := l.status(); status != statusFine {
		return nil, nil, said(status)
	}
	return l, n, nil
}

// tellLarge says that there is no network because the store is too large for one.
func (a *app) tellLarge(l *loaded) {
	if l.large != nil {
		fmt.Fprintf(a.err, "coilwright: no matrix: %v\n", l.large)
	}
}

// network draws the circuit and places it; what there is to say about it joins
// the list. It returns nil if there are errors, or sets large if there are too many rows.
func (l *loaded) network(style string) *network.Network {
	if l.store == nil {
		return nil
	}
	hw := l.machine.Hardware
	c, err := network.Build(l.store, schedule.Changes(l.machine, l.plan), hw, style)
	if errors.As(err, &l.large) {
		return nil
	}
	if err != nil {
		panic(err) // a style that is none has been refused as a flag
	}
	n, more := network.Place(c, l.store, hw)
	l.list = append(l.list, more...).Settle(l.source.Paths())
	if l.list.Errors() > 0 {
		return nil
	}
	return n
}
