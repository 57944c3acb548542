package bench

import (
	"context"

	"plumbline/recording"
	"plumbline/steady"
)

// Set is everything a live run needs.
type Set struct {
	Exciter   Exciter
	Digitizer Digitizer
	Limits    Limits
	Reference Input
	Device    Input
	Steps     []Step
	Done      []int   // numbers of the steps, from 0, that an earlier part of the run kept: measured again only when the operator asks
	Tried     []int   // attempts each step has behind it; nil: none
	Quiet     float64 // s, length of the check with the exciter silent before the first drive; 0 none
	Harmonics int     // of the approximation
	Drift     int     // order of the Legendre drift of a block
	Mains     float64 // Hz
	Archive   Archive
	Operator  Operator
	Commands  <-chan Command // what the operator asks for while the run goes on; nil: nothing
	Watch     func(Event)    // told of everything that happens, in order, from the goroutine of Run; nil: nobody
}

// Input is one of the two channels.
type Input struct {
	Column      int                            // in the digitizer's frames, from 1
	Scale       float64                        // V per unit of its samples
	Sensitivity func(f float64) complex128     // of transducer and channel as far as known: V at the digitizer per m/s², at f in Hz
	Limit       float64                        // V peak beyond which the channel or what stands before it is overloaded
	Noise       func(f, width float64) float64 // expected noise in V within width Hz about f, exciter silent; nil: not known
}

// Limits are enforced before every drive, whatever was asked for.
type Limits struct {
	Drive float64                 // V peak at the exciter's input, from plan and payload
	Slew  float64                 // V/s, fastest growth of the amplitude
	Level func(f float64) float64 // m/s² peak that stroke, velocity, force and payload admit at f in Hz
}

// Line is one line of the motion wanted.
type Line struct {
	Frequency float64 // Hz
	Level     float64 // m/s² peak
	Phase     float64 // rad, of a multisine; its own affair for a single line
}

// Step is one point, or the points of a multisine, to be measured.
type Step struct {
	Points     []int // numbers in the job, from 0, one for each line
	Label      string
	Lines      []Line
	Repeat     bool            // a repeat of an earlier step
	Judge      steady.Settings // for each line
	Block      float64         // s, whole cycles of every line
	Least      float64         // s for which the level is held at least, however soon the ratio is steady; 0: no longer than that
	Longest    float64         // s from the start of the drive, after which the point is not reached
	Distortion float64         // largest distortion of the motion wanted, relative; above it pre-distortion is tried; 0: none is
}

// Report is what a run came to. It is complete as far as the run went, with an error too.
type Report struct {
	Kept    []Kept  // in the order in which they were kept; a step that was repeated stands again, its last one counts
	Skipped []int   // steps the operator skipped, from 0
	Seconds float64 // of the digitizer's clock, all acquisitions together
}

// Kept is a step whose recording is complete on disk.
type Kept struct {
	Outcome
	Name string // of the recording
}

// Archive keeps what a run records. Every method returns after its content is safe on disk.
type Archive interface {
	// Create begins the recording of one attempt at a step.
	Create(s Step, attempt int, info recording.Info) (Sink, error)
	// Note keeps a remark, a check or an event of the run.
	Note(Entry) error
}

// Sink takes the samples of one attempt.
type Sink interface {
	Write(block [][]float64) error
	// Keep completes the recording on disk, and only then counts the step as kept. It returns the recording's name.
	Keep(Outcome) (name string, err error)
	// Discard ends a recording that does not count, also one that could not be kept; what was recorded stays, under a name that says so.
	Discard(reason string) error
}

// Entry is one line of a run's log.
type Entry struct {
	Kind string // short stable word, for example "quiet-check", "note", "checklist"
	Step int    // number of the step it belongs to, from 0; -1 none
	Text string
	Data any // figures, as JSON; nil none
}

// Outcome is what a step came to.
type Outcome struct {
	Step     int
	Attempt  int
	Answers  []steady.Answer // of each line
	Level    []float64       // m/s² peak reached, of each line
	Seconds  float64         // from the start of the drive to the end of the recording
	Held     float64         // s from the start of the recording, whole blocks, from which on the level was held; 0: from its start, or not known
	Reason   string          // why it was kept although it was not steady; empty: it was steady
	Operator string          // who decided that
}

// Operator decides where the evidence does not.
type Operator interface {
	Decide(ctx context.Context, q Question) (Decision, error)
}

// Question is put to the operator where a step cannot be kept.
type Question struct {
	Step    Step
	Attempt int
	Why     string   // what speaks against keeping it
	Offers  []Choice // what can be done
	Answers []steady.Answer
}

// Decision is the operator's answer.
type Decision struct {
	Choice Choice
	Reason string // needed to keep what is not steady
	Name   string // of who decides
}

// Choice is one thing to do about a step.
type Choice string

// The choices.
const (
	Again  Choice = "repeat"
	Lower  Choice = "lower level"
	Longer Choice = "wait longer"
	Keep   Choice = "keep with reason"
	Skip   Choice = "skip"
	Stop   Choice = "stop"
)

// Command is what the operator asks for unasked.
type Command struct {
	Kind string // "pause", "resume", "repeat", "skip", "keep", "longer" (the limit of the running step is doubled), "note", "stop"
	Step int    // for "repeat": the step to be measured again
	Text string // for "note" and "keep"
	Name string
}
