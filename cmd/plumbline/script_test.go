package main

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// runAsProgram makes the test binary be the program, so that a test can watch it as a process.
const runAsProgram = "PLUMBLINE_RUN_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(runAsProgram) != "" {
		os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
	}
	testscript.Main(m, map[string]func(){"plumbline": func() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }})
}

// TestScripts runs command lines as a user types them.
func TestScripts(t *testing.T) {
	root, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script", RequireExplicitExec: true, UpdateScripts: os.Getenv("UPDATE") != "",
		Setup: func(env *testscript.Env) error {
			env.Setenv("ROOT", root+"/../..")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "shortjob": func(ts *testscript.TestScript, _ bool, args []string) {
			_, err := shortJob(args[0])
			ts.Check(err)
		}},
	})
}

// exits runs a command and wants an exit code: exits 2 plumbline evaluate. What it printed is there as after exec.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND ARGUMENT...")
	}
	err := ts.Exec(args[1], args[2:]...)
	code := 0
	if exit, ok := err.(interface{ ExitCode() int }); ok {
		code = exit.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if want := args[0]; want != string(rune('0'+code)) {
		ts.Fatalf("exit code %d, want %s", code, want)
	}
}
