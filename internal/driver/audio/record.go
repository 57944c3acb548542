package audio

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"github.com/jfreymuth/pulse/proto"

	"plumbline/quantity"
	"plumbline/recording"
)

// What the reader keeps and refuses.
const (
	pieces      = 20 * time.Millisecond // of the recording, as they come from the server
	mostKept    = 10 * time.Second      // of frames nobody read
	mostAtOnce  = 500 * time.Millisecond
	mostMissing = 100 * time.Millisecond // of frames against the clock of the program
	clockApart  = 500e-6                 // largest difference of the two clocks, relative
	window      = 2 * time.Second        // in which the least delay of a piece is looked for
	counterIn   = 3 * time.Second        // by which the frame counter is to be seen
)

// reader is one acquisition.
type reader struct {
	from     *Interface
	ctx      context.Context
	info     recording.Info
	index    uint32
	channels int
	float    bool
	arrived  chan struct{}
	count    counting

	mu   sync.Mutex
	kept []byte
	err  error
	once sync.Once
	clock
}

// Acquire records all channels of the source in one stream, as fractions of full scale.
func (a *Interface) Acquire(ctx context.Context) (recording.Reader, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := a.trouble(); err != nil {
		return nil, err
	}
	_, source := a.sides()
	frame := uint32(4 * int(source.Channels))
	full := make(proto.ChannelVolumes, source.Channels)
	for i := range full {
		full[i] = uint32(proto.VolumeNorm)
	}
	f := formats[source.Format]
	var s proto.CreateRecordStreamReply
	err := a.server.Request(&proto.CreateRecordStream{
		SampleSpec: proto.SampleSpec{Format: f.stream, Channels: source.Channels, Rate: uint32(a.cfg.Rate)}, ChannelMap: source.ChannelMap, SourceIndex: source.SourceIndex,
		BufferMaxLength: uint32(a.cfg.Rate) * 4 * frame, BufferFragSize: uint32(pieces.Seconds()*float64(a.cfg.Rate)) * frame, Corked: true,
		NoRemap: true, NoRemix: true, NoMove: true, AdjustLatency: true, DirectOnInputIndex: proto.Undefined, FailOnSuspend: true,
		ChannelVolumes: full, VolumeSet: true, MutedSet: true, Properties: proto.PropList{"media.name": proto.PropListString("plumbline recording")},
	}, &s)
	if err != nil {
		return nil, a.missing("input "+a.cfg.Source, err)
	}
	r := &reader{from: a, ctx: ctx, index: s.StreamIndex, channels: int(source.Channels), float: f.bits == 0, arrived: make(chan struct{}, 1),
		count: counting{column: a.cfg.Counter.Input}}
	r.info = recording.Info{Format: "PulseAudio " + f.name, Rate: float64(a.cfg.Rate), Frames: -1, Start: time.Now().UTC(), Notes: a.notes}
	for c := range r.channels {
		r.info.Channels = append(r.info.Channels, recording.Channel{Name: fmt.Sprint(c + 1), Unit: quantity.Unit{Symbol: "FS"}, Bits: f.bits})
	}
	a.mu.Lock()
	a.readers[r.index] = r // before the stream flows
	a.mu.Unlock()
	r.start(a.cfg.Rate)
	if err := a.server.Request(&proto.CorkRecordStream{StreamIndex: r.index}, nil); err != nil {
		_ = r.Close()
		return nil, a.missing("input "+a.cfg.Source, err)
	}
	if err := errors.Join(r.begun(), a.trouble()); err != nil { // the latter came while it was made
		_ = r.Close()
		return nil, err
	}
	return r, nil
}

// begun waits for the first frames: an input that slept takes longer to wake up than it may ever be silent afterwards.
func (r *reader) begun() error {
	late := time.NewTimer(max(wakeLimit, r.from.cfg.Limit))
	defer late.Stop()
	for {
		r.mu.Lock()
		n, err := len(r.kept), r.err
		r.mu.Unlock()
		if n > 0 || err != nil {
			return err
		}
		select {
		case <-r.arrived:
		case <-r.ctx.Done():
			return r.ctx.Err()
		case <-late.C:
			return lost("input %s: no frame in %v", r.from.cfg.Source, max(wakeLimit, r.from.cfg.Limit))
		}
	}
}

func (r *reader) Info() recording.Info { return r.info }

