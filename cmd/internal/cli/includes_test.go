package cli_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestOneFileByManyNames reaches one file by a link, a hard link, its full
// path and a way around: it is read once, in both languages.
func TestOneFileByManyNames(t *testing.T) {
	dir := demo(t)
	odd := filepath.Join(dir, "odd parts")
	if err := os.Mkdir(odd, 0o777); err != nil {
		t.Fatal(err)
	}
	at := func(name string) string { return filepath.Join(odd, name) }
	write(t, at("p.coil"), "line lamp\nline horn\n")
	write(t, at("p.prog"), "three = 3\n")
	for _, ending := range []string{".coil", ".prog"} {
		if err := os.Symlink("p"+ending, at("soft"+ending)); err != nil {
			t.Fatal(err)
		}
		if err := os.Link(at("p"+ending), at("hard"+ending)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("odd parts", filepath.Join(dir, "parts")); err != nil {
		t.Fatal(err)
	}
	includes := func(ending string) string {
		text := ""
		for _, name := range []string{"odd parts/p", "./odd parts/../odd parts/p", "parts/p", "odd parts/soft", "parts/hard", at("p"), filepath.Join(dir, "parts", "soft")} {
			text += `include "` + name + ending + "\"\n"
		}
		return text
	}
	machine := read(t, filepath.Join(dir, "millrace.coil"))
	write(t, filepath.Join(dir, "m.coil"), machine+"\n"+includes(".coil")+"instruction peal = 0111_0000 { step lamp horn }\n")
	if got := run(t, dir, "check", "m.coil"); got.status != 0 || strings.Contains(got.err, "error") {
		t.Errorf("definition: status %d\n%s", got.status, got.err)
	}
	write(t, filepath.Join(dir, "m.prog"), includes(".prog")+"ldi three\nhalt\nexpect acc = three\n")
	if got := run(t, dir, "assemble", "m.coil", "m.prog"); got.status != 0 {
		t.Errorf("program: status %d\n%s", got.status, got.err)
	}
	if got := run(t, dir, "rehearse", "m.coil", "m.prog", "--final", "--expect", "acc = three"); got.status != 0 {
		t.Errorf("program with an expectation: status %d\n%s", got.status, got.err)
	}
}

// TestCircleByAnotherName: a file that includes itself through a link is a
// circle, as it is by its own name.
func TestCircleByAnotherName(t *testing.T) {
	dir := demo(t)
	for _, ending := range []string{".coil", ".prog"} {
		text := "include \"link" + ending + "\"\n"
		if ending == ".coil" {
			text = "machine m\n" + text
		}
		write(t, filepath.Join(dir, "self"+ending), text)
		if err := os.Symlink("self"+ending, filepath.Join(dir, "link"+ending)); err != nil {
			t.Fatal(err)
		}
	}
	for _, args := range []string{"check self.coil", "assemble millrace.coil self.prog"} {
		got := run(t, dir, strings.Fields(args)...)
		ending := filepath.Ext(args)
		if got.status != 1 || strings.Count(got.err, "[include-cycle]") != 1 || !strings.Contains(got.err, "self"+ending+" -> self"+ending) {
			t.Errorf("%s: status %d\n%s", args, got.status, got.err)
		}
	}
}
