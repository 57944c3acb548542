package store

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// flock takes or changes the lock without waiting.
func flock(f *os.File, shared bool) error {
	h := windows.Handle(f.Fd())
	if shared { // a lock is not changed here: it is given back first
		if err := windows.UnlockFileEx(h, 0, 1, 0, new(windows.Overlapped)); err != nil && !errors.Is(err, windows.ERROR_NOT_LOCKED) {
			return err
		}
	}
	flags := uint32(windows.LOCKFILE_FAIL_IMMEDIATELY)
	if !shared {
		flags |= windows.LOCKFILE_EXCLUSIVE_LOCK
	}
	err := windows.LockFileEx(h, flags, 0, 1, 0, new(windows.Overlapped))
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errHeld
	}
	return err
}

// syncFolder has nothing to do: this system keeps names safe by itself and offers no call for it.
func syncFolder(*os.File) error { return nil }

// readOnlyMedium says that the medium is one that cannot be written to.
func readOnlyMedium(err error) bool { return errors.Is(err, windows.ERROR_WRITE_PROTECT) }
