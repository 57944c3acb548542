package bench

import (
	"fmt"
	"math"
	"slices"
)

// QuietChannel is what a channel showed with the exciter silent, as it is kept.
type QuietChannel struct {
	Channel   string      `json:"channel"`
	Mean      float64     `json:"mean_v"`
	RMS       float64     `json:"rms_v"`
	Largest   float64     `json:"largest_v"`
	Hum       float64     `json:"hum_v_peak"` // at the mains frequency
	Lines     []QuietLine `json:"lines"`
	Objection string      `json:"objection,omitempty"`
}

// QuietLine is the noise about one frequency of the run.
type QuietLine struct {
	Frequency float64 `json:"frequency_hz"`
	Width     float64 `json:"width_hz"`
	Seen      float64 `json:"seen_v"`
	Expected  float64 `json:"expected_v,omitempty"` // 0: not known
}

const (
	muchNoise  = 5.0 // noise over that expected, from which it is told
	bandCycles = 4   // of the frequency in one look at its noise
	mostQuiet  = 0.2 // V rms with the exciter silent over the channel's limit, from which it is told
)

// quietCheck records both channels with the exciter silent and asks the operator where something speaks against going on.
func (r *run) quietCheck() error {
	for try := 1; ; try++ {
		channels, err := r.listenQuietly(try)
		if err != nil {
			return err
		}
		why := ""
		for _, c := range channels {
			if c.Objection != "" && why == "" {
				why = c.Channel + ": " + c.Objection
			}
		}
		if err := r.note(Entry{Kind: "quiet-check", Step: -1, Text: why, Data: channels}); err != nil {
			return err
		}
		r.tell(Event{Kind: "quiet", Step: -1, Attempt: try, Text: why})
		if why == "" {
			return nil
		}
		again, err := r.askQuiet(try, why)
		if err != nil || !again {
			return err
		}
	}
}

// askQuiet asks whether to go on although the quiet check objects.
func (r *run) askQuiet(try int, why string) (again bool, err error) {
	q := Question{Step: Step{Label: "quiet check"}, Attempt: try, Why: why, Offers: []Choice{Again, Keep, Stop}}
	for {
		d, err := r.Operator.Decide(r.ctx, q)
		switch {
		case err != nil:
			return false, fmt.Errorf("operator: %w", err)
		case d.Choice == Stop:
			return false, ErrStopped
		case d.Choice == Again:
			return true, nil
		case d.Choice == Keep && d.Reason != "" && d.Name != "":
			return false, r.note(Entry{Kind: "decision", Step: -1, Text: why, Data: map[string]string{"choice": string(Keep), "reason": d.Reason, "operator": d.Name}})
		}
		q.Why = why + " (repeat, keep with reason and name, or stop)"
	}
}

// listenQuietly records for the time of the check.
func (r *run) listenQuietly(try int) ([]QuietChannel, error) {
	s, err := openStream(r.ctx, r.Digitizer, [2]Input{r.Reference, r.Device})
	if err != nil {
		return nil, err
	}
	defer s.reader.Close()
	sink, err := r.Archive.Create(Step{Label: "quiet check"}, try, s.info)
	if err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	record := newScribe(sink)
	var x [2][]float64
	for s.seconds() < r.Quiet {
		if err := r.listen(); err != nil {
			return nil, record.lost(err)
		}
		raw, err := s.next(int(s.info.Rate / 20))
		if err == nil {
			err = record.write(raw)
		}
		if err != nil {
			return nil, record.lost(err)
		}
		for c := range x {
			x[c] = append(x[c], s.pair[c]...)
		}
	}
	r.before += s.seconds()
	if _, err := record.keep(Outcome{Step: -1, Attempt: try, Seconds: s.seconds()}); err != nil {
		return nil, err
	}
	r.quietRate = s.info.Rate
	var out []QuietChannel
	for c, in := range s.in {
		q := r.quietChannel(channelNames[c], in, x[c], s.info.Rate)
		r.quiet[c] = x[c]
		out = append(out, q)
	}
	return out, nil
}

// lost discards the recording because of an error and returns both.
func (s *scribe) lost(err error) error {
	if e := s.discard(err.Error()); e != nil {
		return fmt.Errorf("%w; %w", err, e)
	}
	return err
}

