package jobfile

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"plumbline/calibration"
)

// checkTogether refuses lines of a recording that cannot be those of the point.
func checkTogether(t *table, p calibration.PointPlan, recording PointRecording) {
	if !t.has("together") {
		return
	}
	lines := slices.Sorted(slices.Values(p.Together))
	switch {
	case !t.has("recording"):
		t.wrong("together", "names the lines of a recording: it needs recording beside it")
	case len(lines) < 2 || len(slices.Compact(lines)) < len(p.Together):
		t.wrong("together", "found %s, allowed are two or more different frequencies", frequencyList(p.Together))
	case p.Frequency > 0 && !slices.Contains(lines, p.Frequency):
		t.wrong("together", "found %s without %g Hz: it names every line of recording %s, this point's own too", frequencyList(p.Together), p.Frequency, recording.File)
	}
}

// checkShared refuses a recording that two points name without the same lines.
func checkShared(d *decoder, j *Job, places []position) {
	points := j.Calibration.Points
	for i, r := range j.Recordings {
		for _, q := range j.Recordings[:i] {
			if r.File == "" || path.Clean(r.File) != path.Clean(q.File) || points[r.Point].Frequency == points[q.Point].Frequency {
				continue // two points at one frequency are told apart, or refused, as repeated ones
			}
			mine, other := slices.Sorted(slices.Values(points[r.Point].Together)), slices.Sorted(slices.Values(points[q.Point].Together))
			key := fmt.Sprintf("point[%d]", r.Point+1)
			switch {
			case len(mine) == 0 || len(other) == 0:
				d.wrong(places[r.Point], key, "recording %s is that of point %d too: where one recording holds several lines, each of its points names them all, as in together = [\"0.7 Hz\", \"1.1 Hz\"]", r.File, q.Point+1)
			case !slices.Equal(mine, other):
				d.wrong(places[r.Point], key+".together", "found %s, but %s in point %d, which has the same recording %s: every point of a recording names the same lines", frequencyList(mine), frequencyList(other), q.Point+1, r.File)
			}
			break
		}
	}
}

func frequencyList(all []float64) string {
	texts := make([]string, len(all))
	for i, f := range all {
		texts[i] = fmt.Sprintf("%g Hz", f)
	}
	return "[" + strings.Join(texts, ", ") + "]"
}
