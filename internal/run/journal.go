package run

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// journalName is the file that says all that happened, a line of JSON each. It only ever grows.
const journalName = "journal.jsonl"

// Line is one entry of the journal.
type Line struct {
	Time    time.Time       `json:"time"`
	Kind    string          `json:"kind"`
	Step    int             `json:"step,omitempty"`    // number of the step from 1; 0 none
	Attempt int             `json:"attempt,omitempty"` // from 1; 0 none
	Text    string          `json:"text,omitempty"`
	Data    json.RawMessage `json:"data,omitempty"`
	Check   string          `json:"check"` // hangs on everything up to this line
}

// Kinds of lines that the folder writes and reads itself. Others are kept for people.
const (
	kindBegun       = "begun"       // the run was created
	kindResumed     = "resumed"     // a program took it up again
	kindRecording   = "recording"   // an attempt began
	kindKept        = "kept"        // its recording is complete and counts
	kindDiscarded   = "discarded"   // its recording does not count
	kindInterrupted = "interrupted" // what a program that ended on its own left behind
	kindTorn        = "torn"        // the line before this one was not written whole and does not count
	kindFinished    = "finished"    // every step is kept or was skipped
)

// journal appends lines.
type journal struct {
	name  string
	f     file
	clock func() time.Time
	torn  bool   // what was written last may not be a whole line
	check string // of the last line that counts
}

// openJournal opens the journal for appending; torn says that its end is not whole, check is that of its last line.
func openJournal(d disk, dir string, torn bool, check string, clock func() time.Time) (*journal, error) {
	j := &journal{name: filepath.Join(dir, journalName), clock: clock, torn: torn, check: check}
	fresh := !exists(j.name)
	f, err := d.open(j.name, os.O_CREATE|os.O_WRONLY|os.O_APPEND)
	if err != nil {
		return nil, fmt.Errorf("journal: %w", err)
	}
	j.f = f
	if fresh {
		if err := d.syncDir(dir); err != nil {
			return nil, errors.Join(fmt.Errorf("journal: %w", err), f.Close())
		}
	}
	return j, nil
}

// append writes a line and returns when it is safe on disk. After an error the line does not count, however much of it was written.
func (j *journal) append(l Line) error {
	l.Time = j.clock().UTC()
	check, out := j.check, []byte(nil)
	if j.torn {
		mark, sum, err := sealed(Line{Time: l.Time, Kind: kindTorn, Text: "the line before was not written whole"}, check)
		if err != nil {
			return fmt.Errorf("journal: %w", err)
		}
		check, out = sum, slices.Concat([]byte{'\n'}, mark)
	}
	text, check, err := sealed(l, check)
	if err != nil {
		return fmt.Errorf("journal: line %q: %w", l.Kind, err)
	}
	n, err := j.f.Write(append(out, text...))
	if err == nil {
		err = j.f.Sync()
	}
	if err != nil {
		j.torn = j.torn || n > 0
		return fmt.Errorf("journal %s: %w", j.name, plain(err))
	}
	j.torn, j.check = false, check
	return nil
}

// Before and after the check of a line.
const (
	checkBefore = `,"check":"`
	checkAfter  = `"}`
	checkDigits = 16
)

// sealed is a line as it is written: its check, the beginning of a SHA-256, hangs on its text and on the check of the line before, so that a change anywhere
// shows.
func sealed(l Line, before string) (text []byte, check string, err error) {
	l.Check = ""
	if text, err = json.Marshal(l); err != nil {
		return nil, "", err
	}
	head := bytes.TrimSuffix(text, []byte(checkBefore+checkAfter))
	check = checkOf(head, before)
	return slices.Concat(head, []byte(checkBefore+check+checkAfter+"\n")), check, nil
}

func checkOf(head []byte, before string) string {
	sum := sha256.Sum256(append([]byte(before), head...))
	return hex.EncodeToString(sum[:])[:checkDigits]
}

// unsealed reads a line. whole is false where it is no line, and err says that it is one that was changed.
func unsealed(text []byte, before string) (l Line, whole bool, err error) {
	if err := json.Unmarshal(text, &l); err != nil || l.Kind == "" {
		return l, false, nil
	}
	head, found := bytes.CutSuffix(text, []byte(checkBefore+l.Check+checkAfter))
	if !found || checkOf(head, before) != l.Check {
		return l, true, errors.New("its check does not fit it and the lines before")
	}
	return l, true, nil
}

// parseJournal returns the lines that count, and whether the end of the content is not whole. Lines that are no JSON are allowed at the end and before a line that
// says that what stands before it was not written whole.
func parseJournal(content []byte) (lines []Line, torn bool, err error) {
	end := bytes.LastIndexByte(content, '\n')
	if end < 0 {
		return nil, len(content) > 0, nil
	}
	first, unread := 0, 0 // of the lines that could not be read: number of the first, how many
	for n, text := range bytes.Split(content[:end], []byte{'\n'}) {
		l, whole, err := unsealed(text, State{Lines: lines}.check())
		for k := len(lines) - 1; k >= 0 && err != nil && l.Kind == kindTorn; k-- { // lines that were written, but not known to be safe, do not count
			if _, _, wrong := unsealed(text, State{Lines: lines[:k]}.check()); wrong == nil {
				lines, err = lines[:k], nil
			}
		}
		switch {
		case err != nil:
			return nil, false, fmt.Errorf("journal, line %d: %w: the file was damaged after it was written", n+1, err)
		case !whole:
			if unread == 0 {
				first = n + 1
			}
			unread++
			continue
		case l.Kind != kindTorn && unread > 0:
			return nil, false, fmt.Errorf("journal, line %d: is no entry of a journal: the file was damaged after it was written", first)
		}
		unread = 0
		lines = append(lines, l)
	}
	return lines, unread > 0 || end+1 < len(content), nil
}

// plain is err without the name of the file, which the message gives already.
func plain(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}
