package recording

// Code names a kind of finding in a short stable word.
type Code string

// The kinds of findings.
const (
	Empty      Code = "empty"       // no frames
	Flat       Code = "flat"        // a channel never changes
	Clipped    Code = "clipped"     // samples cut off at full scale or at a flat top
	FullScale  Code = "full-scale"  // single samples at full scale, none beside another
	Missing    Code = "missing"     // values that are absent or no numbers
	Repeated   Code = "repeated"    // the same frame several times while the signal moves
	Gap        Code = "gap"         // times jump: frames are missing
	Duplicate  Code = "duplicate"   // the same time, or an earlier one, again
	Jitter     Code = "jitter"      // steps of time that differ by more than 1 %
	Drift      Code = "drift"       // times do not lie on a straight line
	CoarseTime Code = "coarse-time" // times are written too coarsely to show gaps
)

// Place is a run of samples, by their numbers, 1 = first.
type Place struct{ First, Last int64 }

// Finding is one thing that speaks against using a recording, or that is to be known about it.
type Finding struct {
	Code    Code
	Channel int     // 1 = first; 0 = all channels
	First   int64   // number of the first sample concerned, 1 = first; 0 where there is none
	Count   int64   // samples concerned
	Of      int64   // samples examined
	Places  []Place // where, for samples at full scale in at most a few places; nil: everywhere or not known
	Refuse  bool    // true: no result may be computed from the samples; false: a remark
	Text    string  // the finding in words, for example "channel 2: 31 of 48000 samples at full scale, first at sample 812: clipped"
}
