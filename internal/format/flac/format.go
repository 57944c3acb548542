// Package flac reads FLAC recordings.
package flac

import (
	"fmt"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads FLAC files.
type Format struct{}

// Name returns "FLAC".
func (Format) Name() string { return "FLAC" }

// Match reports whether head starts a FLAC file.
func (Format) Match(name string, head []byte) bool { return false }

// Open starts reading src.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	return nil, fmt.Errorf("recording %s: not a FLAC file", src.Name)
}
