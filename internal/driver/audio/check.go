package audio

import (
	"errors"
	"fmt"
	"math"

	"github.com/jfreymuth/pulse/proto"

	"plumbline/bench"
)

// Sample formats of the servers that package proto has no name for.
const (
	formatS24LE, formatS24BE, formatS24in32LE, formatS24in32BE = 9, 10, 11, 12
)

// carried is how samples of a format travel between server and program, and how many bits of them count; 0 where they are floating point.
type carried struct {
	name   string
	stream byte
	bits   int
}

var formats = map[byte]carried{
	proto.FormatInt32LE:   {"s32le", proto.FormatInt32LE, 32},
	proto.FormatInt32BE:   {"s32be", proto.FormatInt32LE, 32},
	formatS24LE:           {"s24le", proto.FormatInt32LE, 24},
	formatS24BE:           {"s24be", proto.FormatInt32LE, 24},
	formatS24in32LE:       {"s24-32le", proto.FormatInt32LE, 24},
	formatS24in32BE:       {"s24-32be", proto.FormatInt32LE, 24},
	proto.FormatFloat32LE: {"float32le", proto.FormatFloat32LE, 0},
	proto.FormatFloat32BE: {"float32be", proto.FormatFloat32LE, 0},
}

// prepare finds sink and source, brings their volumes to 100 % and checks them.
func (a *Interface) prepare() error {
	if err := a.find(); err != nil {
		return err
	}
	full := func(n byte) proto.ChannelVolumes {
		v := make(proto.ChannelVolumes, n)
		for i := range v {
			v[i] = uint32(proto.VolumeNorm)
		}
		return v
	}
	requests := []proto.RequestArgs{
		&proto.SetSourceVolume{SourceIndex: a.source.SourceIndex, ChannelVolumes: full(a.source.Channels)},
		&proto.SetSourceMute{SourceIndex: a.source.SourceIndex},
	}
	if a.cfg.Sink != "" {
		requests = append(requests, &proto.SetSinkVolume{SinkIndex: a.sink.SinkIndex, ChannelVolumes: full(a.sink.Channels)}, &proto.SetSinkMute{SinkIndex: a.sink.SinkIndex})
	}
	for _, r := range requests {
		if err := a.server.Request(r, nil); err != nil {
			return fmt.Errorf("audio: volume of output %s and input %s to 100 %%: %w", a.cfg.Sink, a.cfg.Source, err)
		}
	}
	if err := a.inspect(); err != nil {
		return err
	}
	a.note()
	if a.cfg.Sink == "" {
		return nil
	}
	for _, c := range []struct {
		what     string
		n        int
		channels byte
	}{{"output " + a.cfg.Sink, a.cfg.Output, a.sink.Channels}, {"output " + a.cfg.Sink, max(1, a.cfg.Counter.Output), a.sink.Channels},
		{"input " + a.cfg.Source, max(1, a.cfg.Counter.Input), a.source.Channels}} {
		if c.n < 1 || c.n > int(c.channels) {
			return fmt.Errorf("audio: %s: channel %d, allowed are 1 to %d", c.what, c.n, c.channels)
		}
	}
	return nil
}

// find asks the server for sink and source as they are now.
func (a *Interface) find() error {
	var sink proto.GetSinkInfoReply
	if a.cfg.Sink != "" {
		if err := a.server.Request(&proto.GetSinkInfo{SinkIndex: proto.Undefined, SinkName: a.cfg.Sink}, &sink); err != nil {
			return a.missing("output "+a.cfg.Sink, err)
		}
	}
	var source proto.GetSourceInfoReply
	if err := a.server.Request(&proto.GetSourceInfo{SourceIndex: proto.Undefined, SourceName: a.cfg.Source}, &source); err != nil {
		return a.missing("input "+a.cfg.Source, err)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	a.sink, a.source = sink, source
	return nil
}

// sides is what the server last said of sink and source.
func (a *Interface) sides() (proto.GetSinkInfoReply, proto.GetSourceInfoReply) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.sink, a.source
}

func (a *Interface) missing(what string, err error) error {
	if errors.Is(err, proto.ErrNoSuchEntity) {
		return lost("%s: the server has none of this name", what)
	}
	return lost("%s: %v", what, err)
}

