// Package format opens recording files: it identifies the kind of file by its content and the file by its digest.
package format

import (
	"io"

	"plumbline/recording"
)

// HeadBytes is the number of bytes from the start of a file that Format.Match gets to see (fewer where the file is shorter).
const HeadBytes = 64 << 10

// Source is a file that can be opened as often as needed.
type Source struct {
	Name string // the file's name without folder, for messages
	Size int64  // bytes
	Open func() (io.ReadSeekCloser, error)
}

// Options overrule what a file says of itself or what would be guessed. The zero value overrules nothing.
type Options struct {
	Rate  float64  // samples per second; 0 as the file says
	Units []string // unit of each channel in order, "" as the file says; empty overrules none

	// Text files only.
	Delimiter   string // "tab", "blank", ";", ",", "|"; "" guess
	DecimalMark string // "." or ","; "" guess
	Encoding    string // "utf-8", "utf-16le", "utf-16be", "windows-1252"; "" guess
	HeaderLines *int   // lines before the first line of numbers; nil guess
	TimeColumn  string // name or number (1 = first) of the column of times, "none"; "" guess
}

// Format reads one kind of recording file.
type Format interface {
	// Name is the short name of the format, for example "WAV".
	Name() string
	// Match reports whether a file that starts with head is of this format. The name may break a tie, the content decides.
	Match(name string, head []byte) bool
	// Open starts reading at the first frame. The Reader has a file handle of its own.
	Open(src Source, opts Options) (recording.Reader, error)
}

// Reopener is implemented by Readers that can start another reading without examining the file again.
type Reopener interface {
	Reopen() (recording.Reader, error)
}
