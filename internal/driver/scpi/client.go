// Package scpi drives generators, digitizers and sampling voltmeters that speak SCPI over a raw TCP connection.
package scpi

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"strings"
	"sync"
	"time"

	"plumbline/bench"
)

// DefaultPort is where instruments listen for SCPI on a raw connection.
const DefaultPort = "5025"

// mostComplaints is how many entries an error queue may hold; one that goes on is no queue.
const mostComplaints = 64

// Options say how to speak with an instrument.
type Options struct {
	Name       string        // what the instrument is called in errors, for example "generator"
	Limit      time.Duration // longest time of one exchange, after which the instrument counts as lost
	ErrorQuery string        // asks for the next entry of the error queue
}

// Client is one connection with one instrument. It is safe for concurrent use: exchanges follow each other. After an exchange that did not end as it should, nobody knows
// what the next bytes belong to: the connection is then closed and every further call gives the same error.
type Client struct {
	name  string
	opts  Options
	mu    sync.Mutex
	conn  net.Conn
	input *bufio.Reader
	lost  error
}

// Complaint is one entry of an instrument's error queue.
type Complaint struct {
	Code int
	Text string
}

// Refusal is what an instrument's error queue held after a command.
type Refusal struct {
	Instrument string // name and address
	Command    string
	Complaints []Complaint // at least one
}

func (e *Refusal) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %.120q", e.Instrument, e.Command)
	for i, c := range e.Complaints {
		fmt.Fprintf(&b, "%s%d %q", [2]string{": ", ", "}[min(i, 1)], c.Code, c.Text)
	}
	return b.String()
}

// Dial connects with the instrument at an address, host or host:port. An instrument that cannot be reached within the limit is bench.ErrLost.
func Dial(ctx context.Context, address string, o Options) (*Client, error) {
	if o.Limit <= 0 || o.ErrorQuery == "" {
		return nil, fmt.Errorf("%s at %s: limit of %v and error query %q, both must be stated", o.Name, address, o.Limit, o.ErrorQuery)
	}
	address = withPort(address)
	name := fmt.Sprintf("%s at %s", o.Name, address)
	d := net.Dialer{Timeout: o.Limit}
	conn, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		if ctx.Err() != nil {
			return nil, fmt.Errorf("%s: %w", name, ended(ctx))
		}
		return nil, fmt.Errorf("%s: %w: %w", name, bench.ErrLost, err)
	}
	return &Client{name: name, opts: o, conn: conn, input: bufio.NewReaderSize(conn, 1<<16)}, nil
}

// withPort adds the usual port to an address that names none.
func withPort(address string) string {
	if _, _, err := net.SplitHostPort(address); err == nil {
		return address
	}
	return net.JoinHostPort(strings.Trim(address, "[]"), DefaultPort)
}

// Name is the instrument's name with its address.
func (c *Client) Name() string { return c.name }

// Close ends the connection. It may be called twice, and while an exchange waits.
func (c *Client) Close() error {
	err := c.conn.Close()
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

// Err is what ended the connection, nil while it stands.
func (c *Client) Err() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.lost
}

// Command sends a command that has no answer and reads the error queue after it. What the queue held is a *Refusal.
func (c *Client) Command(ctx context.Context, command string) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.complaints(ctx, command, command+"\n"+c.opts.ErrorQuery+"\n")
}

// Ask sends a query, reads an answer of one line and then the error queue.
func (c *Client) Ask(ctx context.Context, query string) (string, error) {
	var line string
	err := c.ask(ctx, query, func(r *bufio.Reader) (err error) {
		line, err = readLine(r, longestLine)
		return err
	})
	return line, err
}

// Number asks for a number.
func (c *Client) Number(ctx context.Context, query string) (float64, error) {
	line, err := c.Ask(ctx, query)
	if err != nil {
		return 0, err
	}
	x, err := parseNumber(line)
	if err != nil {
		return 0, fmt.Errorf("%s: %q: %w", c.name, query, err)
	}
	return x, nil
}

// Flag asks for the state of a switch.
func (c *Client) Flag(ctx context.Context, query string) (bool, error) {
	line, err := c.Ask(ctx, query)
	if err != nil {
		return false, err
	}
	on, err := parseFlag(line)
	if err != nil {
		return false, fmt.Errorf("%s: %q: %w", c.name, query, err)
	}
	return on, nil
}

// Numbers asks for many numbers. NaN is a missing one (9.91E37), ±Inf an overload (±9.9E37).
func (c *Client) Numbers(ctx context.Context, query string, l Layout) ([]float64, error) {
	if err := l.check(); err != nil {
		return nil, fmt.Errorf("%s: %q: %w", c.name, query, err)
	}
	var numbers []float64
	err := c.ask(ctx, query, func(r *bufio.Reader) (err error) {
		numbers, err = readNumbers(r, l)
		return err
	})
	return numbers, err
}

// Identify asks who the instrument is.
// Source: IEEE 488.2 10.14 (common query *IDN?, from memory).
func (c *Client) Identify(ctx context.Context) (string, error) { return c.Ask(ctx, "*IDN?") }

// EventStatus reads the standard event status register, which clears it.
// Source: IEEE 488.2 10.12 (common query *ESR?, from memory).
func (c *Client) EventStatus(ctx context.Context) (int, error) {
	x, err := c.Number(ctx, "*ESR?")
	if err == nil && (x < 0 || x > 255 || x != float64(int(x))) {
		err = fmt.Errorf("%s: event status is %g, allowed are whole numbers from 0 to 255", c.name, x)
	}
	return int(x), err
}

