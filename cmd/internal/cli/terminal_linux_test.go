package cli_test

import (
	"fmt"
	"os"
	"syscall"
	"testing"
	"unsafe"
)

// openTerminal opens a pseudo-terminal: what a program writes to the slave can
// be read from the master.
func openTerminal(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		required(t, "no pseudo-terminal: %v", err)
	}
	t.Cleanup(func() { master.Close() })
	var number, lock uint32
	for request, argument := range map[uintptr]*uint32{syscall.TIOCSPTLCK: &lock, syscall.TIOCGPTN: &number} {
		if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, master.Fd(), request, uintptr(unsafe.Pointer(argument))); errno != 0 {
			required(t, "no pseudo-terminal: %v", errno)
		}
	}
	slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		required(t, "no pseudo-terminal: %v", err)
	}
	t.Cleanup(func() { slave.Close() })
	return master, slave
}
