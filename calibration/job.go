package calibration

import (
	"math"
	"time"

	"plumbline/recording"
	"plumbline/uncertainty"
)

// Subject says whose sensitivity is reported.
type Subject uint8

// The subjects. A job must choose one.
const (
	NoSubject    Subject = iota
	OfTransducer         // the stages' transfers are divided out
	OfChain              // transducer with its whole channel: output at the recorder
)

// Job is all that determines the reported values.
type Job struct {
	Number           string
	Performed        time.Time // first day of the measurements
	Until            time.Time // last day
	Subject          Subject
	Device           Device
	Reference        Reference
	DeviceChain      Chain
	ReferenceChain   Chain
	Conditions       Conditions
	Procedure        Procedure
	Scope            []Scope // empty: the laboratory states none
	Points           []PointPlan
	ValidityOverride string  // named reason for calibrating outside the reference certificate's validity; printed
	Seed             uint64  // of the Monte Carlo evaluation
	Clock            float64 // relative standard uncertainty of the recorder's clock; NaN not stated
	Loop             Loop    // of the exciter's level; the zero value: none known
}

// Conditions are the environment during the calibration.
type Conditions struct {
	Temperature          float64 // °C
	TemperatureHalfWidth float64 // K, limits of the transducers' temperature about Temperature
	Humidity             float64 // relative, 0..1; NaN not stated
	Pressure             float64 // Pa; NaN not stated
}

// PointPlan says where the evidence for one point is.
type PointPlan struct {
	Label     string               // for messages, for example "point 3 (20 Hz)"
	Frequency float64              // nominal, Hz
	Level     float64              // nominal level of the input quantity, coherent SI peak; NaN not stated
	Together  []float64            // every line of the recording, this one too, Hz; nil: it holds this one alone
	Recording *recording.Recording // nil for a point that was read off
	Exchanged *recording.Recording // the same point with the transducers exchanged between the channels; nil: not made
	Readings  []Reading            // for a point that was read off
	Block     float64              // s, length of a block of the approximation; 0: whole cycles that the approximation chooses
	Held      float64              // s from the start of the recording, within which the level was led to its value: that part counts for the judge of steadiness alone; 0 none
	Repeat    bool                 // a point before it measured again: compared with it, not reported
}

// Reading is one displayed value.
type Reading struct {
	Time        float64 // s
	Level       float64 // coherent SI peak; NaN not read
	Sensitivity float64 // coherent SI
	Temperature float64 // °C; NaN not read
}

// Procedure is the laboratory's procedure as data: no number that can change a reported value has a default.
type Procedure struct {
	Name, Revision    string
	Method            string  // the standard followed, as the laboratory states it
	Probability       float64 // coverage probability, for example 0.9545
	Trials            int     // Monte Carlo trials; the most, where Digits is above 0
	Digits            int     // significant digits of u and U that shall be stable, 1 or 2: trials are drawn until they are; 0: exactly Trials
	Harmonics         int
	Drift             int
	Mains             float64    // Hz
	LeastPoints       int        // least number of points of a frequency response
	LeastPeriods      float64    // a recording with fewer is refused
	FrequencyRange    [2]float64 // Hz, of the method; outside: deviation
	LevelRange        [2]float64 // m/s² peak, of the method; outside: deviation
	UsableBand        float64    // highest usable frequency as a fraction of the sampling rate
	DisplayResolution [2]float64 // for readings: step of sensitivity (relative to its unit, coherent SI) and of level
	Settling          Settling
	Influences        []Influence
}

// Influence is one influence quantity (VIM 2.52) as the procedure states it.
type Influence struct {
	Key           string           // one of the keys listed by Influences()
	NotApplicable string           // reason; empty where the influence applies
	FromHistory   bool             // drift only: its modulus comes from the reference's earlier calibrations; Bands state the phase alone
	Distribution  string           // one of uncertainty.FormNames()
	Form          uncertainty.Form // what Distribution needs beside its size; its Name and Dof do not count
	Bands         []Band
	Dof           float64    // +Inf where not stated
	Resonance     [2]float64 // mounting only: limits of the mounted resonance, Hz
	Mountings     int        // repeatability only: number of mountings the result is the mean of
	Source        string     // where the numbers come from
}

// Band is the size of an influence in a range of frequency: standard uncertainty (or expanded, where Form.K is stated) where the distribution is normal or Student's t,
// half-width otherwise.
type Band struct {
	From, To float64 // Hz, From < f <= To
	Modulus  float64 // relative (or the influence's own quantity, see its formula)
	Phase    float64 // rad
}

// At returns the band that holds f.
func (in Influence) At(f float64) (Band, bool) {
	for _, b := range in.Bands {
		if f > b.From && f <= b.To {
			return b, true
		}
	}
	return Band{Modulus: math.NaN(), Phase: math.NaN()}, false
}

// Remark is something to know about a result. It travels to footnotes, JSON and page.
type Remark struct {
	Code string // short stable word, for example "mains-harmonic"
	Text string
}

