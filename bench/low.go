package bench

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"
)

const (
	softest       = 0.004 // of Limits.Drive: the first drive of all
	mostUnknown   = 0.1   // of Limits.Drive while the response is not known
	lowPart       = 0.05  // of the level wanted, at which its response is measured where that of a neighbour is known
	lowMost       = 0.2   // the same, where the noise asks for it
	mostLow       = 0.25  // of the limit of the level, at the low-level check
	seenAtAll     = 0.3   // relative standard deviation of a line that is there
	clearly       = 0.04  // relative standard deviation of the level at which a response counts as measured
	agreed        = 0.05  // relative difference of two windows that agree
	patience      = 1.0   // s, besides two windows, in which a drive must be seen; instruments delay
	climb         = 4.0   // factor to the next drive where nothing is seen
	leastClimb    = 1.2   // less is not worth trying
	tellApart     = 0.1   // s between two windows that agree: drivers lead from one amplitude to the next
	spread        = 0.15  // s, in which drivers lead from one amplitude to the next, at most
	mostLooks     = 4     // windows taken together where one is not clear of noise
	asExpected    = 1.5   // factor within which the ratio of the channels is as their sensitivities lead to expect
	turned        = 1.0   // rad, and its phase
	longestWindow = 1.0   // s, for the sake of the mains
	softTime      = 0.1   // s, shortest time in which the soft drive comes up
	softCycles    = 0.25  // of the lowest line, the same
	probe         = 0.5   // of the lines' drive, of each harmonic that is to be compensated
)

// checkLow drives softly and measures the response of the reference per volt, and whether the channels agree with what their sensitivities lead to expect.
func (a *attempt) checkLow() (ending, error) {
	a.begun = a.stream.seconds()
	if err := a.begin(); err != nil {
		return ending{}, err
	}
	if err := a.forget(); err != nil {
		return ending{}, err
	}
	most := mostUnknown * a.Limits.Drive
	for volt := a.firstDrive(); ; {
		f, ok, err := a.listenTo(volt)
		if err != nil {
			return ending{}, err
		}
		if ok {
			return a.judgeLow(f, volt)
		}
		factor := min(a.climb(f), most/volt, a.room(f))
		if factor < leastClimb {
			return a.unanswered(volt), nil
		}
		volt *= factor
	}
}

// forget waits where the attempt before drove the same line: the instruments may still show it.
func (a *attempt) forget() error {
	same := slices.ContainsFunc(a.lines, func(f float64) bool { return slices.Contains(a.driving, f) })
	a.driving = a.lines
	for same && a.stream.seconds() < patience {
		if err := a.advance(); err != nil {
			return err
		}
	}
	return nil
}

func (a *attempt) unanswered(volt float64) ending {
	return ending{"question", fmt.Sprintf("the reference shows no response to %.4g V that stands out of its noise", volt), []Choice{Again, Skip, Stop}}
}

// lowSignal is the drive of the check: lines of equal amplitude, together volt, and the harmonics whose response will be needed.
func (a *attempt) lowSignal(volt float64) Signal {
	each := volt / float64(len(a.lines))
	a.drive = a.drive[:0]
	for _, l := range a.step.Lines {
		phase := l.Phase
		if len(a.lines) == 1 {
			phase = 0
		}
		a.drive = append(a.drive, cmplx.Rect(each, phase))
	}
	for k := range a.extra {
		a.extra[k] = complex(probe*each, 0)
	}
	return a.signal()
}

// signal is the drive as it is wanted: lines, then harmonics.
func (a *attempt) signal() Signal {
	var s Signal
	for i, f := range a.lines {
		s = append(s, Tone{f, a.drive[i]})
	}
	for k, u := range a.extra {
		if u != 0 {
			s = append(s, Tone{float64(k+2) * a.lines[0], u})
		}
	}
	return s
}

// harmonics are the frequencies pre-distortion acts on.
func (a *attempt) harmonics() []float64 {
	var f []float64
	for k := range a.extra {
		f = append(f, float64(k+2)*a.lines[0])
	}
	return f
}

// window is the shortest time in which the lines can be told apart, s: whole cycles of a single line, whole periods of several.
func (a *attempt) window() float64 {
	if len(a.lines) > 1 {
		return a.step.Block
	}
	f := a.lines[0]
	cycles := math.Max(1, math.Ceil(0.05*f))
	if a.Mains > 0 && f > a.Mains/2 { // a line of the mains beside it turns once: else hum is taken for level
		if away := math.Abs(f - math.Round(f/a.Mains)*a.Mains); away*longestWindow >= 1 {
			cycles = math.Max(cycles, math.Ceil(f/away-1e-9))
		}
	}
	return cycles / f
}

