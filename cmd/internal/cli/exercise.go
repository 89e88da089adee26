package cli

import "github.com/spf13/cobra"

func newExercise(a *app) *cobra.Command {
	return imageCommand(a, command("exercise FILE [--form FORM] [-o FILE]", "An image that lights one line at a time",
		`Writes a memory image in which every word has one line on: stepping through the
phases lights each lamp of the control lines in turn, restart and halt left out.
Polarity is as in the machine. Forms and options are those of "image".`,
		`coilwright exercise millrace.coil --form bin -o lamps.bin
coilwright exercise millrace.coil --chip 1 -o lamps1.hex`, wants(1, 1, "the FILE with the definition")), true)
}
