// Package cli is the command line: it alone opens files, looks at the terminal and knows exit codes.
package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"unicode"

	"github.com/spf13/cobra"
)

// Exit statuses (design.md, "The command line").
const (
	statusFine        = 0
	statusInput       = 1  // the input has errors
	statusUsage       = 2  // wrong usage
	statusFile        = 3  // a file could not be read or written
	statusBug         = 70 // a bug in the program
	statusInterrupted = 128
)

// failure is an error that knows the exit status. Any other error that
// reaches the top is cobra's, about the command line itself: wrong usage.
type failure struct {
	status int
	err    error // nil: everything has been said
}

func (f *failure) Error() string {
	if f.err == nil {
		return ""
	}
	return f.err.Error()
}

func (f *failure) Unwrap() error { return f.err }

func usagef(format string, args ...any) error {
	return &failure{statusUsage, fmt.Errorf(format, args...)}
}

func inputf(format string, args ...any) error {
	return &failure{statusInput, fmt.Errorf(format, args...)}
}

func filef(format string, args ...any) error {
	return &failure{statusFile, fmt.Errorf(format, args...)}
}

func bugf(format string, args ...any) error {
	return &failure{statusBug, fmt.Errorf(format, args...)}
}

// said ends a run with a status after its messages have been printed.
func said(status int) error { return &failure{status: status} }

// app is what every command gets: the streams and the temporary files of the run.
type app struct {
	in      io.Reader
	out     *outlet // data
	err     io.Writer
	scratch *scratch
	colour  choice
	inputs  []os.FileInfo // regular files read so far: no output may replace them
}

// Main runs the command line args (without the program's name) and returns the exit status.
func Main(args []string, in io.Reader, out, err io.Writer) (status int) {
	a := &app{
		in:      in,
		out:     &outlet{to: out},
		err:     err,
		scratch: newScratch(),
		colour:  newChoice("auto", "auto", "always", "never"),
	}
	// A run is short and its heap small: collecting less often saves a tenth of
	// its time, and the limit keeps large definitions where they were.
	debug.SetGCPercent(400)
	debug.SetMemoryLimit(384 << 20)
	defer a.watchSignals()()
	defer a.scratch.clear()
	defer func() {
		if p := recover(); p != nil {
			a.reportBug(args, fmt.Sprint(p), debug.Stack())
			status = statusBug
		}
	}()

	root := newRoot(a)
	root.SetArgs(args)
	ran, failed := root.ExecuteC()
	return a.finish(args, ran, failed)
}

// finish says what is left to say and returns the exit status.
func (a *app) finish(args []string, ran *cobra.Command, failed error) int {
	status := statusFine
	var f *failure
	switch {
	case failed == nil || a.out.failed != nil && !errors.As(failed, &f):
	case errors.As(failed, &f):
		status = f.status
		switch {
		case f.err == nil:
		case f.status == statusBug:
			a.reportBug(args, f.Error(), nil)
		default:
			fmt.Fprintf(a.err, "coilwright: %s\n", f.Error())
		}
	default:
		status = statusUsage
		fmt.Fprintf(a.err, "coilwright: %s\n", strings.TrimRight(failed.Error(), "\n"))
	}
	if status == statusUsage && ran != nil {
		fmt.Fprintf(a.err, "run `%s --help` for usage\n", ran.CommandPath())
	}
	if broken := a.out.failed; broken != nil {
		fmt.Fprintf(a.err, "coilwright: standard output: %s\n", cause(broken))
		if status == statusFine {
			status = statusFile
		}
	}
	return status
}

// shellWord writes a word of a command line so that a POSIX shell takes it for
// one, and the program for no flag.
func shellWord(word string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("_-./,:=+@%", r)
	}
	if strings.HasPrefix(word, "-") && strings.Contains(word, "/") {
		word = "./" + word
	}
	if word != "" && !strings.ContainsFunc(word, func(r rune) bool { return !plain(r) }) {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}

func (a *app) reportBug(args []string, what string, stack []byte) {
	words := make([]string, len(args))
	for i, arg := range args {
		words[i] = shellWord(arg)
	}
	fmt.Fprintf(a.err, `coilwright: this is a bug in coilwright, not in your input
    %s
Please report it with the definition, the command line and this text:
    command  coilwright %s
    version  %s
`, strings.ReplaceAll(what, "\n", "\n    "), strings.Join(words, " "), versionLine())
	if stack != nil {
		fmt.Fprintf(a.err, "\n%s", stack)
	}
}

// watchSignals removes temporary files on an interrupt and ends the program
// with 128 + the signal's number. A second interrupt does not wait for a set
// of files that is being moved into place. It returns what ends the watch.
func (a *app) watchSignals() (stop func()) {
	interrupts := make(chan os.Signal, 2)
	for _, s := range []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP} {
		// nohup and background shells have us ignore a signal: keep to that.
		if !signal.Ignored(s) {
			signal.Notify(interrupts, s)
		}
	}
	// A reader that has had enough (| head) shows as a write error, not as a deadly signal.
	pipes := make(chan os.Signal, 1)
	signal.Notify(pipes, syscall.SIGPIPE)
	done := make(chan struct{})
	go func() {
		for first := true; ; first = false {
			select {
			case <-done:
				return
			case s := <-interrupts:
				status := statusInterrupted
				if n, ok := s.(syscall.Signal); ok {
					status += int(n)
				}
				if !first {
					os.Exit(status)
				}
				go func() {
					a.scratch.shut()
					os.Exit(status)
				}()
			}
		}
	}()
	return func() {
		signal.Stop(interrupts)
		signal.Stop(pipes)
		close(done)
	}
}
