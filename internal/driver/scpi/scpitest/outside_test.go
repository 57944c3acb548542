package scpitest

import (
	"encoding/json"
	"math"
	"net"
	"os/exec"
	"strings"
	"testing"
)

// outside is an instrument that holds a burst of 500 frames of two channels.
func outside(t *testing.T) (in *Instrument, host, port string) {
	t.Helper()
	in, err := Start(NewWorld(1000, 2, false, Wire(1e-3, 1, 0.5)), Config{Generator: true, Inputs: []int{0, 1}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(in.Close)
	in.obey("*CLS;VOLT:UNIT VPK;:FREQ 10;VOLT 2;:OUTP ON;:SAMP:COUN 500;:INIT;*WAI;:FORM REAL,32")
	if got := in.obey("SYST:ERR?").text; got != "0,\"No error\"\n" {
		t.Fatalf("error queue %q", got)
	}
	host, port, err = net.SplitHostPort(in.Address())
	if err != nil {
		t.Fatal(err)
	}
	return in, host, port
}

// burst is what the instrument recorded, channel beside channel.
func burst(in *Instrument) []float64 {
	var all []float64
	for _, f := range in.acq.frames {
		all = append(all, f...)
	}
	return all
}

// TestInstrumentForVISA lets pyvisa-py read the instrument: identity, settings, error queue, and blocks of a thousand numbers in every encoding.
func TestInstrumentForVISA(t *testing.T) {
	in, host, port := outside(t)
	out, err := exec.Command("/usr/bin/python3", "testdata/visa.py", host, port).Output()
	if err != nil {
		t.Fatalf("testdata/visa.py (make setup installs pyvisa-py): %v", err)
	}
	var seen struct {
		Identity, Complete, Output string
		Frequency                  float64
		Error                      []string
		Blocks                     map[string][]float64
	}
	if err := json.Unmarshal(out, &seen); err != nil {
		t.Fatal(err)
	}
	if seen.Identity != in.cfg.Identity || seen.Complete != "1" || seen.Frequency != 10 || seen.Output != "1" {
		t.Errorf("seen %+v", seen)
	}
	if strings.Join(seen.Error, " ") != `-113,"Undefined header;LEVEL" 0,"No error"` {
		t.Errorf("errors %q", seen.Error)
	}
	want := burst(in)
	if len(seen.Blocks) != 7 || len(want) != 1000 {
		t.Errorf("%d blocks of %d numbers", len(seen.Blocks), len(want))
	}
	for name, got := range seen.Blocks {
		scale, within := 1.0, 2e-7 // V, rounding of REAL,32
		if strings.HasPrefix(name, "INT") {
			scale = 10 / float64(math.MaxInt32)
		}
		if len(got) != len(want) {
			t.Errorf("%s: %d numbers, want %d", name, len(got), len(want))
			continue
		}
		for i := range want {
			if math.Abs(got[i]*scale-want[i]) > within {
				t.Errorf("%s, number %d: %g, want %g", name, i, got[i]*scale, want[i])
				break
			}
		}
	}
}

// TestInstrumentForLXI lets lxi-tools send commands and queries over the raw connection, a block of a thousand numbers included.
func TestInstrumentForLXI(t *testing.T) {
	in, host, port := outside(t)
	ask := func(command string) string {
		t.Helper()
		out, err := exec.Command("lxi", "scpi", "--address", host, "--port", port, "--raw", "--timeout", "10", command).CombinedOutput()
		if err != nil {
			t.Fatalf("lxi scpi (make setup installs lxi-tools): %v: %s", err, out)
		}
		return string(out)
	}
	if got := ask("*IDN?"); strings.TrimSpace(got) != in.cfg.Identity {
		t.Errorf("identity %q", got)
	}
	ask("OUTP OFF")
	if got := ask("OUTP?"); strings.TrimSpace(got) != "0" || in.Output().On {
		t.Errorf("output %q, in truth %v", got, in.Output().On)
	}
	ask("SOURce:VOLTage 99")
	if got := ask("SYST:ERR?"); strings.TrimSpace(got) != `-222,"Data out of range"` {
		t.Errorf("error %q", got)
	}
	if got, want := ask("FETC?"), strings.TrimSuffix(in.obey("FETC?").text, "\n"); strings.TrimSuffix(got, "\n") != want || !strings.HasPrefix(want, "#44000") {
		t.Errorf("block of %d bytes beginning %.8q, want %d beginning %.8q", len(got), got, len(want), want)
	}
}
