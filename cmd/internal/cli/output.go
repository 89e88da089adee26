package cli

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// artefact is something to write: how, and how to prove from its bytes alone that it is right.
type artefact struct {
	name   string
	write  func(io.Writer) error
	verify func(io.Reader) error // nil: nothing to compare with
}

// text is an artefact that is known already.
func text(name, content string) artefact {
	return artefact{name: name, write: func(w io.Writer) error {
		_, err := io.WriteString(w, content)
		return err
	}}
}

// sink remembers that a write failed, to tell a full disk from an artefact
// that cannot be made.
type sink struct {
	to  io.Writer
	err error
}

func (s *sink) Write(p []byte) (int, error) {
	n, err := s.to.Write(p)
	if err != nil && s.err == nil {
		s.err = err
	}
	return n, err
}

// fill writes an artefact into p and reads it back. Nothing but p is touched.
func (art artefact) fill(p *part, where string) error {
	to := &sink{to: p}
	if err := art.write(to); err != nil {
		if to.err != nil {
			return filef("%s: %w", where, cause(to.err))
		}
		return err
	}
	if art.verify == nil {
		return nil
	}
	size, err := p.rewind()
	if err != nil {
		return filef("%s: %w", where, cause(err))
	}
	from := &source{from: p.file, left: size}
	if err := art.verify(from); err != nil {
		if from.err != nil {
			return filef("%s: %w", where, cause(from.err))
		}
		return bugf("%s, read back, is not what was to be written: %w; nothing has been written", art.name, err)
	}
	return nil
}

// source remembers that a read failed, to tell a bad disk from a bad artefact.
// Its length is a hint for readers that would like to know.
type source struct {
	from io.Reader
	left int64
	err  error
}

func (s *source) Len() int { return int(s.left) }

func (s *source) Read(p []byte) (int, error) {
	n, err := s.from.Read(p)
	s.left -= int64(n)
	if err != nil && err != io.EOF && s.err == nil {
		s.err = err
	}
	return n, err
}

// spoolLimit is how much of an artefact for standard output is kept in
// memory while it is checked; more goes to a temporary file.
const spoolLimit = 16 << 20 // bytes

// deliver writes an artefact to a file, or to standard output for "" and "-".
func (a *app) deliver(out string, art artefact) error {
	dest, err := a.destination(out)
	if err != nil {
		return err
	}
	if dest.path != "" {
		p, err := a.scratch.create(filepath.Dir(dest.path), kindFile)
		if err != nil {
			return filef("%s: %w", out, cause(err))
		}
		return a.replace(p, dest, out, art)
	}
	err = a.stream(dest.direct, art)
	if closed := dest.close(); err == nil && closed != nil {
		err = filef("%s: %w", out, cause(closed))
	}
	return err
}

func (a *app) replace(p *part, dest destination, out string, art artefact) error {
	defer a.scratch.discard(p)
	if err := art.fill(p, out); err != nil {
		return err
	}
	if dest.mode != 0 {
		if err := p.file.Chmod(dest.mode); err != nil {
			return filef("%s: %w", out, cause(err))
		}
	}
	if err := p.settle(); err != nil {
		return filef("%s: %w", out, cause(err))
	}
	err := a.scratch.commit(func(rename func(*part, string) error) error {
		return rename(p, dest.path)
	})
	if err != nil {
		return filef("%s: %w", out, cause(err))
	}
	syncDir(filepath.Dir(dest.path))
	return nil
}

// stream checks an artefact and sends it where no rename can go.
func (a *app) stream(to io.Writer, art artefact) error {
	s := &spool{app: a}
	defer s.close()
	err := art.write(s)
	if err != nil {
		if s.err != nil {
			return filef("temporary file: %w", cause(s.err))
		}
		return err
	}
	if art.verify != nil {
		r, size, err := s.reader()
		if err != nil {
			return filef("temporary file: %w", cause(err))
		}
		from := &source{from: r, left: size}
		if err := art.verify(from); err != nil {
			if from.err != nil {
				return filef("temporary file: %w", cause(from.err))
			}
			return bugf("%s, read back, is not what was to be written: %w; nothing has been written", art.name, err)
		}
	}
	r, _, err := s.reader()
	if err != nil {
		return filef("temporary file: %w", cause(err))
	}
	if _, err := io.Copy(to, r); err != nil {
		if to == io.Writer(a.out) {
			return said(statusFile) // finish names the reason
		}
		return filef("%s", describe(err))
	}
	return nil
}

