//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package cli

import (
	"os"
	"syscall"
)

// lockDir keeps other builds out of dir until unlock is called or the program
// ends, however it ends. Where the file system has no locks it does nothing.
func lockDir(dir string) (unlock func(), err error) {
	d, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	for {
		err = syscall.Flock(int(d.Fd()), syscall.LOCK_EX)
		if err != syscall.EINTR {
			break
		}
	}
	return func() { d.Close() }, nil
}
