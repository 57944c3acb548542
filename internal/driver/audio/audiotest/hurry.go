//go:build linux

package audiotest

import (
	"fmt"
	"os"
	"strconv"
	"syscall"
	"unsafe"
)

// roundRobin is the scheduler's policy for what must not wait, SCHED_RR of sched(7), at its lowest priority.
const roundRobin = 2

// Hurry lets this process, and what it starts, run before others, as programs that play sound do. Sound does not wait, and a machine that runs many tests at once lets everybody
// wait for half a second. It returns an error where the system does not allow it: tests may go on without.
func Hurry() error { return hurry(os.Getpid()) }

func hurry(process int) error {
	tasks, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", process))
	if err != nil {
		return err
	}
	priority := int32(1)
	for _, task := range tasks {
		id, err := strconv.Atoi(task.Name())
		if err != nil {
			return err
		}
		if _, _, e := syscall.Syscall(syscall.SYS_SCHED_SETSCHEDULER, uintptr(id), roundRobin, uintptr(unsafe.Pointer(&priority))); e != 0 {
			return fmt.Errorf("real-time scheduling: %w", e)
		}
	}
	return nil
}
