package plan

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"plumbline/calibration"
	"plumbline/quantity"
)

// Exciter is a vibration exciter with what is mounted on it.
type Exciter struct {
	calibration.Identity
	Stroke         float64    // m, peak to peak
	Velocity       float64    // m/s peak; 0 not stated
	Force          float64    // N peak; 0 not stated
	Cap            float64    // m/s² peak, highest level whatever the load; 0 none
	Armature       float64    // kg, moving mass of the exciter
	Fixture        float64    // kg, what is mounted besides the transducers
	Suspension     float64    // Hz, resonance of the bare armature on its suspension; 0 none (air bearing)
	Vertical       bool       // the payload's weight acts along the stroke
	Centred        bool       // the exciter takes the payload's weight itself (air or direct current), so nothing sags
	FrequencyRange [2]float64 // Hz
	Distortion     []Share    // of the acceleration at the levels planned, relative; ascending frequency; empty: not stated
	Transverse     []Share    // transverse motion relative to the main motion; empty: not stated
	LoopTime       float64    // s, time constant of the level loop
	LoopCycles     float64    // the part of it that is a number of cycles
	ChangeOver     float64    // s, from the end of one point to the drive of the next
	WarmUp         float64    // s, of exciter and amplifier; 0 none stated
}

// Names of the limits of a level.
const (
	Stroke            = "stroke"
	Velocity          = "velocity"
	Force             = "force"
	LevelCap          = "level cap"
	DeviceRange       = "device range"
	ReferenceRange    = "reference range"
	DeviceRecorder    = "recorder range, device channel"
	ReferenceRecorder = "recorder range, reference channel"
)

// Limit is the highest level that one cause admits at one frequency.
type Limit struct {
	Name  string
	Level float64 // m/s² peak
}

// FromStroke is the acceleration in m/s² peak of a displacement of x metres peak at f in Hz.
func FromStroke(x, f float64) float64 {
	return quantity.Displacement.To(quantity.Acceleration, x, f)
}

// FromVelocity is the acceleration in m/s² peak of a velocity of v in m/s peak at f in Hz.
func FromVelocity(v, f float64) float64 {
	return quantity.Velocity.To(quantity.Acceleration, v, f)
}

// Sag is how far, in m, the payload's weight pulls the table from the middle of the stroke: m g/k with the suspension's stiffness k = M (2π f_s)².
func (e Exciter) Sag(payload float64) float64 {
	if !e.Vertical || e.Centred || e.Suspension == 0 {
		return 0
	}
	omega := 2 * math.Pi * e.Suspension
	return payload / e.Armature * quantity.StandardGravity / (omega * omega)
}

// forcePerLevel is the force in N for 1 m/s² at f: the moving mass, more below the loaded suspension resonance, where the spring takes it. Near the
// resonance, where less is needed, nothing is credited: |1 - (f_s/f)²| is taken as at least 1.
func (e Exciter) forcePerLevel(payload, f float64) float64 {
	mass := e.Armature + payload
	loaded := e.Suspension * e.Suspension * e.Armature / mass
	return mass * max(1, loaded/(f*f)-1)
}

// limits are the exciter's own limits at f with a payload in kg.
func (e Exciter) limits(payload, f float64) []Limit {
	all := []Limit{{Stroke, FromStroke(max(0, e.Stroke/2-e.Sag(payload)), f)}}
	if e.Velocity > 0 {
		all = append(all, Limit{Velocity, FromVelocity(e.Velocity, f)})
	}
	if e.Force > 0 {
		all = append(all, Limit{Force, e.Force / e.forcePerLevel(payload, f)})
	}
	if e.Cap > 0 {
		all = append(all, Limit{LevelCap, e.Cap})
	}
	return all
}

// crest is the peak of the motion over that of its fundamental: the harmonics at worst add up.
func (e Exciter) crest(f float64) float64 {
	d, _ := shareAt(e.Distortion, f)
	return 1 + d
}

func (e Exciter) validate() error {
	var errs []error
	need := func(ok bool, name string, value float64, allowed string) {
		if !ok {
			errs = append(errs, fmt.Errorf("exciter %s: %s %g, allowed are %s", e.Serial, name, value, allowed))
		}
	}
	need(e.Stroke > 0, "stroke", e.Stroke, "values above zero")
	need(e.Velocity >= 0, "velocity", e.Velocity, "values above zero")
	need(e.Force >= 0, "force", e.Force, "values above zero")
	need(e.Armature > 0 || e.Force == 0 && e.Suspension == 0, "armature mass", e.Armature, "values above zero where force or suspension count")
	need(e.Fixture >= 0, "fixture mass", e.Fixture, "values of zero or above")
	need(e.LoopTime >= 0 && e.LoopCycles >= 0 && e.LoopTime+e.LoopCycles > 0, "level-loop time", e.LoopTime, "a time, a number of cycles, or both")
	need(e.ChangeOver >= 0, "change-over", e.ChangeOver, "values of zero or above")
	need(e.FrequencyRange[1] > e.FrequencyRange[0] && e.FrequencyRange[0] >= 0, "range of frequency from", e.FrequencyRange[0], "two frequencies, lower first")
	for _, t := range []struct {
		name string
		rows []Share
	}{{"distortion", e.Distortion}, {"transverse motion", e.Transverse}} {
		if !slices.IsSortedFunc(t.rows, func(a, b Share) int { return cmp.Compare(a.Frequency, b.Frequency) }) {
			errs = append(errs, fmt.Errorf("exciter %s: its table of %s is not in ascending order of frequency", e.Serial, t.name))
		}
	}
	return errors.Join(errs...)
}

// Loop is the loop that controls the level.
func (e Exciter) Loop() calibration.Loop {
	return calibration.Loop{Exciter: e.Serial, Time: e.LoopTime, Cycles: e.LoopCycles}
}
