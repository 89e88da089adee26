package cli_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

func TestStandardInput(t *testing.T) {
	dir := demo(t)
	text := read(t, filepath.Join(dir, "millrace.coil"))
	for _, args := range []string{"image - --form hex", "matrix - --form csv", "phases - add", "check -", "format -"} {
		t.Run(args, func(t *testing.T) {
			cmd := command(dir, strings.Fields(args)...)
			cmd.Stdin = strings.NewReader(text)
			got := finish(t, cmd)
			if got.status != 0 || got.err != "" {
				t.Fatalf("status %d\n%s", got.status, got.err)
			}
			want := run(t, dir, strings.Fields(strings.Replace(args, "-", "millrace.coil", 1))...)
			if got.out != want.out {
				t.Error("a definition from standard input gives something else than one from a file")
			}
		})
	}
	cmd := command(dir, "check", "-")
	cmd.Stdin = strings.NewReader("machine m\nbsu data 8\n")
	if got := finish(t, cmd); got.status != 1 || !strings.Contains(got.err, "-:2:1: error: ") {
		t.Errorf("an error in standard input: status %d\n%s", got.status, got.err)
	}
}

func TestOutputFile(t *testing.T) {
	dir := demo(t)
	for _, args := range []string{
		"check millrace.coil", "check --form json millrace.coil", "format millrace.coil", "phases millrace.coil",
		"image millrace.coil", "exercise millrace.coil", "matrix millrace.coil", "diodes millrace.coil",
		"explain", "version", "completion bash",
	} {
		t.Run(args, func(t *testing.T) {
			want := must(t, dir, strings.Fields(args)...)
			if out := must(t, dir, strings.Fields(args+" -o result")...); out != "" {
				t.Errorf("with -o standard output is not empty:\n%s", out)
			}
			if read(t, filepath.Join(dir, "result")) != want {
				t.Error("the file differs from standard output")
			}
			for _, name := range []string{"-", "/dev/stdout", "/dev/fd/1", "/proc/self/fd/1"} {
				if got := must(t, dir, strings.Fields(args+" --out "+name)...); got != want {
					t.Errorf("--out %s differs from standard output", name)
				}
			}
			must(t, dir, strings.Fields(args+" -o /dev/null")...)
		})
	}
}

// TestOutputKeepsWhatStands looks at files that an output replaces.
func TestOutputKeepsWhatStands(t *testing.T) {
	dir := demo(t)
	want := must(t, dir, "image", "millrace.coil")
	at := func(name string) string { return filepath.Join(dir, name) }

	write(t, at("kept"), "older")
	if err := os.Chmod(at("kept"), 0o640); err != nil {
		t.Fatal(err)
	}
	for link, target := range map[string]string{"link": "kept", "chain": "link", "dangling": "fresh"} {
		if err := os.Symlink(target, at(link)); err != nil {
			t.Fatal(err)
		}
	}
	must(t, dir, "image", "millrace.coil", "-o", "chain")
	must(t, dir, "image", "millrace.coil", "-o", "dangling")
	for _, name := range []string{"kept", "fresh"} {
		if info, err := os.Lstat(at(name)); err != nil || !info.Mode().IsRegular() || read(t, at(name)) != want {
			t.Errorf("%s does not hold the image (%v)", name, err)
		}
	}
	for _, name := range []string{"chain", "link", "dangling"} {
		if info, err := os.Lstat(at(name)); err != nil || info.Mode()&os.ModeSymlink == 0 {
			t.Errorf("%s is no link any more (%v)", name, err)
		}
	}
	if info, err := os.Stat(at("kept")); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("permissions have become %v (%v)", info.Mode(), err)
	}

	// Standard output that is a file, by its own name and by another.
	out, err := os.Create(at("redirected"))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	if _, err := out.WriteString("before\n"); err != nil {
		t.Fatal(err)
	}
	cmd := command(dir, "image", "millrace.coil", "-o", "/dev/stdout")
	cmd.Stdout = out
	if got := finish(t, cmd); got.status != 0 {
		t.Fatalf("status %d\n%s", got.status, got.err)
	}
	if text := read(t, at("redirected")); text != "before\n"+want {
		t.Error("-o /dev/stdout does not write where standard output stands")
	}

	// A failed write leaves the older file as it was.
	write(t, at("wrong.coil"), "machine\n")
	write(t, at("older"), "older")
	if got := run(t, dir, "image", "wrong.coil", "-o", "older"); got.status != 1 || read(t, at("older")) != "older" {
		t.Errorf("status %d, the older file holds %q", got.status, read(t, at("older")))
	}
}

