// Command plumbline calibrates vibration transducers by comparison with a reference.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// version is set when the program is built.
var version = "devel"

// Exit codes.
const (
	exitFailure        = 1
	exitUsage          = 2
	exitDoesNotConform = 3
)

// exitError is an error with the exit code it calls for.
type exitError struct {
	code int
	err  error
}

func (e exitError) Error() string { return e.err.Error() }
func (e exitError) Unwrap() error { return e.err }

func usage(err error) error { return exitError{exitUsage, err} }

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run executes one command line and returns its exit code.
func run(args []string, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(longFlags(root, args))
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.Execute()
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "plumbline: %v\n", err)
	var exit exitError
	if errors.As(err, &exit) {
		if exit.code == exitUsage {
			fmt.Fprintln(stderr, "plumbline help COMMAND says how a command is used")
		}
		return exit.code
	}
	return exitFailure
}

// longFlags lets a flag's whole name stand behind one dash as well, as in -full.
func longFlags(root *cobra.Command, args []string) []string {
	out := slices.Clone(args)
	for i, a := range out {
		name, _, _ := strings.Cut(strings.TrimPrefix(a, "-"), "=")
		if len(name) < 2 || strings.HasPrefix(name, "-") || !strings.HasPrefix(a, "-") {
			continue
		}
		for _, c := range root.Commands() {
			if c.Flags().Lookup(name) != nil {
				out[i] = "-" + a
				break
			}
		}
	}
	return out
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:     "plumbline",
		Version: version,
		Short:   "Calibrate vibration transducers by comparison with a reference",
		Long: `Plumbline calibrates vibration transducers by comparison with a reference transducer
(ISO 16063-21): recordings, or values read off a display, go in; complex sensitivity with an
uncertainty budget at each frequency, statements of conformity and a certificate come out.

Exit codes: 0 done, 1 failure, 2 usage, 3 the device does not conform.`,
		SilenceUsage: true, SilenceErrors: true,
		Args: noCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SuggestionsMinimumDistance = 2
	root.SetVersionTemplate("plumbline {{.Version}}\n")
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usage(err) })
	root.AddCommand(newEvaluate(), newCertificate(), newInspect(), newChannel(), newPlan(), newMeasure(), newGuard(), newDemo(), newValidate(), newVersion())
	root.SetHelpCommand(newHelp(root))
	return root
}

// noCommand refuses what is not a command, with the nearest ones.
func noCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	text := fmt.Sprintf("no command %q", args[0])
	for i, s := range cmd.SuggestionsFor(args[0]) {
		if i == 0 {
			text += ", nearest:"
		}
		text += " " + s
	}
	return usage(errors.New(text))
}

// exactly is cobra.ExactArgs as a usage error that names what is missing.
func exactly(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < len(names) {
			return usage(fmt.Errorf("%s: %s is missing", cmd.Name(), names[len(args)]))
		}
		if len(args) > len(names) {
			return usage(fmt.Errorf("%s: %q is one argument too many", cmd.Name(), args[len(names)]))
		}
		return nil
	}
}

func newVersion() *cobra.Command {
	return &cobra.Command{Use: "version", Short: "Print the version", Args: exactly(), Run: func(cmd *cobra.Command, _ []string) {
		fmt.Fprintf(cmd.OutOrStdout(), "plumbline %s\n", version)
	}}
}

func newHelp(root *cobra.Command) *cobra.Command {
	return &cobra.Command{Use: "help [command]", Short: "Say how a command is used", RunE: func(cmd *cobra.Command, args []string) error {
		found, rest, err := root.Find(args)
		if err != nil || len(rest) > 0 {
			return usage(fmt.Errorf("no command %q", args[len(args)-1]))
		}
		found.SetOut(cmd.OutOrStdout())
		return found.Help()
	}}
}
