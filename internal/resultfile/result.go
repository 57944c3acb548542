// Package resultfile is the machine-readable result of a calibration: versioned JSON with every figure unrounded.
package resultfile

import (
	"encoding/json"
	"io"
)

// Schema names this version of the format. A reader refuses a schema it does not know.
const Schema = "plumbline/result/1"

// Result is the file. Numbers that do not exist are absent, never zero.
type Result struct {
	Schema     string      `json:"schema"`
	Program    Program     `json:"program"`
	Job        Job         `json:"job"`
	Device     Asset       `json:"device"`
	Reference  Reference   `json:"reference"`
	Procedure  Procedure   `json:"procedure"`
	Points     []Point     `json:"points"`
	Repeats    []Repeat    `json:"repeats,omitempty"`
	Conformity []Statement `json:"conformity"`
	Overall    string      `json:"overall_verdict"`
	Remarks    []Remark    `json:"remarks"`
	Deviations []Remark    `json:"deviations_from_method"`
	Files      []File      `json:"files"` // every file the result was computed from
}

// Program is the software that computed the result.
type Program struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// File identifies one file by the SHA-256 of its bytes.
type File struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

// Job is what was asked.
type Job struct {
	Number         string `json:"number"`
	Certificate    string `json:"certificate_number,omitempty"`
	Performed      string `json:"performed"`
	Until          string `json:"performed_until,omitempty"`
	SensitivityOf  string `json:"sensitivity_of"` // "transducer" or "chain"
	Source         string `json:"source"`         // "recordings" or "readings"
	ValidityReason string `json:"validity_override,omitempty"`
	Invented       bool   `json:"invented,omitempty"`
}

// Asset identifies a transducer.
type Asset struct {
	Kind               string   `json:"kind"`
	Maker              string   `json:"maker,omitempty"`
	Model              string   `json:"model"`
	Serial             string   `json:"serial"`
	Nominal            *float64 `json:"nominal_sensitivity,omitempty"`
	Unit               string   `json:"unit"` // UCUM
	ReferenceFrequency *float64 `json:"reference_frequency_Hz,omitempty"`
}

// Reference is the measurement standard with its certificate.
type Reference struct {
	Asset
	Certificate string  `json:"certificate"`
	Laboratory  string  `json:"laboratory"`
	Date        string  `json:"date"`
	ValidUntil  string  `json:"valid_until,omitempty"`
	Correlation float64 `json:"correlation_over_frequency"`
}

// Procedure is the laboratory's procedure.
type Procedure struct {
	Name        string      `json:"name"`
	Revision    string      `json:"revision,omitempty"`
	Method      string      `json:"method"`
	Probability float64     `json:"coverage_probability"`
	Trials      int         `json:"monte_carlo_trials"`           // the most, where digits shall be stable
	Digits      int         `json:"monte_carlo_digits,omitempty"` // significant digits of u and U that shall be stable
	Influences  []Influence `json:"influences"`
	Settling    *Settling   `json:"settling,omitempty"` // absent: the procedure says nothing of it
}

// Settling is how the procedure has steadiness judged. Half widths are at 95 %.
type Settling struct {
	NotApplicable string         `json:"not_applicable,omitempty"`
	Rule          string         `json:"rule,omitempty"`
	Modulus       *float64       `json:"half_width_modulus,omitempty"`
	Phase         *float64       `json:"half_width_phase_deg,omitempty"`
	Level         bool           `json:"level_of_reference,omitempty"`
	Slow          []TimeConstant `json:"time_constants,omitempty"`
}

// TimeConstant is something slow.
type TimeConstant struct {
	Source  string  `json:"source"`
	Seconds float64 `json:"time_s"`
}

// Influence is what the procedure says of one influence quantity.
type Influence struct {
	Key           string   `json:"key"`
	NotApplicable string   `json:"not_applicable,omitempty"`
	Distribution  string   `json:"distribution,omitempty"`
	Top           float64  `json:"top,omitempty"`              // trapezoidal: of the base
	Limit         float64  `json:"limit_half_width,omitempty"` // curvilinear trapezoid: of the half-width
	Factors       []string `json:"factors,omitempty"`          // product
	K             float64  `json:"k,omitempty"`                // the sizes are expanded uncertainties with it
	Dof           *float64 `json:"dof,omitempty"`              // absent: infinite
	Source        string   `json:"source,omitempty"`
}

