package calibration

import (
	"math"

	"plumbline/steady"
)

// Loop is the loop that controls the exciter's level.
type Loop struct {
	Exciter string  // serial
	Time    float64 // s, time constant
	Cycles  float64 // the part of it that is a number of cycles
}

// At is the time constant of the loop at f in Hz, in s.
func (l Loop) At(f float64) float64 { return l.Time + l.Cycles/f }

// straightWithin: a decay slower than this many blocks is a straight line within one, which a drift term of the approximation takes out.
const straightWithin = 5.0

// Discharges are the time constants in s of what lets a step decay: both transducers and the coupled stages of both channels.
func (j Job) Discharges() []steady.TimeConstant {
	transducers := append(ofTransducer("device", j.Device.Transducer), ofTransducer("reference", j.Reference.Transducer)...)
	return append(transducers, append(ofChain(j.ReferenceChain), ofChain(j.DeviceChain)...)...)
}

func ofTransducer(role string, t Transducer) []steady.TimeConstant {
	if !(t.TimeConstant > 0) {
		return nil
	}
	return []steady.TimeConstant{{Source: role + " " + t.Serial, Seconds: t.TimeConstant}}
}

func ofChain(c Chain) (all []steady.TimeConstant) {
	for _, s := range c.Stages {
		for _, k := range s.Corners {
			if tau, err := steady.HighPass(k.Frequency, 1); err == nil && !k.LowPass {
				all = append(all, steady.TimeConstant{Source: s.ID(), Seconds: tau})
			}
		}
	}
	return all
}

// recorded are the discharges that a recording of the job's method can show.
func (j Job) recorded() []steady.TimeConstant {
	switch {
	case j.reads():
		return nil
	case j.Reference.StatesLevel:
		return append(ofTransducer("device", j.Device.Transducer), ofChain(j.DeviceChain)...)
	}
	return j.Discharges()
}

// Slow is what is slow of the set-up at the frequency f in Hz where a block is so many seconds long: the loop of the exciter's level, those discharges that are
// fast enough to bend a block, and what the procedure names.
func (j Job) Slow(f, block float64) (all []steady.TimeConstant) {
	if tau := j.Loop.At(f); tau > 0 {
		all = append(all, steady.TimeConstant{Source: "level loop of exciter " + j.Loop.Exciter, Seconds: tau})
	}
	bends := func(tau float64) bool { return tau <= straightWithin*block || j.Procedure.Drift == 0 }
	for _, d := range j.recorded() {
		if bends(d.Seconds) {
			all = append(all, d)
		}
	}
	if !j.reads() {
		all = append(all, j.unknownCorners(block)...)
	}
	return append(all, j.Procedure.Settling.Slow...)
}

// unknownCorners are the coupled stages of which only the largest plausible corner is known: their time constants may be anything above 1/(2πf), so that the
// slowest that bends a block counts.
func (j Job) unknownCorners(block float64) (all []steady.TimeConstant) {
	for _, c := range []Chain{j.ReferenceChain, j.DeviceChain} {
		for _, s := range c.Stages {
			if !s.CoupledAC || s.hasHighPass() || !(s.LargestPlausibleCorner > 0) {
				continue
			}
			if fastest := 1 / (2 * math.Pi * s.LargestPlausibleCorner); fastest <= straightWithin*block {
				all = append(all, steady.TimeConstant{Source: s.ID() + ", corner not known", Seconds: straightWithin * block})
			}
		}
	}
	return all
}

// knowsSlow reports whether anything is known of what is slow.
func (j *Job) knowsSlow() bool {
	return j.Loop.At(j.Device.ReferenceFrequency) > 0 || len(j.recorded()) > 0 || len(j.Procedure.Settling.Slow) > 0
}
