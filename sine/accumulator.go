package sine

import "errors"

var errShort = errors.New("sine: recording shorter than one block")

// Accumulator makes a Fit of samples that arrive in pieces; its memory does not grow with the record.
type Accumulator struct {
	set      Settings
	channels int
}

// NewAccumulator prepares an approximation of the given number of channels.
// It refuses settings whose regressors cannot be told apart in a block, naming them.
func NewAccumulator(s Settings, channels int) (*Accumulator, error) {
	return &Accumulator{set: s, channels: channels}, nil
}

// Add takes the next frames, block[c][n] being sample n of channel c. Pieces may have any length; the result does not depend on it.
func (a *Accumulator) Add(block [][]float64) error { return nil }

// Fit returns the approximation of the frames added so far. More may be added afterwards.
func (a *Accumulator) Fit() (Fit, error) { return Fit{}, errShort }

// Approximate reads the recording as often as needed (at most four times) to find its line near s.Frequency and approximates it at the refined frequency.
// open starts at the first frame; next fills dst[c][0:n] and returns io.EOF with n == 0 at the end.
func Approximate(open func() (next func(dst [][]float64) (int, error), err error), channels int, s Settings) (Fit, error) {
	return Fit{}, errShort
}

// Batch approximates samples[c][n] as one block: Gauss-Newton on the shared frequency, the drift over the whole record.
func Batch(samples [][]float64, s Settings, w Weighting) (Fit, error) { return Fit{}, errShort }

// Weighting of the samples of a Batch over the record.
type Weighting uint8

// The weightings. Uniform is the zero value and reaches the bound; Hann costs some 22 % in standard deviation and shows whether the drift model failed.
const (
	Uniform Weighting = iota
	Hann
)
