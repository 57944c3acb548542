// Package calibration turns recordings of a reference and a device under test into complex sensitivity with an uncertainty budget.
package calibration

import (
	"time"

	"plumbline/quantity"
)

// Identity names one physical thing. All of Kind, Model and Serial are mandatory.
type Identity struct {
	Kind   string // for example "accelerometer, piezoelectric with built-in electronics"
	Maker  string // may be empty
	Model  string
	Serial string
}

// Document is a calibration certificate of an asset.
type Document struct {
	Number     string
	Laboratory string
	Date       time.Time
	ValidUntil time.Time // zero where the document states none
}

// Transducer is what is common to the device under test and the reference.
type Transducer struct {
	Identity
	Unit                 quantity.Unit // unit sensitivities are printed in, output per input, for example V/g; its dimension says acceleration, velocity or displacement
	Nominal              float64       // nominal sensitivity, coherent SI
	ReferenceFrequency   float64       // Hz
	Range                float64       // coherent SI of the input quantity, peak; 0 not stated
	Mass                 float64       // kg; 0 not stated
	TimeConstant         float64       // discharge time constant in s; 0 not stated (DC response or unknown)
	Temperature          Coefficient   // of sensitivity, 1/K
	ReferenceTemperature float64       // °C the sensitivity refers to
	Transverse           float64       // maximum transverse sensitivity, relative; NaN not stated
}

// Coefficient is a value with its standard uncertainty. Stated is false where the asset file is silent.
type Coefficient struct {
	Value, Std float64
	Stated     bool
}

// Device is the device under test.
type Device struct {
	Transducer
	Tolerance      float64          // of the sensitivity at the reference frequency, relative to nominal; 0 none
	Flatness       float64          // of the deviation from the sensitivity at the reference frequency, relative; 0 none
	FlatnessBand   [2]float64       // Hz; zero: all points
	PhaseTolerance float64          // of the phase from PhaseNominal, rad; 0 none
	PhaseNominal   float64          // rad; π for a device of inverted polarity
	PhaseBand      [2]float64       // Hz, of PhaseTolerance; zero: at the reference frequency alone
	Limits         []FrequencyLimit // further limits, each of one quantity at one frequency or in one band
	Condition      string           // condition on receipt, may be empty
}

// LimitedQuantity says what a FrequencyLimit is about.
type LimitedQuantity uint8

// The quantities limited.
const (
	LimitedSensitivity LimitedQuantity = iota + 1 // from the nominal one, relative
	LimitedDeviation                              // from the sensitivity at the reference frequency, relative
	LimitedPhase                                  // from PhaseNominal, rad
)

// FrequencyLimit is one line of a device's table of limits.
type FrequencyLimit struct {
	Of           LimitedQuantity
	From, To     float64 // Hz, both included; equal: at one frequency
	Lower, Upper float64 // -Inf or +Inf: no limit on that side
}

// Reference is the measurement standard: a reference transducer, or an instrument with built-in reference whose display is read.
type Reference struct {
	Transducer
	StatesLevel bool // the reference is an exciter that states its level; the device's output is recorded against it
	Certificate Document
	Table       []CalibratedPoint // ascending frequency
	History     []HistoryPoint    // earlier calibrations, in any order
	Correlation float64           // correlation coefficient of the certificate's errors between different frequencies, 0..1, as stated in the asset file
}

// CalibratedPoint is one line of a reference certificate. For an instrument that is read, Modulus is the factor true/displayed (1: no correction).
type CalibratedPoint struct {
	Frequency  float64 // Hz
	Modulus    float64 // coherent SI
	Phase      float64 // rad; NaN where not calibrated
	StdModulus float64 // U/k, relative
	StdPhase   float64 // U/k, rad; NaN where not calibrated
}

// Corner is a first-order high-pass or low-pass of a channel.
type Corner struct {
	Frequency float64 // Hz
	Std       float64 // standard uncertainty of it, relative
	LowPass   bool
}

// Stage is one piece of a measuring channel: a conditioning amplifier or a recorder channel.
type Stage struct {
	Identity
	Channel                string        // channel of the instrument, for example "3"
	FullScale              float64       // V, half the span: ±FullScale; recorder channels only
	Resolution             float64       // V, one quantisation step; 0: from the recording's bits
	Gain                   float64       // coherent SI (V/V is 1, V/C ...)
	GainUnit               quantity.Unit // as stated
	StdGain                float64       // relative, independent part
	StdGainSource          float64       // relative, part common to all stages with the same Source
	Source                 string        // calibration source behind StdGainSource
	Corners                []Corner
	Delay                  float64         // s, positive: output later
	StdDelay               float64         // s
	Table                  []TransferPoint // measured transfer, multiplied with gain, corners and delay; empty: none
	CoupledAC              bool
	LargestPlausibleCorner float64  // Hz; for an AC coupled stage of unknown corner
	Settings               string   // range, filter and supply settings as printed on the certificate
	Certificate            Document // may be empty
}

// TransferPoint is one line of a measured complex transfer of a stage.
type TransferPoint struct {
	Frequency, Modulus, Phase, StdModulus, StdPhase float64 // Hz, relative to Gain, rad, relative, rad
}

// Chain is the stages from transducer output to samples, in order of the signal; the last is the recorder channel.
type Chain struct {
	Stages []Stage
	Column int // channel of the recording, 1-based
}

// Scope is one band of the laboratory's smallest claimable expanded uncertainty.
type Scope struct {
	From, To float64 // Hz
	Modulus  float64 // relative, expanded
	Phase    float64 // rad, expanded; NaN: phase not in scope
}
