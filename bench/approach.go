package bench

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"plumbline/steady"
)

const (
	oftenest        = 0.05  // s between two requests to the exciter
	rampTime        = 0.2   // s, shortest soft start to the level
	rampCycles      = 1.5   // of the lowest line, the same
	rampLow         = 1.2   // s, the same below
	softEnd         = 0.6   // s, in which a table below that frequency is led to rest
	restLow         = 0.4   // s between two windows that agree, below that frequency
	suspension      = 8.0   // Hz, where a table hangs in its springs and swings on
	levelWell       = 0.005 // relative: the level is not corrected further
	levelOff        = 0.01  // relative: more than that is not the level wanted
	corrected       = 0.1   // s, shortest time in which a correction is made
	correctedCycles = 0.5   // of the lowest line, the same: a table led elsewhere faster is accelerated more by that than by its motion
	mostTries       = 12    // corrections
	steadyFit       = 0.01  // relative difference of two windows of a table that has come to rest
	mostWindows     = 12    // windows to wait for that
)

// steer leads the drive to a signal in the given time, or as fast as the slew allows, and returns the limit that stood against it.
func (a *attempt) steer(to Signal, seconds float64) (bound string, err error) {
	from, start := a.limiter.now, a.stream.seconds()
	for {
		part := 1.0
		if t := a.stream.seconds() - start + oftenest; t < seconds {
			part = t / seconds
			part *= part * (3 - 2*part) // without a kink at either end
		}
		r, err := a.request(between(from, to, part))
		if err != nil || part == 1 && r.there {
			return r.bound, err
		}
		for next := a.stream.seconds() + oftenest; a.stream.seconds() < next; {
			if err := a.advance(); err != nil {
				return "", err
			}
		}
	}
}

// request asks for a signal now and tells the watch. Where the exciter puts out fewer tones the harmonics are left away for good.
func (a *attempt) request(s Signal) (reached, error) {
	if a.single && len(a.lines) == 1 {
		s = s.only(a.lines)
	}
	r, err := a.limiter.set(a.ctx, s, a.stream.seconds())
	if errors.Is(err, ErrTones) && !a.single && len(a.lines) == 1 {
		a.single, a.extra = true, nil
		return a.request(s)
	}
	if err != nil {
		return reached{}, err
	}
	a.watch.driving(a.stream.seconds(), a.linesPeak())
	return r, nil
}

// only is the signal without tones at other frequencies.
func (s Signal) only(freq []float64) Signal {
	var out Signal
	for _, t := range s {
		if slices.Contains(freq, t.Frequency) {
			out = append(out, t)
		}
	}
	return out
}

// softStart is the time in which the level is approached, s.
func softStart(low float64) float64 {
	t := max(rampTime, rampCycles/low)
	if low < suspension {
		t = max(t, rampLow)
	}
	return t
}

// begin starts the recording.
func (a *attempt) begin() error {
	sink, err := a.Archive.Create(a.step, a.try, a.stream.info)
	if err != nil {
		return fmt.Errorf("recording: %w", err)
	}
	a.record, a.start = newScribe(sink), a.stream.seconds()
	return nil
}

// approach records, ramps to the level along the measured response and corrects it until the reference shows it, with the harmonics where that is wanted.
func (a *attempt) approach() (ending, error) {
	bound, err := a.climbTo()
	if err != nil {
		return ending{}, err
	}
	low := slices.Min(a.lines)
	p := newPredistortion(a)
	for range mostTries {
		f, level, err := a.measured()
		if err != nil {
			return ending{}, err
		}
		off := a.off(level)
		more := p.improve(f)
		if off <= levelWell && !more {
			return ending{}, nil
		}
		if bound != "" && off > levelOff {
			return a.short(level, bound), nil
		}
		if a.late() {
			break
		}
		a.correct(level, 1)
		if bound, err = a.steer(a.signal(), max(corrected, correctedCycles/low)); err != nil {
			return ending{}, err
		}
	}
	return ending{"question", fmt.Sprintf("the level did not come within %.2g %% of what is wanted", 100*levelOff), a.choices()}, nil
}

// climbTo leads the drive to the level, by way of a part of it where the low-level response alone must not be trusted, and returns the limit that stood against it.
func (a *attempt) climbTo() (bound string, err error) {
	t, part := softStart(slices.Min(a.lines)), a.firstPart()
	a.aim(a.h, part)
	clear(a.extra)
	if bound, err = a.steer(a.signal(), t); err != nil || part == 1 {
		return bound, err
	}
	if _, _, err := a.measured(); err != nil {
		return "", err
	}
	a.aim(a.ahead(part), 1)
	return a.steer(a.signal(), t/2)
}