// Result is the outcome of a job.
type Result struct {
	Job        Job
	Points     []Point      // without repeated ones
	Repeats    []Repetition // in the order of the job
	Set        *uncertainty.Set
	Remarks    []Remark // about the whole job
	Deviations []Remark // deviations from the method, printed as such
}

// Point is the result at one frequency. Refused is not empty where there is no value.
type Point struct {
	Plan        PointPlan
	Method      Method // how the value was come by
	Refused     string
	Frequency   float64    // measured on the recorder's clock, Hz; nominal for readings
	Level       float64    // of the input quantity, coherent SI, peak; NaN not known
	Sensitivity complex128 // coherent SI
	HasPhase    bool
	Budget      uncertainty.Budget
	Simulation  uncertainty.Simulation
	Reported    Reported
	Deviation   *Deviation // from the value at the reference frequency; nil where there is none
	OutOfScope  bool       // outside the laboratory's scope
	Evidence    Evidence
	Remarks     []Remark
	Model       uncertainty.Model // for joint statements about several points
	Uses        []int             // inputs of Model
}

// Evaluation names which evaluation a stated uncertainty comes from.
type Evaluation string

// The evaluations.
const (
	FirstOrder Evaluation = "first order"
	MonteCarlo Evaluation = "Monte Carlo"
)

// Reported is the uncertainty that is stated, and which evaluation it comes from.
type Reported struct {
	Evaluation                       Evaluation // of the modulus
	Reason                           string     // why
	EvaluationPhase                  Evaluation
	ReasonPhase                      string
	UModulus                         float64 // expanded, relative
	KModulus                         float64
	UPhase                           float64 // expanded, rad; NaN without phase
	KPhase                           float64
	AgreementModulus, AgreementPhase Agreement // of first order with Monte Carlo
	RaisedModulus                    bool      // U of the modulus was raised to the laboratory's smallest claimable uncertainty
	RaisedPhase                      bool
}

// Deviation is the relative deviation of the modulus from that at the reference frequency.
type Deviation struct {
	Value      float64 // |S(f)|/|S(f_ref)| - 1
	Budget     uncertainty.Budget
	Simulation uncertainty.Simulation
	Reported   Reported
}

// Evidence is what the values rest on.
type Evidence struct {
	Duration, Rate, Periods               float64
	Frames                                int64
	Blocks, Rejected                      int // elementary blocks accepted (readings, where a display was read) and rejected
	FrequencyStd                          float64
	Ratio                                 complex128   // X_D/X_R at the recorder; the mean reading over its unit where a display was read
	LnRatio                               []complex128 // block series of ln(X_D/X_R), accepted blocks
	BlockTime                             []float64    // s
	StdLnRatio                            [2]float64   // experimental standard deviation of the mean, real and imaginary part
	FromResidual                          bool         // type A from the residual of the approximation, because there are too few blocks
	Correlation                           float64      // autocorrelation of neighbouring readings of a display; 0 where it was not estimated
	DofLnRatio                            [2]float64   // degrees of freedom of StdLnRatio
	TrendLeft                             [2]float64   // half the change of ln ratio over the record along a significant straight line, modulus and phase; 0 where there is none
	Exchange                              complex128   // G_D/G_R of the channels as exchanging them showed; 0 where they were not
	AmplitudeReference, AmplitudeDevice   float64      // V peak at the recorder
	StepReference, StepDevice             float64      // V, quantisation step; 0 not known
	DistortionReference, DistortionDevice float64
	ResidualReference, ResidualDevice     float64    // V
	HumReference, HumDevice               float64    // amplitude used for the hum influence, V peak; 0 none
	HumFrom                               string     // recording it was seen in; empty: the point is not on a mains line
	HannDifference                        complex128 // ln ratio with Hann weights minus without
	HannStd                               float64    // standard deviation of it expected from noise
	Judgement                             Judgement  // of its steadiness; where judged, Ratio, StdLnRatio and DofLnRatio are the judge's
	Unrepeated                            [2]float64 // largest difference of ln ratio from a repeated point that its half widths do not explain, modulus and phase; 0 none
}

// Expanded is the expanded uncertainty of Value.
func (d Deviation) Expanded() float64 { return d.Reported.UModulus * (1 + d.Value) }

// statedWithin is how far, relative, the measured frequency may be from the nominal one and the nominal one still be printed beside the results.
const statedWithin = 1e-3

// StatedFrequency is the frequency printed with the result, Hz: the nominal one where the measured one agrees with it within 0.1 %, else the measured one
// (a point asked for at 160 Hz and excited at 158.489 Hz is not a point at 160 Hz).
func (p Point) StatedFrequency() float64 {
	if !(p.Frequency > 0) || math.Abs(p.Frequency/p.Plan.Frequency-1) <= statedWithin {
		return p.Plan.Frequency
	}
	return p.Frequency
}
