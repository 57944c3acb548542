package lab

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"plumbline/bench"
	"plumbline/internal/jobfile"
	"plumbline/quantity"
	"plumbline/steady"
)

// How far from the interval wanted a reading may be taken, as factors: an evaluation wants equal intervals within a factor of two.
const (
	soonest = 0.71
	latest  = 1.41
)

// LeastReadings is the least number of readings of a point that can be evaluated.
const LeastReadings = 4

// Series is the values read off a display at one point, judged as they come. It is not safe for concurrent use.
type Series struct {
	bench    jobfile.ReadingsBench
	settings steady.Settings
	entries  []Entry
	judge    *steady.Judge
	retake   time.Time // of the reading that was taken back, for the value that is typed in its place; zero: none
}

// Entry is one value that was read.
type Entry struct {
	At          time.Time
	Sensitivity quantity.Value
	Level       *quantity.Value // nil: not read
}

// Series begins the readings of a step.
func (m *Measurement) Series(s bench.Step) (*Series, error) {
	judge, err := steady.NewJudge(s.Judge)
	if err != nil {
		return nil, err
	}
	return &Series{bench: m.Bench.Readings, settings: s.Judge, judge: judge}, nil
}

// Due is when the next reading is to be taken; the zero time: now.
func (s *Series) Due() time.Time {
	if len(s.entries) == 0 || !s.retake.IsZero() {
		return time.Time{}
	}
	return s.entries[len(s.entries)-1].At.Add(seconds(s.bench.Interval))
}

func seconds(x float64) time.Duration { return time.Duration(x * float64(time.Second)) }

// Add takes what was typed at a moment. Begun says that the series begins with it, because it came so late that the intervals would not be equal. An error says why it was not taken.
func (s *Series) Add(at time.Time, text string) (e Entry, begun bool, err error) {
	if e, err = s.parse(text); err != nil {
		return e, false, err
	}
	if !s.retake.IsZero() {
		e.At, s.retake = s.retake, time.Time{}
		s.entries = append(s.entries, e)
		return e, false, s.again()
	}
	e.At = at
	if n := len(s.entries); n > 0 {
		passed := at.Sub(s.entries[n-1].At).Seconds()
		switch {
		case passed < soonest*s.bench.Interval:
			return e, false, fmt.Errorf("taken %.3g s after the last reading, one each %.3g s is wanted: wait %.2g s more", passed, s.bench.Interval, s.bench.Interval-passed)
		case passed > latest*s.bench.Interval:
			s.entries, begun = nil, true
		}
	}
	s.entries = append(s.entries, e)
	if begun || len(s.entries) == 1 {
		return e, begun, s.again()
	}
	s.judge.Add(blockOfReading(e))
	return e, false, nil
}

func blockOfReading(e Entry) steady.Block {
	return steady.Block{LnRatio: complex(math.Log(e.Sensitivity.SI), 0)}
}

// Undo takes the last reading back, as one that was mistyped: what is typed next was read when it was.
func (s *Series) Undo() error {
	if len(s.entries) == 0 {
		return fmt.Errorf("there is no reading to take back")
	}
	s.retake = s.entries[len(s.entries)-1].At
	s.entries = s.entries[:len(s.entries)-1]
	return s.again()
}

// again judges all entries anew.
func (s *Series) again() (err error) {
	if s.judge, err = steady.NewJudge(s.settings); err != nil {
		return err
	}
	for _, e := range s.entries {
		s.judge.Add(blockOfReading(e))
	}
	return nil
}

// parse reads a sensitivity and, where the bench has it typed, a level; numbers are in the units of the display, or bring their own.
func (s *Series) parse(text string) (e Entry, err error) {
	fields := strings.Fields(text)
	first, rest := text, ""
	if s.bench.Level != "" && len(fields) == 2 {
		first, rest = fields[0], fields[1]
	}
	if e.Sensitivity, err = valueOf(first, s.bench.Unit, quantity.Sensitivity); err != nil {
		return e, err
	}
	if s.bench.Level == "" {
		return e, nil
	}
	if rest == "" {
		return e, fmt.Errorf("%q: the level is missing: type the sensitivity in %s, a blank, and the level in %s", text, s.bench.Unit, s.bench.Level)
	}
	level, err := valueOf(rest, s.bench.Level, quantity.Level)
	e.Level = &level
	return e, err
}

// valueOf is a number in a unit, or a value with its own unit. A decimal comma is taken.
func valueOf(text, unit string, kind quantity.Kind) (quantity.Value, error) {
	number := strings.Replace(strings.TrimSpace(text), ",", ".", 1)
	if _, err := strconv.ParseFloat(number, 64); err == nil {
		return quantity.Parse(number+" "+unit, kind)
	}
	return quantity.Parse(text, kind)
}

// Count is the number of readings.
func (s *Series) Count() int { return len(s.entries) }

// Answer is what the judge says so far.
func (s *Series) Answer() steady.Answer { return s.judge.Answer() }

// Mean is the displayed sensitivity as judged, or the plain mean while nothing can be said, in the unit of the display.
func (s *Series) Mean() float64 {
	a := s.judge.Answer().Modulus
	ln := a.Mean
	if a.HalfWidth == 0 {
		ln = 0
		for _, e := range s.entries {
			ln += math.Log(e.Sensitivity.SI) / float64(len(s.entries))
		}
	}
	v, err := quantity.Parse("1 "+s.bench.Unit, quantity.Sensitivity)
	if err != nil || len(s.entries) == 0 {
		return math.NaN()
	}
	return math.Exp(ln) / v.SI
}

// Outcome is what a step of readings came to.
func (s *Series) Outcome(step int, reason, operator string) bench.Outcome {
	o := bench.Outcome{Step: step, Answers: []steady.Answer{s.judge.Answer()}, Reason: reason, Operator: operator}
	if n := len(s.entries); n > 0 {
		o.Seconds = s.entries[n-1].At.Sub(s.entries[0].At).Seconds()
	}
	return o
}

// Write writes the readings as a CSV file that a job file can name: times from the first one on, values as they were typed.
func (s *Series) Write(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# read %s\ntime_s;sensitivity [%s]", s.entries[0].At.UTC().Format(time.RFC3339), s.bench.Unit)
	if s.bench.Level != "" {
		fmt.Fprintf(&b, ";level [%s]", s.bench.Level)
	}
	b.WriteByte('\n')
	for _, e := range s.entries {
		fmt.Fprintf(&b, "%.2f;%s", e.At.Sub(s.entries[0].At).Seconds(), inUnit(e.Sensitivity, s.bench.Unit, quantity.Sensitivity))
		if e.Level != nil {
			fmt.Fprintf(&b, ";%s", inUnit(*e.Level, s.bench.Level, quantity.Level))
		}
		b.WriteByte('\n')
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// inUnit is a value as a number in the unit of the display.
func inUnit(v quantity.Value, unit string, kind quantity.Kind) string {
	one, err := quantity.Parse("1 "+unit, kind)
	if err != nil {
		return strconv.FormatFloat(v.SI, 'g', -1, 64)
	}
	return strconv.FormatFloat(v.SI/one.SI, 'g', 12, 64)
}
