package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/lang/diag"
	"coilwright/lang/diag/catalogue"
)

func newExplain(a *app) *cobra.Command {
	var out string
	cmd := command("explain [NAME] [-o FILE]", "What a message means, with a wrong and a right example",
		`Explains a message by the name that stands at its end in brackets. Without a
name it lists them all.`,
		`coilwright explain
coilwright explain bus-two-sources`, wants(0, 1, ""))
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return catalogue.Names(), cobra.ShellCompDirectiveNoFileComp
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error {
		if len(args) == 0 {
			return a.deliver(out, artefact{name: "list of messages", write: explainAll})
		}
		name := strings.Trim(args[0], "[]")
		entry, ok := catalogue.Find(name)
		if !ok {
			meant := "; `coilwright explain` lists them"
			if near := diag.Nearest(name, catalogue.Names()); near != "" {
				meant = fmt.Sprintf("; did you mean %q?", near)
			}
			return usagef("there is no message named %q%s", name, meant)
		}
		return a.deliver(out, artefact{name: name, write: func(w io.Writer) error {
			return explain(w, entry)
		}})
	}
	return cmd
}

func explainAll(w io.Writer) error {
	width := 0
	for _, name := range catalogue.Names() {
		width = max(width, len(name))
	}
	for _, name := range catalogue.Names() {
		entry, _ := catalogue.Find(name)
		if _, err := fmt.Fprintf(w, "%-*s  %s\n", width, name, entry.Summary); err != nil {
			return err
		}
	}
	return nil
}

func explain(w io.Writer, e catalogue.Entry) error {
	_, err := fmt.Fprintf(w, "%s: %s\n\n%s\n\nWrong:\n\n%s\nRight:\n\n%s",
		e.Name, e.Summary, strings.TrimSpace(e.Text), shift(e.Wrong), shift(e.Right))
	if err == nil && e.Base != "" {
		how := "stand below"
		if e.Program {
			how = "are programs for"
		}
		_, err = fmt.Fprintf(w, "\nBoth %s this machine:\n\n%s", how, shift(e.Base))
	}
	return err
}

// shift indents an example, its empty lines left empty.
func shift(text string) string {
	var b strings.Builder
	for _, line := range strings.Split(strings.Trim(text, "\n"), "\n") {
		if line != "" {
			b.WriteString("    " + line)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
