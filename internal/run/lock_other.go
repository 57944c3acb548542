//go:build !unix

package run

import (
	"errors"
	"fmt"
	"os"
	"runtime"
)

const lockName = "lock"

// lock refuses: without a lock that ends with its program two programs could drive one exciter.
func lock(dir string) (*os.File, error) {
	return nil, fmt.Errorf("run %s: live runs on %s: %w", dir, runtime.GOOS, errors.ErrUnsupported)
}
