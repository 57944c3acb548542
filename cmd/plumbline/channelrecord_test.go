//go:build linux

package main

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/internal/driver/audio/audiotest"
)

// TestChannelRecords lets the command record a voltage of a quarter of full scale from a sound server and finds the full scale in it.
func TestChannelRecords(t *testing.T) {
	s := audiotest.Start(t)
	dir := t.TempDir()
	var sound []byte
	for k := range 20 * audiotest.Rate {
		x := int32(math.Round(0.25 * 0x1p31 * math.Sin(2*math.Pi*10*float64(k)/audiotest.Rate)))
		for range 3 {
			sound = binary.LittleEndian.AppendUint32(sound, uint32(x))
		}
	}
	raw := filepath.Join(dir, "sound.raw")
	if err := os.WriteFile(raw, sound, 0o600); err != nil {
		t.Fatal(err)
	}
	player := s.Command("pacat", "--raw", "--playback", "--device="+strings.TrimSuffix(audiotest.Source, ".monitor"), "--format=s32le", "--rate=48000", "--channels=3", "--latency-msec=300", "--no-remix", "--no-remap", raw)
	if err := player.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		_ = player.Process.Kill()
		_ = player.Wait()
	}()
	for end := time.Now().Add(10 * time.Second); !strings.Contains(s.Control("list", "short", "sink-inputs"), "s32le"); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("nothing plays after 10 s")
		}
	}
	root := newRoot()
	var out, errs bytes.Buffer
	root.SetIn(strings.NewReader("\n"))
	root.SetOut(&out)
	root.SetErr(&errs)
	flags := []string{"channel", "--voltage", "1 V rms", "--u", "0.1 %", "--corners", "0", "--mains", "0 Hz", "--columns", "1,2", "--server", s.Address, "--input", audiotest.Source, "--rate", "48000", "--time", "2 s"}
	root.SetArgs(append(flags, "--dir", dir, "10 Hz"))
	if err := root.Execute(); err != nil {
		t.Fatalf("%v\n%s", err, errs.String())
	}
	if !strings.Contains(errs.String(), "set the voltage to 10 Hz") {
		t.Errorf("it says %q", errs.String())
	}
	for line := range strings.Lines(out.String()) {
		if text, found := strings.CutPrefix(line, `full_scale = "`); found {
			if got := number(t, text); math.Abs(got/(4*math.Sqrt2)-1) > 1e-6 {
				t.Errorf("full scale %.9g V, want %.9g V", got, 4*math.Sqrt2)
			}
		}
	}
	if n := strings.Count(out.String(), "[[recorder.channel]]"); n != 2 {
		t.Errorf("%d channels:\n%s", n, out.String())
	}
	root = newRoot()
	root.SetIn(strings.NewReader(""))
	root.SetOut(&out)
	root.SetErr(&errs)
	root.SetArgs(append(flags, "10 Hz"))
	if err := root.Execute(); err == nil || !strings.Contains(err.Error(), "--dir") {
		t.Errorf("without a folder: %v", err)
	}
}
