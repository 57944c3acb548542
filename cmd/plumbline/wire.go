package main

import (
	"plumbline/internal/format"
	"plumbline/internal/format/csv"
	"plumbline/internal/format/flac"
	"plumbline/internal/format/uff58"
	"plumbline/internal/format/wav"
	"plumbline/internal/lab"
)

// formats is every kind of recording file that is read, in the order they are asked; text, which has no signature, last.
func formats() []format.Format {
	return []format.Format{wav.Format{}, flac.Format{}, uff58.Format{}, csv.Format{}}
}

func newLab() lab.Lab { return lab.Lab{Formats: formats(), Version: version} }
