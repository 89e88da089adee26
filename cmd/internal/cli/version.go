package cli

import (
	"fmt"
	"runtime"

	"github.com/spf13/cobra"
)

// version of the program and of the artefacts it writes.
const version = "0.1.0"

func versionLine() string {
	return fmt.Sprintf("coilwright %s (%s, %s/%s)", version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

func newVersion(a *app) *cobra.Command {
	var out string
	cmd := command("version [-o FILE]", "The version of the program",
		"Prints one line: the versions of coilwright and of Go, and the system it is for.",
		"coilwright version", wants(0, 0, ""))
	outFlag(cmd, &out)
	cmd.ValidArgsFunction = cobra.NoFileCompletions
	cmd.RunE = func(*cobra.Command, []string) error {
		return a.deliver(out, text("version", versionLine()+"\n"))
	}
	return cmd
}