// measured is the motion when it has come to rest, and the levels of the lines; the watch and the limiter are told. Responses per drive out of their bounds are an error.
func (a *attempt) measured() (f fit, level []float64, err error) {
	if f, err = a.rest(); err != nil {
		return fit{}, nil, err
	}
	level = a.levels(f)
	if err := a.watch.responses(a.stream.seconds()-a.begun, level, amplitudes(a.driven()), a.h); err != nil {
		return fit{}, nil, err
	}
	a.follow(f, true)
	for i, z := range a.driven() {
		a.known[a.lines[i]] = level[i] / cmplx.Abs(z)
	}
	return f, level, nil
}

// cautious is the part of the limit to which the low-level response alone may lead.
const cautious = lowest

// firstPart is how far the level is approached by the low-level response: where it comes near its limit not all the way, for the response changes with the level.
func (a *attempt) firstPart() float64 { return min(1, cautious/a.share(a.wanted)) }

// aim sets the drives for a part of the levels wanted by responses in m/s² per V.
func (a *attempt) aim(h []float64, part float64) {
	for i, w := range a.wanted {
		a.drive[i] *= complex(part*w/h[i]/cmplx.Abs(a.drive[i]), 0)
	}
}

// ahead are the responses to be expected at the levels wanted, from those of the low-level check and of a part of the level: h(A) = h(0) + c A², as springs make it. The
// limiter counts with them from now on.
func (a *attempt) ahead(part float64) []float64 {
	h := make([]float64, len(a.lines))
	for i, f := range a.lines {
		h[i] = a.h[i] + (a.known[f]-a.h[i])/(part*part)
		h[i] = min(highest*a.h[i], max(lowest*a.h[i], h[i]))
		a.known[f] = h[i]
	}
	return h
}

// driven are the lines' amplitudes as the exciter was last asked for.
func (a *attempt) driven() []complex128 {
	out := make([]complex128, len(a.lines))
	for i, f := range a.lines {
		out[i] = a.limiter.now.at(f)
	}
	return out
}

// off is the largest relative difference of the levels from those wanted.
func (a *attempt) off(level []float64) float64 {
	var off float64
	for i, w := range a.wanted {
		off = max(off, math.Abs(level[i]/w-1))
	}
	return off
}

// correct changes the drive of each line by a part of what its level is off. The response it goes by is bounded by that of the low-level check: no wrong measurement
// of the level leads the drive away.
func (a *attempt) correct(level []float64, part float64) {
	for i, z := range a.driven() {
		h := level[i] / cmplx.Abs(z)
		h = min(highest*a.h[i], max(lowest*a.h[i], h))
		ratio := a.wanted[i] / h / cmplx.Abs(z)
		a.drive[i] = z * complex(math.Pow(ratio, part), 0)
	}
}

// short says that a limit keeps the level down.
func (a *attempt) short(level []float64, bound string) ending {
	return ending{"question", fmt.Sprintf("the level is %.4g of what is wanted: %s", level[0]/a.wanted[0], bound), []Choice{Again, Lower, Skip, Stop}}
}

// late says whether the longest time of the step is over.
func (a *attempt) late() bool { return a.stream.seconds()-a.begun > a.longest[a.number] }

// rest waits until the last change of the drive must have shown and two windows one after the other agree.
func (a *attempt) rest() (fit, error) {
	w, from := a.window(), a.stream.seconds()+a.watch.longest
	freq := a.seenLines()
	var last fit
	seen, apart := false, max(w/2, tellApart)
	if slices.Min(a.lines) < suspension {
		apart = max(apart, restLow)
	}
	for k := 0; ; k++ {
		for until := from + w + float64(k)*apart; a.stream.seconds() < until; {
			if err := a.advance(); err != nil {
				return fit{}, err
			}
		}
		f, err := a.bins.fit(w, freq)
		if err != nil {
			if k > mostWindows {
				return fit{}, err
			}
			continue
		}
		if seen && a.alike(f, last, max(steadyFit, 4*f.std[0]/cmplx.Abs(f.lines[0][0]))) || k >= mostWindows {
			return f, nil
		}
		last, seen = f, true
	}
}

// The watch knows more harmonics than the approximation where a part of a cycle must be judged by its waveform.
const (
	seenUpTo = 6.0 // Hz
	mostSeen = 15
)

// seenLines are the lines of a fit: a single line with its harmonics.
func (a *attempt) seenLines() []float64 {
	freq := slices.Clone(a.lines)
	if len(a.lines) > 1 {
		return freq
	}
	most := max(a.Harmonics, len(a.extra)+1, min(mostSeen, int(seenUpTo/a.lines[0])))
	for h := 2; h <= most && float64(h)*a.lines[0] < 0.45*a.stream.info.Rate; h++ {
		freq = append(freq, float64(h)*a.lines[0])
	}
	return freq
}

