package storetest

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"strings"
	"testing"

	"plumbline/internal/store"
)

func files(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	for _, text := range []string{"", "samples", strings.Repeat("0123456789abcdef", 1<<16)} {
		h := sha256.Sum256([]byte(text))
		for range 2 { // the second time it is there already
			if d := Put(t, s, text); string(d) != hex.EncodeToString(h[:]) {
				t.Errorf("%d bytes are kept under %s", len(text), d)
			}
		}
		r, n, err := rig.Again(t, s).OpenFile(t.Context(), store.Digest(hex.EncodeToString(h[:])))
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(r)
		if r.Close(); err != nil || string(got) != text || n != int64(len(text)) {
			t.Errorf("%d bytes came back as %d of %d: %v", len(text), len(got), n, err)
		}
	}
	if _, _, err := s.OpenFile(t.Context(), store.Digest(strings.Repeat("0", 64))); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("unknown file: %v", err)
	}
	if _, _, err := s.OpenFile(t.Context(), "../../records.db"); err == nil {
		t.Error("a path is no digest")
	}
}

// failing gives some bytes, then an error.
type failing struct{ left int }

func (f *failing) Read(p []byte) (int, error) {
	if f.left == 0 {
		return 0, errors.New("cable pulled")
	}
	n := min(len(p), f.left)
	f.left -= n
	return n, nil
}

func brokenFiles(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	_, _, err := s.PutFile(t.Context(), &failing{left: 300000})
	wants(t, err, "cable pulled", "nothing of it was kept")
	h := sha256.Sum256(make([]byte, 300000))
	if _, _, err := s.OpenFile(t.Context(), store.Digest(hex.EncodeToString(h[:]))); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("half a file was kept: %v", err)
	}
	Sound(t, s)
}

func spoilt(t *testing.T, rig Rig) {
	s := rig.New(t, Origin(1))
	d := Draft("calibration", "A-0401")
	d.Files = []store.Digest{Put(t, s, "recording of point 1"), Put(t, s, "recording of point 2"), Put(t, s, "recording of point 3")}
	Append(t, s, d)
	rig.Spoil(t, s, d.Files[1])
	rig.Lose(t, s, d.Files[2])
	finds(t, s, nil, string(d.Files[1]), "20 bytes have the digest")
	finds(t, s, nil, string(d.Files[2]), "missing", "calibration A-0401")
	r, _, err := s.OpenFile(t.Context(), d.Files[1])
	if err != nil {
		t.Fatal(err)
	}
	_, err = io.ReadAll(r)
	if r.Close(); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("spoilt file was read: %v", err)
	}
	for i, text := range []string{"recording of point 2", "recording of point 3"} { // whoever has it still may put it again
		if got := Put(t, s, text); got != d.Files[i+1] {
			t.Errorf("put again: %s", got)
		}
	}
	Sound(t, s)
}
