package cli_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var wholeSet = []string{
	"diodes.csv", "diodes.txt", "manifest.txt", "matrix.csv", "matrix.txt", "phases.txt",
	"store.bin", "store.h", "store.hex", "store.memh", "store.srec", "summary.txt", "wires.csv", "wires.txt",
}

var storeBlock = regexp.MustCompile(`(?m)^store\s*\{[^}]*\}`)

// split cuts the demo's word over chips: another set of files, with other contents.
func split(t testing.TB, dir, name string, bits int) {
	t.Helper()
	text := storeBlock.ReplaceAllString(read(t, filepath.Join(dir, "millrace.coil")), "")
	if bits > 0 {
		text += fmt.Sprintf("\nstore { split %d }\n", bits)
	}
	write(t, filepath.Join(dir, name), text)
}

// contents reads a folder, temporary files left out.
func contents(t testing.TB, dir string) map[string]string {
	t.Helper()
	files := map[string]string{}
	for _, name := range names(t, dir) {
		if !strings.HasPrefix(name, ".coilwright-") {
			files[name] = read(t, filepath.Join(dir, name))
		}
	}
	return files
}

var manifestLine = regexp.MustCompile(`^([0-9a-f]{64}) +([0-9]+)  ([^/ ]+)$`)

// checkManifest holds the manifest of a folder against the files: it must list
// all of them and nothing else.
func checkManifest(t testing.TB, files map[string]string) {
	t.Helper()
	listed := []string{"manifest.txt"}
	for _, line := range strings.Split(files["manifest.txt"], "\n") {
		m := manifestLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		sum := sha256.Sum256([]byte(files[m[3]]))
		if hex.EncodeToString(sum[:]) != m[1] || fmt.Sprint(len(files[m[3]])) != m[2] {
			t.Errorf("the manifest is wrong about %s", m[3])
		}
		listed = append(listed, m[3])
	}
	var have []string
	for name := range files {
		have = append(have, name)
	}
	slices.Sort(listed)
	slices.Sort(have)
	if diff := cmp.Diff(listed, have); diff != "" {
		t.Errorf("the manifest (-) and the folder (+) differ:\n%s", diff)
	}
}

func TestBuild(t *testing.T) {
	dir := demo(t)
	split(t, dir, "plain.coil", 0)
	out := must(t, dir, "build", "plain.coil")
	if n := strings.Count(out, "\n"); n < 5 || n > 24 {
		t.Errorf("the summary has %d lines:\n%s", n, out)
	}
	files := contents(t, filepath.Join(dir, "out"))
	if diff := cmp.Diff(wholeSet, names(t, filepath.Join(dir, "out"))); diff != "" {
		t.Errorf("files (-wanted +found):\n%s", diff)
	}
	checkManifest(t, files)
	hash := sha256.Sum256([]byte(read(t, filepath.Join(dir, "plain.coil"))))
	digits := hex.EncodeToString(hash[:])
	if !strings.Contains(files["manifest.txt"], digits) || !strings.Contains(files["manifest.txt"], "millrace") {
		t.Errorf("the manifest does not name machine and definition:\n%s", files["manifest.txt"])
	}
	for name, text := range files {
		switch filepath.Ext(name) {
		case ".txt", ".csv", ".h", ".memh":
			if !strings.Contains(text, "millrace") || !strings.Contains(text, digits[:12]) {
				t.Errorf("%s does not name machine and definition", name)
			}
		}
	}

	// The single commands make the same bytes.
	for name, args := range map[string]string{
		"store.bin": "image --form bin", "store.hex": "image --form hex", "store.srec": "image --form srec",
		"store.h": "image --form header", "store.memh": "image --form memh", "phases.txt": "phases",
		"matrix.txt": "matrix", "matrix.csv": "matrix --form csv", "diodes.txt": "diodes", "diodes.csv": "diodes --form csv",
		"wires.txt": "wires", "wires.csv": "wires --form csv",
		"summary.txt": "check",
	} {
		if must(t, dir, append(strings.Fields(args), "plain.coil")...) != files[name] {
			t.Errorf("%s differs from `coilwright %s`", name, args)
		}
	}

	// Again, elsewhere: the same bytes.
	must(t, t.TempDir(), "build", filepath.Join(dir, "plain.coil"), "--out", filepath.Join(dir, "deep", "down"))
	if diff := cmp.Diff(files, contents(t, filepath.Join(dir, "deep", "down"))); diff != "" {
		t.Error("a second build differs from the first")
	}

	// Over the older build, with chips, and back: no chip of it stays.
	split(t, dir, "plain.coil", 8)
	must(t, dir, "build", "plain.coil")
	chips := contents(t, filepath.Join(dir, "out"))
	checkManifest(t, chips)
	joined := ""
	for n := 1; chips[fmt.Sprintf("chip%d.bin", n)] != ""; n++ {
		name := fmt.Sprintf("chip%d", n)
		joined += name
		if must(t, dir, "image", "plain.coil", "--chip", fmt.Sprint(n)) != chips[name+".hex"] {
			t.Errorf("%s.hex differs from `coilwright image --chip %d`", name, n)
		}
	}
	if !strings.HasPrefix(joined, "chip1chip2") {
		t.Errorf("a split word has the chips %q", joined)
	}
	split(t, dir, "plain.coil", 0)
	must(t, dir, "build", "plain.coil")
	if diff := cmp.Diff(files, contents(t, filepath.Join(dir, "out"))); diff != "" {
		t.Error("a build over one with chips differs from a fresh one")
	}
}

