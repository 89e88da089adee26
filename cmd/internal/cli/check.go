package cli

import (
	"io"

	"github.com/spf13/cobra"

	"coilwright/lang/diag"
)

type checkOptions struct {
	out    string
	form   choice
	strict bool
}

func newCheck(a *app) *cobra.Command {
	o := checkOptions{form: newChoice("text", "text", "json")}
	cmd := command("check FILE [--form text|json] [--strict] [-o FILE]", "What is wrong with a definition, or a summary of it",
		`Reports every error and warning (on standard error), and of a sound definition a
summary of one screen (on standard output). --form json writes the messages to
standard output instead, as one array. --strict fails on warnings too (status
1).`,
		`coilwright check millrace.coil
coilwright check --strict --form json millrace.coil`, wants(1, 1, "the FILE with the definition"))
	o.form.add(cmd, "form", "messages and summary as text, or the messages as json")
	cmd.Flags().BoolVar(&o.strict, "strict", false, "fail on warnings too")
	outFlag(cmd, &o.out)
	cmd.ValidArgsFunction = completeDefinitions
	cmd.RunE = func(_ *cobra.Command, args []string) error { return a.check(args[0], o) }
	return cmd
}

func (a *app) check(path string, o checkOptions) error {
	l := a.load(path)
	n := l.network("plain")
	status := l.status()
	if status == statusFine && o.strict && l.list.Warnings() > 0 {
		status = statusInput
	}
	var err error
	switch {
	case o.form.value == "json":
		err = a.deliver(o.out, artefact{name: "messages", write: func(w io.Writer) error {
			return diag.JSON(w, l.list)
		}})
	default:
		if err = a.say(l); err == nil && (n != nil || l.large != nil) {
			a.tellLarge(l)
			err = a.deliver(o.out, summaryArtefact(l, n))
		}
	}
	if err != nil {
		return err
	}
	if status != statusFine {
		return said(status)
	}
	return nil
}
