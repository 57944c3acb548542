package assets

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"
)

// TestFonts expects TrueType files (their first four bytes are 00 01 00 00, OpenType specification, table directory) and their licence.
func TestFonts(t *testing.T) {
	f, err := Fonts()
	if err != nil {
		t.Fatal(err)
	}
	for name, b := range map[string][]byte{"regular": f.Regular, "semibold": f.Semibold, "bold": f.Bold, "italic": f.Italic} {
		if !bytes.HasPrefix(b, []byte{0, 1, 0, 0}) {
			t.Errorf("%s, %d bytes, is not a TrueType file", name, len(b))
		}
	}
	if text, err := License(); err != nil || !strings.Contains(text, "Open Font License") && !strings.Contains(text, "OPEN FONT LICENSE") {
		t.Errorf("licence: %v", err)
	}
}

// TestWithoutFonts expects the error to say what to do.
func TestWithoutFonts(t *testing.T) {
	_, err := fonts(fstest.MapFS{"files/.keep": {}})
	if err == nil || !strings.Contains(err.Error(), "built without its fonts") || !strings.Contains(err.Error(), "make assets") {
		t.Errorf("got %v", err)
	}
}