func TestOutputToPipe(t *testing.T) {
	dir := demo(t)
	want := must(t, dir, "image", "millrace.coil")
	if text, err := exec.Command("mkfifo", filepath.Join(dir, "fifo")).CombinedOutput(); err != nil {
		required(t, "mkfifo: %s %s", err, text)
	}
	cat := exec.Command("cat", filepath.Join(dir, "fifo"))
	var got bytes.Buffer
	cat.Stdout = &got
	if err := cat.Start(); err != nil {
		t.Fatal(err)
	}
	must(t, dir, "image", "millrace.coil", "-o", "fifo")
	if err := cat.Wait(); err != nil {
		t.Fatal(err)
	}
	if got.String() != want {
		t.Error("a named pipe does not get the image")
	}
}

// TestBrokenPipe has a reader that takes one line of many and goes away.
func TestBrokenPipe(t *testing.T) {
	dir := demo(t)
	for _, args := range []string{"image millrace.coil --size 4M", "help language", "build millrace.coil", "explain"} {
		shell := exec.Command("bash", "-c", `set -o pipefail; "$0" "$@" | head -n 1 >/dev/null; exit "${PIPESTATUS[0]}"`, binary)
		shell.Args = append(shell.Args, strings.Fields(args)...)
		shell.Dir = dir
		if text, err := shell.CombinedOutput(); err != nil || len(text) > 0 {
			t.Errorf("%s | head: %v\n%s", args, err, text)
		}
	}
	// A closed reader from the start, and errors to tell all the same.
	write(t, filepath.Join(dir, "wrong.coil"), "machine\n")
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	r.Close()
	defer w.Close()
	cmd := command(dir, "check", "--form", "json", "wrong.coil")
	cmd.Stdout = w
	if got := finish(t, cmd); got.status != 1 || got.err != "" {
		t.Errorf("errors into a broken pipe: status %d, %q", got.status, got.err)
	}
}

func TestFullStandardOutput(t *testing.T) {
	dir := demo(t)
	for _, args := range []string{
		"image millrace.coil", "image millrace.coil --size 32M", "help", "help language", "help image", "image --help",
		"version", "explain", "explain file-unreadable", "completion bash", "check millrace.coil", "build millrace.coil",
		"format millrace.coil", "new another", "--version",
	} {
		full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
		if err != nil {
			required(t, "%v", err)
		}
		cmd := command(dir, strings.Fields(args)...)
		cmd.Stdout = full
		got := finish(t, cmd)
		full.Close()
		if want := "coilwright: standard output: no space left on device\n"; got.status != 3 || got.err != want {
			t.Errorf("%s onto a full device: status %d, %q", args, got.status, got.err)
		}
	}
}

func TestColour(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "wrong.coil"), "machine wrong\nbsu data 8\n")
	terminal := func() (master, slave *os.File) { return openTerminal(t) }
	tests := []struct {
		name     string
		flag     string
		env      []string
		terminal bool
		want     bool
	}{
		{name: "a file gets none"},
		{name: "a terminal does", terminal: true, want: true},
		{name: "NO_COLOR", terminal: true, env: []string{"NO_COLOR=1"}},
		{name: "an empty NO_COLOR is none", terminal: true, env: []string{"NO_COLOR="}, want: true},
		{name: "a dumb terminal", terminal: true, env: []string{"TERM=dumb"}},
		{name: "never", flag: "never", terminal: true},
		{name: "always", flag: "always", want: true},
		{name: "NO_COLOR beats always", flag: "always", env: []string{"NO_COLOR=1"}},
		{name: "NO_COLOR beats always on a terminal", flag: "always", terminal: true, env: []string{"NO_COLOR=1"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			cmd := command(dir, "check", "wrong.coil")
			if test.flag != "" {
				cmd.Args = append(cmd.Args, "--colour", test.flag)
			}
			cmd.Env = append(cmd.Env, test.env...)
			var text string
			if test.terminal {
				master, slave := terminal()
				cmd.Stderr = slave
				if got := finish(t, cmd); got.status != 1 {
					t.Fatalf("status %d", got.status)
				}
				buffer := make([]byte, 4096)
				n, err := master.Read(buffer)
				if err != nil {
					t.Fatal(err)
				}
				text = string(buffer[:n])
			} else {
				text = finish(t, cmd).err
			}
			if !strings.Contains(text, "wrong.coil:2:1: ") {
				t.Fatalf("no message: %q", text)
			}
			if got := strings.Contains(text, "\x1b["); got != test.want {
				t.Errorf("coloured %v, wanted %v: %q", got, test.want, text)
			}
		})
	}
}
