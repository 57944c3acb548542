package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"
)

// lockName is the file on which every program that has a store open holds a shared lock. The system takes it away when the program ends, however it ends.
const lockName = "lock"

// errHeld says that another program holds the lock.
var errHeld = errors.New("held by another program")

// lockFolder takes the lock for this program: alone where nobody has it, otherwise shared as soon as it can be had.
func lockFolder(ctx context.Context, dir string) (f *os.File, alone bool, err error) {
	f, err = os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR, 0o644)
	if err != nil {
		return nil, false, err
	}
	err = flock(f, false)
	if err == nil {
		return f, true, nil
	}
	for errors.Is(err, errHeld) {
		if err = flock(f, true); !errors.Is(err, errHeld) {
			break
		}
		select {
		case <-ctx.Done():
			err = fmt.Errorf("another program has just opened it: %w", ctx.Err())
		case <-time.After(5 * time.Millisecond):
		}
	}
	if err != nil {
		return nil, false, errors.Join(err, f.Close())
	}
	return f, false, nil
}
