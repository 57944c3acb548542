package csv

import (
	"errors"
	"fmt"
	"io"
	"math"

	"plumbline/internal/format"
	"plumbline/recording"
)

type reader struct {
	f    io.ReadSeekCloser
	src  format.Source
	l    *layout
	s    survey
	info recording.Info
	t    *table
	left int64
}

// start begins reading an open file at the first row that counts.
func start(f io.ReadSeekCloser, src format.Source, l *layout, s survey, info recording.Info) (*reader, error) {
	t, err := newTable(f, l, src.Size)
	if err != nil {
		return nil, err
	}
	for range s.skip {
		if _, err := t.row(); err != nil {
			return nil, err
		}
	}
	return &reader{f: f, src: src, l: l, s: s, info: info, t: t, left: s.frames}, nil
}

// Reopen starts another reading without looking at the whole table again.
func (r *reader) Reopen() (recording.Reader, error) {
	f, err := r.src.Open()
	if err != nil {
		return nil, err
	}
	again, err := start(f, r.src, r.l, r.s, r.info)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("recording %s: %w", r.src.Name, err), f.Close())
	}
	return again, nil
}

func (r *reader) Info() recording.Info { return r.info }

func (r *reader) Read(dst [][]float64) (int, error) {
	n := int(min(int64(len(dst[0])), r.left))
	if n == 0 {
		return 0, io.EOF
	}
	for i := range n {
		if err := r.row(dst, i); err != nil {
			return 0, fmt.Errorf("recording %s: %w", r.src.Name, err)
		}
	}
	r.left -= int64(n)
	return n, nil
}

// row reads the next row into place i of dst.
func (r *reader) row(dst [][]float64, i int) error {
	fields, err := r.t.row()
	if err == io.EOF {
		return fmt.Errorf("line %d: %w", r.t.line, io.ErrUnexpectedEOF)
	}
	if err != nil {
		return err
	}
	if len(fields) != len(r.l.columns) {
		return fmt.Errorf("line %d: %d columns, %d are due", r.t.line, len(fields), len(r.l.columns))
	}
	for n, c := range r.l.channels {
		v, ok := r.l.number(fields[c])
		if !ok {
			if !isMissing(fields[c]) {
				return fmt.Errorf("line %d, %s: found %.40q, allowed is a number with decimal mark %c", r.t.line, r.l.title(c), fields[c], r.l.decimal)
			}
			v = math.NaN()
		}
		dst[n][i] = v
	}
	return nil
}

func (r *reader) Close() error {
	if r.f == nil {
		return nil
	}
	err := r.f.Close()
	r.f, r.t, r.left = nil, nil, 0
	return err
}
