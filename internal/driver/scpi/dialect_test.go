package scpi

import (
	"strings"
	"testing"
)

func TestReadGenerator(t *testing.T) {
	d, err := ReadGenerator(strings.NewReader("unit = 'rms'\nlargest = 2.5\nsetup = ['OUTPut:LOAD INFinity']\n"))
	must(t, err)
	want := StandardGenerator()
	want.Unit, want.Largest, want.Setup = "rms", 2.5, []string{"OUTPut:LOAD INFinity"}
	if got, err := d.complete(); err != nil || got.Step != 0.125 || d.Frequency != want.Frequency || d.Setup[0] != want.Setup[0] {
		t.Errorf("%+v, %v", got, err)
	}
	for text, says := range map[string]string{
		"largest = 1":   `unit: "", allowed are peak`,
		"unit = 'peak'": "largest: 0 V peak",
		"unit = 'peak'\nlargest = 1\nhighest = 2":           "line 3, column 1: no such key: [highest]",
		"unit = 'peak'\nlargest = 'much'":                   "line 2, column 11",
		"unit = ":                                           "line 1",
		"unit = 'peak'\nlargest = 1\nleast = 1":             "least: 1 V peak",
		"unit = 'peak'\nlargest = 1\nstep = 2":              "step: 2 V peak",
		"unit = 'peak'\nlargest = 1\nstep = 0.001":          "step_time: 0.005 s",
		"unit = 'peak'\nlargest = 1\nfrequency = 'FREQ 10'": `frequency: "FREQ 10"`,
		"unit = 'peak'\nlargest = 1\nask_output = 'OUTP'":   `ask_output: "OUTP"`,
		"unit = 'peak'\nlargest = 1\noff = ''":              `off: ""`,
		"unit = 'peak'\nlargest = 1\nagreement = 0.1":       "agreement: 0.1",
		"unit = 'peak'\nlargest = 1\nresolution = 0.1":      "resolution: 0.1 V",
		"unit = 'peak'\nlargest = 1\nlimit = 60":            "limit: 60 s",
		"unit = 'peak'\nlargest = 1\narbitrary = 'TRAC'":    "arbitrary:",
	} {
		if _, err := ReadGenerator(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", text, err, says)
		}
	}
}

func TestReadSampler(t *testing.T) {
	d, err := ReadSampler(strings.NewReader("kind = 'stream'\nindex = 'DATA:INDex?'\nchannels = 4\n"))
	must(t, err)
	if d.Kind != Stream || d.Channels != 4 || d.Fetch != StandardDigitizer().Fetch {
		t.Errorf("%+v", d)
	}
	d, err = ReadSampler(strings.NewReader("kind = 'burst'\nencoding = 'REAL,64'\n"))
	must(t, err)
	if d.Kind != Burst || d.Channels != 1 || d.Encoding != Real64 || d.Done != "*ESR?" {
		t.Errorf("%+v", d)
	}
	for text, says := range map[string]string{
		"": `kind: ""`, "kind = 'stream'": "lost frames could not be told", "kind = 'burst'\ndone = ''": "done:", "kind = 'burst'\nfetsh = ''": "no such key: [fetsh]",
		"kind = 'burst'\nchannels = 0": "channels: 0", "kind = 'burst'\nencoding = 'REAL'": `encoding: encoding "REAL"`, "kind = 'burst'\norder = 'big'": `order: "big"`,
		"kind = 'burst'\nencoding = 'INT,32'": "scale: 1 V", "kind = 'burst'\nrate_is = ''": "rate_is", "kind = 'burst'\nfetch = 'FETC'": "fetch:", "kind = 'burst'\nstart = []": "start: no command",
		"kind = 'burst'\nlimit = 0": "limit: 0 s", "kind = 'burst'\npoll = 1": "poll: 1 s", "kind = 'stream'\noverflow = 'STAT?'": "overflow_mask", "kind = 'burst'\nfull_scale = -1": "full_scale: -1 V",
	} {
		if _, err := ReadSampler(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want %q", text, err, says)
		}
	}
}
