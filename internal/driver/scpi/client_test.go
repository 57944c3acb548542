package scpi

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/internal/driver/scpi/scpitest"
)

// patience is the limit of an exchange in tests that expect an answer: long, because the machine may be busy.
const patience = 10 * time.Second

// station is an instrument with generator and two inputs in a world where time passes by itself.
func station(t *testing.T, rate float64) *scpitest.Instrument {
	t.Helper()
	in, err := scpitest.Start(scpitest.NewWorld(rate, 2, false, scpitest.Wire(1e-3, 1, 0.5)), scpitest.Config{Generator: true, Inputs: []int{0, 1}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(in.Close)
	return in
}

func dial(t *testing.T, address string, limit time.Duration) *Client {
	t.Helper()
	c, err := Dial(t.Context(), address, Options{Name: "instrument", Limit: limit, ErrorQuery: "SYSTem:ERRor?"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestCommonCommands(t *testing.T) {
	c := dial(t, station(t, 1000).Address(), patience)
	ctx := t.Context()
	name, err := c.Identify(ctx)
	if must(t, err); name != "PLUMBLINE,SCRIPTABLE INSTRUMENT,A-0401,1" {
		t.Errorf("identity %q", name)
	}
	for _, want := range []int{128, 0} { // power on is told once (IEEE 488.2 11.5.1.1.2, from memory)
		if esr, err := c.EventStatus(ctx); err != nil || esr != want {
			t.Errorf("event status %d, %v, want %d", esr, err, want)
		}
	}
	must(t, c.Complete(ctx))
	must(t, c.Command(ctx, "SOURce:FREQuency 80;VOLTage:UNIT VRMS;:SOUR:VOLT 0.5"))
	if f, err := c.Number(ctx, "freq?"); err != nil || f != 80 {
		t.Errorf("frequency %g, %v", f, err)
	}
	if on, err := c.Flag(ctx, "OUTP?"); err != nil || on {
		t.Errorf("output %v, %v", on, err)
	}
}

// TestRefusal wants the error to name command, instrument and message, and the connection to stand afterwards.
func TestRefusal(t *testing.T) {
	in := station(t, 1000)
	c := dial(t, in.Address(), patience)
	err := c.Command(t.Context(), "SOURce:VOLTage 99")
	want := "instrument at " + in.Address() + `: "SOURce:VOLTage 99": -222 "Data out of range"`
	if err == nil || err.Error() != want {
		t.Errorf("error %v, want %s", err, want)
	}
	err = c.Command(t.Context(), "LEVEL 1;FREQuency")
	var refusal *Refusal
	if !errors.As(err, &refusal) || len(refusal.Complaints) != 2 || refusal.Complaints[0].Code != -113 || refusal.Complaints[1].Code != -109 {
		t.Errorf("error %v, want -113 and -109", err)
	}
	if errors.Is(err, bench.ErrLost) {
		t.Errorf("an instrument that refuses is not lost: %v", err)
	}
	if esr, err := c.EventStatus(t.Context()); err != nil || esr != 128+32+16 { // power on, command error, execution error
		t.Errorf("event status %d, %v", esr, err)
	}
}

// TestRefusedQuery asks what the instrument does not know. It stays silent, and the error queue says why.
func TestRefusedQuery(t *testing.T) {
	t.Parallel() // it waits for what does not come
	c := dial(t, station(t, 1000).Address(), time.Second)
	_, err := c.Ask(t.Context(), "LEVEL?")
	var refusal *Refusal
	if !errors.As(err, &refusal) || refusal.Complaints[0].Code != -113 {
		t.Errorf("error %v, want -113", err)
	}
	if _, err := c.Identify(t.Context()); err != nil {
		t.Errorf("after a refused query: %v", err)
	}
}

// TestBlocks reads a thousand numbers in every encoding and order, as the instrument recorded them once.
func TestBlocks(t *testing.T) {
	c := dial(t, station(t, 1000).Address(), patience)
	ctx := t.Context()
	must(t, c.Command(ctx, "VOLT:UNIT VPK;:FREQ 10;VOLT 2;:OUTP ON;:SAMP:COUN 500;:INIT;*WAI"))
	var want []float64
	for _, e := range []struct {
		encoding Encoding
		scale    float64
		within   float64 // rounding of the encoding, V
	}{{Real64, 1, 0}, {ASCII, 1, 1e-9}, {Real32, 1, 2e-7}, {Int32, 10 / float64(math.MaxInt32), 3e-9}} {
		for _, order := range []string{"NORMal", "SWAPped"} {
			must(t, c.Command(ctx, "FORMat "+string(e.encoding)+";:FORMat:BORDer "+order))
			got, err := c.Numbers(ctx, "FETCh?", Layout{e.encoding, order == "SWAPped", 1000, 1000})
			must(t, err)
			if want == nil {
				want = got
			}
			for i := range want {
				if math.Abs(got[i]*e.scale-want[i]) > e.within {
					t.Fatalf("%s %s, number %d: %.12g, want %.12g", e.encoding, order, i, got[i]*e.scale, want[i])
				}
			}
		}
	}
	if high := max(want[50], want[150], want[250]); math.Abs(want[500]-2*want[501]) > 3e-3 || high < 0.1 {
		t.Errorf("the block does not hold what was put out: %v", want[:4])
	}
}

// TestLost takes the instrument away in every way there is. Each is ErrLost, and stays it.
func TestLost(t *testing.T) {
	t.Parallel() // it waits for what does not come
	const head = "FETCh?"
	for _, c := range []struct {
		fault scpitest.Fault
		limit time.Duration
		says  string
	}{
		{scpitest.Fault{Do: scpitest.Silence}, 100 * time.Millisecond, "within 100ms"},
		{scpitest.Fault{Do: scpitest.Mute, On: head}, 100 * time.Millisecond, "within 100ms"},
		{scpitest.Fault{Do: scpitest.Slow, On: head, Delay: 400 * time.Millisecond}, 200 * time.Millisecond, "within"},
		{scpitest.Fault{Do: scpitest.HangUp, On: head}, patience, "closed the connection"},
		{scpitest.Fault{Do: scpitest.CutAnswer, On: head}, patience, "block of 1600 bytes, "},
		{scpitest.Fault{Do: scpitest.WrongLength, On: head, By: 16}, 100 * time.Millisecond, "within 100ms"},
		{scpitest.Fault{Do: scpitest.WrongLength, On: head, By: -16}, patience, "its length is wrong"},
		{scpitest.Fault{Do: scpitest.WrongLength, On: head, By: 1}, patience, "multiples of 8"},
		{scpitest.Fault{Do: scpitest.WrongLength, On: head, By: 1 << 28}, patience, "allowed are at most"},
		{scpitest.Fault{Do: scpitest.Garbage, On: head, Text: "\x00\x01\x02"}, patience, "malformed"},
		{scpitest.Fault{Do: scpitest.Garbage, On: "ERR", Text: "well"}, patience, "entry of the error queue"},
		{scpitest.Fault{Do: scpitest.Garbage, On: "ERR", Text: `-350,"Queue overflow"`}, patience, "does not end"},
	} {
		in := station(t, 1000)
		client := dial(t, in.Address(), patience)
		must(t, client.Command(t.Context(), "FORM REAL,64;:SAMP:COUN 100;:INIT;*WAI"))
		client.opts.Limit = c.limit
		in.Provoke(c.fault)
		_, err := client.Numbers(t.Context(), head, Layout{Real64, false, -1, 1000})
		if !errors.Is(err, bench.ErrLost) || !containsOne(err.Error(), c.says) {
			t.Errorf("%+v: %v, want ErrLost with %q", c.fault, err, c.says)
			continue
		}
		in.Calm()
		if again := client.Command(t.Context(), "*CLS"); again != err || client.Err() != err {
			t.Errorf("%+v: afterwards %v, want the same error", c.fault, again)
		}
	}
}

func containsOne(text, alternatives string) bool {
	for _, a := range strings.Split(alternatives, "|") {
		if strings.Contains(text, a) {
			return true
		}
	}
	return false
}

func TestNobodyThere(t *testing.T) {
	in := station(t, 1000)
	address := in.Address()
	in.Close()
	if _, err := Dial(t.Context(), address, Options{Name: "generator", Limit: patience, ErrorQuery: "SYST:ERR?"}); !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "generator at "+address) {
		t.Errorf("error %v", err)
	}
	if _, err := Dial(t.Context(), address, Options{Name: "generator"}); err == nil || errors.Is(err, bench.ErrLost) {
		t.Errorf("without a limit: %v", err)
	}
}

func TestWithPort(t *testing.T) {
	for address, want := range map[string]string{
		"192.0.2.7": "192.0.2.7:5025", "192.0.2.7:5555": "192.0.2.7:5555", "generator": "generator:5025", "2001:db8::7": "[2001:db8::7]:5025", "[2001:db8::7]": "[2001:db8::7]:5025", "[2001:db8::7]:99": "[2001:db8::7]:99",
	} {
		if got := withPort(address); got != want {
			t.Errorf("%s: %s, want %s", address, got, want)
		}
	}
}

// TestEndOfContext ends a wait at once, whatever the limit.
func TestEndOfContext(t *testing.T) {
	in := station(t, 1000)
	c := dial(t, in.Address(), time.Hour)
	in.Provoke(scpitest.Fault{Do: scpitest.Silence})
	ctx, cancel := context.WithCancel(t.Context())
	reached := make(chan error)
	go func() {
		_, err := c.Ask(ctx, "*IDN?")
		reached <- err
	}()
	cancel()
	if err := <-reached; !errors.Is(err, context.Canceled) || errors.Is(err, bench.ErrLost) {
		t.Errorf("error %v, want the end of the context", err)
	}
}

// TestUnaskedBytes wants an answer that nobody asked for to be noticed before it is taken for another.
func TestUnaskedBytes(t *testing.T) {
	in := station(t, 1000)
	c := dial(t, in.Address(), patience)
	in.Provoke(scpitest.Fault{Do: scpitest.Garbage, On: "*IDN", Text: "one\ntwo"})
	_, err := c.Identify(t.Context())
	if !errors.Is(err, bench.ErrLost) || !strings.Contains(err.Error(), "unasked") {
		t.Errorf("error %v", err)
	}
}