// TestBuildTouchesNothing looks at builds that must not change the folder.
func TestBuildTouchesNothing(t *testing.T) {
	dir := demo(t)
	must(t, dir, "build", "millrace.coil")
	before := contents(t, filepath.Join(dir, "out"))
	write(t, filepath.Join(dir, "wrong.coil"), "machine wrong\nbsu data 8\n")
	write(t, filepath.Join(dir, "file"), "no folder\n")
	for _, test := range []struct {
		args   string
		status int
		err    string
	}{
		{"build wrong.coil", 1, "wrong.coil:2:1"},
		{"build wrong.coil --out fresh", 1, "wrong.coil:2:1"},
		{"build nowhere.coil", 3, "nowhere.coil"},
		{"build millrace.coil --out file", 3, "file is not a folder"},
		{"build millrace.coil --out file/below", 3, "not a"},
		{"build millrace.coil --out /proc/coilwright", 3, "/proc/coilwright"},
		{"build millrace.coil --out /dev/full", 3, "/dev/full is not a folder"},
	} {
		got := run(t, dir, strings.Fields(test.args)...)
		if got.status != test.status || got.out != "" || !strings.Contains(got.err, test.err) {
			t.Errorf("%s: status %d, out %q\n%s", test.args, got.status, got.out, got.err)
		}
	}
	// Something in the way of one file is found before any is replaced.
	if err := os.Mkdir(filepath.Join(dir, "blocked"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "blocked", "store.hex"), 0o777); err != nil {
		t.Fatal(err)
	}
	got := run(t, dir, "build", "millrace.coil", "--out", "blocked")
	if got.status != 3 || !strings.Contains(got.err, "store.hex is a folder") {
		t.Errorf("a folder in the way: status %d\n%s", got.status, got.err)
	}
	if diff := cmp.Diff([]string{"store.hex"}, names(t, filepath.Join(dir, "blocked"))); diff != "" {
		t.Errorf("a build that could not be finished has left files:\n%s", diff)
	}
	if diff := cmp.Diff(before, contents(t, filepath.Join(dir, "out"))); diff != "" {
		t.Error("the older build has changed")
	}
	if diff := cmp.Diff([]string{"README.md", "blocked", "file", "millrace.coil", "out", "programs", "wrong.coil"}, names(t, dir)); diff != "" {
		t.Errorf("the folder has changed:\n%s", diff)
	}
}

// TestTamperedManifest has a manifest that would have a build delete what it
// has not made.
func TestTamperedManifest(t *testing.T) {
	dir := demo(t)
	must(t, dir, "build", "millrace.coil", "--out", ".")
	at := func(name string) string { return filepath.Join(dir, name) }
	outside := filepath.Join(filepath.Dir(dir), "outside")
	write(t, outside, "mine")
	write(t, at(".hidden"), "mine")
	write(t, at("gone.bin"), "of an older build")
	if err := os.MkdirAll(at("sub/folder"), 0o777); err != nil {
		t.Fatal(err)
	}
	write(t, at("sub/file"), "mine")
	if err := os.Symlink(outside, at("link")); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString(read(t, at("manifest.txt")))
	for _, name := range []string{
		"gone.bin", "../outside", outside, "sub/file", "sub", "link", ".", "..", ".hidden", "millrace.coil",
		"./README.md", `sub\file`, "", "no-such-file", strings.Repeat("x", 5000),
	} {
		fmt.Fprintf(&b, "%s  %10d  %s\n", strings.Repeat("0", 64), 4, name)
	}
	write(t, at("manifest.txt"), b.String())
	must(t, dir, "build", "millrace.coil", "--out", ".")
	for _, name := range []string{outside, at(".hidden"), at("sub/file"), at("link"), at("millrace.coil"), at("README.md")} {
		if _, err := os.Lstat(name); err != nil {
			t.Errorf("deleted: %v", err)
		}
	}
	if _, err := os.Lstat(at("gone.bin")); err == nil {
		t.Error("the file of an older build is still there")
	}

	// A manifest that is a link, a pipe or a folder is not read.
	for _, kind := range []string{"link", "pipe", "folder"} {
		if err := os.Remove(at("manifest.txt")); err != nil {
			t.Fatal(err)
		}
		var err error
		switch kind {
		case "link":
			err = os.Symlink(outside, at("manifest.txt"))
		case "pipe":
			err = exec.Command("mkfifo", at("manifest.txt")).Run()
		case "folder":
			err = os.Mkdir(at("manifest.txt"), 0o777)
		}
		if err != nil {
			t.Fatal(err)
		}
		if got := run(t, dir, "build", "millrace.coil", "--out", "."); got.status != 3 || !strings.Contains(got.err, "manifest.txt") {
			t.Errorf("a %s for a manifest: status %d\n%s", kind, got.status, got.err)
		}
	}
	if read(t, outside) != "mine" {
		t.Error("a build has written through a link")
	}
}

