package cli_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestFormat(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	const (
		rough = "machine m\nfetch {\nstep a b\n}\n"
		fine  = "machine m\nfetch {\n    step a b\n}\n"
		wrong = "machine m\nfetch {\nstep a b\n"
	)
	fresh := func() {
		write(t, at("rough.coil"), rough)
		write(t, at("fine.coil"), fine)
		write(t, at("wrong.coil"), wrong)
	}
	fresh()
	tests := []struct {
		args   string
		status int
		out    string
		err    string
		rough  string // afterwards
	}{
		{"format rough.coil", 0, fine, "", rough},
		{"format rough.coil fine.coil", 0, fine + fine, "", rough},
		{"format wrong.coil", 1, "", "wrong.coil:", rough},
		{"format --check fine.coil", 0, "", "", rough},
		{"format --check rough.coil fine.coil", 1, "rough.coil\n", "", rough},
		{"format --check fine.coil rough.coil wrong.coil", 1, "rough.coil\n", "wrong.coil:", rough},
		{"format --check nowhere.coil rough.coil", 3, "rough.coil\n", "nowhere.coil: no such file", rough},
		{"format --replace wrong.coil rough.coil fine.coil", 1, "", "wrong.coil:", fine},
		{"format rough.coil -o rough.coil", 0, "", "", fine},
	}
	for _, test := range tests {
		t.Run(test.args, func(t *testing.T) {
			fresh()
			before, err := os.Stat(at("fine.coil"))
			if err != nil {
				t.Fatal(err)
			}
			got := run(t, dir, strings.Fields(test.args)...)
			if got.status != test.status || got.out != test.out || (test.err == "") != (got.err == "") || !strings.Contains(got.err, test.err) {
				t.Errorf("status %d, out %q, err %q", got.status, got.out, got.err)
			}
			if text := read(t, at("rough.coil")); text != test.rough {
				t.Errorf("rough.coil holds %q", text)
			}
			if text := read(t, at("wrong.coil")); text != wrong {
				t.Errorf("wrong.coil holds %q", text)
			}
			after, err := os.Stat(at("fine.coil"))
			if err != nil {
				t.Fatal(err)
			}
			if !os.SameFile(before, after) || !after.ModTime().Equal(before.ModTime()) {
				t.Error("fine.coil was written although nothing changes")
			}
		})
	}
}
