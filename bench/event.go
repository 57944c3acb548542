package bench

import "plumbline/steady"

// Event is something that happened in a run.
type Event struct {
	Kind    string  // "quiet", "check" (at low level), "approach", "level" (reached; from now on it is held and judged), "block", "asked", "kept", "discarded", "skipped", "paused", "resumed", "noted", "refused" (a command), "finished", "halted"
	Step    int     // from 0; -1 none
	Attempt int     // from 1
	Seconds float64 // of the digitizer's clock since the run began
	Text    string
	Block   *BlockSeen // for "block"
}

// BlockSeen is what one block of a step showed.
type BlockSeen struct {
	Number     int
	Level      []float64    // m/s² peak, of each line
	LnRatio    []complex128 // ln(X_D/X_R), volts at the digitizer, of each line
	Distortion []float64    // of the motion by the reference, relative, of each line
	Peak       [2]float64   // largest sample of reference and device, V
	Answers    []steady.Answer
	Left       float64 // s still needed as far as can be seen; NaN not known
}
