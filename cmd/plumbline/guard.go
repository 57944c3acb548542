package main

import (
	"os"
	"os/exec"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"plumbline/internal/guard"
)

// newGuard is the process that a live run starts beside itself; nobody types it.
func newGuard() *cobra.Command {
	return &cobra.Command{
		Use: "guard", Hidden: true, Short: "Turn an exciter off when the program that drives it ends",
		Args: exactly(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			// what ends the program must not end its guard: not before the output is off
			signal.Ignore(os.Interrupt, syscall.SIGHUP, syscall.SIGPIPE)
			stop := make(chan os.Signal, 1)
			signal.Notify(stop, syscall.SIGTERM)
			return guard.Serve(cmd.InOrStdin(), cmd.OutOrStdout(), switches(), stop)
		},
	}
}

// startGuard starts this program once more, as a guard.
func startGuard(o guard.Order) (*guard.Guard, error) {
	program, err := exec.LookPath(os.Args[0])
	if err != nil {
		if program, err = os.Executable(); err != nil {
			return nil, err
		}
	}
	return guard.Start(exec.Command(program, "guard"), o)
}
