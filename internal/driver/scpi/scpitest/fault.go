package scpitest

import (
	"fmt"
	"strings"
	"time"
)

// Misdeed is a kind of misbehaviour.
type Misdeed string

// The misdeeds.
const (
	Silence     Misdeed = "silence"      // neither obeys nor answers
	Mute        Misdeed = "mute"         // obeys and does not answer
	Ignore      Misdeed = "ignore"       // does not obey, and tells nobody
	Refuse      Misdeed = "refuse"       // does not obey and puts Code and Text into the error queue
	Complain    Misdeed = "complain"     // obeys, and puts Code and Text into the error queue
	Slow        Misdeed = "slow"         // waits for Delay before it answers
	Garbage     Misdeed = "garbage"      // answers Text instead
	HangUp      Misdeed = "hang up"      // closes the connection instead of answering
	CutAnswer   Misdeed = "cut answer"   // sends half of the answer and closes the connection
	WrongLength Misdeed = "wrong length" // announces By bytes more than the block has
	Overflow    Misdeed = "overflow"     // loses By frames from its buffer
)

// Fault makes an instrument misbehave.
type Fault struct {
	Do    Misdeed
	On    string // only on commands that contain this text, whatever the case; empty: on all
	Skip  int    // so many of them first pass unharmed
	Times int    // so many are hit; 0: all
	Code  int
	Text  string
	Delay time.Duration
	By    int
}

// prevents tells whether the command is not carried out.
func (f *Fault) prevents() bool {
	return f.Do == Silence || f.Do == Ignore || f.Do == Refuse
}

// Provoke adds a fault.
func (in *Instrument) Provoke(f Fault) {
	in.world.mu.Lock()
	defer in.world.mu.Unlock()
	in.faults = append(in.faults, &f)
}

// Calm ends every fault.
func (in *Instrument) Calm() {
	in.world.mu.Lock()
	defer in.world.mu.Unlock()
	in.faults = nil
}

// misdeed finds the fault that hits a command, and does what has to be done before it.
func (in *Instrument) misdeed(u unit) *Fault {
	text := strings.ToUpper(u.header + " " + u.data)
	for i, f := range in.faults {
		if !strings.Contains(text, strings.ToUpper(f.On)) {
			continue
		}
		if f.Skip > 0 {
			f.Skip--
			continue
		}
		if f.Times == 1 {
			in.faults = append(in.faults[:i:i], in.faults[i+1:]...)
		}
		f.Times--
		switch f.Do {
		case Refuse, Complain:
			in.complain(fault{f.Code, f.Text})
		case Overflow:
			in.acq.drop(int64(f.By))
		}
		return f
	}
	return nil
}

// spoil turns an answer into what the fault makes of it.
func (f *Fault) spoil(text string, u unit) string {
	switch {
	case f.Do == Garbage && u.query():
		return f.Text
	case f.Do == HangUp:
		return ""
	case f.Do == CutAnswer:
		return text[:len(text)/2]
	case f.Do == WrongLength && len(text) > 2 && text[0] == '#':
		digits := int(text[1] - '0')
		n := 0
		for _, d := range text[2 : 2+digits] {
			n = 10*n + int(d-'0')
		}
		head := fmt.Sprint(n + f.By)
		return fmt.Sprintf("#%d%s%s", len(head), head, text[2+digits:])
	}
	return text
}
