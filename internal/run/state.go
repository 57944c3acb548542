package run

import (
	"encoding/json"
	"fmt"
	"time"
)

// Kept is one recording that counts.
type Kept struct {
	Step    int       `json:"-"` // from 0
	Attempt int       `json:"-"`
	Time    time.Time `json:"-"`
	File    string    `json:"file"` // relative to the run's folder, with slashes
	SHA256  string    `json:"sha256"`
	Frames  int64     `json:"frames"`
	Rate    float64   `json:"rate_per_s"`
	Units   []string  `json:"units,omitempty"` // of the channels, where the file cannot say them
	Outcome Outcome   `json:"outcome"`
}

// State is what the journal says.
type State struct {
	Head     Head
	Lines    []Line
	Kept     []Kept      // in order of time; a step may stand more than once, the last one counts
	Begun    map[int]int // by step from 0: attempts that were begun
	Programs int         // that drove the run until now
	Finished bool
	open     []Line // recordings that were begun and not ended
	torn     bool   // the journal's end is not whole
}

// Last is the recording of a step that counts; ok is false where there is none.
func (s State) Last(step int) (k Kept, ok bool) {
	for _, c := range s.Kept {
		if c.Step == step {
			k, ok = c, true
		}
	}
	return k, ok
}

// check is that of the journal's last line.
func (s State) check() string {
	if len(s.Lines) == 0 {
		return ""
	}
	return s.Lines[len(s.Lines)-1].Check
}

// attemptFile is the data of the lines of an attempt.
type attemptFile struct {
	File string `json:"file"`
}

// derive makes the state of a journal.
func derive(h Head, content []byte) (State, error) {
	s := State{Head: h, Begun: map[int]int{}}
	lines, torn, err := parseJournal(content)
	if err != nil {
		return s, err
	}
	s.Lines, s.torn = lines, torn
	open := map[[2]int]bool{}
	for n, l := range lines {
		at := [2]int{l.Step, l.Attempt}
		if l.Step < 0 || l.Step > len(h.Steps) {
			return s, fmt.Errorf("journal, entry %d: step %d, the run has %d", n+1, l.Step, len(h.Steps))
		}
		switch l.Kind {
		case kindRecording:
			s.Begun[l.Step-1] = max(s.Begun[l.Step-1], l.Attempt)
			open[at] = true
		case kindDiscarded, kindInterrupted:
			delete(open, at)
		case kindKept:
			delete(open, at)
			k := Kept{Step: l.Step - 1, Attempt: l.Attempt, Time: l.Time}
			if err := json.Unmarshal(l.Data, &k); err != nil {
				return s, fmt.Errorf("journal, entry %d (%s): %w", n+1, l.Kind, err)
			}
			s.Kept = append(s.Kept, k)
		case kindFinished:
			s.Finished = true
		case kindBegun, kindResumed:
			s.Finished = false
			s.Programs++
		}
	}
	for _, l := range lines {
		if l.Kind == kindRecording && open[[2]int{l.Step, l.Attempt}] {
			s.open = append(s.open, l)
		}
	}
	return s, nil
}
