package uff58

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"plumbline/internal/format"
)

// contents is what a file holds.
type contents struct {
	records []dataset   // time records
	other   map[int]int // function type -> number of functions that are no time records
	sets    int         // datasets of other kinds
	cut     int         // place of a dataset that the file ends in before its samples; 0 none
}

func (c contents) total() int {
	n := len(c.records)
	for _, k := range c.other {
		n += k
	}
	return n
}

// String lists the contents in words.
func (c contents) String() string {
	var parts []string
	if n := len(c.records); n > 0 {
		parts = append(parts, fmt.Sprintf("%d × time record", n))
	}
	var types []int
	for t := range c.other {
		types = append(types, t)
	}
	slices.Sort(types)
	for _, t := range types {
		name, ok := functions[t]
		if !ok {
			name = fmt.Sprintf("function type %d", t)
		}
		parts = append(parts, fmt.Sprintf("%d × %s", c.other[t], name))
	}
	if c.sets > 0 {
		parts = append(parts, fmt.Sprintf("%d datasets that are not 58", c.sets))
	}
	if len(parts) == 0 {
		return "no complete dataset"
	}
	return strings.Join(parts, ", ")
}

// lines reads a file by lines and knows where it is.
type lines struct {
	f    io.ReadSeeker
	r    *bufio.Reader
	at   int64 // offset of the next line
	size int64
}

// next returns the next line without its end. Of a line that is longer than the buffer the front is returned.
func (l *lines) next() (string, error) {
	b, err := l.r.ReadSlice('\n')
	line := strings.TrimRight(string(b), "\r\n")
	l.at += int64(len(b))
	for err == bufio.ErrBufferFull {
		b, err = l.r.ReadSlice('\n')
		l.at += int64(len(b))
	}
	if err == io.EOF && len(line) > 0 {
		err = nil
	}
	return line, err
}

// skip passes over n bytes.
func (l *lines) skip(n int64) error {
	l.at += n
	if _, err := l.f.Seek(l.at, io.SeekStart); err != nil {
		return err
	}
	l.r.Reset(l.f)
	return nil
}

func isMark(line string) bool { return strings.TrimSpace(line) == "-1" }

// datasetNumber reads the line behind the opening mark.
func datasetNumber(line string) (number int, binary bool, err error) {
	head := strings.TrimSpace(cut(line, 0, 7))
	head, binary = strings.CutSuffix(head, "b")
	number, err = strconv.Atoi(strings.TrimSpace(head))
	return number, binary, err
}

// scan walks through the datasets of a file.
func scan(f io.ReadSeeker, size int64) (contents, error) {
	c := contents{other: map[int]int{}}
	l := &lines{f: f, r: bufio.NewReaderSize(f, 4096), size: size}
	var units *unitSystem
	for place := 0; ; {
		line, err := l.next()
		if err == io.EOF {
			return c, nil
		}
		if err != nil {
			return c, err
		}
		if !isMark(line) {
			continue
		}
		if line, err = l.next(); err != nil {
			if err == io.EOF {
				return c, nil
			}
			return c, err
		}
		number, binary, err := datasetNumber(line)
		if err != nil {
			return c, fmt.Errorf("at byte %d: found %.40q where a dataset number is due", l.at, line)
		}
		place++
		if err := c.dataset(l, number, binary, line, place, &units); err == io.EOF {
			c.cut = place // what is not complete does not count
			return c, nil
		} else if err != nil {
			return c, fmt.Errorf("dataset %d (number %d): %w", place, number, err)
		}
	}
}

// dataset reads one dataset up to and with its closing mark.
func (c *contents) dataset(l *lines, number int, binary bool, line string, place int, units **unitSystem) error {
	switch {
	case number == 58:
		d := dataset{place: place, binary: binary, units: *units}
		if err := d.header(l, line); err != nil {
			return err
		}
		if err := d.locate(l); err != nil {
			return err
		}
		if d.function != 1 {
			c.other[d.function]++
			return nil
		}
		if len(c.records) == format.MaxChannels {
			return fmt.Errorf("more than %d time records", format.MaxChannels)
		}
		c.records = append(c.records, d)
		return nil
	case binary:
		return errors.New("binary dataset: only 58b is known")
	case number == 164:
		var err error
		if *units, err = readUnits(l); err != nil {
			return err
		}
	}
	c.sets++
	for {
		line, err := l.next()
		if err != nil {
			return err
		}
		if isMark(line) {
			return nil
		}
	}
}

// locate finds the samples: the bytes they take and how many there are. A file may end within them.
func (d *dataset) locate(l *lines) error {
	d.offset = l.at
	width, perLine := d.layout()
	if d.binary {
		need := d.n * int64(width)
		if d.length != need && d.function == 1 {
			return fmt.Errorf("%d bytes announced, %d samples of %d bytes are %d", d.length, d.n, width, need)
		}
		d.length = min(d.length, l.size-l.at)
		if width > 0 {
			d.have = d.length / int64(width)
		}
		if err := l.skip(d.length); err != nil {
			return err
		}
		if l.at >= l.size {
			return nil
		}
		line, err := l.next()
		if err == nil && strings.TrimSpace(line) == "" {
			line, err = l.next()
		}
		if err == nil && !isMark(line) {
			return fmt.Errorf("found %.40q behind the samples where -1 is due", line)
		}
		return ignoreEOF(err)
	}
	for {
		before := l.at
		line, err := l.next()
		if err == io.EOF || err == nil && isMark(line) {
			d.length = before - d.offset
			d.have = min(d.have, d.n)
			return nil
		}
		if err != nil {
			return err
		}
		if l.at < l.size || l.ended() { // a line that the end of the file cuts does not count
			d.have += int64(min((len(strings.TrimRight(line, " "))+width-1)/width, perLine))
		}
	}
}

// ended reports whether the file ends with the end of a line.
func (l *lines) ended() bool {
	if _, err := l.f.Seek(l.size-1, io.SeekStart); err != nil {
		return false
	}
	var b [1]byte
	if _, err := io.ReadFull(l.f, b[:]); err != nil {
		return false
	}
	if _, err := l.f.Seek(l.size, io.SeekStart); err != nil {
		return false
	}
	return b[0] == '\n'
}

func ignoreEOF(err error) error {
	if err == io.EOF {
		return nil
	}
	return err
}