// quietChannel judges the samples of one channel in V.
func (r *run) quietChannel(name string, in Input, x []float64, rate float64) QuietChannel {
	q := QuietChannel{Channel: name, Mean: mean(x), RMS: scatter(x)}
	for _, v := range x {
		q.Largest = max(q.Largest, math.Abs(v))
	}
	if r.Mains > 0 && float64(len(x)) > 2*rate/r.Mains {
		cycles := math.Floor(float64(len(x)) / rate * r.Mains)
		q.Hum = lineOf(x[:int(cycles*rate/r.Mains)], r.Mains, rate, q.Mean)
	}
	noisy := ""
	quiet := withoutMains(x, r.Mains, rate)
	for _, f := range r.frequencies() {
		l, ok := band(quiet, f, rate)
		if !ok {
			continue
		}
		if in.Noise != nil {
			l.Expected = in.Noise(f, l.Width)
			if l.Expected > 0 && l.Seen > muchNoise*l.Expected && noisy == "" {
				noisy = fmt.Sprintf("%.3g V of noise within %.3g Hz about %g Hz, %.3g V are expected", l.Seen, l.Width, f, l.Expected)
			}
		}
		q.Lines = append(q.Lines, l)
	}
	switch {
	case slices.Min(x) == slices.Max(x):
		q.Objection = fmt.Sprintf("%.6g V without any change: flat or dead", x[0])
	case in.Limit > 0 && q.Largest >= in.Limit:
		q.Objection = fmt.Sprintf("%.4g V with the exciter silent, the channel ends at %.4g V", q.Largest, in.Limit)
	case in.Limit > 0 && q.RMS > mostQuiet*in.Limit:
		q.Objection = fmt.Sprintf("%.4g V rms with the exciter silent, the channel ends at %.4g V", q.RMS, in.Limit)
	default:
		q.Objection = noisy
	}
	return q
}

// frequencies of all steps, ascending, each once.
func (r *run) frequencies() []float64 {
	var f []float64
	for _, s := range r.Steps {
		for _, l := range s.Lines {
			f = append(f, l.Frequency)
		}
	}
	slices.Sort(f)
	return slices.Compact(f)
}

// Lines of the mains that are taken off before the noise about a frequency is judged: an evaluation takes them off too.
const (
	mainsLines = 10
	mainsPiece = 0.5 // s over which a line keeps its phase well enough
)

// withoutMains is x less the lines of the mains, piece by piece.
func withoutMains(x []float64, mains, rate float64) []float64 {
	out := slices.Clone(x)
	n := int(math.Round(math.Floor(mainsPiece*mains) / mains * rate))
	if !(mains > 0) || n < 2 {
		return out
	}
	for from := 0; from+n <= len(out); from += n {
		piece := out[from : from+n]
		for h := 1; h <= mainsLines && float64(h)*mains < rate/2; h++ {
			var s, c float64
			middle := mean(piece)
			for i, v := range piece {
				sin, cos := math.Sincos(2 * math.Pi * float64(h) * mains * float64(i) / rate)
				s, c = s+(v-middle)*sin, c+(v-middle)*cos
			}
			s, c = 2*s/float64(n), 2*c/float64(n)
			for i := range piece {
				sin, cos := math.Sincos(2 * math.Pi * float64(h) * mains * float64(i) / rate)
				piece[i] -= s*sin + c*cos
			}
		}
	}
	return out[:len(out)/n*n]
}

// band is the noise in V rms within 1/T about f, the root of the mean square over looks of T = bandCycles/f; ok is false where fewer than two looks fit.
func band(x []float64, f, rate float64) (QuietLine, bool) {
	n := int(bandCycles * rate / f)
	if n < 8 || len(x) < 2*n {
		return QuietLine{}, false
	}
	var sum float64
	looks := 0
	for from := 0; from+n <= len(x); from += n {
		a := lineOf(x[from:from+n], f, rate, mean(x[from:from+n]))
		sum += a * a / 2
		looks++
	}
	return QuietLine{Frequency: f, Width: rate / float64(n), Seen: math.Sqrt(sum / float64(looks))}, true
}

// lineOf is the amplitude at f of samples that hold whole cycles of it, less their mean.
func lineOf(x []float64, f, rate, mean float64) float64 {
	var s, c float64
	for i, v := range x {
		sin, cos := math.Sincos(2 * math.Pi * f * float64(i) / rate)
		s, c = s+(v-mean)*sin, c+(v-mean)*cos
	}
	return 2 * math.Hypot(s, c) / float64(len(x))
}
