package simulator

import (
	"cmp"
	"slices"
)

// Plant puts a fault into the running bench. It may be called from any goroutine.
func (l *Live) Plant(f Fault) error {
	if err := f.check(l.h); err != nil {
		return err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	f.At = max(f.At, l.seconds())
	l.await(f)
	l.strike()
	return nil
}

func (l *Live) await(f Fault) {
	l.pending = append(l.pending, f)
	slices.SortStableFunc(l.pending, func(a, b Fault) int { return cmp.Compare(a.At, b.At) })
}

// seconds is the time of the digitizer's clock.
func (l *Live) seconds() float64 { return float64(l.frame) / l.setup.Recorder.Rate }

// strike lets the faults begin whose time has come.
func (l *Live) strike() {
	for len(l.pending) > 0 && l.pending[0].At <= l.seconds() {
		f := l.pending[0]
		l.pending = slices.Delete(l.pending, 0, 1)
		l.begin(f)
		if f.Every > 0 {
			f.At += f.Every
			l.await(f)
		}
	}
}

func (l *Live) begin(f Fault) {
	switch f.Kind {
	case Swapped:
		l.swapped = true
	case Unplugged:
		l.gone = true
		l.generator.Halt() // the converter runs dry
	case Stalled:
		l.stalled = true
	case Gap:
		l.missing += f.Frames
	case Stuck:
		l.table.stuck = true
	case Runaway:
		l.gain *= f.Size
	default:
		frame := l.h * float64(l.every)
		for c := range l.lanes {
			if f.Channel != 0 && f.Channel != c+1 {
				continue
			}
			switch f.Kind {
			case Alias:
				l.foreign = append(l.foreign, foreign{newWheel(f.Frequency, frame, 0), f.Size, c})
			case HumLoop:
				l.foreign = append(l.foreign, foreign{newWheel(l.mains(), frame, 0.1), f.Size, c})
			default:
				l.lanes[c].fault.plant(f, l.h)
			}
		}
	}
}

func (l *Live) mains() float64 {
	if f := l.setup.Hum.Frequency; f > 0 {
		return f
	}
	return 50
}
