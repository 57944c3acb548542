// Package sine is the sine approximation of sampled signals: amplitude, phase, frequency, harmonics, residual and block series of several channels at one shared frequency.
package sine

import (
	"errors"
	"fmt"
	"math"
)

// Settings of an approximation. Every field that may be zero says so.
type Settings struct {
	Rate       float64   // samples per second
	Frequency  float64   // start value in Hz
	Harmonics  int       // highest harmonic fitted, the fundamental being 1; those above 0.45 Rate are left out
	Drift      int       // order of the Legendre drift in each block; higher in the long blocks shared by several lines, see Beside
	Mains      float64   // mains frequency in Hz whose multiples become regressors under the 1/T rule; 0 for none
	MainsOrder int       // highest multiple of Mains that becomes a regressor; 0: ten, and the neighbours of the fundamental
	Orders     []int     // further multiples of Mains that become regressors, for what other recordings need to know
	Block      int       // samples in a block; 0 lets the package choose whole cycles from Rate, Frequency, Mains and Frames
	Frames     int64     // announced length of the recording in frames; 0 or less unknown
	Weights    []float64 // of the channels in the estimate of the frequency; nil: inverse residual variance
	Beside     []float64 // other lines of the recording, over Frequency, with which they share its clock; nil: there are none
	Known      bool      // Frequency is exact, generator and recorder share a clock: it is not refined

	mainsOff float64 // relative, what has been found of the mains against Mains
}

// Line is one spectral line of one channel.
type Line struct {
	Frequency float64    // Hz; of a mains line the multiple of Settings.Mains
	Amplitude complex128 // peak, phase at the first sample (for mains lines: modulus is the rms over blocks of the block moduli, noise subtracted; no phase)
	Std       float64    // standard uncertainty of |Amplitude| of a mains line from noise, same unit: what one standard deviation of the mean squared modulus adds to it
}

// Channel is the approximation of one channel.
type Channel struct {
	Amplitude  complex128   // fundamental, peak, in the unit of the samples; phase at the first sample, exp(+j omega t)
	Std        float64      // what white noise of the size of the residual makes of the real and of the imaginary part of Amplitude
	Harmonics  []complex128 // index 0 is the fundamental, 1 the second harmonic ...
	Distortion float64      // total harmonic distortion: root of the sum of squared harmonics from the second, but for shared ones, over the fundamental
	Residual   float64      // standard deviation of the residual, unit of the samples
	Offset     float64      // mean of the samples
	Mains      []Line       // mains lines that were regressors (separable), in order of frequency
}

// Fit is the sine approximation of one recording: nobody has to go back to the samples.
type Fit struct {
	Rate         float64
	Frames       int64   // frames used and not used
	Frequency    float64 // refined, Hz on the recorder's own clock
	FrequencyStd float64 // its standard uncertainty from noise, Hz; +Inf where the record does not determine it
	Periods      float64 // cycles in the blocks used
	BlockSize    int     // samples in an elementary block
	Channels     []Channel
	Blocks       []Block // accepted and rejected, in order of time; none from Batch
	Rejected     int     // elementary blocks rejected as disturbed
	Start        float64 // frequency of the regressors of the last pass, Hz
	Mistuning    float64 // what the difference of Frequency and Start left in the residual variance of the blocks, over their noise; taken out of every value given here
	Coherence    float64 // modulus of the mean of the block values over the mean of their moduli, at most 1: low where the phase wandered or there is no line
	Condition    float64 // condition number of the regressors, columns of unit length
	Mains        float64 // mains frequency measured where its lines are strong enough, else that of the settings, Hz on the recorder's own clock
	Shared       []int   // harmonics that are other lines of the recording (Settings.Beside): no distortion
	Steps        []Step  // steps in the phase common to all channels: time lost or inserted by the recorder
	Passes       int     // passes over the samples, a beginning read for tuning included

	humResidual float64 // what the difference of Mains and the regressors makes in the residual variance, or near the fundamental of its variance, over the noise
}

// Block is the fundamental of every channel in one block (or in a run of merged blocks).
type Block struct {
	Time     float64      // centre, s from the first sample
	Z        []complex128 // per channel: peak amplitude with phase referred to the first sample of the recording at the shared refined frequency, Steps taken out
	Variance []float64    // per channel: residual variance
	Weight   int          // elementary blocks merged in it
	Rejected bool         // disturbed: not used. Z and Variance are NaN where samples were missing
	Cause    int          // index of the channel whose residual stood out most in a rejected block; -1 where none is known to
}

// Samples are the numbers of the first and the last sample of a rejected block, 1 = first of the recording.
func (f Fit) Samples(b Block) (first, last int64) {
	n := int64(f.BlockSize) * int64(max(1, b.Weight))
	first = int64(math.Round(b.Time*f.Rate-float64(n-1)/2)) + 1
	return first, first + n - 1
}

// Step is a step in the phase common to all channels, as dropped samples make it.
type Step struct {
	Block  int     // index in Fit.Blocks of the first block after the step
	Sample int64   // number of the frame at which it happened: to a few samples where a block holds many cycles, to a fifth of a block where it holds two
	Time   float64 // of that frame, s from the first sample
	Lost   float64 // time missing from the recording, s; negative where time was inserted. Known modulo one period: |Lost| <= 1/(2f)
}

// ChannelError is what is wrong with one channel of a recording.
type ChannelError struct {
	Channel int // index
	Err     error
}

// Error names the channel by its number among those approximated, 1 = first.
func (e ChannelError) Error() string { return fmt.Sprintf("channel %d: %v", e.Channel+1, e.Err) }

// Unwrap returns what is wrong.
func (e ChannelError) Unwrap() error { return e.Err }

// What can be wrong with a recording, wrapped in the errors that say where.
var (
	ErrShort        = errors.New("recording too short")
	ErrNoLine       = errors.New("no line")
	ErrDisturbed    = errors.New("every block disturbed")
	ErrNotConverged = errors.New("frequency does not converge")
)
