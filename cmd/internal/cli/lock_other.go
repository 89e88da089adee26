//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package cli

// lockDir does nothing: the standard library has no file locks here.
func lockDir(string) (unlock func(), err error) { return func() {}, nil }