// hold keeps the drive and judges block after block until every line is steady or the time is over.
func (a *attempt) hold() (ending, error) {
	a.tell(Event{Kind: "level", Step: a.number, Attempt: a.try, Seconds: a.before + a.stream.seconds(), Text: fmt.Sprintf("%.4g V", a.limiter.now.Peak())})
	if end, ok := a.catchUp(); ok {
		return end, nil
	}
	for k := len(a.series[0]); ; {
		if err := errors.Join(a.slide(), a.advance()); err != nil {
			return ending{}, err
		}
		if len(a.series[0]) == k {
			continue
		}
		k = len(a.series[0])
		if end, ok := a.verdict(); ok {
			return end, nil
		}
		if err := a.blockDone(); err != nil {
			return ending{}, err
		}
	}
}

// catchUp gives the judges the blocks of the approach. Where one of them was satisfied before the last block all blocks are looked at together, as an evaluation will.
func (a *attempt) catchUp() (ending, bool) {
	a.judging = true
	for i, j := range a.judges {
		for k, b := range a.series[i] {
			a.answers[i] = j.Add(b)
			if a.answers[i].State == steady.Steady && k < len(a.series[i])-1 {
				a.look(i)
				break
			}
		}
	}
	return a.verdict()
}

// look judges all blocks of line i together.
func (a *attempt) look(i int) {
	if answer, err := steady.Evaluate(a.step.Judge, a.series[i]); err == nil {
		a.answers[i] = answer
	}
}

// verdict is the end the answers lead to, if any.
func (a *attempt) verdict() (ending, bool) {
	given := a.late()
	if a.doubted {
		a.lookAgain(given)
		if !a.allSteady() {
			return ending{"question", a.unsteady(), a.choices()}, given
		}
		return ending{kind: "steady"}, true
	}
	for i, j := range a.judges {
		given = given || j.Answer().State == steady.NotReached
		if len(a.judges) > 1 && j.Answer().State == steady.Steady && j.Answer().Blocks < len(a.series[i]) {
			a.look(i) // the others took longer
		}
	}
	if given {
		for i, j := range a.judges {
			if a.answers[i].State == steady.Settling {
				a.answers[i] = j.Finish()
			}
		}
	}
	enough := given || float64(a.frames)/a.stream.info.Rate-a.held() >= a.step.Least
	if a.allSteady() && enough {
		a.confirm(given)
	}
	if !a.allSteady() {
		return ending{"question", a.unsteady(), a.choices()}, given
	}
	return ending{kind: "steady"}, enough
}

// held is the time in s of the recording, whole blocks, within which the level was led to its value.
func (a *attempt) held() float64 { return float64(max(a.led, a.size)) / a.stream.info.Rate }

func (a *attempt) choices() []Choice {
	if len(a.series[0]) == 0 {
		return []Choice{Again, Lower, Longer, Skip, Stop}
	}
	return []Choice{Again, Lower, Longer, Keep, Skip, Stop}
}

// unsteady says what speaks against keeping the point.
func (a *attempt) unsteady() string {
	for i, n := range a.answers {
		if n.State != steady.Steady {
			return fmt.Sprintf("%g Hz is not steady after %d blocks: half width of the modulus %.3g of %.3g wanted, of the phase %.3g rad of %.3g rad",
				a.lines[i], n.Blocks, n.Modulus.HalfWidth, a.step.Judge.Modulus, n.Phase.HalfWidth, a.step.Judge.Phase)
		}
	}
	return ""
}

// blockDone compares the block's level with what the drive should make of it, tells the watch, and sets the drive on its way to the level where that wandered off.
func (a *attempt) blockDone() error {
	if err := a.watch.responses(a.stream.seconds()-a.begun, a.level, amplitudes(a.driven()), a.h); err != nil {
		return err
	}
	if f, err := a.bins.fit(max(a.window(), a.step.Block/2), a.seenLines()); err == nil {
		a.follow(f, true)
	}
	if a.off(a.level) > levelOff && a.stream.seconds()-a.step.Block > a.glide.start+a.glide.seconds+a.watch.longest {
		a.correct(a.level, 1)
		a.glide = glide{from: a.limiter.now, to: a.signal(), start: a.stream.seconds(), seconds: a.step.Block}
	}
	return nil
}

// glide is a way from one signal to another that is gone while blocks are judged: so slowly that none of them notices.
type glide struct {
	from, to       Signal
	start, seconds float64
}

// slide goes on along the glide, if there is one.
func (a *attempt) slide() error {
	t := a.stream.seconds()
	if a.glide.to == nil || t < a.limiter.at+oftenest {
		return nil
	}
	part := min(1, (t-a.glide.start)/a.glide.seconds)
	_, err := a.request(between(a.glide.from, a.glide.to, part))
	if part == 1 {
		a.glide.to = nil
	}
	return err
}
