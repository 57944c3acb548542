package calibration

import (
	"fmt"
	"math"
	"slices"
)

// onMains returns the multiple of the mains frequency that cannot be told from f in a record of duration T: |f - k f_mains| T < 1.
func (p Procedure) onMains(f, duration float64) (k int, on bool) {
	if !(p.Mains > 0) {
		return 0, false
	}
	k = max(1, int(math.Round(f/p.Mains)))
	return k, math.Abs(f-float64(k)*p.Mains)*duration < 1
}

// mainsOrders is the multiples of the mains frequency that the job's points lie on: every recording is searched for them.
func (j *Job) mainsOrders() []int {
	var orders []int
	for _, p := range j.Points {
		if p.Recording == nil || !(p.Recording.Info.Rate > 0) {
			continue
		}
		duration := 1.0
		if p.Recording.Info.Frames > 0 {
			duration = float64(p.Recording.Info.Frames) / p.Recording.Info.Rate
		}
		// the clock of the generator may be off: half as much again
		if k, on := j.Procedure.onMains(p.Frequency, duration/1.5); on && !slices.Contains(orders, k) {
			orders = append(orders, k)
		}
	}
	slices.Sort(orders)
	return orders
}

// addHumEvidence looks, for every point that lies on a mains line, for the line's amplitude in the job's other recordings, where it can be
// separated. With none the point is refused.
func (j *Job) addHumEvidence(points []Point, acquired []*acquisition) {
	for i := range points {
		p := &points[i]
		if p.Refused != "" || acquired[i] == nil {
			continue
		}
		k, on := j.Procedure.onMains(p.Frequency, p.Evidence.Duration)
		if !on {
			continue
		}
		line := float64(k) * j.Procedure.Mains
		// first the recordings whose every harmonic keeps clear of the line, then those that only their fitted harmonics do: there a higher
		// harmonic of the exciter may add to the line, which makes the term larger, not smaller
		for _, strict := range []bool{true, false} {
			for n, a := range acquired {
				if n != i && a != nil {
					j.takeHum(p, a, line, strict, j.Points[n].Recording.Name)
				}
			}
			if p.Evidence.HumFrom != "" {
				break
			}
		}
		if p.Evidence.HumFrom == "" {
			p.Refused = fmt.Sprintf("recording %s: %g Hz lies on multiple %d of the mains frequency (%g Hz) and no other recording of the job shows that line apart from its own harmonics: record at %s",
				p.Plan.Recording.Name, p.Plan.Frequency, k, line, j.goodFrequency(p.Plan.Frequency, p.Evidence.Duration))
			continue
		}
		p.remark("mains-harmonic", "%g Hz lies on multiple %d of the mains frequency: hum there cannot be seen in this recording; its amplitude is taken from %s; nearest good frequency: %s",
			p.Plan.Frequency, k, p.Evidence.HumFrom, j.goodFrequency(p.Plan.Frequency, p.Evidence.Duration))
	}
}

// takeHum takes the line's amplitude in another recording into the point's evidence: the largest of all recordings counts.
func (j *Job) takeHum(p *Point, a *acquisition, line float64, strict bool, name string) {
	h := math.Round(line / a.fit.Frequency)
	if strict && h >= 1 && math.Abs(line-h*a.fit.Frequency)*float64(a.fit.Frames)/a.fit.Rate < 1 {
		return
	}
	e := &p.Evidence
	dev, ok := a.hum(a.device, line)
	relative, had := dev/e.AmplitudeDevice, e.HumDevice/e.AmplitudeDevice
	ref := 0.0
	if ok && !p.Method.statedLevel {
		ref, ok = a.hum(a.reference, line)
		relative, had = relative+ref/e.AmplitudeReference, had+e.HumReference/e.AmplitudeReference
	}
	if !ok {
		return
	}
	if e.HumFrom == "" || relative > had {
		e.HumFrom = name
	}
	e.HumReference, e.HumDevice = max(e.HumReference, ref), max(e.HumDevice, dev)
}

// hum is the amplitude of a mains line in one channel with an allowance of two standard deviations for its own noise; ok false where the line
// was not separable.
func (a *acquisition) hum(channel int, line float64) (amplitude float64, ok bool) {
	for _, l := range a.fit.Channels[channel].Mains {
		if math.Abs(l.Frequency-line) < 1e-6*line {
			return modulus(l.Amplitude) + 2*l.Std, true
		}
	}
	return 0, false
}

// goodFrequency names the frequencies next to f that keep clear of every mains multiple by a few times 1/T, at least 1 % (or 0.5 Hz) away.
func (j *Job) goodFrequency(f, duration float64) string {
	k := math.Max(1, math.Round(f/j.Procedure.Mains))
	away := math.Min(math.Max(3/duration, math.Max(0.5, 0.03*math.Min(f, j.Procedure.Mains))), j.Procedure.Mains/4)
	line := k * j.Procedure.Mains
	return fmt.Sprintf("%.4g Hz or %.4g Hz", line-away, line+away)
}
