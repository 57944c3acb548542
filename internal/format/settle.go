package format

import (
	"fmt"
	"math"

	"plumbline/quantity"
	"plumbline/recording"
)

// MaxChannels is the largest number of channels a recording may have: more is taken for a damaged header.
const MaxChannels = 1024

// FullScale is the unit of samples that are delivered as fraction of the recorder's full scale.
func FullScale() quantity.Unit { return quantity.Unit{Symbol: "FS", Factor: 1} }

// Settle applies the overrides for rate and units to what a format found, and refuses what no recording can be.
// Every Format calls it last. A rate that was given in place of another is noted.
func (o Options) Settle(name string, info *recording.Info) error {
	wrong := func(text string, a ...any) error {
		return fmt.Errorf("recording %s: %s", name, fmt.Sprintf(text, a...))
	}
	if n := len(info.Channels); n < 1 || n > MaxChannels {
		return wrong("%d channels: allowed are 1 to %d", n, MaxChannels)
	}
	if o.Rate != 0 {
		if !(o.Rate > 0) || math.IsInf(o.Rate, 0) {
			return wrong("rate %v Hz as given: allowed is a positive number", o.Rate)
		}
		if info.Rate != o.Rate {
			info.Notes = append(info.Notes, fmt.Sprintf("rate %.12g Hz as given, the file says %.12g Hz", o.Rate, info.Rate))
		}
		info.Rate = o.Rate
	}
	if !(info.Rate > 0) || math.IsInf(info.Rate, 0) {
		return wrong("rate %v Hz: allowed is a positive number", info.Rate)
	}
	return o.settleUnits(wrong, info)
}

func (o Options) settleUnits(wrong func(string, ...any) error, info *recording.Info) error {
	if len(o.Units) == 0 {
		return nil
	}
	if len(o.Units) != len(info.Channels) {
		return wrong("%d units given for %d channels", len(o.Units), len(info.Channels))
	}
	for c, text := range o.Units {
		if text == "" {
			continue
		}
		unit := FullScale()
		if text != unit.Symbol {
			var err error
			if unit, err = quantity.ParseUnit(text); err != nil {
				return wrong("unit given for channel %d: %v", c+1, err)
			}
		}
		info.Channels[c].Unit = unit
	}
	return nil
}
