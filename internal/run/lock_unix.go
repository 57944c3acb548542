//go:build unix

package run

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// lockName is the file that the program which drives a run holds a lock on. The system takes the lock away when the program ends, however it ends.
const lockName = "lock"

// patience is how long a lock is waited for: a process that a killed program was just starting holds it until it has begun.
const patience = 2 * time.Second

// lock takes the folder for this program, or says that another has it.
func lock(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, fmt.Errorf("run %s: %w", dir, err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	for waited := time.Duration(0); errors.Is(err, syscall.EWOULDBLOCK) && waited < patience; waited += patience / 40 {
		time.Sleep(patience / 40)
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	}
	if err != nil {
		if errors.Is(err, syscall.EWOULDBLOCK) {
			err = ErrLocked
		}
		return nil, errors.Join(fmt.Errorf("run %s: %w", dir, err), f.Close())
	}
	return f, nil
}