// take keeps a piece of the stream.
func (r *reader) take(data []byte) {
	r.mu.Lock()
	defer r.mu.Unlock()
	rate := r.from.cfg.Rate
	if r.err == nil && len(r.kept)+len(data) > int(mostKept.Seconds())*rate*4*r.channels {
		r.err = disturb("input %s: nobody read the frames of %v", r.from.cfg.Source, mostKept)
	}
	if r.err == nil {
		if missing := r.late(time.Now(), int64(len(data)/(4*r.channels))); missing > 0 {
			r.err = disturb("input %s: about %.0f frames fewer than %v of this computer's clock say", r.from.cfg.Source, missing*float64(rate), mostMissing)
		}
	}
	if r.err == nil {
		r.kept = append(r.kept, data...)
	}
	r.poke()
}

func (r *reader) poke() {
	select {
	case r.arrived <- struct{}{}:
	default:
	}
}

func (r *reader) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil {
		r.err = err
	}
	r.poke()
}

// Read waits for frames, and refuses all that come after a disturbance.
func (r *reader) Read(dst [][]float64) (int, error) {
	if len(dst) < r.channels {
		return 0, fmt.Errorf("audio: input %s: block of %d channels, needed are %d", r.from.cfg.Source, len(dst), r.channels)
	}
	silent := time.NewTimer(r.from.cfg.Limit)
	defer silent.Stop()
	for {
		if err := r.ctx.Err(); err != nil {
			return 0, err
		}
		if n, err := r.next(dst); n > 0 || err != nil {
			return n, err
		}
		select {
		case <-r.arrived:
		case <-r.ctx.Done():
		case <-silent.C:
			r.from.fail(lost("input %s: no frame in %v", r.from.cfg.Source, r.from.cfg.Limit))
		}
	}
}

// next decodes what has come, half a second of frames at most.
func (r *reader) next(dst [][]float64) (int, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil {
		return 0, r.err
	}
	frame := 4 * r.channels
	n := min(len(r.kept)/frame, len(dst[0]), int(mostAtOnce.Seconds()*float64(r.from.cfg.Rate)))
	for i := range n {
		for c := range r.channels {
			dst[c][i] = take(r.kept[i*frame+4*c:], r.float)
		}
	}
	r.kept = r.kept[:copy(r.kept, r.kept[n*frame:])]
	if r.count.column > 0 && n > 0 && !r.from.player.halted() {
		r.err = r.count.check(dst[r.count.column-1][:n], r.info.Rate, r.from.cfg.Source)
		if r.err != nil {
			return 0, r.err
		}
	}
	return n, nil
}

// Close ends the acquisition.
func (r *reader) Close() error {
	var err error
	r.once.Do(func() {
		a := r.from
		a.mu.Lock()
		delete(a.readers, r.index)
		gone := a.lost != nil
		a.mu.Unlock()
		r.fail(fmt.Errorf("audio: input %s: the acquisition was closed", a.cfg.Source))
		if !gone {
			err = a.server.Request(&proto.DeleteRecordStream{StreamIndex: r.index}, nil)
		}
	})
	return err
}

// clock compares the frames with the clock of the program. A piece may come late, but a loss makes all later ones late.
type clock struct {
	rate   float64
	began  time.Time
	frames int64
	best   float64 // s, least delay of a piece so far
	least  float64 // s, the same in the window
	until  time.Duration
}

func (c *clock) start(rate int) {
	*c = clock{rate: float64(rate), began: time.Now(), best: math.Inf(1), least: math.Inf(1), until: window}
}

// late takes a piece of n frames that came now and returns how many seconds are missing; 0 none.
func (c *clock) late(now time.Time, n int64) float64 {
	c.frames += n
	elapsed := now.Sub(c.began)
	c.least = min(c.least, elapsed.Seconds()-float64(c.frames)/c.rate)
	if elapsed < c.until {
		return 0
	}
	missing := c.least - c.best
	c.best, c.least, c.until = min(c.best, c.least), math.Inf(1), elapsed+window
	if missing > mostMissing.Seconds()+clockApart*elapsed.Seconds() {
		return missing
	}
	return 0
}

// counting follows the frame counter.
type counting struct {
	column int
	locked bool
	last   float64
	seen   int64
}

// check refuses a frame that does not follow the one before. It begins at the first two that do.
func (c *counting) check(x []float64, rate float64, source string) error {
	const step = 1.0 / (counts / 2)
	for _, v := range x {
		c.seen++
		follows := v == c.last+step || v == -1 && c.last == 1-step
		switch {
		case c.locked && !follows:
			return disturb("input %s: frame %d of the acquisition is number %.0f of the output's, the one before was %.0f: frames were lost", source, c.seen, (v+1)/step, (c.last+1)/step)
		case !c.locked && float64(c.seen) > counterIn.Seconds()*rate:
			return disturb("input %s: channel %d does not carry the frame counter", source, c.column)
		case !c.locked:
			c.locked = follows && c.seen > 1
		}
		c.last = v
	}
	return nil
}
