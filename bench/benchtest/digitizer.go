package benchtest

import (
	"context"
	"errors"
	"io"
	"math"
	"time"

	"plumbline/bench"
	"plumbline/recording"
)

func (r *trial) says() {
	r.acquire()
	info := r.reader.Info()
	if !(info.Rate > 0) || math.IsInf(info.Rate, 1) {
		r.Errorf("%g frames per second", info.Rate)
	}
	if len(info.Channels) < 2 {
		r.Errorf("%d channels, a reference and a device need two", len(info.Channels))
	}
	for i, c := range info.Channels {
		if c.Unit.Symbol != "V" && c.Unit.Symbol != "FS" {
			r.Errorf("channel %d: samples in %q, allowed are V and FS", i+1, c.Unit.Symbol)
		}
	}
	if info.Frames > 0 {
		r.Errorf("%d frames announced: an acquisition does not know its end", info.Frames)
	}
}

// portions offers room for two seconds: at most half a second comes at a time, at least one frame, and all of them numbers.
func (r *trial) portions() {
	r.acquire()
	rate := r.reader.Info().Rate
	dst := recording.Block(len(r.reader.Info().Channels), int(2*rate)+1)
	for range 5 {
		n, err := r.reader.Read(dst)
		if err != nil {
			r.Fatal("read:", err)
		}
		if n < 1 || float64(n) > math.Ceil(rate/2) {
			r.Errorf("%d frames at a time, allowed are 1 to %.0f", n, math.Ceil(rate/2))
		}
		for c := range dst {
			for i, v := range dst[c][:n] {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					r.Fatalf("channel %d, frame %d: %v", c+1, i, v)
				}
			}
		}
	}
	one := recording.Block(len(r.reader.Info().Channels), 1)
	if n, err := r.reader.Read(one); n != 1 || err != nil {
		r.Errorf("room for one frame: %d frames, %v", n, err)
	}
}

// gapless plays the tone into the digitizer: in what is recorded its phase goes on from block to block, with every block as many frames after the one before.
func (r *trial) gapless() {
	r.start()
	from := len(r.shown)
	r.pass(1 + 20/r.Frequency)
	rate := r.reader.Info().Rate
	x, size := r.shown[from:], int(math.Round(2*rate/r.Frequency))
	var turns []float64
	for k := 0; (k+1)*size <= len(x); k++ {
		var s, c float64
		for i, v := range x[k*size : (k+1)*size] {
			sin, cos := math.Sincos(2 * math.Pi * r.Frequency * float64(k*size+i) / rate)
			s, c = s+v*sin, c+v*cos
		}
		turns = append(turns, math.Atan2(c, s))
	}
	for k := 2; k < len(turns); k++ { // the clocks may differ: the phase may run, but not jump
		jump := math.Remainder(turns[k]-2*turns[k-1]+turns[k-2], 2*math.Pi)
		if math.Abs(jump) > 0.05 {
			r.Errorf("block %d of %d frames: the phase jumps by %.3g rad: frames are missing", k, size, jump)
		}
	}
}

func (r *trial) closesTwice() {
	r.pass(0.2)
	for range 2 {
		if err := r.reader.Close(); err != nil {
			r.Error("close:", err)
		}
	}
	if n, err := r.reader.Read(r.buffer); n != 0 || err == nil {
		r.Errorf("read after close: %d frames, %v", n, err)
	}
}

func (r *trial) again() {
	for range 3 {
		r.pass(0.2)
		r.close()
	}
}

// ends cancels while another goroutine reads: within five seconds, generous for a busy machine, a Read says so.
func (r *trial) ends() {
	ctx, cancel := context.WithCancel(r.ctx)
	defer cancel()
	reader, err := r.Rig.Digitizer.Acquire(ctx)
	if err != nil {
		r.Fatal("acquire:", err)
	}
	defer reader.Close()
	dst := recording.Block(len(reader.Info().Channels), 64)
	ended := make(chan error, 1)
	first := make(chan struct{})
	go func() {
		for k := 0; ; k++ {
			_, err := reader.Read(dst)
			if k == 0 {
				close(first)
			}
			if err != nil {
				ended <- err
				return
			}
		}
	}()
	<-first
	cancel()
	select {
	case err := <-ended:
		if !errors.Is(err, context.Canceled) {
			r.Errorf("read after the end of the context: %v, want %v", err, context.Canceled)
		}
	case <-time.After(5 * time.Second):
		r.Error("a read goes on 5 s after the end of its context")
	}
}

// until reads until it ends, for at most the given time of the stream, and returns the error.
func (r *trial) until(seconds float64) error {
	ended := make(chan error, 1)
	go func() {
		for left := int(seconds * r.reader.Info().Rate); left > 0; {
			n, err := r.reader.Read(r.buffer)
			if err != nil {
				ended <- err
				return
			}
			left -= n
		}
		ended <- nil
	}()
	select {
	case err := <-ended:
		return err
	case <-time.After(20 * time.Second): // forty times the default limit of a driver
		r.Fatal("a read does not come back")
		return nil
	}
}

func (r *trial) unplugged() {
	if r.Unplug == nil {
		r.Log("the instruments cannot be taken away here")
		return
	}
	r.pass(0.2)
	r.Unplug()
	if err := r.until(5); !errors.Is(err, bench.ErrLost) {
		r.Errorf("read of an instrument taken away: %v, want ErrLost", err)
	}
	if err := r.reader.Close(); err != nil && !errors.Is(err, bench.ErrLost) {
		r.Errorf("close after loss: %v", err)
	}
}

func (r *trial) stalled() {
	if r.Stall == nil {
		r.Log("the digitizer cannot be silenced here")
		return
	}
	r.pass(0.2)
	r.Stall()
	if err := r.until(5); !errors.Is(err, bench.ErrLost) {
		r.Errorf("read of a silent instrument: %v, want ErrLost", err)
	}
}

func (r *trial) gap() {
	if r.Lose == nil {
		r.Log("frames cannot be lost here")
		return
	}
	r.pass(0.2)
	r.Lose()
	if err := r.until(5); !errors.Is(err, bench.ErrGap) || errors.Is(err, io.EOF) {
		r.Errorf("read after lost frames: %v, want ErrGap", err)
	}
}
