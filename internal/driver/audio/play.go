package audio

import (
	"encoding/binary"
	"errors"
	"math"
	"sync"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

// player hands the samples of the drive to the server. Everything it does happens in one goroutine, which ends with the output given back.
type player struct {
	out     *Interface
	wake    chan struct{}
	silence chan struct{} // closed when the silence before the first drive was handed out
	ended   chan struct{} // closed when the output was given back, or is lost

	mu      sync.Mutex
	index   uint32
	wanted  map[uint32]int // bytes the server asked for, of each stream: it may ask before its answer says the stream's number
	dry     bool
	killed  bool
	closed  bool // the connection has ended
	halting bool
	err     error

	counter uint32
	values  []float64
	bytes   []byte
}

func newPlayer(out *Interface) *player {
	return &player{out: out, wake: make(chan struct{}, 1), silence: make(chan struct{}), ended: make(chan struct{}), index: proto.Undefined, wanted: map[uint32]int{}}
}

// hear takes the server's messages about the stream.
func (p *player) hear(message any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch m := message.(type) {
	case *proto.Request:
		p.wanted[m.StreamIndex] += int(m.Length)
	case *proto.Underflow:
		p.dry = p.dry || m.StreamIndex == p.index
	case *proto.PlaybackStreamKilled:
		p.killed = p.killed || m.StreamIndex == p.index
	case *proto.PlaybackStreamSuspended:
		p.killed = p.killed || m.StreamIndex == p.index && m.Suspended
	case *proto.PlaybackStreamMoved:
		p.killed = p.killed || m.StreamIndex == p.index
	case *proto.ConnectionClosed:
		p.closed = true
	}
	p.poke()
}

func (p *player) poke() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// stop asks the player to end when the generator is silent.
func (p *player) stop() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.halting = true
	p.poke()
}

// halted reports whether the output was asked to end.
func (p *player) halted() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.halting
}

func (p *player) outcome() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err
}

// errDry says that the stream has to be begun again.
var errDry = errors.New("ran dry")

// run plays until it is stopped or the output is lost. A stream that ran dry is given up and begun again with silence and a ramp, so that the exciter is not struck.
func (p *player) run() {
	defer close(p.ended)
	for {
		err := p.play()
		if errors.Is(err, errDry) {
			p.out.fail(disturb("output %s: ran dry, the drive was interrupted", p.out.cfg.Sink))
			continue
		}
		if err != nil {
			p.mu.Lock()
			p.err = err
			p.mu.Unlock()
			p.out.fail(err)
		}
		return
	}
}

// play is the life of one stream.
func (p *player) play() error {
	c := p.out.cfg
	stream, err := p.begin()
	if err != nil {
		return err
	}
	defer func() {
		if p.index != proto.Undefined {
			_ = p.out.server.Request(&proto.DeletePlaybackStream{StreamIndex: p.index}, nil) // where it is gone already there is nothing to delete
		}
	}()
	frame := 4 * int(stream.Channels)
	s := shape{channels: int(stream.Channels), float: stream.Format == proto.FormatFloat32LE, quiet: int64(silenceFirst.Seconds() * float64(c.Rate)),
		ramp: c.Ramp.Seconds() * float64(c.Rate)}
	after := int64(c.Rate / 20) // frames of silence at the end
	handed := time.Now()
	for {
		n, err := p.await()
		if err != nil {
			return err
		}
		halting := p.halted()
		for n = n / frame * frame; n > 0; {
			part := min(n, c.Rate/50*frame) // a halt is heard after 20 ms at most
			p.make(&s, part/frame)
			if time.Since(handed) > c.Latency*9/10 && s.made > s.quiet { // what the server held is used up, or nearly: its word of that may still be on its way
				return errDry
			}
			if err := p.out.server.Send(p.index, p.bytes); err != nil {
				return lost("output %s: %v", c.Sink, err)
			}
			handed = time.Now()
			if n -= part; s.made >= s.quiet {
				p.quietDone()
			}
			if halting = halting || p.halted(); halting && (p.out.gen.Silent() || s.made < s.quiet) {
				if after -= int64(part / frame); after <= 0 {
					return p.finish()
				}
			}
		}
	}
}

func (p *player) quietDone() {
	select {
	case <-p.silence:
	default:
		close(p.silence)
	}
}

