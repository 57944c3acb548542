package jobfile

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"plumbline/calibration"
)

// TestChannelIsReadAsWritten writes channels of a recorder and reads them in a job.
func TestChannelIsReadAsWritten(t *testing.T) {
	text := func(fsys interface{ ReadFile(string) ([]byte, error) }) (before, table, after string) {
		b, err := fsys.ReadFile("job.toml")
		if err != nil {
			t.Fatal(err)
		}
		before, rest, _ := strings.Cut(string(b), "[[recorder.channel]]")
		rest, after, _ = strings.Cut(rest, "[[recorder.channel]]")
		return before, rest, "[[recorder.channel]]" + after
	}
	for _, want := range []calibration.Stage{
		{FullScale: 9.87654321e-1, Gain: 1, StdGain: 1.2345e-3, Delay: 0, StdDelay: 0},
		{FullScale: 12.5, Resolution: 1e-6, Gain: 1, StdGain: 1e-5, Source: `voltage "standard" \ 1`, StdGainSource: 1e-4, Delay: -1.25e-6, StdDelay: 3e-9, CoupledAC: true,
			Corners: []calibration.Corner{{Frequency: 0.31234567, Std: 0.0123}, {Frequency: 0.1, Std: 0.05}, {Frequency: 20000, Std: 0.02, LowPass: true}}},
		{FullScale: 1, Gain: 1, CoupledAC: true, LargestPlausibleCorner: 0.0123, Settings: "gain at minimum"},
	} {
		want.Channel = "1"
		fsys := full(t)
		before, _, after := text(fsys)
		var b bytes.Buffer
		if err := WriteChannel(&b, "recorder.channel", want, "a remark", "another"); err != nil {
			t.Fatal(err)
		}
		fsys["job.toml"].Data = []byte(before + b.String() + after)
		j, err := Load(FromFS(fsys), "job.toml")
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		stages := j.Calibration.ReferenceChain.Stages
		got := stages[len(stages)-1]
		near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-15*math.Abs(y) } // per cent and back
		same := near(got.FullScale, want.FullScale) && near(got.Resolution, want.Resolution) && near(got.Gain, want.Gain) && near(got.StdGain, want.StdGain) && near(got.StdGainSource, want.StdGainSource) &&
			got.Source == want.Source && near(got.Delay, want.Delay) && near(got.StdDelay, want.StdDelay) && got.CoupledAC == want.CoupledAC && near(got.LargestPlausibleCorner, want.LargestPlausibleCorner) &&
			strings.Contains(got.Settings, want.Settings)
		same = same && slices.EqualFunc(got.Corners, want.Corners, func(a, b calibration.Corner) bool {
			return near(a.Frequency, b.Frequency) && near(a.Std, b.Std) && a.LowPass == b.LowPass
		})
		if !same {
			t.Errorf("read %+v\nwritten %+v\n%s", got, want, b.String())
		}
	}
}
