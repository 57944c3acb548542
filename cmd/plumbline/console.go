package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"

	"plumbline/bench"
)

// console speaks with the operator: lines typed become commands, or answers to a question that was asked.
type console struct {
	name     string // of the operator
	out      io.Writer
	terminal bool // lines can be written over
	lines    chan string
	commands chan bench.Command

	mu     sync.Mutex
	shown  int // characters of a line that will be written over
	asking chan string
}

// newConsole listens to in from now on.
func newConsole(in io.Reader, out io.Writer, name string) *console {
	c := &console{name: name, out: out, terminal: isTerminal(out), lines: make(chan string), commands: make(chan bench.Command, 64)}
	go func() {
		defer close(c.lines)
		for s := bufio.NewScanner(in); s.Scan(); {
			c.lines <- strings.TrimSpace(s.Text())
		}
	}()
	return c
}

// isTerminal reports whether a person sees what is written at once.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok || os.Getenv("TERM") == "dumb" || os.Getenv("TERM") == "" {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// say writes a line that stays.
func (c *console) say(format string, args ...any) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.wipe()
	fmt.Fprintf(c.out, format+"\n", args...)
}

// show writes a line that the next one takes the place of; where nothing can be written over it stays.
func (c *console) show(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.terminal {
		fmt.Fprintln(c.out, text)
		return
	}
	c.wipe()
	fmt.Fprint(c.out, text)
	c.shown = len([]rune(text))
}

func (c *console) wipe() {
	if c.shown > 0 {
		fmt.Fprint(c.out, "\r"+strings.Repeat(" ", c.shown)+"\r")
		c.shown = 0
	}
}

// errNobody says that a question was asked and nobody is there to answer.
var errNobody = errors.New("a decision is needed and the input has ended")

// ask puts a question and waits for a line. Before relay runs, and while it does.
func (c *console) ask(ctx context.Context, question string) (string, error) {
	c.mu.Lock()
	c.wipe()
	fmt.Fprint(c.out, question+" ")
	if !c.terminal {
		fmt.Fprintln(c.out)
	}
	from := c.lines
	if c.asking != nil {
		from = c.asking
	}
	c.mu.Unlock()
	select {
	case line, open := <-from:
		if !open {
			return "", errNobody
		}
		return line, nil
	case <-ctx.Done():
		return "", context.Cause(ctx)
	}
}

// relay makes commands of the lines typed until ctx ends; questions take precedence.
func (c *console) relay(ctx context.Context) {
	c.mu.Lock()
	c.asking = make(chan string)
	c.mu.Unlock()
	go func() {
		defer close(c.commands)
		defer close(c.asking)
		for {
			select {
			case line, open := <-c.lines:
				if !open {
					return
				}
				c.typed(ctx, line)
			case <-ctx.Done():
				return
			}
		}
	}()
}

// typed passes a line on to the question that waits for one, else as a command.
func (c *console) typed(ctx context.Context, line string) {
	select {
	case c.asking <- line:
		return
	default:
	}
	command, err := parseCommand(line, c.name)
	switch {
	case err != nil:
		c.say("  %v", err)
	case command.Kind != "":
		select {
		case c.commands <- command:
		case <-ctx.Done():
		}
	}
}

const commandHelp = `p pause, r resume, n TEXT note, s skip the point, k REASON keep it as it is, w wait longer, a N measure step N again, q stop`

// parseCommand reads what the operator typed.
func parseCommand(line, name string) (c bench.Command, err error) {
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	kinds := map[string]string{"p": "pause", "r": "resume", "n": "note", "s": "skip", "k": "keep", "w": "longer", "a": "repeat", "q": "stop"}
	kind, known := kinds[strings.ToLower(word)]
	if !known && slices.Contains([]string{"pause", "resume", "note", "skip", "keep", "longer", "repeat", "stop"}, strings.ToLower(word)) {
		kind, known = strings.ToLower(word), true
	}
	switch {
	case word == "":
		return c, nil
	case !known:
		return c, fmt.Errorf("%q is no command: %s", line, commandHelp)
	case (kind == "note" || kind == "keep") && rest == "":
		return c, fmt.Errorf("%s: text is missing", kind)
	}
	c = bench.Command{Kind: kind, Text: rest, Name: name}
	if kind == "repeat" {
		n, err := strconv.Atoi(rest)
		if err != nil || n < 1 {
			return bench.Command{}, fmt.Errorf("%q: the number of the step is missing", line)
		}
		c.Step = n - 1
	}
	return c, nil
}

// Decide asks the operator what is to become of a point that cannot be kept as it is.
func (c *console) Decide(ctx context.Context, q bench.Question) (bench.Decision, error) {
	c.say("  %s, attempt %d: %s", q.Step.Label, q.Attempt, q.Why)
	var offers []string
	for _, o := range q.Offers {
		offers = append(offers, choiceKeys[o]+" "+string(o))
	}
	for {
		line, err := c.ask(ctx, "  "+strings.Join(offers, ", ")+"?")
		if errors.Is(err, errNobody) {
			c.say("  nobody answers: stop")
			return bench.Decision{Choice: bench.Stop, Name: c.name}, nil
		} else if err != nil {
			return bench.Decision{}, err
		}
		word, reason, _ := strings.Cut(line, " ")
		for _, o := range q.Offers {
			if !strings.EqualFold(word, strings.Fields(choiceKeys[o])[0]) && !strings.EqualFold(line, string(o)) {
				continue
			}
			if o == bench.Keep && strings.TrimSpace(reason) == "" {
				c.say("  a reason is needed to keep what is not steady: k REASON")
				break
			}
			return bench.Decision{Choice: o, Reason: strings.TrimSpace(reason), Name: c.name}, nil
		}
	}
}

// choiceKeys are what is typed for a choice.
var choiceKeys = map[bench.Choice]string{bench.Again: "a", bench.Lower: "l", bench.Longer: "w", bench.Keep: "k REASON:", bench.Skip: "s", bench.Stop: "q"}
