package wav

import (
	"encoding/binary"
	"fmt"
	"io"
	"strings"
	"time"

	"plumbline/internal/format"
	"plumbline/recording"
)

const (
	unknownSize = 0xFFFFFFFF // size of a chunk that is in ds64, or was never written
	tagPCM      = 1
	tagFloat    = 3
	tagExt      = 0xFFFE
	maxChunks   = 4096
)

// encoding is how one sample is stored.
type encoding struct {
	float bool
	bytes int // of the container
	bits  int // that are valid
}

func (e encoding) String() string {
	if e.float {
		return fmt.Sprintf("float %d bit", e.bits)
	}
	return fmt.Sprintf("PCM %d bit", e.bits)
}

// header is what stands before (and behind) the samples.
type header struct {
	r        io.ReadSeeker
	size     int64 // of the file
	kind     string
	riffSize uint32
	large    map[string]uint64 // sizes from ds64

	enc      encoding
	channels int
	align    int
	rate     uint32
	haveFmt  bool

	dataStart int64
	frames    int64
	origin    string // date and time of bext
	reference uint64 // samples since midnight
	notes     []string
}

func (h *header) note(text string, a ...any) { h.notes = append(h.notes, fmt.Sprintf(text, a...)) }

// readHeader reads the chunks of the file.
func readHeader(r io.ReadSeeker) (*header, error) {
	h := &header{r: r}
	var err error
	if h.size, err = r.Seek(0, io.SeekEnd); err != nil {
		return nil, err
	}
	if _, err = r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	var first [12]byte
	if _, err := io.ReadFull(r, first[:]); err != nil {
		return nil, fmt.Errorf("start of the file: %w", err)
	}
	h.kind = string(first[:4])
	h.riffSize = binary.LittleEndian.Uint32(first[4:])
	return h, h.chunks()
}

// chunks walks through the chunks: those it knows are read, all others are passed over.
func (h *header) chunks() error {
	at := int64(12)
	for n := 0; at+8 <= h.size && n < maxChunks; n++ {
		var head [8]byte
		if _, err := h.r.Seek(at, io.SeekStart); err != nil {
			return err
		}
		if _, err := io.ReadFull(h.r, head[:]); err != nil {
			return err
		}
		id, size := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
		if h.dataStart > 0 && !plausible(head[:4]) {
			break
		}
		at += 8
		if id == "data" && h.dataStart == 0 {
			used, err := h.data(at, size)
			if err != nil {
				return err
			}
			size = used
		} else {
			if large, ok := h.large[id]; ok && size == unknownSize {
				size = int64(min(large, uint64(h.size)))
			}
			if err := h.chunk(id, at, size); err != nil {
				return err
			}
		}
		at += min(size+size&1, h.size-at+1)
	}
	if h.dataStart == 0 {
		return fmt.Errorf("no data chunk in %d bytes", h.size)
	}
	if rest := h.size - at; rest > 0 {
		h.note("%d bytes behind the samples are not read", rest)
	}
	return nil
}

