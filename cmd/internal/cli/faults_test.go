package cli

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"coilwright/encode/store"
)

// panicking is a stream that fails like a bug below it would.
type panicking struct{}

func (panicking) Write([]byte) (int, error) { panic("index out of range\nin a stream") }

func TestPanicIsReportedAsBug(t *testing.T) {
	var errs bytes.Buffer
	if status := Main([]string{"help", "language"}, strings.NewReader(""), panicking{}, &errs); status != statusBug {
		t.Errorf("status %d, not %d", status, statusBug)
	}
	for _, want := range []string{"this is a bug in coilwright", "index out of range\n    in a stream", "coilwright help language", versionLine(), "faults_test.go"} {
		if !strings.Contains(errs.String(), want) {
			t.Errorf("the report lacks %q:\n%s", want, errs.String())
		}
	}
}

func TestShellWord(t *testing.T) {
	for word, want := range map[string]string{
		"mill/m.coil": "mill/m.coil", "": "''", "a b": "'a b'", "it's": `'it'\''s'`, "$x": "'$x'", "Mühle": "Mühle",
		"--form": "--form", "-/m.coil": "./-/m.coil", "a\nb": "'a\nb'", "*": "'*'", "~x": "'~x'",
	} {
		if got := shellWord(word); got != want {
			t.Errorf("%q becomes %s, not %s", word, got, want)
		}
	}
}

func testApp() (*app, *bytes.Buffer, *bytes.Buffer) {
	out, errs := new(bytes.Buffer), new(bytes.Buffer)
	return &app{
		in: strings.NewReader(""), out: &outlet{to: out}, err: errs, scratch: newScratch(),
		colour: newChoice("never", "auto", "always", "never"),
	}, out, errs
}

func loadDemo(t testing.TB, a *app) *loaded {
	t.Helper()
	dir := t.TempDir()
	if err := a.startMachine(dir, "millrace"); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "millrace.coil")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	cut := regexp.MustCompile(`(?m)^store\s*\{[^}]*\}`).ReplaceAllString(string(text), "") + "\nstore { split 16 }\n"
	if err := os.WriteFile(path, []byte(cut), 0o666); err != nil {
		t.Fatal(err)
	}
	l := a.load(path)
	if l.store == nil {
		t.Fatal(l.list)
	}
	return l
}

// TestReadbackCatches damages every artefact that is read back.
func TestReadbackCatches(t *testing.T) {
	a, _, _ := testApp()
	l := loadDemo(t, a)
	compared := 0
	for _, art := range l.artefacts(l.network("plain")) {
		if art.verify == nil {
			continue
		}
		compared++
		t.Run(art.name, func(t *testing.T) {
			var whole bytes.Buffer
			if err := art.write(&whole); err != nil {
				t.Fatal(err)
			}
			if err := art.verify(bytes.NewReader(whole.Bytes())); err != nil {
				t.Fatalf("refused as it is: %v", err)
			}
			if err := art.verify(bytes.NewReader(whole.Bytes()[:whole.Len()/2])); err == nil {
				t.Error("half of it is accepted")
			}
			if err := art.verify(strings.NewReader("")); err == nil {
				t.Error("nothing at all is accepted")
			}
			// What else carries the store depends on the form: comments do not.
			const changes = 100
			caught := 0
			for i := range changes {
				text := bytes.Clone(whole.Bytes())
				text[i*(len(text)/changes)] ^= 1
				if art.verify(bytes.NewReader(text)) != nil {
					caught++
				}
			}
			least := map[string]int{".bin": changes, ".hex": changes, ".srec": changes}[filepath.Ext(art.name)]
			if least == 0 {
				least = changes / 4
			}
			if caught < least {
				t.Errorf("%d of %d changed characters are caught, at least %d should be", caught, changes, least)
			}
		})
	}
	if compared < 13 {
		t.Errorf("only %d artefacts are read back", compared)
	}
}