// Complete waits until every operation before it has ended, at most for the limit of one exchange.
// Source: IEEE 488.2 10.19 (common query *OPC?, from memory).
func (c *Client) Complete(ctx context.Context) error {
	line, err := c.Ask(ctx, "*OPC?")
	if err == nil && strings.TrimPrefix(line, "+") != "1" {
		err = fmt.Errorf("%s: *OPC? is answered %.40q, allowed is 1", c.name, line)
	}
	return err
}

// ask sends a query and reads its answer and the error queue.
func (c *Client) ask(ctx context.Context, query string, read func(*bufio.Reader) error) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	var unread, silent error
	err := c.exchange(ctx, query, query+"\n", c.opts.Limit-c.opts.Limit/4, func(r *bufio.Reader) error {
		switch err := read(r); {
		case whole(err): // but not what it should be
			unread = err
			return nil
		case errors.Is(err, os.ErrDeadlineExceeded) && r.Buffered() == 0 && ctx.Err() == nil:
			silent = err
			return nil
		default:
			return err
		}
	})
	switch {
	case err != nil:
		return err
	case silent != nil:
		return c.whySilent(ctx, query, silent)
	}
	if err := c.complaints(ctx, query, c.opts.ErrorQuery+"\n"); err != nil {
		return err
	}
	if unread != nil {
		return fmt.Errorf("%s: %q: %w", c.name, query, unread)
	}
	return nil
}

// whySilent asks an instrument that did not answer a query for its reason, in what is left of the limit: one that did not understand a query stays silent too. An answer
// that comes late instead is no entry of the queue, and the connection is given up.
func (c *Client) whySilent(ctx context.Context, query string, silence error) error {
	var first Complaint
	err := c.exchange(ctx, query, c.opts.ErrorQuery+"\n", c.opts.Limit/4, func(r *bufio.Reader) error {
		line, err := readLine(r, longestLine)
		if err != nil {
			return err
		}
		if first, err = parseComplaint(line); err != nil || first.Code == 0 {
			return silence
		}
		return nil
	})
	if err != nil {
		return err
	}
	var refusal *Refusal
	switch err := c.complaints(ctx, query, c.opts.ErrorQuery+"\n"); {
	case err == nil:
		return &Refusal{c.name, query, []Complaint{first}}
	case errors.As(err, &refusal):
		return &Refusal{c.name, query, append([]Complaint{first}, refusal.Complaints...)}
	default:
		return err
	}
}

// whole tells whether the answer's end was seen, so that the next answer begins where it should.
func whole(err error) bool {
	var unreachable net.Error
	return err != nil && !errors.Is(err, errMalformed) && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.As(err, &unreachable)
}

// complaints sends a text that ends with the error query and reads the queue until it is empty.
func (c *Client) complaints(ctx context.Context, command, text string) error {
	var found []Complaint
	for range mostComplaints {
		var entry Complaint
		if err := c.exchange(ctx, command, text, c.opts.Limit, func(r *bufio.Reader) error {
			line, err := readLine(r, longestLine)
			if err == nil {
				entry, err = parseComplaint(line)
			}
			return err
		}); err != nil {
			return err
		}
		if entry.Code == 0 {
			if found != nil {
				return &Refusal{c.name, command, found}
			}
			return nil
		}
		found = append(found, entry)
		text = c.opts.ErrorQuery + "\n"
	}
	return c.lose(fmt.Errorf("%s: %.120q: %w: the error queue does not end, last %d %q", c.name, command, bench.ErrLost, found[len(found)-1].Code, found[len(found)-1].Text))
}

// exchange sends a text and reads what comes back, within a limit.
func (c *Client) exchange(ctx context.Context, command, text string, limit time.Duration, read func(*bufio.Reader) error) error {
	if c.lost != nil {
		return c.lost
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%s: %.120q: %w", c.name, command, ended(ctx))
	}
	if err := c.conn.SetDeadline(time.Now().Add(limit)); err != nil {
		return c.broken(ctx, command, err)
	}
	stop := context.AfterFunc(ctx, func() { _ = c.Close() }) // the answer would come when nobody waits for it
	defer stop()
	if n := c.input.Buffered(); n > 0 {
		return c.broken(ctx, command, malformed("%d bytes came unasked", n))
	}
	if _, err := io.WriteString(c.conn, text); err != nil {
		return c.broken(ctx, command, err)
	}
	if err := read(c.input); err != nil {
		return c.broken(ctx, command, err)
	}
	return nil
}

// broken gives the connection up and says why.
func (c *Client) broken(ctx context.Context, command string, err error) error {
	switch {
	case ctx.Err() != nil:
		return c.lose(fmt.Errorf("%s: %.120q: %w", c.name, command, ended(ctx)))
	case errors.Is(err, os.ErrDeadlineExceeded):
		return c.lose(fmt.Errorf("%s: %.120q: %w within %v", c.name, command, bench.ErrLost, c.opts.Limit))
	case errors.Is(err, io.EOF):
		return c.lose(fmt.Errorf("%s: %.120q: %w: it closed the connection", c.name, command, bench.ErrLost))
	}
	return c.lose(fmt.Errorf("%s: %.120q: %w: %w", c.name, command, bench.ErrLost, err))
}

// ended is why a context has ended. One that ran out of time did so waiting for the instrument.
func ended(ctx context.Context) error {
	cause := context.Cause(ctx)
	if errors.Is(cause, context.DeadlineExceeded) {
		return fmt.Errorf("%w: %w", bench.ErrLost, cause)
	}
	return cause
}

// lose closes the connection for good.
func (c *Client) lose(err error) error {
	c.lost = err
	_ = c.conn.Close() // what matters is said
	return err
}
