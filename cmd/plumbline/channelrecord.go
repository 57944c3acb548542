package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"path/filepath"

	"github.com/spf13/cobra"

	"plumbline/bench"
	"plumbline/internal/driver/audio"
	"plumbline/internal/format/wav"
	"plumbline/quantity"
	"plumbline/recording"
)

// recordFlags say what records the voltage, where it was not recorded elsewhere.
type recordFlags struct {
	server, input, time, dir string
	rate                     int
}

func (v *recordFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&v.input, "input", "", "record with this input of an audio interface (source at the sound server): frequencies stand in place of files")
	f.StringVar(&v.server, "server", "", "address of the sound server; without it the one the environment names")
	f.IntVar(&v.rate, "rate", 0, "samples per second the input already runs at")
	f.StringVar(&v.time, "time", "", `length of each recording, for example "20 s"`)
	f.StringVar(&v.dir, "dir", "", "folder for the recordings")
}

// settling is what is left out at the start of a recording, s: the operator has just turned a knob.
const settling = 1.0

// record asks for each frequency in turn, records the voltage and returns the recordings' names as the command takes them.
func (v *recordFlags) record(cmd *cobra.Command, frequencies []string) (names []string, err error) {
	seconds, err := v.check(frequencies)
	if err != nil {
		return nil, usage(err)
	}
	ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt)
	defer stop()
	a, err := audio.Open(ctx, audio.Config{Server: v.server, Source: v.input, Rate: v.rate})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	answers := bufio.NewScanner(cmd.InOrStdin())
	for _, f := range frequencies {
		fmt.Fprintf(cmd.ErrOrStderr(), "set the voltage to %s, then press Enter: ", f)
		if !answers.Scan() {
			return nil, errors.Join(fmt.Errorf("channel: nobody answered before %s", f), answers.Err())
		}
		x, err := quantity.Parse(f, quantity.Frequency)
		if err != nil {
			return nil, err
		}
		name := filepath.Join(v.dir, fmt.Sprintf("%.9gHz.wav", x.SI))
		if err := keepVoltage(ctx, a, name, seconds); err != nil {
			return nil, fmt.Errorf("recording %s: %w", name, err)
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "%s written\n", name)
		names = append(names, name)
	}
	return names, nil
}

func (v *recordFlags) check(frequencies []string) (seconds float64, err error) {
	if v.dir == "" || v.rate <= 0 || v.time == "" {
		return 0, errors.New("channel: --input needs --dir, --rate and --time too")
	}
	t, err := quantity.Parse(v.time, quantity.Time)
	if err != nil || !(t.SI > 0) {
		return 0, errors.Join(fmt.Errorf("channel: --time %s, allowed are times above zero", v.time), err)
	}
	for _, f := range frequencies {
		if x, e := quantity.Parse(f, quantity.Frequency); e != nil {
			err = errors.Join(err, fmt.Errorf("channel: frequency %s: %w", f, e))
		} else if !(x.SI > 0) {
			err = errors.Join(err, fmt.Errorf("channel: frequency %s, allowed are values above zero", f))
		}
	}
	return t.SI, err
}

// keepVoltage records to a new file. A file that is not complete does not stay.
func keepVoltage(ctx context.Context, d bench.Digitizer, name string, seconds float64) (err error) {
	r, err := d.Acquire(ctx)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	file, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	defer func() {
		if err = errors.Join(err, file.Close()); err != nil {
			err = errors.Join(err, os.Remove(name))
		}
	}()
	return pour(r, file, seconds)
}

// pour writes the given time of the acquisition.
func pour(r recording.Reader, file io.WriteSeeker, seconds float64) error {
	info := r.Info()
	encoding := map[int]wav.Encoding{24: wav.PCM24, 32: wav.PCM32}[info.Channels[0].Bits]
	if encoding == 0 {
		encoding = wav.Float32
	}
	w, err := wav.NewWriter(file, wav.Spec{Channels: len(info.Channels), Rate: info.Rate, Encoding: encoding, Start: info.Start})
	if err != nil {
		return err
	}
	skip, left := int(settling*info.Rate), int(math.Ceil(seconds*info.Rate))
	block := recording.Block(len(info.Channels), int(info.Rate/10)+1)
	for left > 0 {
		part := make([][]float64, len(block))
		want := left
		if skip > 0 {
			want = skip
		}
		for c := range block {
			part[c] = block[c][:min(want, len(block[c]))]
		}
		n, err := r.Read(part)
		if err != nil {
			return err
		}
		if skip > 0 {
			skip -= n
			continue
		}
		for c := range part {
			part[c] = part[c][:n]
		}
		if err := w.Write(part); err != nil {
			return err
		}
		left -= n
	}
	return w.Close()
}
