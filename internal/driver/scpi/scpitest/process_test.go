package scpitest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
)

// serveInstead makes this binary an instrument, for tests that want one in a process of its own.
const serveInstead = "SCPITEST_SERVE"

func TestMain(m *testing.M) {
	if os.Getenv(serveInstead) == "" {
		os.Exit(m.Run())
	}
	w := NewWorld(1000, 2, true, Wire(1e-3, 1, 0.5))
	if err := Serve(w, Config{Generator: true, Inputs: []int{0, 1}}, os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// TestProcess runs the instrument in a process of its own, gives it orders and asks for the truth about its output.
func TestProcess(t *testing.T) {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), serveInstead+"=1")
	orders, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	reports := json.NewDecoder(out)
	report := func() (r Report) {
		t.Helper()
		if err := reports.Decode(&r); err != nil {
			t.Fatal(err)
		}
		return r
	}
	conn, err := net.Dial("tcp", report().Address)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	answers := bufio.NewReader(conn)
	ask := func(text string) string {
		t.Helper()
		fmt.Fprintln(conn, text)
		line, err := answers.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		return strings.TrimSpace(line)
	}
	order := func(o Order) Report {
		t.Helper()
		if err := json.NewEncoder(orders).Encode(o); err != nil {
			t.Fatal(err)
		}
		return report()
	}
	if got := ask("FREQ 80;:VOLT 1;:OUTP ON;*OPC?"); got != "1" {
		t.Errorf("answer %q", got)
	}
	if got := order(Order{}).Output; !got.On || got.Frequency != 80 || got.Peak != 0.5 { // 1 V peak to peak
		t.Errorf("output %+v", got)
	}
	order(Order{Provoke: &Fault{Do: Ignore, On: "OUTP OFF"}})
	if got := ask("OUTP OFF;OUTP?"); got != "1" {
		t.Errorf("answer %q of an instrument that ignores", got)
	}
	order(Order{Calm: true})
	if got := ask("OUTP OFF;OUTP?"); got != "0" || order(Order{}).Output.On {
		t.Errorf("answer %q", got)
	}
	order(Order{HangUp: true})
	if _, err := answers.ReadByte(); err == nil {
		t.Error("the connection still stands")
	}
	if err := orders.Close(); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("the end of the orders: %v", err)
	}
}
