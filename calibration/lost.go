package calibration

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"plumbline/sine"
)

// Limits of what the phases of the blocks may do. They are the authors' own, no source: set where the simulated losses are found and no healthy bench recording is refused.
const (
	leastLost     = 0.25   // samples that a step of the phase stands for: one lost in one of two channels is half a one in their mean; less is no sample
	partOfSample  = 1. / 3 // change of the ratio's phase over that of one sample
	leastChange   = 0.01   // rad, below which it does not matter
	aboveNoise    = 10.0   // over the standard deviation of one block's phase
	smooth        = 0.5    // sine.Movement.Rough of a phase that jumps or drifts rather than scatters
	manyModulated = 3      // one in so many blocks
	offNominal    = 1e-3   // of a frequency that lost samples raised
)

// lostSamples refuses a recording in which samples are missing: where the phase steps, where the phases of the channels move against each other
// and where all move together as no generator does. nominal is the frequency stated with the point, Hz.
func (a acquisition) lostSamples(name string, nominal float64) error {
	fit := a.fit
	for _, s := range fit.Steps {
		if math.Abs(s.Lost)*fit.Rate < leastLost {
			continue
		}
		return fmt.Errorf("recording %s: samples are missing or repeated near sample %d, where the phase steps by %.3g ms (%.2g samples in the mean of the channels); such places: %d",
			name, s.Sample, 1e3*math.Abs(s.Lost), math.Abs(s.Lost)*fit.Rate, len(fit.Steps))
	}
	if len(fit.Channels) < 2 {
		return nil
	}
	sample := 2 * math.Pi * fit.Frequency / fit.Rate
	m := fit.RatioPhase(a.device, a.reference)
	if m.Range > max(partOfSample*sample, leastChange) && m.Range > aboveNoise*m.Noise && m.Rough < smooth {
		return fmt.Errorf("recording %s: the phase of the ratio of channels %d and %d moves by %.3g° (%.2g samples) in all, noise explains %.2g°: samples are missing in one channel",
			name, a.columns[a.device], a.columns[a.reference], m.Range*180/math.Pi, m.Range/sample, m.Noise*180/math.Pi)
	}
	if k := fit.EarlyShift(a.device, a.reference); k != 0 {
		late := a.columns[a.device]
		if k < 0 {
			k, late = -k, a.columns[a.reference]
		}
		return fmt.Errorf("recording %s: the phase of the ratio steps within the first %d samples, the shift of %d missing or repeated in channel %d", name, fit.BlockSize, k, late)
	}
	if a.led {
		return nil
	}
	common := fit.CommonPhase(a.reference)
	if common.Jumps > 0 {
		return fmt.Errorf("recording %s: the phase of all channels together jumps, by up to %.3g° (%.2g samples), in %d of %d blocks: samples are missing, or the generator's phase jumps",
			name, common.Range*180/math.Pi, common.Range/sample, common.Jumps, len(fit.Blocks))
	}
	if manyModulated*common.Modulated >= len(fit.Blocks) && len(fit.Blocks) > 0 && math.Abs(fit.Frequency/nominal-1) > offNominal {
		return fmt.Errorf("recording %s: in %d of %d blocks the same disturbance is in all channels and the frequency found is %.6g Hz, not %g Hz: samples are missing at many places, or the generator's phase wanders",
			name, common.Modulated, len(fit.Blocks), fit.Frequency, nominal)
	}
	return nil
}

// remarkPhase mentions what is not bad enough to be refused.
func (p *Point) remarkPhase(a *acquisition) {
	if len(a.fit.Channels) < 2 || a.led {
		return
	}
	sample := 2 * math.Pi * a.fit.Frequency / a.fit.Rate
	if steps := a.fit.Steps; len(steps) > 0 { // smaller than what is refused
		p.remark("phase-steps", "the phase of the channels steps by %.2g° near sample %d, too little for a lost sample: the motion stepped, or whole periods are missing; such places: %d",
			360*p.Frequency*math.Abs(steps[0].Lost), steps[0].Sample, len(steps))
	}
	switch m := a.fit.CommonPhase(a.reference); {
	case len(p.Plan.Together) == 0 && m.Modulated > 0 && manyModulated*m.Modulated >= len(a.fit.Blocks):
		p.remark("common-disturbance", "in %d of %d blocks the same disturbance is in all channels: the motion is disturbed, or samples are missing", m.Modulated, len(a.fit.Blocks))
	case m.Range > max(sample, leastChange) && m.Range > aboveNoise*m.Noise:
		p.remark("phase-wanders", "the phase of all channels together wanders by %.2g°: the generator's phase does, or samples are missing at several places", m.Range*180/math.Pi)
	}
}

// mostNamed is how many rejected blocks a remark names.
const mostNamed = 3

// rejectedBlocks names the first rejected blocks, after a colon: the channel that was disturbed and the samples.
func (a acquisition) rejectedBlocks() string {
	var named []string
	n := 0
	for _, b := range a.fit.Blocks {
		if !b.Rejected {
			continue
		}
		if n++; n > mostNamed {
			named = append(named, "...")
			break
		}
		which := "all channels"
		if b.Cause >= 0 {
			which = fmt.Sprintf("channel %d", a.columns[b.Cause])
		}
		first, last := a.fit.Samples(b)
		named = append(named, fmt.Sprintf("%s in samples %d to %d", which, first, last))
	}
	if n == 0 { // in the other recording, or among blocks merged in a long one
		return ""
	}
	return ": " + strings.Join(named, ", ")
}

// failed is why a recording could not be approximated, in the recording's own channel numbers.
func (a acquisition) failed(name string, err error) error {
	var c sine.ChannelError
	if errors.As(err, &c) && c.Channel < len(a.columns) {
		return fmt.Errorf("recording %s, channel %d: %w", name, a.columns[c.Channel], c.Err)
	}
	return fmt.Errorf("recording %s: %w", name, bare{err})
}

// bare is an error without the name of the package it comes from.
type bare struct{ error }

func (b bare) Error() string { return strings.TrimPrefix(b.error.Error(), "sine: ") }
func (b bare) Unwrap() error { return b.error }