func describe(err error) string {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Path + ": " + path.Err.Error()
	}
	return err.Error()
}

// spool holds an artefact for reading, in memory while it is small.
type spool struct {
	app    *app
	memory bytes.Buffer
	disk   *part
	err    error
}

func (s *spool) Write(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	if s.disk == nil && s.memory.Len()+len(p) > spoolLimit {
		if s.disk, s.err = s.app.scratch.create(os.TempDir(), kindFile); s.err != nil {
			return 0, s.err
		}
		if _, s.err = s.disk.Write(s.memory.Bytes()); s.err != nil {
			return 0, s.err
		}
		s.memory = bytes.Buffer{}
	}
	if s.disk == nil {
		return s.memory.Write(p)
	}
	var n int
	n, s.err = s.disk.Write(p)
	return n, s.err
}

// reader reads everything from the start; size is how many bytes that is.
func (s *spool) reader() (r io.Reader, size int64, err error) {
	if s.disk == nil {
		return bytes.NewReader(s.memory.Bytes()), int64(s.memory.Len()), nil
	}
	size, err = s.disk.rewind()
	return s.disk.file, size, err
}

func (s *spool) close() {
	if s.disk != nil {
		s.app.scratch.discard(s.disk)
	}
}

// destination is either a path to be replaced whole, or a writer.
type destination struct {
	path   string
	mode   fs.FileMode // of the file that is replaced; 0: there is none
	direct io.Writer
	close  func() error
}

// destination finds out what -o means. A regular file, or none yet, is
// replaced whole, at the end of its symbolic links; a device, a pipe and what
// stands for an open file (/dev/stdout) is written to as it is.
func (a *app) destination(out string) (destination, error) {
	nothing := func() error { return nil }
	if out == "" || out == "-" {
		return destination{direct: a.out, close: nothing}, nil
	}
	info, err := os.Stat(out)
	switch {
	case err == nil && info.IsDir():
		return destination{}, filef("%s is a folder: name a file in it", out)
	case err == nil && a.isInput(info):
		return destination{}, usagef("%s is the input: writing there would destroy it", out)
	case err == nil && a.isStandardOutput(info):
		return destination{direct: a.out, close: nothing}, nil
	case err == nil && (!info.Mode().IsRegular() || standsForOpenFile(out)):
		f, err := os.OpenFile(out, os.O_WRONLY, 0)
		if err != nil {
			return destination{}, filef("%s: %w", out, cause(err))
		}
		return destination{direct: f, close: f.Close}, nil
	case err == nil:
		path, err := filepath.EvalSymlinks(out)
		if err != nil {
			return destination{}, filef("%s: %w", out, cause(err))
		}
		return destination{path: path, mode: info.Mode().Perm()}, nil
	case !errors.Is(err, fs.ErrNotExist):
		return destination{}, filef("%s: %w", out, cause(err))
	}
	path, err := endOfLinks(out)
	if err != nil {
		return destination{}, filef("%s: %w", out, cause(err))
	}
	return destination{path: path}, nil
}

// isInput reports a file that the run has read.
func (a *app) isInput(info fs.FileInfo) bool {
	for _, read := range a.inputs {
		if os.SameFile(read, info) {
			return true
		}
	}
	return false
}

func (a *app) isStandardOutput(info fs.FileInfo) bool {
	f, ok := a.out.to.(*os.File)
	if !ok {
		return false
	}
	own, err := f.Stat()
	return err == nil && os.SameFile(own, info)
}

// standsForOpenFile reports a name under which an open file is reached: to
// replace it by a rename would miss the file.
func standsForOpenFile(path string) bool {
	for range maxLinks {
		clean := filepath.ToSlash(filepath.Clean(path))
		if strings.HasPrefix(clean, "/dev/fd/") || strings.HasPrefix(clean, "/proc/") {
			return true
		}
		next, err := os.Readlink(path)
		if err != nil {
			return false
		}
		if !filepath.IsAbs(next) {
			next = filepath.Join(filepath.Dir(path), next)
		}
		path = next
	}
	return false
}

const maxLinks = 40 // as many symbolic links as Linux follows

// endOfLinks follows symbolic links to a file that does not exist yet.
func endOfLinks(path string) (string, error) {
	for range maxLinks {
		next, err := os.Readlink(path)
		if err != nil {
			return path, nil
		}
		if !filepath.IsAbs(next) {
			next = filepath.Join(filepath.Dir(path), next)
		}
		path = next
	}
	return "", errors.New("too many symbolic links")
}
