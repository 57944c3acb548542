// Package wav reads WAV recordings.
package wav

import (
	"fmt"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads WAV files.
type Format struct{}

// Name returns "WAV".
func (Format) Name() string { return "WAV" }

// Match reports whether head starts a WAV file.
func (Format) Match(name string, head []byte) bool { return false }

// Open starts reading src.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	return nil, fmt.Errorf("recording %s: not a WAV file", src.Name)
}
