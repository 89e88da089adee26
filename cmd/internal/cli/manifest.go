package cli

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"coilwright/encode/store"
)

const (
	manifestName = "manifest.txt"

	// asideName is a second list, of the older files and the new, that is only
	// there while a build moves files into place.
	asideName = scratchPrefix + "manifest"

	manifestLimit = 1 << 20 // bytes of a previous manifest that are looked at
	nameLimit     = 255     // bytes of a file name, as most file systems have it
)

// entry is one file of a build.
type entry struct {
	name string
	size int64
	hash string // SHA-256, 64 hex digits
}

// manifestText names every file of a build with its size and hash.
func manifestText(s *store.Store, entries []entry) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "machine     %s\n", s.Machine)
	fmt.Fprintf(&b, "definition  %s\n", s.Hash)
	fmt.Fprintf(&b, "files       %d, complete: this page is removed before a build changes one\n\n", len(entries))
	fmt.Fprintf(&b, "%-64s  %10s  %s\n", "SHA-256", "bytes", "file")
	for _, e := range entries {
		fmt.Fprintf(&b, "%-64s  %10d  %s\n", e.hash, e.size, e.name)
	}
	return b.Bytes()
}

// listedFiles reads the names out of a manifest, which anybody may have
// changed: only plain names of files in the same folder are believed.
func listedFiles(text []byte) []entry {
	var listed []entry
	lines := bufio.NewScanner(bytes.NewReader(text))
	for lines.Scan() {
		fields := strings.SplitN(lines.Text(), "  ", 2)
		if len(fields) != 2 || len(fields[0]) != 64 || strings.Trim(fields[0], "0123456789abcdef") != "" {
			continue
		}
		size, name, ok := strings.Cut(strings.TrimLeft(fields[1], " "), "  ")
		bytes, err := strconv.ParseInt(size, 10, 64)
		if !ok || err != nil || !isPlainName(name) {
			continue
		}
		listed = append(listed, entry{name: name, size: bytes, hash: fields[0]})
	}
	return listed
}

// isPlainName reports a name that stays within its folder on every system.
func isPlainName(name string) bool {
	return name != "" && len(name) <= nameLimit && name != "." && name != ".." && name != manifestName &&
		!strings.HasPrefix(name, ".") &&
		!strings.ContainsAny(name, `/\:`+"\x00") &&
		filepath.IsLocal(name) && filepath.Base(name) == name
}

// previousFiles lists what the older builds in dir have made.
func previousFiles(dir string) ([]entry, error) {
	var listed []entry
	for _, page := range []string{manifestName, asideName} {
		f, err := openRegular(filepath.Join(dir, page))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		text, err := io.ReadAll(io.LimitReader(f, manifestLimit))
		f.Close()
		if err != nil {
			return nil, err
		}
		listed = append(listed, listedFiles(text)...)
	}
	return listed, nil
}

// openRegular opens a file unless it is something else under its name: a
// pipe would be waited for, a link leads elsewhere.
func openRegular(path string) (*os.File, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: path, Err: errors.New("not a plain file")}
	}
	return os.Open(path)
}
