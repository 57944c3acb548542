package plan

import (
	"math"
	"slices"

	"plumbline/calibration"
	"plumbline/quantity"
)

// predicted is the calibration's own point for the evidence expected of a look, with std as its type A uncertainty.
func (r Request) predicted(p *Point, std float64, l Look, simulate bool) (calibration.Point, error) {
	job := r.transverse(p.Frequency)
	reference, device, err := r.signals(p.Frequency)
	if err != nil {
		return calibration.Point{}, err
	}
	level := quantity.Acceleration.To(motionOf(r.Job.Device.Transducer), p.Level, p.Frequency)
	blocks := max(l.Blocks-dropped, 2)
	e := calibration.Evidence{
		Duration: l.Kept, Rate: p.Rate, Periods: l.Kept * p.Frequency, Frames: int64(l.Kept * p.Rate), Blocks: blocks,
		LnRatio: make([]complex128, blocks), StdLnRatio: [2]float64{std, std}, DofLnRatio: [2]float64{float64(blocks - 1), float64(blocks - 1)},
		AmplitudeReference: p.Level * reference, AmplitudeDevice: p.Level * device,
		StepReference: step(r.Job.ReferenceChain), StepDevice: step(r.Job.DeviceChain),
	}
	e.Ratio = complex(device/reference, 0)
	if r.Job.Reference.StatesLevel {
		e.Ratio = complex(e.AmplitudeDevice/level, 0)
	}
	return job.Predict(calibration.PointPlan{Label: "planned point", Frequency: p.Frequency, Level: level}, e, simulate, max(r.Wish.Workers, 1))
}

// step is the quantisation step of a chain's recorder channel, 0 where it is not stated.
func step(c calibration.Chain) float64 {
	if len(c.Stages) == 0 {
		return 0
	}
	return c.Stages[len(c.Stages)-1].Resolution
}

// transverse is the job with the exciter's own transverse motion in its procedure where it is larger than the procedure states.
func (r Request) transverse(f float64) calibration.Job {
	job := r.Job
	motion, stated := shareAt(r.Exciter.Transverse, f)
	if !stated {
		return job
	}
	job.Procedure.Influences = slices.Clone(job.Procedure.Influences)
	for i, in := range job.Procedure.Influences {
		if band, ok := in.At(f); ok && in.Key == "transverse" && in.NotApplicable == "" && motion > band.Modulus {
			job.Procedure.Influences[i].Bands = []calibration.Band{{To: math.Inf(1), Modulus: motion}}
		}
	}
	return job
}

// predict gives every point its uncertainty and says whether it is what was wanted.
func (pl *Plan) predict() {
	for i := range pl.Points {
		p := &pl.Points[i]
		q, err := pl.Request.predicted(p, p.StdTypeA, Look{Blocks: p.Blocks, Kept: p.Measuring}, true)
		if err != nil { // it could be predicted to first order before
			p.remark("no-prediction", "U could not be predicted: %v", err)
			p.U, p.K, p.UPhase = math.NaN(), math.NaN(), math.NaN()
			continue
		}
		p.U, p.K, p.UPhase, p.Evaluation = q.Reported.UModulus, q.Reported.KModulus, q.Reported.UPhase, q.Reported.Evaluation
		for _, row := range q.Budget.Rows {
			if row.ShareModulus > p.LargestShare {
				p.Largest, p.LargestShare = row.Influence, row.ShareModulus
			}
		}
		if q.Reported.RaisedModulus {
			p.remark("scope", "U is raised to the laboratory's smallest claimable uncertainty")
		}
		pl.judgeTarget(p, q)
	}
}

// judgeTarget says whether a point meets what is wanted of it, and what would make it do so.
func (pl *Plan) judgeTarget(p *Point, q calibration.Point) {
	r := pl.Request
	w := r.Wish
	p.MeetsTarget = !(w.TypeA > 0 && p.Claim > w.TypeA*(1+1e-9)) && !(w.U > 0 && p.U > w.U*(1+1e-9))
	if p.MeetsTarget || p.Repeat {
		return
	}
	want := w.TypeA
	if u := p.K * math.Sqrt(max(0, q.Budget.Modulus.Std*q.Budget.Modulus.Std-p.StdTypeA*p.StdTypeA)); w.U > 0 {
		if u >= w.U {
			pl.lessOf(p, q, u)
			return
		}
		if left := math.Sqrt(w.U*w.U - u*u); want == 0 || left < want {
			want = left
		}
	}
	more := p.Claim / want
	p.remark("target-missed", "type A of %.2g %% is the best within %g s, %.2g %% is wanted", 100*p.Claim, w.Longest, 100*want)
	p.remedy("%.0f s for this point", math.Ceil(p.Bench*more*more))
	r.stretch(p, p.Level*more)
	if n := p.Noise; n.Reference > 0.5*n.Total() {
		rest := n.Total()*n.Total() - n.Reference*n.Reference
		if left := n.Total() / more; left*left > rest {
			p.remedy("a reference with %.2g of the self-noise", math.Sqrt(left*left-rest)/n.Reference)
		} else {
			p.remedy("a quieter reference, and less noise of %s", p.secondNoise())
		}
	}
}

// secondNoise names the largest noise besides that of the reference.
func (p *Point) secondNoise() string {
	n := p.Noise
	largest, name := n.Device, "the device"
	for _, o := range []struct {
		size float64
		name string
	}{{n.ReferenceRecorder, "the recorder's reference channel"}, {n.DeviceRecorder, "the recorder's device channel"}, {n.Ground, "the ground"}} {
		if o.size > largest {
			largest, name = o.size, o.name
		}
	}
	return name
}

// lessOf says which influence has to shrink for U to become what is wanted: rest, without noise, is more, so no measuring time helps.
func (pl *Plan) lessOf(p *Point, q calibration.Point, rest float64) {
	std := pl.Request.Wish.U / p.K
	p.remark("target-missed", "U of %.2g %% cannot be reached by measuring longer: %.2g %% remain without noise; %.0f %% of the variance come from %s",
		100*pl.Request.Wish.U, 100*rest, 100*p.LargestShare, p.Largest)
	total := q.Budget.Modulus.Std * q.Budget.Modulus.Std
	own := p.LargestShare * total
	if left := std*std - (total - own); left > 0 {
		what := p.Largest
		if what == "reference certificate" {
			p.remedy("a reference whose certificate states at most U = %.2g %% (k = 2) at %.4g Hz", 200*math.Sqrt(left), p.Frequency)
			return
		}
		p.remedy("a standard uncertainty of at most %.2g %% from %s instead of %.2g %%", 100*math.Sqrt(left), what, 100*math.Sqrt(own))
		return
	}
	p.remedy("less than the present uncertainty of more than one influence; the largest is %s", p.Largest)
}
