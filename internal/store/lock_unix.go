//go:build unix

package store

import (
	"errors"
	"os"
	"syscall"
)

// flock takes or changes the lock without waiting.
func flock(f *os.File, shared bool) error {
	how := syscall.LOCK_EX
	if shared {
		how = syscall.LOCK_SH
	}
	err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errHeld
	}
	return err
}

// syncFolder makes the names in an open folder safe.
func syncFolder(d *os.File) error { return d.Sync() }

// readOnlyMedium says that the file system is one that cannot be written to.
func readOnlyMedium(err error) bool { return errors.Is(err, syscall.EROFS) }
