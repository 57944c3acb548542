// Package uff58 reads UFF58 recordings.
package uff58

import (
	"fmt"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads UFF58 files.
type Format struct{}

// Name returns "UFF58".
func (Format) Name() string { return "UFF58" }

// Match reports whether head starts a UFF58 file.
func (Format) Match(name string, head []byte) bool { return false }

// Open starts reading src.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	return nil, fmt.Errorf("recording %s: not a UFF58 file", src.Name)
}