// TestFullDisk runs out of space in the middle of a build over an older one.
func TestFullDisk(t *testing.T) {
	dir := demo(t)
	split(t, dir, "other.coil", 16)
	must(t, dir, "build", "other.coil")
	total := 0
	for _, text := range contents(t, filepath.Join(dir, "out")) {
		total += len(text)/4096*4096 + 4096
	}
	disk := mount(t, fmt.Sprintf("size=%d", total*3/2))
	out := filepath.Join(disk, "out")
	must(t, dir, "build", "millrace.coil", "--out", out)
	before := contents(t, out)
	got := run(t, dir, "build", "other.coil", "--out", out)
	if got.status != 3 || got.out != "" || !strings.Contains(got.err, "no space left on device") || strings.Count(got.err, "\n") != 1 {
		t.Errorf("status %d, out %q, err %q", got.status, got.out, got.err)
	}
	if diff := cmp.Diff(before, contents(t, out)); diff != "" {
		t.Error("the older build has changed")
	}
	if got := names(t, out); len(got) != len(before) {
		t.Errorf("temporary files are left: %v", got)
	}
	checkManifest(t, before)

	// A fresh folder on the full disk is not left behind, nor half a file.
	rest := filepath.Join(disk, "rest")
	write(t, filepath.Join(disk, "older.hex"), "older")
	if err := exec.Command("dd", "if=/dev/zero", "of="+rest, "bs=4096").Run(); err == nil {
		t.Fatal("the disk does not get full")
	}
	before2 := names(t, disk)
	if got := run(t, dir, "build", "other.coil", "--out", filepath.Join(disk, "fresh", "out")); got.status != 3 {
		t.Errorf("fresh folder: status %d\n%s", got.status, got.err)
	}
	if got := run(t, dir, "image", "millrace.coil", "-o", filepath.Join(disk, "older.hex")); got.status != 3 || read(t, filepath.Join(disk, "older.hex")) != "older" {
		t.Errorf("one file: status %d\n%s", got.status, got.err)
	}
	if diff := cmp.Diff(before2, names(t, disk)); diff != "" {
		t.Errorf("left on the full disk:\n%s", diff)
	}
}

func TestReadOnlyFolder(t *testing.T) {
	dir := demo(t)
	must(t, dir, "build", "millrace.coil")
	disk := mount(t, "ro")
	for _, args := range [][]string{
		{"build", "millrace.coil", "--out", disk},
		{"build", "millrace.coil", "--out", filepath.Join(disk, "fresh")},
		{"image", "millrace.coil", "-o", filepath.Join(disk, "store.hex")},
		{"new", filepath.Join(disk, "fresh")},
	} {
		if got := run(t, dir, args...); got.status != 3 || got.out != "" || !strings.Contains(got.err, "read-only file system") {
			t.Errorf("%v: status %d, out %q\n%s", args, got.status, got.out, got.err)
		}
	}
}

// mount makes a small file system in memory for the length of the test.
func mount(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if text, err := exec.Command("mount", "-t", "tmpfs", "-o", options, "coilwright-test", dir).CombinedOutput(); err != nil {
		required(t, "mount is not permitted: %v %s", err, text)
	}
	t.Cleanup(func() {
		if text, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %v %s", err, text)
		}
	})
	return dir
}

