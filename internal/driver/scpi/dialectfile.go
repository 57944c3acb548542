package scpi

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/pelletier/go-toml/v2"
)

// ReadGenerator reads the dialect of a generator from TOML. What it leaves out is as in StandardGenerator; a key that does not exist is refused.
func ReadGenerator(r io.Reader) (Generator, error) {
	d := StandardGenerator()
	if err := read(r, &d); err != nil {
		return d, fmt.Errorf("dialect of the generator: %w", err)
	}
	if _, err := d.complete(); err != nil {
		return d, err
	}
	return d, nil
}

// ReadSampler reads the dialect of a digitizer or a sampling voltmeter from TOML. The key kind must stand in it; what it leaves out is as in StandardDigitizer or
// StandardVoltmeter; a key that does not exist is refused.
func ReadSampler(r io.Reader) (Sampler, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return Sampler{}, err
	}
	var head struct {
		Kind Kind `toml:"kind"`
	}
	if err := toml.Unmarshal(text, &head); err != nil {
		return Sampler{}, fmt.Errorf("dialect of the digitizer: %w", located(err))
	}
	d := StandardDigitizer()
	if head.Kind == Burst {
		d = StandardVoltmeter()
	}
	d.Kind = head.Kind
	if err := read(bytes.NewReader(text), &d); err != nil {
		return d, fmt.Errorf("dialect of the digitizer: %w", err)
	}
	return d, d.check()
}

func read(r io.Reader, into any) error {
	dec := toml.NewDecoder(r)
	dec.DisallowUnknownFields()
	return located(dec.Decode(into))
}

// located gives an error of the TOML reader its place in the file.
func located(err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		row, column := strict.Errors[0].Position()
		return fmt.Errorf("line %d, column %d: no such key: %v", row, column, strict.Errors[0].Key())
	}
	var bad *toml.DecodeError
	if errors.As(err, &bad) {
		row, column := bad.Position()
		return fmt.Errorf("line %d, column %d: %w", row, column, err)
	}
	return err
}
