package cli

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"syscall"
)

// outlet is standard output. A reader that has gone away is no error: what
// is left is dropped quietly. The first other error is kept for the end of the run.
type outlet struct {
	to     io.Writer
	gone   bool
	failed error
}

func (o *outlet) Write(p []byte) (int, error) {
	if o.gone {
		return len(p), nil
	}
	if o.failed != nil {
		return 0, o.failed
	}
	n, err := o.to.Write(p)
	switch {
	case err == nil:
		return n, nil
	case errors.Is(err, syscall.EPIPE), errors.Is(err, io.ErrClosedPipe):
		o.gone = true
		return len(p), nil
	default:
		o.failed = err
		return n, err
	}
}

// coloured reports whether text for w may carry colour. Where NO_COLOR is set
// (no-color.org) none does, whatever the command line says.
func (a *app) coloured(w io.Writer) bool {
	switch {
	case os.Getenv("NO_COLOR") != "":
		return false
	case a.colour.value == "always":
		return true
	case a.colour.value == "never":
		return false
	}
	return os.Getenv("TERM") != "dumb" && isTerminal(w)
}

// isTerminal takes every character device but the null device for a terminal:
// all that can be told without a library for each system.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	if err != nil || info.Mode()&fs.ModeCharDevice == 0 {
		return false
	}
	null, err := os.Stat(os.DevNull)
	return err != nil || !os.SameFile(info, null)
}

// cause is the bare reason of a file error, without the operation and path in
// front of it, which may speak of a temporary file.
func cause(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	var link *os.LinkError
	if errors.As(err, &link) {
		return link.Err
	}
	return err
}