// TestKilled kills builds over an older build, at random moments and among
// the renames. Each file must then be the older or the newer one, whole, and
// a manifest that stands must tell the truth.
func TestKilled(t *testing.T) {
	dir := inMemory(t)
	must(t, dir, "new", ".")
	split(t, dir, "older.coil", 16)
	split(t, dir, "newer.coil", 8)
	out := filepath.Join(dir, "out")
	reference := map[string]map[string]string{}
	length := time.Hour
	for _, name := range []string{"older", "newer"} {
		for range 5 { // the shortest of a few is a build without a wait for the processor
			began := time.Now()
			must(t, dir, "build", name+".coil", "--out", name)
			length = min(length, time.Since(began))
		}
		reference[name] = contents(t, filepath.Join(dir, name))
	}
	must(t, dir, "build", "older.coil")

	const random, aimed = 200, 50
	rng := rand.New(rand.NewPCG(2, 8)) // any seed: the moments vary with the machine anyway
	killed, runs, incomplete, leftovers, complete := 0, 0, 0, 0, 0
	for ; killed < random+aimed && runs < 10*(random+aimed); runs++ {
		if !maps.Equal(contents(t, out), reference["older"]) {
			must(t, dir, "build", "older.coil")
			if extra := len(names(t, out)) - len(reference["older"]); extra != 0 {
				t.Fatalf("run %d: a whole build leaves %d files that are not its own: %v", runs, extra, names(t, out))
			}
		}
		cmd := command(dir, "build", "newer.coil")
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- cmd.Wait() }()
		if killed < random {
			time.Sleep(time.Duration(rng.Int64N(int64(length))))
		} else {
			for len(ended) == 0 {
				if _, err := os.Lstat(filepath.Join(out, "manifest.txt")); err != nil {
					break
				}
			}
		}
		cmd.Process.Signal(syscall.SIGKILL)
		if err := <-ended; err != nil {
			killed++ // otherwise it was faster
		}
		found := contents(t, out)
		for name, text := range found {
			if name == "manifest.txt" {
				continue
			}
			older, inOlder := reference["older"][name]
			newer, inNewer := reference["newer"][name]
			if !(inOlder && text == older || inNewer && text == newer) {
				t.Errorf("run %d: %s is neither the older nor the newer file", runs, name)
			}
		}
		if len(names(t, out)) != len(found) {
			leftovers++
		}
		if _, ok := found["manifest.txt"]; !ok {
			incomplete++
			continue
		}
		complete++
		if !maps.Equal(found, reference["older"]) && !maps.Equal(found, reference["newer"]) {
			t.Errorf("run %d: the manifest stands over a set that is neither", runs)
		}
		checkManifest(t, found)
	}
	must(t, dir, "build", "older.coil")
	if diff := cmp.Diff(reference["older"], contents(t, out)); diff != "" {
		t.Error("the build after the last kill is not a clean one")
	}
	t.Logf("%d of %d runs killed; %d sets complete, %d without a manifest, %d with temporary files",
		killed, runs, complete, incomplete, leftovers)
	if killed < random+aimed || incomplete == 0 || leftovers == 0 {
		t.Error("too few runs were killed where it matters")
	}
}

// inMemory is t.TempDir on a file system in memory, where there is one: what
// a killed process leaves is the same there, without the wait for a disk.
func inMemory(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "coilwright-test-")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// TestInterrupted interrupts commands that are writing.
func TestInterrupted(t *testing.T) {
	dir := demo(t)
	// A store of 2^20 words or more keeps a build busy for long enough.
	wide := regexp.MustCompile(`(?m)^(\s*sequencer\s*\{)`).ReplaceAllString(read(t, filepath.Join(dir, "millrace.coil")), "$1 phases 256\n")
	write(t, filepath.Join(dir, "wide.coil"), wide)
	for _, test := range []struct {
		args   string
		signal syscall.Signal
		status int
	}{
		{"build wide.coil --out fresh/out", syscall.SIGINT, 130},
		{"build wide.coil --out fresh/out", syscall.SIGTERM, 143},
		{"image millrace.coil --size 250M -o store.hex", syscall.SIGINT, 130},
		{"image millrace.coil --size 250M", syscall.SIGTERM, 143},
	} {
		t.Run(fmt.Sprint(test.args, " ", test.signal), func(t *testing.T) {
			scratch := t.TempDir()
			before := names(t, dir)
			cmd := command(dir, strings.Fields(test.args)...)
			cmd.Env = append(cmd.Env, "TMPDIR="+scratch)
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			deadline := time.Now().Add(10 * time.Second)
			for len(temporaries(dir, scratch)) == 0 && time.Now().Before(deadline) {
				time.Sleep(100 * time.Microsecond)
			}
			if err := cmd.Process.Signal(test.signal); err != nil {
				t.Fatal(err)
			}
			cmd.Wait()
			if got := cmd.ProcessState.ExitCode(); got != test.status {
				t.Errorf("status %d, not %d", got, test.status)
			}
			if left := temporaries(dir, scratch); len(left) > 0 {
				t.Errorf("temporary files are left: %v", left)
			}
			if diff := cmp.Diff(before, names(t, dir)); diff != "" {
				t.Errorf("the folder has changed:\n%s", diff)
			}
		})
	}
}

