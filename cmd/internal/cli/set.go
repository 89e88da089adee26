package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"coilwright/encode/store"
)

// writeSet writes the artefacts of a build into dir, wholly or not at all:
// all are written to temporary files and read back first. Then the manifest
// of the older build goes, the files are moved into place, and the new
// manifest comes last. It returns what the manifest lists.
func (a *app) writeSet(dir string, s *store.Store, artefacts []artefact) ([]entry, error) {
	if err := a.makeDir(dir); err != nil {
		return nil, err
	}
	unlock, err := lockDir(dir)
	if err != nil {
		return nil, filef("%s: %w", dir, cause(err))
	}
	defer unlock()
	if err := sweep(dir); err != nil {
		return nil, filef("%s: %w", dir, cause(err))
	}
	older, err := previousFiles(dir)
	if err != nil {
		return nil, filef("%s: %w", filepath.Join(dir, manifestName), cause(err))
	}
	if err := a.checkTargets(dir, artefacts); err != nil {
		return nil, err
	}

	var entries []entry
	parts := map[string]*part{}
	for _, art := range artefacts {
		p, e, err := a.prepare(dir, art)
		if err != nil {
			return nil, err
		}
		parts[art.name] = p
		entries = append(entries, e)
	}
	manifest, _, err := a.prepare(dir, text(manifestName, string(manifestText(s, entries))))
	if err != nil {
		return nil, err
	}
	// Should the program be killed among the renames, the next build learns
	// from this page what the older builds and this one may have left.
	either, _, err := a.prepare(dir, text(asideName, string(manifestText(s, append(older, entries...)))))
	if err != nil {
		return nil, err
	}

	all := []*part{manifest, either}
	for _, p := range parts {
		all = append(all, p)
	}
	if err := settleAll(all); err != nil {
		return nil, filef("%s: %w", dir, cause(err))
	}

	err = a.scratch.commit(func(rename func(*part, string) error) error {
		page, aside := filepath.Join(dir, manifestName), filepath.Join(dir, asideName)
		if err := rename(either, aside); err != nil {
			return filef("%s: %w", aside, cause(err))
		}
		if err := os.Remove(page); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return filef("%s: %w", page, cause(err))
		}
		syncDir(dir)
		for _, e := range entries {
			to := filepath.Join(dir, e.name)
			if err := rename(parts[e.name], to); err != nil {
				return filef("%s: %w", to, cause(err))
			}
		}
		for _, e := range older {
			if _, kept := parts[e.name]; !kept {
				if err := a.removeOlder(filepath.Join(dir, e.name)); err != nil {
					return err
				}
			}
		}
		syncDir(dir)
		if err := rename(manifest, page); err != nil {
			return filef("%s: %w", page, cause(err))
		}
		syncDir(dir)
		a.scratch.dirs = nil
		if err := os.Remove(aside); err != nil {
			return filef("%s: %w", aside, cause(err))
		}
		return nil
	})
	return entries, err
}

// settleAll brings temporary files to the disk at once: a journal takes them
// together in little more time than one.
func settleAll(parts []*part) error {
	errs := make([]error, len(parts))
	var all sync.WaitGroup
	for i, p := range parts {
		all.Go(func() { errs[i] = p.settle() })
	}
	all.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// makeDir makes dir and its parents. Those it makes go again if the run ends
// before it has put anything into them.
func (a *app) makeDir(dir string) error {
	var made []string
	for d := filepath.Clean(dir); ; d = filepath.Dir(d) {
		info, err := os.Stat(d)
		if err == nil {
			if !info.IsDir() {
				return filef("%s is not a folder", d)
			}
			break
		}
		if !errors.Is(err, fs.ErrNotExist) {
			return filef("%s: %w", d, cause(err))
		}
		made = append(made, d)
	}
	for i := len(made) - 1; i >= 0; i-- {
		if err := a.scratch.mkdir(made[i]); err != nil {
			return filef("%s: %w", made[i], cause(err))
		}
	}
	return nil
}

// checkTargets finds what a rename could not replace, or must not, before
// anything is touched.
func (a *app) checkTargets(dir string, artefacts []artefact) error {
	names := []string{manifestName}
	for _, art := range artefacts {
		names = append(names, art.name)
	}
	for _, name := range names {
		path := filepath.Join(dir, name)
		info, err := os.Lstat(path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
		case err != nil:
			return filef("%s: %w", path, cause(err))
		case info.IsDir():
			return filef("%s is a folder: the build has a file of that name", path)
		case a.isInput(info):
			return usagef("%s is the input: the build would destroy it", path)
		}
	}
	return nil
}

// prepare writes one artefact to a temporary file, checked.
func (a *app) prepare(dir string, art artefact) (*part, entry, error) {
	where := filepath.Join(dir, art.name)
	p, err := a.scratch.create(dir, kindBuild)
	if err != nil {
		return nil, entry{}, filef("%s: %w", where, cause(err))
	}
	hash := sha256.New()
	size := &counter{}
	hashed := art
	hashed.write = func(w io.Writer) error { return art.write(io.MultiWriter(w, hash, size)) }
	if err := hashed.fill(p, where); err != nil {
		return nil, entry{}, err
	}
	if err := p.Flush(); err != nil {
		return nil, entry{}, filef("%s: %w", where, cause(err))
	}
	return p, entry{name: art.name, size: size.n, hash: hex.EncodeToString(hash.Sum(nil))}, nil
}

type counter struct{ n int64 }

func (c *counter) Write(p []byte) (int, error) {
	c.n += int64(len(p))
	return len(p), nil
}

// removeOlder deletes a file of an older build. What is not a plain file, or
// is the definition itself, is not a build's to delete.
func (a *app) removeOlder(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && (!info.Mode().IsRegular() || a.isInput(info)) {
		return nil
	}
	if err == nil {
		err = os.Remove(path)
	}
	if err != nil {
		return filef("%s: %w", path, cause(err))
	}
	return nil
}
