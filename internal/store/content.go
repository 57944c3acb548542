package store

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// opening is the first line of a record's content and says the version of its form. Every version ever released stays readable.
const opening = "plumbline record 1\n"

// timeForm has one width, so that times sort as text.
const timeForm = "2006-01-02T15:04:05.000000000Z"

// Content is what the digest is taken of: a line for each field with its name, its length in bytes and its value, in one order. Nothing in it is ambiguous, whatever the
// values hold, and it can be read by eye.
func (r Record) Content() []byte {
	var b bytes.Buffer
	b.Grow(len(r.Body) + 1024)
	b.WriteString(opening)
	field := func(name, value string) {
		b.WriteString(name)
		b.WriteByte(' ')
		b.WriteString(strconv.Itoa(len(value)))
		b.WriteByte(':')
		b.WriteString(value)
		b.WriteByte('\n')
	}
	digests := func(name string, all []Digest) {
		for _, d := range all {
			field(name, string(d))
		}
	}
	field("chain", string(r.Chain))
	field("seq", strconv.FormatInt(r.Seq, 10))
	field("prev", string(r.Prev))
	field("time", r.Time.UTC().Format(timeForm))
	field("by", r.By)
	field("kind", r.Kind)
	field("key", r.Key)
	for _, t := range r.Terms {
		field("term", t)
	}
	digests("cites", r.Cites)
	digests("replaces", r.Replaces)
	field("reason", r.Reason)
	digests("file", r.Files)
	field("body", string(r.Body))
	return b.Bytes()
}

// ReadRecord reads a record's content and computes its digest. Content that is not exactly what such a record has is refused.
func ReadRecord(content []byte) (Record, error) {
	rest, known := bytes.CutPrefix(content, []byte(opening))
	if !known {
		first, _, _ := bytes.Cut(content[:min(len(content), 60)], []byte("\n"))
		return Record{}, fmt.Errorf("record that begins %q: allowed is %q", first, strings.TrimSpace(opening))
	}
	var r Record
	for len(rest) > 0 {
		name, value, after, ok := cutField(rest)
		if !ok {
			return Record{}, fmt.Errorf("record: no field at byte %d of %d", len(content)-len(rest), len(content))
		}
		if err := r.set(name, value); err != nil {
			return Record{}, fmt.Errorf("record: %w", err)
		}
		rest = after
	}
	if err := r.validate(); err != nil {
		return Record{}, fmt.Errorf("record: %w", err)
	}
	if !bytes.Equal(r.Content(), content) {
		return Record{}, fmt.Errorf("record %d of chain %.8s: fields missing, doubled or out of order", r.Seq, r.Chain)
	}
	r.Digest = digestOf(content)
	return r, nil
}

// cutField takes one "name length:value\n" off.
func cutField(b []byte) (name, value string, rest []byte, ok bool) {
	head, after, found := bytes.Cut(b, []byte(":"))
	if !found || len(head) > 40 {
		return "", "", nil, false
	}
	name, length, found := strings.Cut(string(head), " ")
	n, err := strconv.Atoi(length)
	if !found || err != nil || n < 0 || n >= len(after) || after[n] != '\n' {
		return "", "", nil, false
	}
	return name, string(after[:n]), after[n+1:], true
}

func (r *Record) set(name, value string) (err error) {
	switch name {
	case "chain":
		r.Chain = Chain(value)
	case "seq":
		r.Seq, err = strconv.ParseInt(value, 10, 64)
	case "prev":
		r.Prev = Digest(value)
	case "time":
		r.Time, err = time.Parse(timeForm, value)
	case "by":
		r.By = value
	case "kind":
		r.Kind = value
	case "key":
		r.Key = value
	case "term":
		r.Terms = append(r.Terms, value)
	case "cites":
		r.Cites = append(r.Cites, Digest(value))
	case "replaces":
		r.Replaces = append(r.Replaces, Digest(value))
	case "reason":
		r.Reason = value
	case "file":
		r.Files = append(r.Files, Digest(value))
	case "body":
		r.Body = []byte(value)
	default:
		return fmt.Errorf("field %.40q is not known", name)
	}
	if err != nil {
		return fmt.Errorf("field %s: %w", name, err)
	}
	return nil
}
