package cli_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// binary is the program as it is installed; TestMain builds it once.
var binary string

func TestMain(m *testing.M) {
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "coilwright-test-")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(dir)
		binary = filepath.Join(dir, "coilwright")
		build := exec.Command("go", "build", "-o", binary, "coilwright/cmd/coilwright")
		if text, err := build.CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "%s\n%s", err, text)
			return 1
		}
		return m.Run()
	}())
}

// outcome is what a run of the program comes to.
type outcome struct {
	status   int
	out, err string
}

// command prepares a run in dir, without colour wishes of the person who runs the tests.
func command(dir string, args ...string) *exec.Cmd {
	cmd := exec.Command(binary, args...)
	cmd.Dir = dir
	for _, v := range os.Environ() {
		if !strings.HasPrefix(v, "NO_COLOR=") && !strings.HasPrefix(v, "TERM=") {
			cmd.Env = append(cmd.Env, v)
		}
	}
	return cmd
}

func finish(t *testing.T, cmd *exec.Cmd) outcome {
	t.Helper()
	var out, errs bytes.Buffer
	if cmd.Stdout == nil {
		cmd.Stdout = &out
	}
	if cmd.Stderr == nil {
		cmd.Stderr = &errs
	}
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return outcome{cmd.ProcessState.ExitCode(), out.String(), errs.String()}
}

func run(t *testing.T, dir string, args ...string) outcome {
	t.Helper()
	return finish(t, command(dir, args...))
}

// must is run for a step that has to go well for the test to mean anything.
func must(t *testing.T, dir string, args ...string) string {
	t.Helper()
	got := run(t, dir, args...)
	if got.status != 0 || got.err != "" {
		t.Fatalf("coilwright %s: status %d\n%s", strings.Join(args, " "), got.status, got.err)
	}
	return got.out
}

// demo returns a folder with the demo in it: millrace.coil and its README.md.
func demo(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	if text, err := command(dir, "new", "mill").CombinedOutput(); err != nil {
		t.Fatalf("%s\n%s", err, text)
	}
	return filepath.Join(dir, "mill")
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func read(t testing.TB, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// names lists a folder.
func names(t testing.TB, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, e := range entries {
		list = append(list, e.Name())
	}
	return list
}

// required fails a test that cannot run here if the environment demands that
// all can, and skips it otherwise.
func required(t *testing.T, format string, args ...any) {
	t.Helper()
	if os.Getenv("COILWRIGHT_REFERENCES") == "required" {
		t.Fatalf(format, args...)
	}
	t.Skipf(format, args...)
}

// try is a run of the program and what has to come of it.
type try struct {
	name     string
	args     string
	status   int
	out, err string // parts that must be there; "" = the stream is empty
}

// tryAll runs each in dir, where no file may come or go.
func tryAll(t *testing.T, dir string, tests []try) {
	t.Helper()
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			before := names(t, dir)
			got := run(t, dir, strings.Fields(test.args)...)
			if got.status != test.status {
				t.Errorf("status %d, not %d", got.status, test.status)
			}
			for stream, pair := range map[string][2]string{"standard output": {got.out, test.out}, "standard error": {got.err, test.err}} {
				if text, want := pair[0], pair[1]; want == "" && text != "" {
					t.Errorf("%s is not empty:\n%.2000s", stream, text)
				} else if !strings.Contains(text, want) {
					t.Errorf("%s lacks %q:\n%.2000s", stream, want, text)
				}
			}
			if after := names(t, dir); !slices.Equal(after, before) {
				t.Errorf("the folder holds %v, before %v", after, before)
			}
		})
	}
}
