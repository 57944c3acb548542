package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"testing"

	"plumbline/calibration"
	"plumbline/internal/lab"
	"plumbline/uncertainty"
)

// truth is what the simulator that made the recordings knew (our own, invented data).
type truth struct {
	File    string  `json:"file"`
	Nominal float64 `json:"nominal_Hz"`
	Modulus float64 `json:"modulus_V_per_m_s2"`
	Phase   float64 `json:"phase_deg"`
}

func readTruth(t *testing.T, path string) map[float64]truth {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Truth []truth }
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	by := map[float64]truth{}
	for _, p := range file.Truth {
		by[p.Nominal] = p
	}
	return by
}

// sharedRecordings is the folder of recordings that are not part of the repository; without it the test is skipped with the reason.
func sharedRecordings(t *testing.T) string {
	t.Helper()
	dir := os.Getenv("PLUMBLINE_RECORDINGS")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "recordings")
	}
	if _, err := os.Stat(dir); err != nil {
		t.Skipf("shared recordings not found at %s: set PLUMBLINE_RECORDINGS", dir)
	}
	return dir
}

func TestSeismicBench(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "bench", "seismic")
	checkBench(t, filepath.Join(dir, "job.toml"), "", filepath.Join(dir, "truth.json"))
}

func TestGeneralBench(t *testing.T) {
	dir := filepath.Join(sharedRecordings(t), "bench", "general")
	checkBench(t, filepath.Join("..", "..", "testdata", "bench", "general", "job.toml"), dir, filepath.Join(dir, "truth.json"))
}

// checkBench holds every modulus and phase of a job against the truth: within the stated U, and U no larger than 1.4 times what certificate,
// interpolation and noise leave in an ideal set-up, except on a mains line, where hum must be remarked on and covered.
func checkBench(t *testing.T, job, recordings, truthFile string) {
	e, err := newLab().Evaluate(job, recordings)
	if err != nil {
		t.Fatal(err)
	}
	known := readTruth(t, truthFile)
	if len(e.Result.Points) != len(known) {
		t.Errorf("%d points evaluated, %d known", len(e.Result.Points), len(known))
	}
	for _, p := range e.Result.Points {
		t.Run(fmt.Sprintf("%gHz", p.Plan.Frequency), func(t *testing.T) { checkPoint(t, e, p, known[p.Plan.Frequency]) })
	}
}

func checkPoint(t *testing.T, e *lab.Evaluation, p calibration.Point, want truth) {
	if p.Refused != "" {
		t.Fatal(p.Refused)
	}
	modulus := cmplx.Abs(p.Sensitivity)/want.Modulus - 1
	phase := cmplx.Phase(p.Sensitivity) - want.Phase*math.Pi/180
	t.Logf("modulus off %+.3f %% (U %.3f %%), phase off %+.3f° (U %.3f°)", 100*modulus, 100*p.Reported.UModulus, phase*180/math.Pi, p.Reported.UPhase*180/math.Pi)
	if math.Abs(modulus) > p.Reported.UModulus {
		t.Errorf("modulus off by %.3f %%, stated U %.3f %%", 100*modulus, 100*p.Reported.UModulus)
	}
	if math.Abs(phase) > p.Reported.UPhase {
		t.Errorf("phase off by %.3f°, stated U %.3f°", phase*180/math.Pi, p.Reported.UPhase*180/math.Pi)
	}
	if onMains := hasRemark(p, "mains-harmonic"); onMains != mainsExpected(e, p) {
		t.Errorf("remark on the mains harmonic: %v, want %v", onMains, !onMains)
	} else if onMains {
		return
	}
	uModulus, uPhase := idealExpanded(p)
	if p.Reported.UModulus > 1.4*uModulus || p.Reported.UPhase > 1.4*uPhase {
		t.Errorf("U %.3f %% and %.3f°, want at most 1.4 times %.3f %% and %.3f°", 100*p.Reported.UModulus, p.Reported.UPhase*180/math.Pi, 100*uModulus, uPhase*180/math.Pi)
	}
}

func hasRemark(p calibration.Point, code string) bool {
	for _, r := range p.Remarks {
		if r.Code == code {
			return true
		}
	}
	return false
}

func mainsExpected(e *lab.Evaluation, p calibration.Point) bool {
	f, mains := p.Plan.Frequency, e.Result.Job.Procedure.Mains
	return f >= mains && math.Mod(f, mains) == 0
}

// idealExpanded is sqrt(U_cert² + U_interp² + U_A²) of modulus and phase, each at its own k.
func idealExpanded(p calibration.Point) (modulus, phase float64) {
	for _, r := range p.Budget.Rows {
		switch r.Influence {
		case "reference certificate", "interpolation":
			modulus, phase = math.Hypot(modulus, 2*r.Modulus), math.Hypot(phase, 2*r.Phase)
		case "noise":
			modulus = math.Hypot(modulus, uncertainty.Coverage(p.Budget.Probability, r.DofModulus)*r.Modulus)
			phase = math.Hypot(phase, uncertainty.Coverage(p.Budget.Probability, r.DofPhase)*r.Phase)
		}
	}
	return modulus, phase
}