// inspect looks at formats, rates and volumes, and for others who play to the output. Others who record from the input change no sample and are let be: the volume, which
// they could change, is watched.
func (a *Interface) inspect() error {
	if err := a.find(); err != nil {
		return err
	}
	sink, source := a.sides()
	err := a.sound("input "+source.SourceName, source.SampleSpec, source.ChannelVolumes, source.Mute)
	if a.cfg.Sink == "" {
		return err
	}
	if err := errors.Join(a.sound("output "+sink.SinkName, sink.SampleSpec, sink.ChannelVolumes, sink.Mute), err); err != nil {
		return err
	}
	var inputs proto.GetSinkInputInfoListReply
	if err := a.server.Request(&proto.GetSinkInputInfoList{}, &inputs); err != nil {
		return lost("output %s: %v", sink.SinkName, err)
	}
	for _, in := range inputs {
		switch {
		case in.SinkIndex == sink.SinkIndex && in.ClientIndex != a.server.own:
			return disturb("output %s: %s plays to it too, which the server would mix with the drive: end it", sink.SinkName, title(in))
		case in.SinkIndex == sink.SinkIndex && (!even(in.ChannelVolumes) || in.Muted):
			return disturb("output %s: the volume of the drive was changed at the server, allowed is 100 %%", sink.SinkName)
		case in.SinkIndex != sink.SinkIndex && in.ClientIndex == a.server.own:
			return disturb("output %s: the drive was moved to another output", sink.SinkName)
		}
	}
	return nil
}

// title is what a stream calls itself.
func title(in *proto.GetSinkInputInfoReply) string {
	if app, ok := in.Properties["application.name"]; ok {
		return fmt.Sprintf("%q of %q", in.MediaName, app.String())
	}
	return fmt.Sprintf("%q", in.MediaName)
}

func even(v proto.ChannelVolumes) bool {
	for _, x := range v {
		if x != uint32(proto.VolumeNorm) {
			return false
		}
	}
	return true
}

// sound checks one side.
func (a *Interface) sound(what string, s proto.SampleSpec, v proto.ChannelVolumes, mute bool) error {
	f, ok := formats[s.Format]
	switch {
	case !ok:
		return fmt.Errorf("audio: %s: samples of format %d, allowed are 32 or 24 bit integer and 32 bit floating point", what, s.Format)
	case s.Rate != uint32(a.cfg.Rate):
		return fmt.Errorf("audio: %s: runs at %d samples per second in %s, asked for were %d: set the server to it, nothing is resampled", what, s.Rate, f.name, a.cfg.Rate)
	case !even(v):
		return disturb("%s: volume %s, allowed is 100 %% on every channel", what, percent(v))
	case mute:
		return disturb("%s: is muted", what)
	}
	return nil
}

func percent(v proto.ChannelVolumes) string {
	text := ""
	for i, x := range v {
		if i > 0 {
			text += ", "
		}
		text += fmt.Sprintf("%.1f %%", 100*float64(x)/float64(proto.VolumeNorm))
	}
	return text
}

// note gathers what is worth knowing.
func (a *Interface) note() {
	for _, s := range []struct {
		what string
		spec proto.SampleSpec
		base proto.Volume
	}{{"output " + a.sink.SinkName, a.sink.SampleSpec, a.sink.BaseVolume}, {"input " + a.source.SourceName, a.source.SampleSpec, a.source.BaseVolume}} {
		if s.spec.Rate == 0 { // nothing is driven
			continue
		}
		if formats[s.spec.Format].bits == 0 {
			a.notes = append(a.notes, s.what+": the server carries 32 bit floating point, of which 24 bits count")
		}
		if s.base != proto.VolumeNorm && s.base > 0 { // cubic: volume is the third root of the gain
			a.notes = append(a.notes, fmt.Sprintf("%s: 100 %% is %+.1f dB from its unamplified state", s.what, -60*math.Log10(float64(s.base)/float64(proto.VolumeNorm))))
		}
	}
}

// watch looks again whenever the server tells of a change.
func (a *Interface) watch() {
	for {
		select {
		case <-a.done:
			return
		case <-a.server.ended:
			return
		case <-a.stir:
		}
		err := a.inspect()
		if err != nil && !errors.Is(err, bench.ErrGap) && !errors.Is(err, bench.ErrLost) {
			err = disturbed(err.Error()) // a rate or a format that changed meanwhile
		}
		a.mu.Lock()
		a.standing = err
		a.mu.Unlock()
		if err != nil {
			a.fail(err)
		}
	}
}

// hear takes what the server sends unasked, and never waits.
func (a *Interface) hear(message any) {
	switch m := message.(type) {
	case *proto.SubscribeEvent:
		select {
		case a.stir <- struct{}{}:
		default:
		}
	case *proto.DataPacket:
		if r := a.reader(m.StreamIndex); r != nil {
			r.take(m.Data)
		}
	case *proto.RecordStreamKilled:
		a.stopped(m.StreamIndex, "the server ended the recording")
	case *proto.RecordStreamSuspended:
		if m.Suspended {
			a.stopped(m.StreamIndex, "the server suspended it")
		}
	case *proto.ConnectionClosed:
		a.fail(lost("server: the connection has ended"))
		a.player.hear(message)
	default:
		a.player.hear(message)
	}
}

func (a *Interface) reader(index uint32) *reader {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.readers[index]
}

func (a *Interface) stopped(index uint32, why string) {
	if a.reader(index) != nil {
		a.fail(lost("input %s: %s", a.cfg.Source, why))
	}
}
