package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coilwright/examples"
	"coilwright/lang/diag"
)

func newNew(a *app) *cobra.Command {
	var example string
	cmd := command("new DIR [--example NAME]", "A machine to start from",
		`Writes an example machine into DIR: a definition to change, a page about it, and
programs to try if the example has some.
Files that exist are never overwritten.`,
		`coilwright new mymachine
coilwright new bench --example firststeps`, wants(1, 1, "the DIR to write into"))
	cmd.Flags().StringVar(&example, "example", "millrace", "which example: `NAME` is one of "+strings.Join(examples.Names(), ", "))
	completeWords(cmd, "example", examples.Names())
	cmd.ValidArgsFunction = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return nil, cobra.ShellCompDirectiveFilterDirs
	}
	cmd.RunE = func(_ *cobra.Command, args []string) error { return a.startMachine(args[0], example) }
	return cmd
}

func (a *app) startMachine(dir, example string) error {
	if !slices.Contains(examples.Names(), example) {
		meant := ""
		if near := diag.Nearest(example, examples.Names()); near != "" {
			meant = fmt.Sprintf("; did you mean %q?", near)
		}
		return usagef("there is no example %q%s", example, meant)
	}
	if dir == "-" {
		return usagef("DIR names a folder: a machine is several files (./- if it is to be called so)")
	}
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return filef("%s is not a folder", dir)
	}
	tree, err := fs.Sub(examples.FS, example)
	if err != nil {
		return err
	}
	files := map[string][]byte{}
	var order []string
	err = fs.WalkDir(tree, ".", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		files[path], err = fs.ReadFile(tree, path)
		order = append(order, path)
		return err
	})
	if err != nil {
		return bugf("example %s: %w", example, err)
	}
	for _, path := range order {
		to := filepath.Join(dir, filepath.FromSlash(path))
		if _, err := os.Lstat(to); err == nil {
			return filef("%s exists already; nothing has been written", to)
		} else if !errors.Is(err, fs.ErrNotExist) {
			return filef("%s: %w", to, cause(err))
		}
	}
	for _, path := range order {
		to := filepath.Join(dir, filepath.FromSlash(path))
		if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
			return filef("%s: %w", filepath.Dir(to), cause(err))
		}
		if err := a.deliver(to, text(to, string(files[path]))); err != nil {
			return err
		}
		fmt.Fprintln(a.out, to)
	}
	for _, path := range order {
		if strings.HasSuffix(path, ".coil") {
			fmt.Fprintf(a.out, "next: coilwright build %s\n", shellWord(filepath.Join(dir, path)))
			break
		}
	}
	return nil
}