// listenTo drives with volt and reads until two windows one after the other show the same response, clear of noise. ok is false where that did not come about in time.
func (a *attempt) listenTo(volt float64) (f fit, ok bool, err error) {
	climbed := len(a.limiter.now) > 0
	a.limiter.unknown = volt * (1 + probe*float64(len(a.extra)))
	if _, err := a.steer(a.lowSignal(volt), a.softly()); err != nil {
		return fit{}, false, err
	}
	from, w := a.stream.seconds(), a.window()
	freq := slices.Concat(a.lines, a.harmonics())
	var last fit
	seen, next := false, from+w
	if climbed {
		next += patience // what is seen until then may be the drive before
	}
	until := next + patience + w/2
	for a.stream.seconds() < until || a.promising(f) && a.stream.seconds() < from+patience+(mostLooks+1)*w {
		if err := a.advance(); err != nil {
			return fit{}, false, err
		}
		if a.stream.seconds() < next {
			continue
		}
		next = a.stream.seconds() + w/4
		f, err = a.clearest(w, a.stream.seconds()-from-patience/2, freq)
		if errors.Is(err, errShortWindow) {
			continue
		}
		if err := a.tooMuch(f); err != nil {
			return fit{}, false, err
		}
		good := a.clear(f)
		if good && seen && f.mid-last.mid >= max(w/5, tellApart) && a.alike(f, last, agreed) {
			a.watch.longest = a.delay(f, freq, from)
			return f, true, nil
		}
		if !seen || !good || f.mid-last.mid >= max(w/2, 2*tellApart) {
			last, seen = f, good
		}
	}
	return f, false, nil
}

// softly is the time in which the soft drive comes up, s.
func (a *attempt) softly() float64 { return max(softTime, softCycles/slices.Min(a.lines)) }

// delay is the time in s from a drive to its full effect: from the request to the first of the half cycles that fit, with what is uncertain about that.
func (a *attempt) delay(f fit, freq []float64, from float64) float64 {
	end := a.stream.seconds()
	m := &model{freq, f}
	half := max(0.5/slices.Min(a.lines), 0.05)
	if len(a.lines) > 1 {
		half = a.window()
	}
	start := end - half
	for start-half/4 > from && a.bins.follows(m, start-half/4, half) { // backwards: what was there before may look like it by chance
		start -= half / 4
	}
	return start - from + half/4 + spread
}

// clearest is the fit of the last window, or of as many as fit into the time where it is not clear of noise.
func (a *attempt) clearest(w, seconds float64, freq []float64) (f fit, err error) {
	for n := 1.0; n == 1 || n <= mostLooks && n*w < seconds; n++ {
		if f, err = a.bins.fit(n*w, freq); err != nil || a.clear(f) {
			return f, err
		}
	}
	return f, nil
}

// doubt is the largest relative standard deviation of a line of the reference: of the noise in the quiet check, or twice that of white noise, where that check cannot tell.
func (a *attempt) doubt(f fit) float64 {
	worst := 0.0
	for i, z := range f.lines[0] {
		std := 2 * f.std[0]
		if i < len(a.lines) && a.hush[i] > 0 {
			std = max(f.std[0], a.hush[i]*math.Sqrt(a.window()/f.seconds)*cmplx.Abs(a.Reference.Sensitivity(a.lines[i])))
		}
		worst = max(worst, std/cmplx.Abs(z))
	}
	return worst
}

// clear says whether every line of the reference stands out of the noise.
func (a *attempt) clear(f fit) bool { return a.doubt(f) < clearly }

// promising says whether more windows could make a fit clear.
func (a *attempt) promising(f fit) bool { return len(f.lines[0]) > 0 && a.doubt(f) < 2*clearly }

// climb is the factor to the next drive: what makes the lines clear where they are seen at all.
func (a *attempt) climb(f fit) float64 {
	if len(f.lines[0]) == 0 || a.doubt(f) > seenAtAll {
		return climb
	}
	return min(climb*climb, max(2*leastClimb, 1.5*a.doubt(f)/clearly))
}

// alike says whether the lines of two fits agree.
func (a *attempt) alike(f, g fit, within float64) bool {
	for i := range a.lines {
		x, y := f.lines[0][i], g.lines[0][i]
		if cmplx.Abs(x-y) > within*cmplx.Abs(x) {
			return false
		}
	}
	return true
}

// levels are the levels of the lines by a fit, m/s² peak.
func (a *attempt) levels(f fit) []float64 {
	out := make([]float64, len(a.lines))
	for i, freq := range a.lines {
		out[i] = cmplx.Abs(f.lines[0][i] / a.Reference.Sensitivity(freq))
	}
	return out
}

// share is the part of the limit that levels of the lines take up.
func (a *attempt) share(level []float64) float64 {
	var sum float64
	for i, f := range a.lines {
		sum += level[i] / a.Limits.Level(f)
	}
	return sum
}

