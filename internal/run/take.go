package run

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"

	"plumbline/bench"
)

// Take keeps a file that was made elsewhere as the recording of a step: it is copied into the run, complete on disk, and then counts. digest is the SHA-256 it must
// have, empty where it is not known; units are those of its channels where the file cannot say them.
func (f *Folder) Take(step int, extension string, from io.Reader, digest string, units []string, o bench.Outcome) (name string, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if step < 0 || step >= len(f.state.Head.Steps) {
		return "", fmt.Errorf("run %s: step %d, the run has %d", f.dir, step+1, len(f.state.Head.Steps))
	}
	n, label := f.state.Begun[step]+1, f.state.Head.Steps[step].Label
	name = fmt.Sprintf("%s/%03d-%s-a%d%s", Recordings, step+1, f.what(step, label), n, extension)
	wrong := func(err error) error { return fmt.Errorf("run %s: %s: %w", f.dir, name, plain(err)) }
	if err := f.journal.append(Line{Kind: kindRecording, Step: step + 1, Attempt: n, Text: label, Data: figures(attemptFile{name})}); err != nil {
		return "", wrong(err)
	}
	f.state.Begun[step] = n
	sum, err := f.copied(name, from)
	if err == nil && digest != "" && sum != digest {
		err = fmt.Errorf("has the SHA-256 %s, %s was looked at: it changed meanwhile", sum, digest)
	}
	if err == nil {
		err = f.disk.rename(f.path(name+partSuffix), f.path(name))
	}
	if err == nil {
		err = f.disk.syncDir(f.path(Recordings))
	}
	if err != nil {
		return "", wrong(err)
	}
	k := Kept{Step: step, Attempt: n, File: name, SHA256: sum, Units: units, Outcome: outcomeOf(o)}
	if err := f.journal.append(Line{Kind: kindKept, Step: step + 1, Attempt: n, Text: o.Reason, Data: figures(k)}); err != nil {
		return "", wrong(err)
	}
	k.Time = f.clock().UTC()
	f.state.Kept = append(f.state.Kept, k)
	return name, nil
}

// copied writes a file under its name for what is not complete, and returns its digest.
func (f *Folder) copied(name string, from io.Reader) (sum string, err error) {
	to, err := f.disk.open(f.path(name+partSuffix), os.O_CREATE|os.O_WRONLY|os.O_TRUNC)
	if err != nil {
		return "", err
	}
	h := sha256.New()
	_, err = io.Copy(io.MultiWriter(to, h), from)
	if err = errors.Join(err, to.Sync(), to.Close()); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
