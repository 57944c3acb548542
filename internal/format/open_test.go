package format_test

import (
	"errors"
	"io"
	"strings"
	"testing"

	"plumbline/internal/format"
	"plumbline/internal/format/csv"
	"plumbline/internal/format/flac"
	"plumbline/internal/format/formattest"
	"plumbline/internal/format/uff58"
	"plumbline/internal/format/wav"
)

var formats = []format.Format{wav.Format{}, flac.Format{}, uff58.Format{}, csv.Format{}}

// TestUnknown: a file that is none of the formats is named, with its first bytes and what is allowed.
func TestUnknown(t *testing.T) {
	var h formattest.Handles
	for _, c := range []struct {
		name, data string
		want       []string
	}{
		{"a.wav", "MZ\x90\x00\x03\x00\x00\x00\x04", []string{"recording a.wav: ", "4d 5a 90 00 03 00 00 00 04", "WAV, FLAC, UFF, CSV"}},
		{"b.bin", "RIFF\x10\x00\x00\x00AVI LIST", []string{"recording b.bin: ", `"RIFF`, "WAV, FLAC, UFF, CSV"}},
		{"c.csv", "", []string{"recording c.csv: the file is empty"}},
		{"d.md", "# A page\n\nwithout numbers\n", []string{"recording d.md: ", "not a format this program reads"}},
		{"e.csv", "a page\nwithout numbers\n", []string{"recording e.csv: no table of numbers"}},
	} {
		_, err := format.Open(formats, h.Source(c.name, []byte(c.data)), format.Options{})
		for _, w := range c.want {
			if err == nil || !strings.Contains(err.Error(), w) {
				t.Errorf("%s: error %v, want %q", c.name, err, w)
			}
		}
	}
	if h.Open() != 0 {
		t.Errorf("%d handles left open", h.Open())
	}
}

// TestContentDecides: the extension does not.
func TestContentDecides(t *testing.T) {
	wave := "RIFF\x28\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x40\x1f\x00\x00\x80\x3e\x00\x00\x02\x00\x10\x00data\x04\x00\x00\x00\x00\x40\x00\xc0"
	var h formattest.Handles
	for name, data := range map[string]string{"a.csv": wave, "b.wav": "t [s];a [V]\n0.0;1\n0.5;2\n1.0;1\n"} {
		rec, err := format.Open(formats, h.Source(name, []byte(data)), format.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if want := map[string]string{"a.csv": "WAV PCM 16 bit", "b.wav": "CSV"}[name]; rec.Info.Format != want {
			t.Errorf("%s: %q, want %q", name, rec.Info.Format, want)
		}
	}
}

// TestNoFile: an error of the system is passed on with the file's name.
func TestNoFile(t *testing.T) {
	gone := errors.New("gone")
	src := format.Source{Name: "a.wav", Open: func() (io.ReadSeekCloser, error) { return nil, gone }}
	if _, err := format.Open(formats, src, format.Options{}); !errors.Is(err, gone) || !strings.Contains(err.Error(), "a.wav") {
		t.Errorf("error %v", err)
	}
}
