package format

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"

	"plumbline/recording"
)

// Open identifies src as one of formats, asked in order, and returns it as a recording that can be read as often as needed.
// The recording's ID is the SHA-256 of all bytes. Put formats without a signature, such as text, last.
func Open(formats []Format, src Source, opts Options) (recording.Recording, error) {
	head, id, size, err := digest(src)
	if err != nil {
		return recording.Recording{}, fmt.Errorf("recording %s: %w", src.Name, err)
	}
	f, err := choose(formats, src.Name, head)
	if err != nil {
		return recording.Recording{}, err
	}
	src = unchanged(src, size)
	r, err := f.Open(src, opts)
	if err != nil {
		return recording.Recording{}, err
	}
	info := r.Info()
	open := func() (recording.Reader, error) { return f.Open(src, opts) }
	if again, ok := r.(Reopener); ok {
		open = again.Reopen
	}
	if err := r.Close(); err != nil {
		return recording.Recording{}, fmt.Errorf("recording %s: %w", src.Name, err)
	}
	return recording.New(src.Name, id, info, open), nil
}

// digest reads all of src once: its head, the SHA-256 of its bytes and their number.
func digest(src Source) (head []byte, id string, size int64, err error) {
	f, err := src.Open()
	if err != nil {
		return nil, "", 0, err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if size, err = f.Seek(0, io.SeekEnd); err != nil {
		return nil, "", 0, err
	}
	if _, err = f.Seek(0, io.SeekStart); err != nil {
		return nil, "", 0, err
	}
	hash := sha256.New()
	head = make([]byte, min(size, HeadBytes))
	if _, err := io.ReadFull(f, head); err != nil {
		return nil, "", 0, err
	}
	hash.Write(head)
	n, err := io.CopyBuffer(hash, onlyReader{f}, make([]byte, min(size+1, 256<<10)))
	if err != nil {
		return nil, "", 0, err
	}
	if n += int64(len(head)); n != size {
		return nil, "", 0, fmt.Errorf("%d bytes read of %d: the file is still being written", n, size)
	}
	return head, hex.EncodeToString(hash.Sum(nil)), size, nil
}

// onlyReader hides WriteTo, so that the buffer is used.
type onlyReader struct{ io.Reader }

func choose(formats []Format, name string, head []byte) (Format, error) {
	if len(head) == 0 {
		return nil, fmt.Errorf("recording %s: the file is empty", name)
	}
	var names []string
	for _, f := range formats {
		if f.Match(name, head) {
			return f, nil
		}
		names = append(names, f.Name())
	}
	first := head[:min(16, len(head))]
	return nil, fmt.Errorf("recording %s: starts with % x (%q): not a format this program reads (%s)",
		name, first, first, strings.Join(names, ", "))
}

// unchanged returns src with a check that its size is still the size that was identified.
func unchanged(src Source, size int64) Source {
	open := src.Open
	src.Size = size
	src.Open = func() (io.ReadSeekCloser, error) {
		f, err := open()
		if err != nil {
			return nil, fmt.Errorf("recording %s: %w", src.Name, err)
		}
		now, err := f.Seek(0, io.SeekEnd)
		if err == nil && now != size {
			err = fmt.Errorf("has %d bytes now, had %d when it was identified", now, size)
		}
		if err == nil {
			_, err = f.Seek(0, io.SeekStart)
		}
		if err != nil {
			return nil, errors.Join(fmt.Errorf("recording %s: %w", src.Name, err), f.Close())
		}
		return f, nil
	}
	return src
}
