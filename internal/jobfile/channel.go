package jobfile

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"plumbline/calibration"
)

// WriteChannel writes a channel of a recorder as a table under the given heading, "recorder.channel" in a job file and "channel" in the file of a recorder, every figure unrounded. The remarks stand above it.
func WriteChannel(w io.Writer, heading string, s calibration.Stage, remarks ...string) error {
	var b strings.Builder
	for _, r := range remarks {
		fmt.Fprintf(&b, "# %s\n", r)
	}
	key := func(name, value string) { fmt.Fprintf(&b, "%s = %s\n", name, value) }
	in := func(x float64, unit string) string { return strconv.Quote(figure(x) + " " + unit) }
	percent := func(x float64) string { return in(100*x, "%") }
	fmt.Fprintf(&b, "[[%s]]\n", heading)
	key("name", quoteTOML(s.Channel))
	key("full_scale", `"±`+figure(s.FullScale)+` V"`)
	if s.Resolution > 0 {
		key("resolution", in(s.Resolution, "V"))
	}
	key("gain", in(s.Gain, "V/V"))
	key("u_gain", percent(s.StdGain))
	if s.Source != "" {
		key("source", quoteTOML(s.Source))
		key("u_gain_source", percent(s.StdGainSource))
	}
	key("delay", in(s.Delay, "s"))
	key("u_delay", in(s.StdDelay, "s"))
	if s.CoupledAC {
		key("coupling", `"AC"`)
	} else {
		key("coupling", `"DC"`)
	}
	var corners []string
	for _, c := range s.Corners {
		name := "high_pass"
		if c.LowPass {
			name = "low_pass"
		}
		corners = append(corners, fmt.Sprintf("{ %s = %s, u = %s }", name, in(c.Frequency, "Hz"), percent(c.Std)))
	}
	if len(corners) > 0 {
		key("filters", "["+strings.Join(corners, ", ")+"]")
	}
	if s.LargestPlausibleCorner > 0 {
		key("largest_plausible_corner", in(s.LargestPlausibleCorner, "Hz"))
	}
	if s.Settings != "" {
		key("settings", quoteTOML(s.Settings))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// figure is the shortest text that reads as x again.
func figure(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// quoteTOML is a basic string of TOML.
func quoteTOML(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