// Point is the result at one frequency.
type Point struct {
	Nominal      float64      `json:"nominal_frequency_Hz"`
	Refused      string       `json:"refused,omitempty"`
	Method       string       `json:"method,omitempty"`
	Frequency    *float64     `json:"frequency_Hz,omitempty"`
	FrequencyStd *float64     `json:"frequency_standard_uncertainty_Hz,omitempty"`
	Level        *Quantity    `json:"level_peak,omitempty"`
	Recording    *File        `json:"recording,omitempty"`
	Exchanged    *File        `json:"exchanged_recording,omitempty"`
	Readings     int          `json:"readings,omitempty"`
	Sensitivity  *Sensitivity `json:"sensitivity,omitempty"`
	Deviation    *Deviation   `json:"deviation_from_reference_frequency,omitempty"`
	OutOfScope   bool         `json:"outside_scope,omitempty"`
	FirstOrder   *Evaluation  `json:"first_order,omitempty"`
	MonteCarlo   *Simulation  `json:"monte_carlo,omitempty"`
	Budget       []Row        `json:"budget,omitempty"`
	Evidence     *Evidence    `json:"evidence,omitempty"`
	Remarks      []Remark     `json:"remarks,omitempty"`
}

// Quantity is a number with its unit in UCUM.
type Quantity struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// Sensitivity is the complex sensitivity with its expanded uncertainty.
type Sensitivity struct {
	SI       Quantity  `json:"modulus_SI"`
	Modulus  Quantity  `json:"modulus"`                     // in the device's unit
	Phase    *float64  `json:"phase_deg,omitempty"`         // positive: output leads; exp(+jωt)
	ModulusU Expanded  `json:"modulus_uncertainty"`         // relative
	PhaseU   *Expanded `json:"phase_uncertainty,omitempty"` // deg
}

// Expanded is a stated expanded uncertainty.
type Expanded struct {
	U          float64   `json:"U"`
	K          *float64  `json:"k,omitempty"`
	Evaluation string    `json:"evaluation"`
	Reason     string    `json:"reason"`
	Raised     bool      `json:"raised_to_scope,omitempty"`
	Compared   *Compared `json:"comparison,omitempty"` // of first order with Monte Carlo
}

// Compared is the comparison of the first-order interval with the Monte Carlo one, in the unit of U.
type Compared struct {
	Outcome   string  `json:"first_order"` // "validated", "overstates" or "understates"
	Low       float64 `json:"difference_low"`
	High      float64 `json:"difference_high"`
	Tolerance float64 `json:"tolerance"`
}

// Deviation is the relative deviation of the modulus from that at the reference frequency.
type Deviation struct {
	Value       float64  `json:"value"`       // relative
	Uncertainty Expanded `json:"uncertainty"` // relative
}

// Evaluation is the first-order evaluation: relative for the modulus, deg for the phase.
type Evaluation struct {
	StdModulus  float64  `json:"u_modulus"`
	DofModulus  *float64 `json:"dof_modulus,omitempty"` // absent: infinite
	KModulus    float64  `json:"k_modulus"`
	UModulus    float64  `json:"U_modulus"`
	StdPhase    *float64 `json:"u_phase_deg,omitempty"`
	DofPhase    *float64 `json:"dof_phase,omitempty"`
	KPhase      *float64 `json:"k_phase,omitempty"`
	UPhase      *float64 `json:"U_phase_deg,omitempty"`
	Correlation *float64 `json:"correlation,omitempty"`
}

// Simulation is the Monte Carlo evaluation: modulus relative to the value, phase about it in deg.
type Simulation struct {
	Trials  int       `json:"trials"`           // drawn and used
	Stable  *bool     `json:"stable,omitempty"` // the digits asked for are stable; absent: none were
	Seed    uint64    `json:"seed"`
	Modulus Interval  `json:"modulus"`
	Phase   *Interval `json:"phase_deg,omitempty"`
}

// Interval is a Monte Carlo coverage interval.
type Interval struct {
	Mean         *float64 `json:"mean,omitempty"`
	Std          *float64 `json:"standard_deviation,omitempty"`
	Low          float64  `json:"low"`
	High         float64  `json:"high"`
	ShortestLow  float64  `json:"shortest_low"`
	ShortestHigh float64  `json:"shortest_high"`
}

// Row is one influence of the budget.
type Row struct {
	Influence    string   `json:"influence"`
	Distribution string   `json:"distribution"`
	UModulus     float64  `json:"u_modulus"`
	DofModulus   *float64 `json:"dof_modulus,omitempty"`
	ShareModulus float64  `json:"share_modulus"`
	UPhase       *float64 `json:"u_phase_deg,omitempty"`
	DofPhase     *float64 `json:"dof_phase,omitempty"`
	SharePhase   *float64 `json:"share_phase,omitempty"`
}