// room is the factor by which the drive may grow before the level could come near its limit, as far as the fit can tell.
func (a *attempt) room(f fit) float64 {
	if len(f.lines[0]) == 0 {
		return climb
	}
	return mostLow / a.share(a.levels(f))
}

// tooMuch halts where the soft start moves the table near its limit.
func (a *attempt) tooMuch(f fit) error {
	if s := a.share(a.levels(f)); s > 2*mostLow && a.clear(f) {
		return fmt.Errorf("%w: low-level check: %.4g V make %.3g of the level stroke, velocity, force or payload admit", ErrUnsafe, a.limiter.now.Peak(), s)
	}
	return nil
}

// judgeLow keeps the responses and compares the channels.
func (a *attempt) judgeLow(f fit, volt float64) (ending, error) {
	level := a.levels(f)
	a.h = a.h[:0]
	for i, l := range level {
		h := l / cmplx.Abs(a.drive[i])
		a.h = append(a.h, h)
		a.known[a.lines[i]] = h
	}
	for k, freq := range a.harmonics() {
		if z := cmplx.Abs(f.lines[0][len(a.lines)+k] / a.Reference.Sensitivity(freq)); z > 0 {
			a.known[freq] = z / cmplx.Abs(a.extra[k])
		}
	}
	entry := Entry{Kind: "low-level-check", Step: a.number, Text: a.step.Label, Data: a.lowFigures(f)}
	if err := a.note(entry); err != nil {
		return ending{}, err
	}
	a.tell(Event{Kind: "check", Step: a.number, Attempt: a.try, Seconds: a.before + a.stream.seconds(), Text: fmt.Sprintf("%.4g m/s² per volt", a.h[0])})
	if why := a.disagree(f); why != "" {
		return ending{"question", why, []Choice{Again, Skip, Stop}}, nil
	}
	a.learnHarmonics(f)
	a.follow(f, false)
	return ending{}, nil
}

// LowLevel is what a low-level check found at one line, as it is kept.
type LowLevel struct {
	Frequency float64 `json:"frequency_hz"`
	Drive     float64 `json:"drive_v"`
	Response  float64 `json:"response_m_s2_per_v"`
	Ratio     float64 `json:"ratio_to_expected"`
	Phase     float64 `json:"phase_from_expected_rad"`
}

func (a *attempt) lowFigures(f fit) []LowLevel {
	var out []LowLevel
	for i, freq := range a.lines {
		q := a.unexpected(f, i)
		out = append(out, LowLevel{freq, cmplx.Abs(a.drive[i]), a.h[i], cmplx.Abs(q), cmplx.Phase(q)})
	}
	return out
}

// unexpected is the ratio of device to reference at line i over what their sensitivities lead to expect.
func (a *attempt) unexpected(f fit, i int) complex128 {
	freq := a.lines[i]
	return f.lines[1][i] / f.lines[0][i] * a.Reference.Sensitivity(freq) / a.Device.Sensitivity(freq)
}

// disagree says how the channels disagree; empty where they do not.
func (a *attempt) disagree(f fit) string {
	for i, freq := range a.lines {
		if 6*f.std[1] > cmplx.Abs(f.lines[1][i])+cmplx.Abs(f.lines[0][i]*a.Device.Sensitivity(freq)/a.Reference.Sensitivity(freq)) {
			continue // too little to be seen at this level
		}
		q := a.unexpected(f, i)
		if r := cmplx.Abs(q); r > asExpected || r < 1/asExpected {
			return fmt.Sprintf("at %g Hz the device shows %.3g times what the sensitivities lead to expect, allowed are %.3g to %.3g: sensitivity, gain or cable", freq, r, 1/asExpected, asExpected)
		}
		if p := cmplx.Phase(q); math.Abs(p) > turned {
			return fmt.Sprintf("at %g Hz the phase of the device is %.3g rad from what the sensitivities lead to expect, allowed are %.3g rad: polarity or orientation", freq, p, turned)
		}
	}
	return ""
}

// follow makes a fit what the watch expects from now on.
func (a *attempt) follow(f fit, sure bool) {
	level, worst := a.levels(f), 1.0
	for i, l := range level {
		r := l / cmplx.Abs(a.drive[i]) / a.h[i]
		if math.Abs(math.Log(r)) > math.Abs(math.Log(worst)) {
			worst = r
		}
	}
	freq := slices.Clone(a.lines)
	for k := len(freq); k < len(f.lines[0]); k++ {
		freq = append(freq, float64(k-len(a.lines)+2)*a.lines[0])
	}
	a.watch.follow(&model{freq, f}, a.linesPeak(), a.share(level), worst, sure)
}

// linesPeak is the sum of the amplitudes of the lines, V.
func (a *attempt) linesPeak() float64 {
	var sum float64
	for i := range a.lines {
		sum += cmplx.Abs(a.limiter.now.at(a.lines[i]))
	}
	return sum
}
