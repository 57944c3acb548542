package scpi

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Encoding is how an instrument sends numbers, in the words of FORMat:DATA.
type Encoding string

// The encodings that are read.
const (
	ASCII  Encoding = "ASCII"
	Real32 Encoding = "REAL,32"
	Real64 Encoding = "REAL,64"
	Int32  Encoding = "INT,32"
)

// width is the size of one number in bytes, 0 where it varies.
func (e Encoding) width() (int, error) {
	switch e {
	case ASCII:
		return 0, nil
	case Real32, Int32:
		return 4, nil
	case Real64:
		return 8, nil
	}
	return 0, fmt.Errorf("encoding %q, allowed are %q, %q, %q and %q", e, ASCII, Real32, Real64, Int32)
}

// Layout is what is known beforehand of an answer that carries many numbers.
type Layout struct {
	Encoding Encoding
	Swapped  bool // least significant byte first (FORMat:BORDer SWAPped)
	Items    int  // numbers expected; -1 not known
	Most     int  // numbers accepted at most
}

func (l Layout) check() error {
	if _, err := l.Encoding.width(); err != nil {
		return err
	}
	if l.Items < -1 || l.Most < 0 || l.Most > mostItems || l.Items > l.Most {
		return fmt.Errorf("%d numbers expected, %d accepted at most; allowed are 0 to %d", l.Items, l.Most, mostItems)
	}
	return nil
}

// mostItems is the most numbers one answer may be allowed.
const mostItems = 1 << 24

// longestLine is the longest answer in bytes that is not a list of numbers.
const longestLine = 4096

// longestNumber is the longest a number of a list may be, in bytes with its comma.
const longestNumber = 32

// readLine reads one answer without its end of line.
func readLine(r *bufio.Reader, longest int) (string, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		if len(line) > longest {
			return "", malformed("answer of more than %d bytes without an end of line: %.40q", longest, line)
		}
		if err == nil {
			return strings.TrimSpace(string(line)), nil
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return "", err
		}
	}
}

// readNumbers reads one answer of many numbers: a list in ASCII, or a block of IEEE 488.2 with definite or indefinite length. An indefinite block of binary numbers is
// read only where the number of its items is known: its end, a line feed, cannot be told from its content.
func readNumbers(r *bufio.Reader, l Layout) ([]float64, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	width, _ := l.Encoding.width() // checked
	if width == 0 {
		return readList(r, l)
	}
	length, err := readHead(r, l, width)
	if err != nil {
		return nil, err
	}
	content := make([]byte, length)
	if n, err := io.ReadFull(r, content); err != nil {
		return nil, fmt.Errorf("block of %d bytes, %d came: %w", length, n, err)
	}
	if err := readEnd(r, length); err != nil {
		return nil, err
	}
	return decode(content, l, width), nil
}

// readHead reads a block up to its content and returns the content's length in bytes.
func readHead(r *bufio.Reader, l Layout, width int) (int, error) {
	mark, err := r.ReadByte()
	if err != nil {
		return 0, err
	}
	digit, err := r.ReadByte()
	if err != nil {
		return 0, err
	}
	if mark != '#' || digit < '0' || digit > '9' {
		return 0, malformed("answer begins with %q, allowed is a block: # and a digit", []byte{mark, digit})
	}
	if digit == '0' {
		if l.Items < 0 {
			return 0, malformed("block of indefinite length where the number of items is not known: its end cannot be told from its content")
		}
		return l.Items * width, nil
	}
	digits := make([]byte, digit-'0')
	if _, err := io.ReadFull(r, digits); err != nil {
		return 0, err
	}
	length := 0
	for _, d := range digits {
		if d < '0' || d > '9' {
			return 0, malformed("length of a block is %q, allowed are digits", digits)
		}
		length = 10*length + int(d-'0')
	}
	switch {
	case length/width > l.Most:
		return 0, malformed("block of %d bytes, allowed are at most %d", length, l.Most*width)
	case length%width != 0:
		return 0, malformed("block of %d bytes, allowed are multiples of %d for %s", length, width, l.Encoding)
	case l.Items >= 0 && length != l.Items*width:
		return 0, malformed("block of %d bytes, expected are %d", length, l.Items*width)
	}
	return length, nil
}

