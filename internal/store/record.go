// Package store keeps records, chained by their digests, with the files they name.
package store

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Digest is a SHA-256 as 64 lower-case hexadecimal digits: of a record's content, or of a file's bytes.
type Digest string

// ParseDigest reads a digest.
func ParseDigest(s string) (Digest, error) {
	if err := hexadecimal(s, sha256.Size); err != nil {
		return "", fmt.Errorf("digest %w", err)
	}
	return Digest(s), nil
}

// digestOf is the digest of bytes.
func digestOf(b []byte) Digest {
	h := sha256.Sum256(b)
	return Digest(hex.EncodeToString(h[:]))
}

// Chain names the installation in which records arise: 128 random bits, drawn once, as 32 lower-case hexadecimal digits.
type Chain string

const chainBytes = 16

// ParseChain reads the name of a chain.
func ParseChain(s string) (Chain, error) {
	if err := hexadecimal(s, chainBytes); err != nil {
		return "", fmt.Errorf("chain %w", err)
	}
	return Chain(s), nil
}

func hexadecimal(s string, bytes int) error {
	if b, err := hex.DecodeString(s); err != nil || len(b) != bytes || strings.ToLower(s) != s {
		return fmt.Errorf("%.80q: allowed are %d hexadecimal digits in lower case", s, 2*bytes)
	}
	return nil
}

// Draft is what a caller says; a store makes a Record of it.
type Draft struct {
	Kind     string    // what the record is, such as "asset": lower-case letters, digits, hyphens
	Key      string    // what people look for: a serial number, the number of a certificate
	Terms    []string  // what else it is found by: customer, place, model
	Cites    []Digest  // records it rests on; they are exported with it
	Replaces []Digest  // records of the same kind that it corrects
	Reason   string    // why it replaces them
	Time     time.Time // when; kept in UTC to the nanosecond
	By       string    // who
	Files    []Digest  // files it names, which the store holds already
	Body     []byte    // JSON, kept byte for byte

	// Only refuses the draft where another record of its kind and key would stay current beside it. It is a condition, not kept.
	Only bool
}

// Record is one entry. Nothing in it ever changes.
type Record struct {
	Digest   Digest // of its content, which is everything below
	Chain    Chain  // the installation in which it arose
	Seq      int64  // its place there, from 1
	Prev     Digest // the record before it there; empty for the first
	Kind     string
	Key      string
	Terms    []string
	Cites    []Digest
	Replaces []Digest
	Reason   string
	Time     time.Time
	By       string
	Files    []Digest
	Body     []byte
}

// String names the record for a person.
func (r Record) String() string {
	return fmt.Sprintf("record %d of chain %.8s (%s %s, %.12s)", r.Seq, r.Chain, r.Kind, r.Key, r.Digest)
}

// What a record may hold.
const (
	longestKind = 40
	longestText = 400      // bytes of a key, a term, a name
	longestWhy  = 4000     // bytes of a reason
	longestList = 10000    // entries
	longestBody = 64 << 20 // bytes
)

// record is the draft at its place in a chain, as far as it is allowed.
func (d Draft) record(chain Chain, seq int64, prev Digest) (Record, error) {
	r := Record{Chain: chain, Seq: seq, Prev: prev, Kind: d.Kind, Key: d.Key, Terms: slices.Clone(d.Terms), Cites: slices.Clone(d.Cites), Replaces: slices.Clone(d.Replaces),
		Reason: d.Reason, Time: d.Time.UTC().Round(0), By: d.By, Files: slices.Clone(d.Files), Body: slices.Clone(d.Body)}
	if err := r.validate(); err != nil {
		return Record{}, fmt.Errorf("%.40q %.80q: %w", d.Kind, d.Key, err)
	}
	r.Digest = digestOf(r.Content())
	return r, nil
}

// validate says what a record of this version may not be.
func (r Record) validate() error {
	if _, err := ParseChain(string(r.Chain)); err != nil {
		return err
	}
	if r.Seq < 1 || (r.Seq == 1) != (r.Prev == "") {
		return fmt.Errorf("place %d with predecessor %q: allowed is 1 without, and above 1 with one", r.Seq, r.Prev)
	}
	if r.Kind == "" || len(r.Kind) > longestKind || strings.Trim(r.Kind, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return fmt.Errorf("kind %.80q: allowed are 1 to %d lower-case letters, digits and hyphens", r.Kind, longestKind)
	}
	if r.Time.IsZero() || r.Time.Year() < 1 || r.Time.Year() > 9999 {
		return fmt.Errorf("time %v: allowed are the years 1 to 9999", r.Time)
	}
	for _, t := range []struct {
		name, text string
		longest    int
		empty      bool
	}{{"key", r.Key, longestText, false}, {"name of who makes it", r.By, longestText, false}, {"reason", r.Reason, longestWhy, len(r.Replaces) == 0}} {
		if err := plainText(t.name, t.text, t.longest, t.empty); err != nil {
			return err
		}
	}
	if len(r.Replaces) == 0 && r.Reason != "" {
		return fmt.Errorf("reason %.80q without a record that is replaced", r.Reason)
	}
	if len(r.Body) > longestBody || !utf8.Valid(r.Body) || !json.Valid(r.Body) {
		return fmt.Errorf("body of %d bytes beginning %.40q: allowed is JSON in UTF-8 of at most %d bytes", len(r.Body), r.Body, longestBody)
	}
	return r.validateLists()
}

func (r Record) validateLists() error {
	for _, t := range r.Terms {
		if err := plainText("term", t, longestText, false); err != nil {
			return err
		}
	}
	for _, l := range []struct {
		name    string
		digests []Digest
	}{{"previous record", r.previous()}, {"cited record", r.Cites}, {"replaced record", r.Replaces}, {"file", r.Files}} {
		seen := map[Digest]bool{}
		for _, d := range l.digests {
			if _, err := ParseDigest(string(d)); err != nil {
				return fmt.Errorf("%s: %w", l.name, err)
			}
			if seen[d] {
				return fmt.Errorf("%s %s: named twice", l.name, d)
			}
			seen[d] = true
		}
	}
	if n := max(len(r.Terms), len(r.Cites), len(r.Replaces), len(r.Files)); n > longestList {
		return fmt.Errorf("list of %d entries: allowed are %d", n, longestList)
	}
	return nil
}

func (r Record) previous() []Digest {
	if r.Prev == "" {
		return nil
	}
	return []Digest{r.Prev}
}

// plainText wants one line of text a person can read and write.
func plainText(name, s string, longest int, empty bool) error {
	switch {
	case s == "" && !empty:
		return fmt.Errorf("%s: empty", name)
	case len(s) > longest:
		return fmt.Errorf("%s %.40q...: %d bytes, allowed are %d", name, s, len(s), longest)
	case !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl):
		return fmt.Errorf("%s %.80q: allowed is UTF-8 without control characters", name, s)
	case strings.TrimSpace(s) != s:
		return fmt.Errorf("%s %.80q: allowed is text without space at its ends", name, s)
	}
	return nil
}
