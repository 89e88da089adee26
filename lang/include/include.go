// Package include follows the includes of a source file: which file each leads to, and the limits and circles on the way.
package include

import (
	"errors"
	"path/filepath"
	"strings"

	"coilwright/lang/diag"
)

// The limits of language.md N.5.
const (
	MaxDepth = 32
	MaxFiles = 256
)

// Trail is the way to the file that is being read, and every file that was reached.
type Trail struct {
	read  func(path string) ([]byte, error)
	what  string          // "definition" or "program", for messages
	known map[string]bool // clean paths that were reached
	chain []link          // files being read, root first
	full  bool            // the limit on files was reported
}

// link is a file that is being read and the include followed in it.
type link struct {
	path string
	at   diag.Place
}

// Same is the error of a read that finds a file which it has returned before,
// reached by another name: through a link, or by another way to its folder.
type Same struct{ As string } // the name by which it was read

func (s *Same) Error() string { return "the same file as " + s.As }

// Start begins at the root file; read returns the bytes of a file, or a *Same.
func Start(root, what string, read func(path string) ([]byte, error)) *Trail {
	return &Trail{read: read, what: what, known: map[string]bool{filepath.Clean(root): true}}
}

// Enter says that the includes of a file come next; Leave ends it.
func (t *Trail) Enter(path string) { t.chain = append(t.chain, link{path: path}) }

// Leave ends what Enter began.
func (t *Trail) Leave() { t.chain = t.chain[:len(t.chain)-1] }

// Outcome is what following an include comes to.
type Outcome int

const (
	Opened Outcome = iota // there is a file to read
	Passed                // nothing to read: it was read before, or that was reported
	Lost                  // what it names cannot be read, which was reported
)

// Follow reads the file that an include of the current file names, relative to
// that file unless the name begins at the root of the file system. files counts those read so far. A file that was reached before is
// passed; one that is being read is a circle, an error that prints the chain.
func (t *Trail) Follow(name string, at diag.Place, files int, list *diag.List) (path string, raw []byte, outcome Outcome) {
	top := &t.chain[len(t.chain)-1]
	top.at = at
	path = filepath.Join(filepath.Dir(top.path), name)
	if filepath.IsAbs(name) {
		path = filepath.Clean(name)
	}
	switch {
	case name == "":
		list.Errorf("include-unreadable", at, "this include names no file")
		return path, nil, Lost
	case t.known[path]:
		t.circle(path, at, list)
		return path, nil, Passed
	case len(t.chain) > MaxDepth:
		list.Errorf("include-depth", at, "this include is more than %d files deep", MaxDepth)
		return path, nil, Lost
	case files >= MaxFiles && t.full:
		return path, nil, Passed
	case files >= MaxFiles:
		list.Errorf("include-count", at, "a %s has at most %d files; this is one more", t.what, MaxFiles)
		t.full = true
		return path, nil, Lost
	}
	t.known[path] = true
	raw, err := t.read(path)
	var same *Same
	if errors.As(err, &same) {
		t.circle(filepath.Clean(same.As), at, list)
		return path, nil, Passed
	}
	if err != nil {
		list.Errorf("include-unreadable", at, "cannot read %s: %v", path, err)
		return path, nil, Lost
	}
	return path, raw, Opened
}

// circle reports an include of a file that is being read; one of a file that
// was read before is nothing to report.
func (t *Trail) circle(path string, at diag.Place, list *diag.List) {
	for n, l := range t.chain {
		if filepath.Clean(l.path) != path {
			continue
		}
		names := make([]string, 0, len(t.chain)-n+1)
		for _, c := range t.chain[n:] {
			names = append(names, c.path)
		}
		names = append(names, l.path)
		d := list.Errorf("include-cycle", at, "files include each other in a circle: %s", strings.Join(names, " -> "))
		for _, c := range t.chain[n : len(t.chain)-1] {
			d.Note(c.at, "%s goes on from here", c.path)
		}
		return
	}
}
