// Package csv reads CSV recordings.
package csv

import (
	"fmt"

	"plumbline/internal/format"
	"plumbline/recording"
)

// Format reads CSV files.
type Format struct{}

// Name returns "CSV".
func (Format) Name() string { return "CSV" }

// Match reports whether head starts a CSV file.
func (Format) Match(name string, head []byte) bool { return false }

// Open starts reading src.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	return nil, fmt.Errorf("recording %s: not a CSV file", src.Name)
}