// begin makes the stream and starts it.
func (p *player) begin() (*proto.CreatePlaybackStreamReply, error) {
	c := p.out.cfg
	sink, _ := p.out.sides()
	frame := uint32(4 * int(sink.Channels))
	full := make(proto.ChannelVolumes, sink.Channels)
	for i := range full {
		full[i] = uint32(proto.VolumeNorm)
	}
	target := uint32(c.Latency.Seconds()*float64(c.Rate)) * frame
	var s proto.CreatePlaybackStreamReply
	err := p.out.server.Request(&proto.CreatePlaybackStream{
		SampleSpec: proto.SampleSpec{Format: formats[sink.Format].stream, Channels: sink.Channels, Rate: uint32(c.Rate)}, ChannelMap: sink.ChannelMap,
		SinkIndex: sink.SinkIndex, BufferMaxLength: target, BufferTargetLength: target, BufferPrebufferLength: target / frame / 2 * frame, BufferMinimumRequest: target / frame / 10 * frame,
		ChannelVolumes: full, NoRemap: true, NoRemix: true, NoMove: true, AdjustLatency: true, VolumeSet: true, MutedSet: true, FailOnSuspend: true, DontInhibitAutoSuspend: false,
		Properties: proto.PropList{"media.name": proto.PropListString("plumbline drive")},
	}, &s)
	if err != nil {
		return nil, lost("output %s: %v", c.Sink, err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.index, p.dry = s.StreamIndex, false
	p.wanted[p.index] += int(s.Missing)
	p.poke()
	return &s, nil
}

// await waits until the server wants samples, and returns how many bytes.
func (p *player) await() (int, error) {
	idle := time.NewTimer(answerLimit)
	defer idle.Stop()
	for {
		p.mu.Lock()
		n, dry, killed, closed := p.wanted[p.index], p.dry, p.killed, p.closed
		delete(p.wanted, p.index)
		if closed {
			p.index = proto.Undefined
		}
		p.mu.Unlock()
		switch {
		case closed:
			return 0, lost("output %s: the connection has ended; what the server held is played in %v", p.out.cfg.Sink, p.out.cfg.Latency)
		case killed:
			return 0, lost("output %s: the server ended, moved or suspended it", p.out.cfg.Sink)
		case dry:
			return 0, errDry
		case n > 0:
			return n, nil
		}
		select {
		case <-p.wake:
		case <-idle.C:
			return 0, lost("output %s: the server took no samples in %v", p.out.cfg.Sink, answerLimit)
		}
	}
}

// finish waits until the last sample was played. It is called after that sample was handed out: earlier the server would answer at once.
func (p *player) finish() error {
	if err := p.out.server.Request(&proto.DrainPlaybackStream{StreamIndex: p.index}, nil); err != nil {
		return lost("output %s: the end of the ramp was not confirmed: %v", p.out.cfg.Sink, err)
	}
	return nil
}

// shape is what becomes of the generator's volts on the way to the output.
type shape struct {
	channels int
	float    bool
	quiet    int64   // frames of silence first
	ramp     float64 // frames until the drive is whole again, after that
	made     int64
}

// make fills p.bytes with the next frames.
func (p *player) make(s *shape, frames int) {
	if cap(p.values) < frames {
		p.values, p.bytes = make([]float64, frames), make([]byte, 4*frames*s.channels)
	}
	p.values, p.bytes = p.values[:frames], p.bytes[:4*frames*s.channels]
	clear(p.bytes)
	quiet := int(min(max(0, s.quiet-s.made), int64(frames)))
	clear(p.values[:quiet])
	if quiet < frames {
		p.out.gen.Fill(p.values[quiet:])
	}
	c := p.out.cfg
	for i, v := range p.values {
		v *= min(1, max(0, float64(s.made+int64(i)-s.quiet)/s.ramp))
		put(p.bytes[4*(i*s.channels+c.Output-1):], v/c.FullScale, s.float)
		if c.Counter.Output > 0 {
			put(p.bytes[4*(i*s.channels+c.Counter.Output-1):], float64(int32(p.counter%counts)-counts/2)/(counts/2), s.float)
		}
		p.counter++
	}
	s.made += int64(frames)
}

// counts is how far the frame counter counts: as far as floating point of 32 bit holds every number.
const counts = 1 << 24

// put writes a fraction of full scale.
func put(dst []byte, x float64, float bool) {
	if float {
		binary.LittleEndian.PutUint32(dst, math.Float32bits(float32(max(-1, min(1, x)))))
		return
	}
	binary.LittleEndian.PutUint32(dst, uint32(int32(max(math.MinInt32, min(math.MaxInt32, math.RoundToEven(x*0x1p31))))))
}

// take reads one.
func take(src []byte, float bool) float64 {
	bits := binary.LittleEndian.Uint32(src)
	if float {
		return float64(math.Float32frombits(bits))
	}
	return float64(int32(bits)) / 0x1p31
}