// TestFailedReadback has an artefact that is not what the store says.
func TestFailedReadback(t *testing.T) {
	a, out, errs := testApp()
	l := loadDemo(t, a)
	out.Reset()
	artefacts := l.artefacts(l.network("plain"))
	for i := range artefacts {
		if artefacts[i].name != "store.hex" {
			continue
		}
		honest := artefacts[i].write
		artefacts[i].write = func(w io.Writer) error {
			var b bytes.Buffer
			if err := honest(&b); err != nil {
				return err
			}
			text := b.Bytes()
			text[9] ^= 1 // a digit of the first data byte: the checksum no longer fits
			_, err := w.Write(text)
			return err
		}
	}
	dir := filepath.Join(t.TempDir(), "fresh")
	_, err := a.writeSet(dir, l.store, artefacts)
	a.scratch.clear()
	if status := a.finish([]string{"build", "x.coil"}, nil, err); status != statusBug {
		t.Errorf("status %d, not %d: %v", status, statusBug, err)
	}
	for _, want := range []string{"this is a bug in coilwright", "store.hex, read back", "line 1", "nothing has been written"} {
		if !strings.Contains(errs.String(), want) {
			t.Errorf("the report lacks %q:\n%s", want, errs.String())
		}
	}
	if _, err := os.Stat(dir); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the folder is there: %v", err)
	}

	// The same for one artefact on its way to a file or a stream.
	wrong := text("a list", "wrong\n")
	wrong.verify = func(io.Reader) error { return errors.New("line 1: not a list") }
	file := filepath.Join(t.TempDir(), "list")
	for _, to := range []string{file, "-"} {
		err := a.deliver(to, wrong)
		a.scratch.clear()
		var f *failure
		if !errors.As(err, &f) || f.status != statusBug {
			t.Errorf("to %s: %v", to, err)
		}
	}
	if left, err := os.ReadDir(filepath.Dir(file)); err != nil || len(left) > 0 || out.Len() > 0 {
		t.Errorf("written: %v %q (%v)", left, out, err)
	}
}

func TestManifestIsReadBack(t *testing.T) {
	want := []entry{
		{"store.bin", 4096, strings.Repeat("0a", 32)},
		{"name with  blanks.txt", 12345678901, strings.Repeat("f0", 32)},
	}
	text := manifestText(&store.Store{Machine: "mill", Hash: strings.Repeat("1", 64)}, want)
	if diff := cmp.Diff(want, listedFiles(text), cmp.AllowUnexported(entry{})); diff != "" {
		t.Errorf("written (-) and read (+):\n%s", diff)
	}
}

// FuzzListedFiles holds that no manifest names anything outside its folder.
func FuzzListedFiles(f *testing.F) {
	hash := strings.Repeat("0", 64)
	for _, name := range []string{"store.bin", "../x", "/etc/passwd", "a/b", `a\b`, "C:x", ".", "..", ".hidden", "", "manifest.txt", "x\x00y"} {
		f.Add([]byte(hash + "  1  " + name + "\n"))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, e := range listedFiles(text) {
			if filepath.Join("dir", e.name) != "dir/"+e.name || filepath.Dir(filepath.Join("dir", e.name)) != "dir" || strings.HasPrefix(e.name, ".") {
				t.Errorf("%q leads out of its folder", e.name)
			}
		}
	})
}

// BenchmarkBuild is the whole build of the demo, without starting a process.
func BenchmarkBuild(b *testing.B) {
	a, _, _ := testApp()
	dir := b.TempDir()
	if err := a.startMachine(dir, "millrace"); err != nil {
		b.Fatal(err)
	}
	path := filepath.Join(dir, "millrace.coil")
	for b.Loop() {
		var errs bytes.Buffer
		if status := Main([]string{"build", path}, strings.NewReader(""), io.Discard, &errs); status != statusFine {
			b.Fatal(errs.String())
		}
	}
}