// Evidence is what the value rests on.
type Evidence struct {
	Rate                *float64  `json:"samples_per_second,omitempty"`
	Duration            *float64  `json:"duration_s,omitempty"`
	Frames              int64     `json:"frames,omitempty"`
	Periods             *float64  `json:"periods,omitempty"`
	Blocks              int       `json:"blocks"`
	Rejected            int       `json:"blocks_rejected"`
	AmplitudeReference  *float64  `json:"amplitude_reference_V,omitempty"`
	AmplitudeDevice     *float64  `json:"amplitude_device_V,omitempty"`
	DistortionReference *float64  `json:"distortion_reference,omitempty"`
	DistortionDevice    *float64  `json:"distortion_device,omitempty"`
	ResidualReference   *float64  `json:"residual_reference_V,omitempty"`
	ResidualDevice      *float64  `json:"residual_device_V,omitempty"`
	HumReference        *float64  `json:"hum_reference_V,omitempty"`
	HumDevice           *float64  `json:"hum_device_V,omitempty"`
	HumFrom             string    `json:"hum_from,omitempty"`
	HannModulus         *float64  `json:"hann_difference_modulus,omitempty"`
	HannPhase           *float64  `json:"hann_difference_phase_deg,omitempty"`
	BlockTime           []float64 `json:"block_time_s,omitempty"`
	BlockLnModulus      []float64 `json:"block_ln_modulus,omitempty"`
	BlockPhase          []float64 `json:"block_phase_rad,omitempty"`

	Steadiness *Steadiness `json:"steadiness,omitempty"` // absent: the procedure does not have it judged
}

// Steadiness is what the judge found of one point. Half widths are at 95 %; of two recordings with the channels exchanged they are those of the mean.
type Steadiness struct {
	State         string      `json:"state"` // "steady", "not reached", "not judged"
	Why           string      `json:"why_not_judged,omitempty"`
	HalfModulus   *float64    `json:"half_width_modulus,omitempty"`
	HalfPhase     *float64    `json:"half_width_phase_deg,omitempty"`
	WantedModulus *float64    `json:"wanted_modulus,omitempty"`
	WantedPhase   *float64    `json:"wanted_phase_deg,omitempty"`
	Block         *float64    `json:"block_s,omitempty"`
	TauMax        *float64    `json:"tau_max_s,omitempty"`
	From          string      `json:"tau_max_from,omitempty"`
	Slowest       *float64    `json:"slowest_time_constant_s,omitempty"` // of what tau_max comes from; tau_max is at least four blocks
	Recordings    []Component `json:"recordings,omitempty"`
}

// Component is what the judge found in one recording.
type Component struct {
	Blocks    int      `json:"blocks"`
	Discarded int      `json:"blocks_discarded"`
	Replaced  int      `json:"blocks_replaced"`
	TauMax    float64  `json:"tau_max_used_s"` // more than told where the level of the reference showed more
	Tau       *float64 `json:"transient_s,omitempty"`
	Left      *float64 `json:"transient_left_modulus,omitempty"`     // at the last block; taken off the value
	LeftPhase *float64 `json:"transient_left_phase_deg,omitempty"`   // likewise
	Phi       *float64 `json:"correlation_of_neighbours,omitempty"`  // of the modulus
	DofM      *float64 `json:"degrees_of_freedom_modulus,omitempty"` // of its half width
	DofP      *float64 `json:"degrees_of_freedom_phase,omitempty"`
}

// Repeat is a point that was measured again, compared with the first time.
type Repeat struct {
	Nominal float64     `json:"nominal_frequency_Hz"`
	Refused string      `json:"not_compared,omitempty"`
	Modulus *Comparison `json:"modulus,omitempty"`   // relative
	Phase   *Comparison `json:"phase_deg,omitempty"` // deg
	Point   Point       `json:"point"`               // the second time
}

// Comparison is a difference, first less again, beside what the half widths of the two at 95 % explain.
type Comparison struct {
	Difference float64 `json:"difference"`
	Explained  float64 `json:"explained"`
	Exceeds    bool    `json:"exceeds"`
}

// Statement is one statement of conformity.
type Statement struct {
	Subject     string   `json:"subject"`
	Requirement string   `json:"requirement"`
	Frequency   float64  `json:"frequency_Hz"`
	Value       *float64 `json:"value,omitempty"`
	U           *float64 `json:"U,omitempty"`
	Unit        string   `json:"unit"`
	Lower       *float64 `json:"lower_limit,omitempty"`
	Upper       *float64 `json:"upper_limit,omitempty"`
	AcceptLower *float64 `json:"lower_acceptance_limit,omitempty"`
	AcceptUpper *float64 `json:"upper_acceptance_limit,omitempty"`
	Rule        string   `json:"rule"`
	Evaluation  string   `json:"evaluation"`
	Trials      int      `json:"trials,omitempty"` // behind the probability, where it comes from Monte Carlo
	Verdict     string   `json:"verdict"`
	Risk        *float64 `json:"probability_outside_tolerance,omitempty"`
	Global      *Global  `json:"global_risk,omitempty"`
	Remarks     []string `json:"remarks,omitempty"`
}

// Global is what the rule does to many items like the one judged.
type Global struct {
	Prior      string  `json:"prior"`
	Conforming float64 `json:"within_tolerance"`
	Accepted   float64 `json:"accepted"`
	Consumer   float64 `json:"accepted_though_outside"`
	Producer   float64 `json:"rejected_though_within"`
}

// Remark is something to know.
type Remark struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Write writes the result as indented JSON. The same result gives the same bytes.
func Write(w io.Writer, r Result) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(r)
}
