package certificatetest

import (
	"fmt"
	"math"
	"math/cmplx"

	"plumbline/calibration"
	"plumbline/certificate"
	"plumbline/conformity"
)

func particulars() certificate.Particulars {
	return certificate.Particulars{
		Number: "FL-2026-0407", Title: "Calibration certificate",
		Laboratory: certificate.Address{Name: "Fenwick Lane Vibration Laboratory", Lines: []string{"12 Fenwick Lane", "Aldermere AL4 7QX"}, Contact: "calibration desk, room 3"},
		Location:   "Fenwick Lane Vibration Laboratory, room 3",
		Customer:   certificate.Address{Name: "Aldermere Footbridge Trust", Lines: []string{"Bridge House, Quay Street", "Aldermere AL1 2BD"}, Contact: "the monitoring engineer"},
		Received:   on(20), Performed: on(24), Until: on(25), Issued: on(26), OrderReference: "AFT 2026/31",
		PerformedBy: "the calibration technician", AuthorisedBy: "The head of calibration", AuthorisedRole: "authorised to sign for the laboratory",
		Traceability: "the reference R-201 was calibrated by the laboratory named under Equipment, which states traceability of its results to the SI",
		Mounting:     "back to back on the reference, M5 stud, torque 2 N·m, contact face lightly greased, cable of 3 m tied down 40 mm from the connector",
		CustomerData: []string{"sensitivity of the device: 10 V/g", "serial of the device: A-0407", "corner of the device: 0.21 Hz", "The item will be used between 1 Hz and 20 Hz.", "Position on the bridge: midspan, downstream parapet."},
		Statements:   []string{"the item was kept at the temperature of the calibration for four hours before the measurements"},
	}
}

func job() calibration.Job {
	d := calibration.Device{
		Transducer: calibration.Transducer{Identity: calibration.Identity{Kind: "seismic accelerometer, piezoelectric with built-in electronics", Model: "S-10", Serial: "A-0407"},
			Unit: unit("V/g"), ReferenceFrequency: 100, Range: unit("g").ToSI(0.5), Mass: 0.8, TimeConstant: 0.76, Transverse: 0.05,
			Temperature: calibration.Coefficient{Value: -0.0004, Std: 0.0001, Stated: true}, ReferenceTemperature: 23},
		Tolerance: 0.1, Flatness: 0.05, FlatnessBand: [2]float64{1, 200}, Condition: "clean, connector undamaged",
	}
	d.Nominal = d.Unit.ToSI(10)
	r := calibration.Reference{
		Transducer: calibration.Transducer{Identity: calibration.Identity{Kind: "reference accelerometer, back to back", Model: "B-1", Serial: "R-201"}, Unit: unit("V/(m/s²)"), Nominal: 0.1019, ReferenceFrequency: 100,
			Temperature: calibration.Coefficient{Value: 0.0002, Std: 0.00005, Stated: true}, ReferenceTemperature: 23},
		Certificate: calibration.Document{Number: "HL-2026-0088", Laboratory: "Higher Laboratory Westmere", Date: on(9).AddDate(0, -9, 0), ValidUntil: on(9).AddDate(0, 15, 0)},
	}
	amplifier := calibration.Stage{Identity: calibration.Identity{Kind: "conditioning amplifier", Model: "C-2", Serial: "C-2-019"}, Channel: "1", Gain: 1, GainUnit: unit("V/V"),
		Settings: "supply 4 mA, filter off", Certificate: calibration.Document{Number: "FL-2026-0311", Laboratory: "Fenwick Lane Vibration Laboratory", Date: on(2).AddDate(0, -5, 0), ValidUntil: on(2).AddDate(0, 7, 0)}}
	recorder := func(channel string) calibration.Stage {
		return calibration.Stage{Identity: calibration.Identity{Kind: "eight-channel recorder, 24 bit", Model: "D-8", Serial: "D-8-004"}, Channel: channel, FullScale: 10, Gain: 1, GainUnit: unit("V/V"),
			Settings: "DC coupled, 4096 samples per second", Certificate: calibration.Document{Number: "FL-2026-0312", Laboratory: "Fenwick Lane Vibration Laboratory", Date: on(2).AddDate(0, -5, 0), ValidUntil: on(2).AddDate(0, 7, 0)}}
	}
	second := amplifier
	second.Channel = "2"
	return calibration.Job{
		Number: "J-2026-118", Performed: on(24), Until: on(25), Subject: calibration.OfTransducer, Device: d, Reference: r,
		ReferenceChain: calibration.Chain{Stages: []calibration.Stage{amplifier, recorder("1")}, Column: 1},
		DeviceChain:    calibration.Chain{Stages: []calibration.Stage{second, recorder("2")}, Column: 2},
		Conditions:     calibration.Conditions{Temperature: 23.1, TemperatureHalfWidth: 0.8, Humidity: 0.46, Pressure: 101100},
		Procedure: calibration.Procedure{Name: "FL-P-04 comparison, low frequency", Revision: "3", Method: "ISO 16063-21:2003, comparison to a reference transducer", Probability: 0.9545, Trials: 200000,
			Influences: []calibration.Influence{
				{Key: "drift", Distribution: "rectangular", Source: "history of R-201, five calibrations"},
				{Key: "temperature", Distribution: "rectangular", Source: "thermometer T-4 beside the transducers"},
				{Key: "transverse", Distribution: "arcsine", Source: "transverse motion of X-12 measured in 2025, report FL-R-12"},
				{Key: "repeatability", Distribution: "Student t", Source: "pooled over ten items, FL-R-15"},
				{Key: "magnetic", NotApplicable: "the field at the table is below what moves the last digit, FL-R-09"},
			}},
		Seed: 20261125, Clock: math.NaN(),
	}
}

// Statements are those on the sensitivity at the reference frequency and the flatness, guard band U, made by hand.
func Statements(r calibration.Result, ref int) []conformity.Statement {
	d := r.Job.Device
	rule := conformity.GuardBand{R: 1}
	p := r.Points[ref]
	m := cmplx.Abs(p.Sensitivity)
	u := p.Reported.UModulus * m
	judge := func(s conformity.Statement) conformity.Statement {
		s.Rule, s.Evaluation = rule.String(), "first order"
		s.Acceptance = conformity.Limits{Lower: s.Tolerance.Lower + s.U, Upper: s.Tolerance.Upper - s.U}
		s.Risk = 1e-7
		s.Verdict = conformity.DoesNotConform
		if s.Value >= s.Acceptance.Lower && s.Value <= s.Acceptance.Upper {
			s.Verdict = conformity.Conforms
		} else {
			s.Risk = 0.84
		}
		return s
	}
	out := []conformity.Statement{judge(conformity.Statement{Subject: "sensitivity at 100 Hz", Requirement: "within ±10 % of 10 V/g", Frequency: 100, Value: m, U: u,
		Tolerance: conformity.Limits{Lower: 0.9 * d.Nominal, Upper: 1.1 * d.Nominal}})}
	for i, p := range r.Points {
		if i == ref || p.Deviation == nil || p.Frequency < d.FlatnessBand[0] || p.Frequency > d.FlatnessBand[1] {
			continue
		}
		out = append(out, judge(conformity.Statement{Subject: fmt.Sprintf("deviation at %.5g Hz from the sensitivity at 100 Hz", p.Frequency), Requirement: "within ±5 %",
			Frequency: p.Frequency, Value: p.Deviation.Value, U: p.Deviation.Expanded(), Relative: true, Tolerance: conformity.Limits{Lower: -d.Flatness, Upper: d.Flatness}}))
	}
	return out
}
