package store

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// sample is a record with every field.
func sample(t testing.TB) Record {
	t.Helper()
	d := Draft{Kind: "calibration", Key: "A-0401", Terms: []string{"Aldermere", "10 V/g"}, Cites: []Digest{digestOf([]byte("1"))}, Replaces: []Digest{digestOf([]byte("2")), digestOf([]byte("3"))},
		Reason: "cable changed", Time: time.Date(2026, 3, 2, 9, 30, 0, 5, time.UTC), By: "J. Marsh", Files: []Digest{digestOf([]byte("4"))}, Body: []byte("{\"body\":\n1.50}")}
	r, err := d.record("0123456789abcdef0123456789abcdef", 7, digestOf([]byte("0")))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestReleasedVersions reads a record of every version of the form that was ever released. The digests were computed with sha256sum.
func TestReleasedVersions(t *testing.T) {
	for name, want := range map[string]Digest{
		"record-1.txt": "8e252c8f32ee6ed92f2ee443b17414e4b1747d71afea01f7d83a2543fcd33b7f",
	} {
		content, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		r, err := ReadRecord(content)
		if err != nil || r.Digest != want {
			t.Errorf("%s: %v, %v, want digest %s", name, r, err, want)
		}
		if !bytes.Equal(r.Content(), content) {
			t.Errorf("%s: written again as\n%s", name, r.Content())
		}
	}
	newest, err := os.ReadFile(filepath.Join("testdata", "record-1.txt"))
	if err != nil {
		t.Fatal(err)
	}
	if got := sample(t).Content(); !bytes.Equal(got, newest) {
		t.Errorf("today's form is\n%s\nthe released one\n%s", got, newest)
	}
}

// TestAnyByteCounts changes, removes and adds bytes of a record's content: none gives a record of the same digest, and none a record that is written differently.
func TestAnyByteCounts(t *testing.T) {
	content := sample(t).Content()
	whole := digestOf(content)
	for i := range content {
		changed := bytes.Clone(content)
		changed[i] ^= 1
		for _, b := range [][]byte{changed, append(bytes.Clone(content[:i]), content[i+1:]...), content[:i]} {
			if r, err := ReadRecord(b); err == nil && (r.Digest == whole || !bytes.Equal(r.Content(), b)) {
				t.Errorf("byte %d: read as %v", i, r)
			}
		}
	}
}

func FuzzReadRecord(f *testing.F) {
	f.Add(sample(f).Content())
	f.Add([]byte(opening + "seq 999999999:1\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := ReadRecord(b)
		if err == nil && (!bytes.Equal(r.Content(), b) || r.Digest != digestOf(b)) {
			t.Errorf("%q is read as %v, which is written %q", b, r, r.Content())
		}
	})
}

func TestSoundVersion(t *testing.T) {
	for version, want := range map[string]bool{"3.51.2": false, "3.51.3": true, "3.7.99": false, "3.54.1": true, "4.0.0": true, "2.99.9": false, "3.51": false, "x": false} {
		if err := soundVersion(version); (err == nil) != want {
			t.Errorf("%s: %v", version, err)
		}
	}
}

func TestRebind(t *testing.T) {
	if got := (dialect{numbered: true}).rebind("a = ? and b = '?' and c = ?"); got != "a = $1 and b = '?' and c = $2" {
		t.Error(got)
	}
}
