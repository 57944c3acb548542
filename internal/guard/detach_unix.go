//go:build unix

package guard

import (
	"os/exec"
	"syscall"
)

// detach starts the command in a session of its own, so that what ends the program's terminal or its group of processes does not end the guard.
func detach(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true} }
