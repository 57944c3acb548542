package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"plumbline/internal/jobfile"
	"plumbline/internal/lab"
	"plumbline/quantity"
)

// channelFlags are the values as they are written on the command line.
type channelFlags struct {
	voltage, u, flatness, mains, source string
	corners                             int
	columns                             []int
	asset                               bool
	output                              string
}

func newChannel() *cobra.Command {
	var v channelFlags
	var live recordFlags
	cmd := &cobra.Command{
		Use:   `channel --voltage "1 V rms" --u "0.1 %" --corners N FILE...`,
		Short: "Calibrate a recorder's channels with a known voltage: full scale, corners, delay",
		Long: `Channel takes one recording of a known sinusoidal voltage for each frequency and writes a table for every channel, as a job
file or the file of a recorder has it: full scale with its uncertainty, the corners of an AC coupling, the delay against the
first channel. Channels that get the same voltage at the same time are calibrated together, and then their delays are known.

A recording says its frequency in its name (10Hz.wav) or before it ("10 Hz=take3.wav"). Its samples are fractions of full
scale, as in WAV files of a recorder. Frequencies are wanted from below the corner to the middle of the band, more than there
are corners, and clear of the upper end of the channel.

The uncertainty of the voltage (--u, standard) goes to the full scale as a whole. How much one frequency may differ from
another (--u-flatness, standard) decides how well the corners are known; without it the whole of --u is taken for that, too.

With --input the voltage is recorded here, and FILE is a frequency: the command asks for each in turn, keeps the recordings in a
folder and goes on from them.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usage(errors.New("channel: FILE is missing"))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			task, err := v.task(cmd)
			if err != nil {
				return usage(err)
			}
			if live.input != "" {
				if args, err = live.record(cmd, args); err != nil {
					return err
				}
			}
			results, err := newLab().Channels(task, args)
			if err != nil {
				return err
			}
			return v.write(cmd.OutOrStdout(), results)
		},
	}
	f := cmd.Flags()
	f.StringVar(&v.voltage, "voltage", "", `the voltage, for example "1 V rms"`)
	f.StringVar(&v.u, "u", "", `its standard uncertainty, relative, for example "0.1 %"`)
	f.StringVar(&v.flatness, "u-flatness", "", "standard uncertainty of the voltage at one frequency against another, relative; without it that of --u")
	f.IntVar(&v.corners, "corners", 0, "first-order high-passes of a channel: 0 direct coupling, 1 or 2")
	f.StringVar(&v.mains, "mains", "", `mains frequency whose lines are taken out, "0 Hz" for none`)
	f.StringVar(&v.source, "source", "", "name of the voltage source: its error then cancels between channels of the same source")
	f.IntSliceVar(&v.columns, "columns", nil, "channels of the recordings, from 1; without it all")
	f.BoolVar(&v.asset, "asset", false, "write [[channel]], for the file of a recorder, instead of [[recorder.channel]]")
	f.StringVarP(&v.output, "output", "o", "", "write to this file, which must not exist yet, instead of the terminal")
	live.add(cmd)
	return cmd
}

// task reads the flags. What decides a value has no default.
func (v *channelFlags) task(cmd *cobra.Command) (t lab.ChannelTask, err error) {
	for _, name := range []string{"voltage", "u", "corners", "mains"} {
		if !cmd.Flags().Changed(name) {
			err = errors.Join(err, fmt.Errorf("channel: --%s is missing", name))
		}
	}
	if err != nil {
		return t, err
	}
	parse := func(flag, text string, k quantity.Kind) float64 {
		x, e := quantity.Parse(text, k)
		if e == nil && x.SI < 0 {
			e = fmt.Errorf("%s, allowed are zero and above", text)
		}
		if e != nil {
			err = errors.Join(err, fmt.Errorf("channel: --%s: %w", flag, e))
		}
		return x.SI
	}
	t = lab.ChannelTask{Name: v.source, Corners: v.corners, Columns: v.columns, Mains: parse("mains", v.mains, quantity.Frequency)}
	t.Source.Amplitude = parse("voltage", v.voltage, quantity.VoltageAmplitude)
	t.Source.Std = parse("u", v.u, quantity.Relative)
	t.Source.Flatness = t.Source.Std
	if v.flatness != "" {
		t.Source.Flatness = parse("u-flatness", v.flatness, quantity.Relative)
	}
	return t, err
}

// write writes the tables with what they rest on.
func (v *channelFlags) write(w io.Writer, results []lab.ChannelResult) (err error) {
	if v.output != "" {
		file, e := os.OpenFile(v.output, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if e != nil {
			return e
		}
		defer func() { err = errors.Join(err, file.Close()) }()
		w = file
	}
	heading := "recorder.channel"
	if v.asset {
		heading = "channel"
	}
	for i, r := range results {
		if i > 0 {
			fmt.Fprintln(w)
		}
		flatness := v.flatness
		if flatness == "" {
			flatness = v.u
		}
		remarks := []string{fmt.Sprintf("Channel %s, from %s, u = %s, between frequencies u = %s.", r.Stage.Channel, v.voltage, v.u, flatness)}
		for k, x := range r.Readings {
			line := fmt.Sprintf("%.6g Hz: %.7g of full scale, u = %.2g %%, %+.2g %% from the fit", x.Frequency, x.Amplitude, 100*x.Std, 100*r.Response.Residuals[k])
			if i > 0 {
				line += fmt.Sprintf(", phase against the first channel %.4g°, u = %.2g°", x.Phase*180/math.Pi, x.StdPhase*180/math.Pi)
			}
			remarks = append(remarks, line)
		}
		if i == 0 && len(results) == 1 {
			remarks = append(remarks, "One channel alone has no delay: record two with the same voltage for that.")
		}
		for k := range remarks {
			remarks[k] = strings.Join(strings.Fields(remarks[k]), " ")
		}
		if err := jobfile.WriteChannel(w, heading, r.Stage, remarks...); err != nil {
			return err
		}
	}
	return nil
}
