// Package csv reads recordings in tables of text, whatever the delimiter, decimal mark and header.
package csv

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"plumbline/internal/format"
	"plumbline/quantity"
	"plumbline/recording"
)

// headBytes is how much of a file is looked at to find out how its table is written.
const headBytes = 256 << 10

// Format reads tables of numbers in text. How the table is written is guessed; the guess is told in Info.Notes, and
// format.Options overrule it.
type Format struct{}

// Name returns "CSV".
func (Format) Name() string { return "CSV" }

var extensions = []string{".csv", ".tsv", ".txt", ".asc", ".dat", ".prn"}

// Match reports whether head is text that starts a table of numbers. A text with the extension of a table matches even if
// no table is found in it, so that Open can say what is missing.
func (Format) Match(name string, head []byte) bool {
	if len(head) == 0 || !isText(head) {
		return false
	}
	for _, e := range extensions {
		if strings.EqualFold(filepath.Ext(name), e) {
			return true
		}
	}
	_, err := sniffBytes(head, len(head) < format.HeadBytes, format.Options{})
	return err == nil
}

// sniffBytes finds out how the table is written in the bytes at the start of a file.
func sniffBytes(head []byte, whole bool, opts format.Options) (*layout, error) {
	e, err := detectEncoding(head, opts.Encoding)
	if err != nil {
		return nil, err
	}
	decoded, err := decode(head, e)
	if err != nil {
		return nil, err
	}
	l, err := sniff(decoded, whole, e, opts)
	if err != nil {
		return nil, err
	}
	return l, l.chooseColumns(headRows(decoded, l, whole), opts.TimeColumn)
}

func decode(head []byte, e encoding) ([]byte, error) {
	head = head[e.mark:]
	if !e.wide() {
		return head, nil
	}
	return io.ReadAll(e.lines(bytes.NewReader(head[:len(head)&^1])))
}

// Open finds out how the table in src is written, reads it once for its length and its times, and starts at its first row.
func (Format) Open(src format.Source, opts format.Options) (recording.Reader, error) {
	f, err := src.Open()
	if err != nil {
		return nil, err
	}
	r, err := newReader(f, src, opts)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("recording %s: %w", src.Name, err), f.Close())
	}
	if err := opts.Settle(src.Name, &r.info); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return r, nil
}

func newReader(f io.ReadSeekCloser, src format.Source, opts format.Options) (*reader, error) {
	head := make([]byte, min(src.Size, headBytes))
	if _, err := io.ReadFull(f, head); err != nil {
		return nil, err
	}
	l, err := sniffBytes(head, src.Size <= headBytes, opts)
	if err != nil {
		return nil, err
	}
	s, err := scanTable(f, l, src.Size, opts.Rate != 0)
	if err != nil {
		return nil, err
	}
	info, err := l.info(s, opts)
	if err != nil {
		return nil, err
	}
	return start(f, src, l, s, info)
}

// info describes the recording, and how that was found out.
func (l *layout) info(s survey, opts format.Options) (recording.Info, error) {
	info := recording.Info{Format: "CSV", Frames: s.frames, Start: s.start, Findings: s.times.findings}
	info.Notes = append(info.Notes, l.describe())
	for n, i := range l.channels {
		given := n < len(opts.Units) && opts.Units[n] != ""
		info.Channels = append(info.Channels, l.channel(i, n+1, given))
	}
	note := func(text string, a ...any) { info.Notes = append(info.Notes, fmt.Sprintf(text, a...)) }
	switch {
	case l.time >= 0:
		info.Rate = s.times.rate
		if math.IsNaN(info.Rate) && opts.Rate != 0 {
			info.Rate = opts.Rate
		}
		note("times in %s%s, from %.10g s to %.10g s: rate %.12g Hz, good to about %.2g ppm", l.title(l.time), l.saysUnit(),
			s.bounds[0], s.bounds[1], s.times.rate, 1e6*s.times.relative)
		if math.IsNaN(info.Rate) {
			return info, fmt.Errorf("the times in %s, %d rows, give no rate: state the rate (%s)", l.title(l.time), s.frames, l.describe())
		}
	case l.rate > 0:
		info.Rate = l.rate
		note("no column of times; rate %.12g Hz from the header line %s", l.rate, l.rateText)
	case opts.Rate != 0:
		info.Rate = opts.Rate
		note("no column of times; rate %.12g Hz as given", opts.Rate)
	default:
		return info, fmt.Errorf("no column of times and no rate above the table: state the rate or the column of times (%s)", l.describe())
	}
	if !s.start.IsZero() {
		note("start %s as written in the file", s.start.Format("2006-01-02 15:04:05.000"))
	}
	info.Notes = append(info.Notes, l.notes...)
	return info, nil
}

// describe says in words how the table is written.
func (l *layout) describe() string {
	delimiter := "delimiter " + map[byte]string{'\t': "tab", ';': "semicolon", ',': "comma", '|': "bar", ' ': "blanks"}[l.delimiter]
	if len(l.columns) == 1 {
		delimiter = "one column"
	}
	decimal := "decimal mark point"
	if l.decimal == ',' {
		decimal = "decimal mark comma"
	}
	if l.grouped {
		decimal += ", digits grouped"
	}
	var names []string
	for i, c := range l.columns {
		name := c.header
		if name == "" {
			name = fmt.Sprintf("column %d", i+1)
		} else if c.unit != "" && !strings.Contains(name, c.unit) {
			name += " [" + c.unit + "]"
		}
		names = append(names, name)
		if i == 15 && len(l.columns) > 17 {
			names = append(names, "…")
			break
		}
	}
	return fmt.Sprintf("text in %s, %s, %s, %d lines above the table, %d columns: %s", l.encoding.name, delimiter, decimal, l.first-1, len(l.columns),
		strings.Join(names, ", "))
}

func (l *layout) saysUnit() string {
	c := l.columns[l.time]
	if c.kind == clockTime {
		return " as time of day"
	}
	if _, stated := c.unitOfTime(); !stated {
		return " without a unit, taken as s"
	}
	return ""
}

// channel makes column i channel n.
func (l *layout) channel(i, n int, given bool) recording.Channel {
	c := l.columns[i]
	ch := recording.Channel{Name: c.name}
	switch unit, err := quantity.ParseUnit(c.unit); {
	case given:
	case c.unit == "FS":
		ch.Unit = format.FullScale()
	case c.unit == "":
		l.note("channel %d has no unit", n)
	case err != nil:
		l.note("channel %d: unit %q is not known", n, c.unit)
	default:
		ch.Unit = unit
	}
	return ch
}