// plausible reports whether id can be the name of a chunk.
func plausible(id []byte) bool {
	for _, c := range id {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return true
}

// chunk reads one chunk before or behind the samples.
func (h *header) chunk(id string, at, size int64) error {
	limit := map[string]int64{"fmt ": 40, "ds64": 28 + 64*12, "bext": 602}[id]
	size = min(size, limit, h.size-at)
	if size <= 0 {
		return nil
	}
	body := make([]byte, size)
	if _, err := io.ReadFull(h.r, body); err != nil {
		return err
	}
	switch id {
	case "fmt ":
		if h.haveFmt {
			return fmt.Errorf("two fmt chunks")
		}
		return h.format(body)
	case "ds64":
		h.sizes(body)
	case "bext":
		h.broadcast(body)
	}
	return nil
}

// sizes reads the 64-bit sizes of EBU Tech 3306.
func (h *header) sizes(b []byte) {
	if len(b) < 28 || h.kind == "RIFF" {
		return
	}
	h.large = map[string]uint64{"data": binary.LittleEndian.Uint64(b[8:])}
	for b = b[28:]; len(b) >= 12; b = b[12:] {
		h.large[string(b[:4])] = binary.LittleEndian.Uint64(b[4:])
	}
}

// broadcast reads the start time of EBU Tech 3285.
func (h *header) broadcast(b []byte) {
	if len(b) < 346 {
		return
	}
	h.origin = strings.Trim(string(b[320:338]), "\x00 ")
	h.reference = binary.LittleEndian.Uint64(b[338:])
}

// format reads the chunk that says how samples are stored.
func (h *header) format(b []byte) error {
	if len(b) < 16 {
		return fmt.Errorf("fmt chunk of %d bytes: at least 16 are needed", len(b))
	}
	tag := binary.LittleEndian.Uint16(b)
	h.channels = int(binary.LittleEndian.Uint16(b[2:]))
	h.rate = binary.LittleEndian.Uint32(b[4:])
	h.align = int(binary.LittleEndian.Uint16(b[12:]))
	container := int(binary.LittleEndian.Uint16(b[14:]))
	valid := container
	if tag == tagExt {
		if len(b) < 40 {
			return fmt.Errorf("extensible fmt chunk of %d bytes: 40 are needed", len(b))
		}
		tag = binary.LittleEndian.Uint16(b[24:])
		if v := int(binary.LittleEndian.Uint16(b[18:])); v != 0 {
			valid = v
		}
	}
	h.enc = encoding{float: tag == tagFloat, bytes: container / 8, bits: valid}
	h.haveFmt = true
	return h.check(tag, container)
}

func (h *header) check(tag uint16, container int) error {
	pcm := tag == tagPCM && (container == 16 || container == 24 || container == 32)
	float := tag == tagFloat && (container == 32 || container == 64)
	switch {
	case !pcm && !float:
		return fmt.Errorf("samples of %d bits with format code %#04x: allowed are PCM (1) of 16, 24, 32 bits and floating point (3) of 32, 64 bits",
			container, tag)
	case h.enc.bits > container || float && h.enc.bits != container || h.enc.bits < 8:
		return fmt.Errorf("%d valid bits in samples of %d bits", h.enc.bits, container)
	case h.channels < 1 || h.channels > format.MaxChannels:
		return fmt.Errorf("%d channels: allowed are 1 to %d", h.channels, format.MaxChannels)
	case h.align != h.channels*h.enc.bytes:
		return fmt.Errorf("frames of %d bytes: %d channels of %d bits are %d bytes", h.align, h.channels, container, h.channels*h.enc.bytes)
	}
	return nil
}

// data settles how many frames there are. It returns the bytes that the chunk takes in the file.
func (h *header) data(at, size int64) (used int64, err error) {
	if !h.haveFmt {
		return 0, fmt.Errorf("data chunk before the fmt chunk")
	}
	h.dataStart = at
	have := h.size - at
	want, finished := h.announced(size, have)
	used = have
	switch {
	case !finished:
		h.note("the recorder never wrote the length of the recording: all %d bytes to the end of the file are taken as samples", have)
	case want > uint64(have):
		h.note("the file is cut off: %d bytes of samples are announced, %d are there", want, have)
	default:
		used = int64(want)
	}
	h.frames = used / int64(h.align)
	if rest := used % int64(h.align); rest != 0 {
		h.note("%d bytes of an incomplete last frame are not used", rest)
	}
	return used, nil
}

// announced returns the length of the samples in bytes, and whether the recorder got to writing it.
func (h *header) announced(size, have int64) (want uint64, finished bool) {
	if h.kind != "RIFF" && size == unknownSize {
		large, ok := h.large["data"]
		return large, ok && large != 0 && large != 1<<64-1 && large != unknownSize || ok && large == 0 && have == 0
	}
	if size == unknownSize {
		return 0, false
	}
	closed := have == 0 || int64(h.riffSize)+8 == h.size
	return uint64(size), size != 0 || closed
}

func (h *header) info() recording.Info {
	kind := h.kind
	if kind == "RIFF" {
		kind = "WAV"
	}
	info := recording.Info{Format: kind + " " + h.enc.String(), Rate: float64(h.rate), Frames: h.frames}
	channel := recording.Channel{Unit: format.FullScale(), Bits: h.enc.bits}
	if h.enc.float {
		channel.Bits = 0
	}
	for range h.channels {
		info.Channels = append(info.Channels, channel)
	}
	info.Start = h.start()
	if !info.Start.IsZero() {
		h.note("start %s as written in the file, without a time zone", info.Start.Format("2006-01-02 15:04:05.000"))
	}
	info.Notes = h.notes
	return info
}

// start is the time of the first sample: midnight of the day plus the samples since then, or the time written beside the day.
func (h *header) start() time.Time {
	if len(h.origin) != 18 {
		return time.Time{}
	}
	day, err := time.Parse("2006-01-02", strings.Map(dash, h.origin[:10]))
	if err != nil {
		return time.Time{}
	}
	if s := float64(h.reference) / float64(h.rate); h.reference > 0 && h.rate > 0 && s < 2*86400 {
		return day.Add(time.Duration(s * 1e9).Round(time.Microsecond))
	}
	clock, err := time.Parse("15-04-05", strings.Map(dash, h.origin[10:]))
	if err != nil {
		return day
	}
	return day.Add(time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute + time.Duration(clock.Second())*time.Second)
}

// dash makes one of the separators that are in use.
func dash(r rune) rune {
	if strings.ContainsRune("_:. /", r) {
		return '-'
	}
	return r
}
