package channel

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"plumbline/recording"
	"plumbline/sine"
	"plumbline/steady"
)

// How recordings of the voltage are approximated. The voltage is clean and large: none of this moves a value by more than its scatter.
const (
	harmonics   = 3
	drift       = 1
	leastBlocks = 4
	piece       = 1 << 14
)

// Read approximates a recording of the voltage at a frequency in Hz on the given columns, numbered from 1, and returns the reading of each. mains is the frequency in Hz of the lines that are to be taken
// out, 0 none. The scatter of the blocks is the type A uncertainty, widened where neighbours hang together.
func Read(rec recording.Recording, frequency, mains float64, columns []int) ([]Reading, error) {
	if err := admissible(rec, columns); err != nil {
		return nil, fmt.Errorf("recording %s: %w", rec.Name, err)
	}
	p := &pass{rec: rec, columns: columns}
	fit, err := sine.Approximate(p.open, len(columns), sine.Settings{
		Rate: rec.Info.Rate, Frequency: frequency, Harmonics: harmonics, Drift: drift, Mains: mains, Frames: max(0, rec.Info.Frames),
	})
	if err = errors.Join(err, p.close()); err != nil {
		return nil, fmt.Errorf("recording %s: %w", rec.Name, err)
	}
	var readings []Reading
	for c := range columns {
		r, err := reading(fit, c)
		if err != nil {
			return nil, fmt.Errorf("recording %s, channel %d: %w", rec.Name, columns[c], err)
		}
		readings = append(readings, r)
	}
	return readings, nil
}

// admissible refuses samples that are no fractions of full scale, and those that something speaks against.
func admissible(rec recording.Recording, columns []int) error {
	if len(columns) == 0 {
		return fmt.Errorf("no channel was named")
	}
	for i, c := range columns {
		switch {
		case c < 1 || c > len(rec.Info.Channels):
			return fmt.Errorf("channel %d, it has 1 to %d", c, len(rec.Info.Channels))
		case slices.Contains(columns[:i], c):
			return fmt.Errorf("channel %d stands twice", c)
		case rec.Info.Channels[c-1].Unit.Symbol != "FS":
			return fmt.Errorf("channel %d: samples in %q: only samples that are fractions of full scale tell what it is", c, rec.Info.Channels[c-1].Unit.Symbol)
		}
	}
	findings, err := recording.Inspect(rec)
	if err != nil {
		return err
	}
	for _, f := range findings {
		if f.Refuse && (f.Channel == 0 || slices.Contains(columns, f.Channel)) {
			return errors.New(f.Text)
		}
	}
	return nil
}

// reading is what the approximation says of its channel c.
func reading(fit sine.Fit, c int) (Reading, error) {
	var moduli, phases []float64
	mean := fit.Channels[c].Amplitude
	ratio := mean / fit.Channels[0].Amplitude
	for _, b := range fit.Blocks {
		if !b.Rejected {
			moduli = append(moduli, cmplx.Abs(b.Z[c]))
			phases = append(phases, cmplx.Phase(b.Z[c]/b.Z[0]/ratio))
		}
	}
	if len(moduli) < leastBlocks {
		return Reading{}, fmt.Errorf("%d blocks at %g Hz, %d at least are needed: record longer", len(moduli), fit.Frequency, leastBlocks)
	}
	a, err := steady.Readings(moduli)
	if err != nil {
		return Reading{}, err
	}
	r := Reading{Frequency: fit.Frequency, Amplitude: a.Mean, Std: a.Std / a.Mean, Phase: cmplx.Phase(ratio)}
	if c == 0 {
		r.Phase = 0
		return r, nil
	}
	p, err := steady.Readings(phases)
	if err != nil {
		return Reading{}, err
	}
	r.Phase = math.Remainder(r.Phase+p.Mean, 2*math.Pi)
	r.StdPhase = p.Std
	return r, nil
}

// pass opens the columns of a recording as often as needed.
type pass struct {
	rec     recording.Recording
	columns []int
	reader  recording.Reader
}

func (p *pass) open() (func(dst [][]float64) (int, error), error) {
	if err := p.close(); err != nil {
		return nil, err
	}
	r, err := p.rec.Open()
	if err != nil {
		return nil, err
	}
	p.reader = r
	all := recording.Block(len(p.rec.Info.Channels), piece)
	return func(dst [][]float64) (int, error) {
		part := make([][]float64, len(all))
		for c := range all {
			part[c] = all[c][:min(piece, len(dst[0]))]
		}
		n, err := r.Read(part)
		for i, column := range p.columns {
			copy(dst[i], part[column-1][:n])
		}
		return n, err
	}, nil
}

func (p *pass) close() error {
	r := p.reader
	if r == nil {
		return nil
	}
	p.reader = nil
	return r.Close()
}