func temporaries(dirs ...string) []string {
	var list []string
	for _, dir := range dirs {
		filepath.WalkDir(dir, func(path string, _ os.DirEntry, err error) error {
			if err == nil && strings.HasPrefix(filepath.Base(path), ".coilwright-") {
				list = append(list, path)
			}
			return nil
		})
	}
	return list
}

// TestBuildsAtOnce has two definitions built into one folder again and again:
// whoever is last, the set is one of the two.
func TestBuildsAtOnce(t *testing.T) {
	dir := demo(t)
	split(t, dir, "a.coil", 16)
	split(t, dir, "b.coil", 8)
	reference := []map[string]string{}
	for _, name := range []string{"a", "b"} {
		must(t, dir, "build", name+".coil", "--out", name)
		reference = append(reference, contents(t, filepath.Join(dir, name)))
	}
	for range 10 {
		var both []*exec.Cmd
		for _, name := range []string{"a", "b", "a", "b"} {
			cmd := command(dir, "build", name+".coil")
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			both = append(both, cmd)
		}
		for _, cmd := range both {
			if err := cmd.Wait(); err != nil {
				t.Errorf("%v: %v", cmd.Args, err)
			}
		}
		got := contents(t, filepath.Join(dir, "out"))
		if !maps.Equal(got, reference[0]) && !maps.Equal(got, reference[1]) {
			t.Error("builds at once have made a mixed set")
		}
	}
}

// TestSweep has temporary files of killed runs removed by the next build, but
// nothing else.
func TestSweep(t *testing.T) {
	dir := demo(t)
	out := filepath.Join(dir, "out")
	if err := os.Mkdir(out, 0o777); err != nil {
		t.Fatal(err)
	}
	stale, fresh, mine := ".coilwright-build-0123456789abcdef.part", ".coilwright-file-0123456789abcdef.part", ".coilwright-notes"
	old := ".coilwright-file-fedcba9876543210.part"
	for _, name := range []string{stale, fresh, mine, old} {
		write(t, filepath.Join(out, name), "x")
	}
	day := time.Now().Add(-24 * time.Hour)
	if err := os.Chtimes(filepath.Join(out, old), day, day); err != nil {
		t.Fatal(err)
	}
	must(t, dir, "build", "millrace.coil")
	got := names(t, out)
	for name, want := range map[string]bool{stale: false, old: false, fresh: true, mine: true} {
		if slices.Contains(got, name) != want {
			t.Errorf("%s is there: %v, wanted %v", name, !want, want)
		}
	}
}

func TestTooLarge(t *testing.T) {
	dir := t.TempDir()
	write(t, filepath.Join(dir, "large.coil"), `machine large
bus data 32
register sw 32 input
register ir 32 opcode
line sw_g : sw -> data
line ir_l : data -> ir
line bell
line rst : restart
fetch { step sw_g ir_l }
instruction ring = 0x0000_0001 { step bell }
`)
	got := run(t, dir, "image", "large.coil")
	if got.status != 1 || got.out != "" || !strings.Contains(got.err, "too large") {
		t.Errorf("image: status %d, err %q", got.status, got.err)
	}
	got = run(t, dir, "build", "large.coil")
	if got.status != 0 || !strings.Contains(got.err, "no memory images") {
		t.Errorf("build: status %d, err %q", got.status, got.err)
	}
	files := contents(t, filepath.Join(dir, "out"))
	checkManifest(t, files)
	if _, ok := files["matrix.txt"]; !ok || files["store.bin"] != "" {
		t.Errorf("built: %v", names(t, filepath.Join(dir, "out")))
	}
}

// BenchmarkBuildProcess is the whole program on the demo, processor time as
// the system counts it.
func BenchmarkBuildProcess(b *testing.B) {
	dir := demo(b)
	var used time.Duration
	for b.Loop() {
		cmd := command(dir, "build", "millrace.coil")
		if err := cmd.Run(); err != nil {
			b.Fatal(err)
		}
		used += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}
	b.ReportMetric(float64(used.Microseconds())/1000/float64(b.N), "cpu-ms/op")
}
