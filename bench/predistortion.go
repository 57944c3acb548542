package bench

import (
	"math"
	"math/cmplx"
)

const (
	newton      = 0.9 // of a step of Newton's that is taken
	mostSteps   = 8
	worthwhile  = 0.9  // of the distortion: a step that leaves more was in vain
	inVain      = 2    // such steps after which it is left at the best
	highestTone = 5    // harmonic
	capRoom     = 0.98 // of Limits.Drive that lines and harmonics may take up together
)

// predistortion reduces the harmonics of the motion by tones added to the drive. Amplitudes are turned so that the fundamental has phase 0: a delay between drive and
// recording then turns nothing.
type predistortion struct {
	a      *attempt
	steps  int
	vain   int
	best   float64
	saved  []complex128
	moved  []complex128 // the drive's harmonics before the last step, V
	motion []complex128 // and the motion's, m/s²
}

// learnHarmonics keeps the complex response at the harmonics, from the low-level check.
func (a *attempt) learnHarmonics(f fit) {
	a.steepness = a.steepness[:0]
	for k, y := range a.turnedHarmonics(f, len(a.extra)) {
		a.steepness = append(a.steepness, y/a.turnedDrive(k))
	}
}

// turnedHarmonics are the first n harmonics of the motion from the second on, m/s², at phase 0 of the fundamental.
func (a *attempt) turnedHarmonics(f fit, n int) []complex128 {
	one := f.lines[0][0] / a.Reference.Sensitivity(a.lines[0])
	var out []complex128
	for k := range n {
		h := k + 2
		z := f.lines[0][h-1] / a.Reference.Sensitivity(float64(h)*a.lines[0])
		out = append(out, z*cmplx.Rect(1, -float64(h)*cmplx.Phase(one)))
	}
	return out
}

// turnedDrive is harmonic k+2 of the drive at phase 0 of its fundamental, V.
func (a *attempt) turnedDrive(k int) complex128 {
	h := k + 2
	return a.limiter.now.at(float64(h)*a.lines[0]) * cmplx.Rect(1, -float64(h)*cmplx.Phase(a.limiter.now.at(a.lines[0])))
}

func newPredistortion(a *attempt) *predistortion {
	return &predistortion{a: a, best: math.Inf(1)}
}

// wantsHarmonics prepares the tones of pre-distortion where the step asks for it.
func (a *attempt) wantsHarmonics() {
	a.extra = nil
	if a.step.Distortion <= 0 || len(a.lines) > 1 || a.single {
		return
	}
	for h := 2; h <= highestTone && float64(h)*a.lines[0] < 0.45*a.stream.info.Rate; h++ {
		a.extra = append(a.extra, 0)
	}
}

// improve takes one step for the next drive and says whether it changed anything. f is the motion at the present one.
func (p *predistortion) improve(f fit) bool {
	a := p.a
	if len(a.extra) == 0 {
		return false
	}
	y := a.turnedHarmonics(f, len(a.extra))
	d := total(y) / a.levels(f)[0]
	if d < worthwhile*p.best {
		p.vain = 0
	} else {
		p.vain++
	}
	if d < p.best {
		p.best, p.saved = d, append(p.saved[:0], a.extra...)
	}
	if d <= a.step.Distortion {
		return false
	}
	if p.steps >= mostSteps || p.vain >= inVain {
		changed := false
		for k, u := range p.saved {
			changed = changed || a.extra[k] != u
			a.extra[k] = u
		}
		p.vain, p.steps = inVain, mostSteps
		return changed
	}
	p.steps++
	p.step(y)
	return true
}

// step is Newton's, with the response of each harmonic as last measured.
func (p *predistortion) step(y []complex128) {
	a := p.a
	now := make([]complex128, len(y))
	for k := range y {
		now[k] = a.turnedDrive(k)
		if p.moved == nil {
			continue
		}
		du, dy := now[k]-p.moved[k], y[k]-p.motion[k]
		if cmplx.Abs(du) > 0 {
			if s, old := dy/du, a.steepness[k]; cmplx.Abs(s-old) < 0.7*cmplx.Abs(old) { // a change out of all bounds is another harmonic's
				a.steepness[k] = s
			}
		}
	}
	p.moved, p.motion = now, y
	for k := range y {
		u := now[k] - newton*y[k]/a.steepness[k]
		if cmplx.IsNaN(u) || cmplx.IsInf(u) {
			u = now[k]
		}
		a.extra[k] = u * cmplx.Rect(1, float64(k+2)*cmplx.Phase(a.drive[0]))
	}
	a.fitHarmonics()
}

// fitHarmonics takes the harmonics of the drive down to the room the line leaves.
func (a *attempt) fitHarmonics() {
	room := capRoom*a.Limits.Drive - cmplx.Abs(a.drive[0])
	share := capRoom - cmplx.Abs(a.drive[0])*a.h[0]/a.Limits.Level(a.lines[0])
	var peak, part float64
	for k, u := range a.extra {
		f := float64(k+2) * a.lines[0]
		peak += cmplx.Abs(u)
		part += cmplx.Abs(u) * a.known[f] / a.Limits.Level(f)
	}
	factor := 1.0
	if peak > room {
		factor = max(0, room/peak)
	}
	if part*factor > share {
		factor = max(0, share/part)
	}
	for k := range a.extra {
		a.extra[k] *= complex(factor, 0)
	}
}

func total(z []complex128) float64 {
	var sum float64
	for _, v := range z {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	return math.Sqrt(sum)
}
