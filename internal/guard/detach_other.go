//go:build !unix

package guard

import "os/exec"

// detach has nothing to do where there are no sessions of a terminal.
func detach(*exec.Cmd) {}