// readEnd wants nothing but an end of line.
func readEnd(r *bufio.Reader, length int) error {
	b, err := r.ReadByte()
	if err == nil && b == '\r' {
		b, err = r.ReadByte()
	}
	if err != nil {
		return fmt.Errorf("end of line after a block of %d bytes: %w", length, err)
	}
	if b != '\n' {
		return malformed("after a block of %d bytes stands %q, allowed is the end of the line: its length is wrong", length, []byte{b})
	}
	return nil
}

// decode turns a block's content into numbers.
func decode(content []byte, l Layout, width int) []float64 {
	var order binary.ByteOrder = binary.BigEndian
	if l.Swapped {
		order = binary.LittleEndian
	}
	numbers := make([]float64, len(content)/width)
	for i := range numbers {
		item := content[i*width:]
		switch l.Encoding {
		case Real32:
			numbers[i] = special(float64(math.Float32frombits(order.Uint32(item))))
		case Real64:
			numbers[i] = special(math.Float64frombits(order.Uint64(item)))
		default:
			numbers[i] = float64(int32(order.Uint32(item)))
		}
	}
	return numbers
}

// readList reads numbers with commas between them. A list may come as a block of indefinite length, which text ends without doubt.
func readList(r *bufio.Reader, l Layout) ([]float64, error) {
	line, err := readLine(r, l.Most*longestNumber+longestNumber)
	if err != nil {
		return nil, err
	}
	line = strings.TrimPrefix(line, "#0")
	numbers := []float64{}
	for rest, more := line, line != ""; more; {
		var word string
		word, rest, more = strings.Cut(rest, ",")
		x, err := parseNumber(word)
		if err != nil {
			return nil, fmt.Errorf("number %d of a list: %w", len(numbers)+1, err)
		}
		if numbers = append(numbers, x); len(numbers) > l.Most {
			return nil, fmt.Errorf("list of more than %d numbers", l.Most)
		}
	}
	if l.Items >= 0 && len(numbers) != l.Items {
		return nil, fmt.Errorf("list of %d numbers, expected are %d", len(numbers), l.Items)
	}
	return numbers, nil
}

// special gives meaning to the numbers that SCPI sets apart: 9.91E37 is not a number, ±9.9E37 infinity. Numbers of 32 bit come near them only.
func special(x float64) float64 {
	const notANumber, infinity, near = 9.91e37, 9.9e37, 1e-6
	switch a := math.Abs(x); {
	case math.Abs(a-notANumber) < near*notANumber:
		return math.NaN()
	case math.Abs(a-infinity) < near*infinity:
		return math.Copysign(math.Inf(1), x)
	}
	return x
}

// parseNumber reads a decimal number as SCPI writes it.
func parseNumber(text string) (float64, error) {
	t := strings.TrimSpace(text)
	x, err := strconv.ParseFloat(t, 64)
	if err != nil || strings.ContainsAny(t, "xXpP_") {
		return 0, fmt.Errorf("found %.40q, allowed is a number", t)
	}
	return special(x), nil
}

// parseFlag reads the state of a switch.
func parseFlag(text string) (bool, error) {
	switch strings.ToUpper(strings.TrimSpace(text)) {
	case "1", "+1", "ON":
		return true, nil
	case "0", "+0", "-0", "OFF":
		return false, nil
	}
	return false, fmt.Errorf("found %.40q, allowed are 0, 1, OFF and ON", text)
}

// parseComplaint reads an entry of the error queue, for example -113,"Undefined header".
func parseComplaint(text string) (Complaint, error) {
	number, message, ok := strings.Cut(text, ",")
	code, err := strconv.Atoi(strings.TrimSpace(number))
	if !ok || err != nil {
		return Complaint{}, malformed("entry of the error queue is %.60q, allowed is a number, a comma and a text", text)
	}
	message = strings.TrimSpace(message)
	if len(message) >= 2 && message[0] == '"' && message[len(message)-1] == '"' {
		message = strings.ReplaceAll(message[1:len(message)-1], `""`, `"`)
	}
	return Complaint{code, message}, nil
}

// malformed is an answer after which nobody knows where the next one begins.
func malformed(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{errMalformed}, args...)...)
}

var errMalformed = errors.New("malformed answer")
