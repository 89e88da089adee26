package cli

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// Temporary files are named so that a later build knows what a killed run has left behind.
const (
	scratchPrefix = ".coilwright-"
	scratchSuffix = ".part"
	kindBuild     = "build" // belongs to a build, which locks its folder
	kindFile      = "file"  // belongs to a command that writes one file

	// A file of kindFile this old belongs to no run that is still alive.
	scratchAge = time.Hour

	writeBuffer = 256 << 10 // bytes
)

// scratch keeps the temporary files of a run, so that however it ends none is left.
type scratch struct {
	mu     sync.Mutex // held while files are moved into place: an interrupt waits for it
	open   map[string]bool
	dirs   []string // made by this run, nothing in them yet; parents first
	closed bool
}

func newScratch() *scratch { return &scratch{open: map[string]bool{}} }

// part is a temporary file that becomes a file of the user, or nothing.
type part struct {
	*bufio.Writer
	file *os.File
	path string
}

// create makes a temporary file in dir with the permissions a new file gets.
func (s *scratch) create(dir, kind string) (*part, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		select {} // interrupted: the program is ending
	}
	for tries := 0; ; tries++ {
		path := filepath.Join(dir, fmt.Sprintf("%s%s-%016x%s", scratchPrefix, kind, rand.Uint64(), scratchSuffix))
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		if os.IsExist(err) && tries < 100 {
			continue
		}
		if err != nil {
			return nil, err
		}
		s.open[path] = true
		return &part{Writer: bufio.NewWriterSize(f, writeBuffer), file: f, path: path}, nil
	}
}

// rewind makes what was written readable from its start, and returns how many bytes that is.
func (p *part) rewind() (size int64, err error) {
	if err := p.Flush(); err != nil {
		return 0, err
	}
	if size, err = p.file.Seek(0, io.SeekEnd); err != nil {
		return 0, err
	}
	_, err = p.file.Seek(0, io.SeekStart)
	return size, err
}

// settle brings the bytes of p to the disk and closes it.
func (p *part) settle() error {
	if err := p.Flush(); err != nil {
		return err
	}
	if err := p.file.Sync(); err != nil {
		return err
	}
	return p.file.Close()
}

// commit runs move, which renames temporary files, without being interrupted.
// It gives move a function that renames one of them.
func (s *scratch) commit(move func(rename func(p *part, to string) error) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		select {}
	}
	return move(func(p *part, to string) error {
		if err := os.Rename(p.path, to); err != nil {
			return err
		}
		delete(s.open, p.path)
		return nil
	})
}

// discard closes and removes one temporary file.
func (s *scratch) discard(p *part) {
	p.file.Close()
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open[p.path] {
		os.Remove(p.path)
		delete(s.open, p.path)
	}
}

// clear removes every temporary file that has not become anything.
func (s *scratch) clear() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.remove()
}

// shut is clear for an interrupt: no further file is made or moved afterwards.
func (s *scratch) shut() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	s.remove()
}

func (s *scratch) remove() {
	for path := range s.open {
		os.Remove(path)
		delete(s.open, path)
	}
	for i := len(s.dirs) - 1; i >= 0; i-- {
		os.Remove(s.dirs[i]) // fails, as it should, if there is something in it after all
	}
	s.dirs = nil
}

// mkdir makes a folder that goes again if the run ends before it has put
// anything into it.
func (s *scratch) mkdir(dir string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		select {}
	}
	err := os.Mkdir(dir, 0o777)
	if err == nil {
		s.dirs = append(s.dirs, dir)
	} else if os.IsExist(err) {
		err = nil // another build was faster
	}
	return err
}

// sweep removes what killed runs have left in dir. The caller holds the lock of dir.
func sweep(dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		name := e.Name()
		if !strings.HasPrefix(name, scratchPrefix) || !strings.HasSuffix(name, scratchSuffix) || !e.Type().IsRegular() {
			continue
		}
		if !strings.HasPrefix(name, scratchPrefix+kindBuild) {
			info, err := e.Info()
			if err != nil || time.Since(info.ModTime()) < scratchAge {
				continue
			}
		}
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !os.IsNotExist(err) {
			return err
		}
	}
	return nil
}

// syncDir brings renames in dir to the disk. Not every file system can; then
// its own order has to do.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}
