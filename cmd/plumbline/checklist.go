package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"plumbline/bench"
	"plumbline/internal/lab"
)

// checked is one answer to the checklist, as it is kept.
type checked struct {
	lab.Check
	Answer string `json:"answer"` // "yes", with a remark behind it where there was one
}

// checklist is what is kept of it.
type checklist struct {
	Operator string    `json:"operator"`
	How      string    `json:"how"`
	Answers  []checked `json:"answers"`
}

// check asks the checklist and keeps the answers. Anything but yes ends the run before it drives.
func (s *session) check(ctx context.Context) error {
	list := checklist{Operator: s.flags.operator, How: "asked"}
	answers, err := s.answers()
	if err != nil {
		return err
	}
	switch {
	case s.flags.accept:
		list.How = "all accepted on the command line"
	case answers != nil:
		list.How = "from a file"
	default:
		s.console.say("Checklist: yes, or yes with a remark; anything else ends here.")
	}
	for _, c := range s.m.Checklist() {
		answer := "yes"
		switch {
		case s.flags.accept:
		case answers != nil:
			answer = answers[c.Key]
		default:
			if answer, err = s.console.ask(ctx, "  "+c.Question+"?"); err != nil {
				return fmt.Errorf("checklist: %w", err)
			}
		}
		if !accepted(answer) {
			err := fmt.Errorf("checklist: %s: %q, nothing is driven without yes (%s)", c.Key, answer, c.Question)
			return errors.Join(err, s.folder.Note(bench.Entry{Kind: "checklist-refused", Step: -1, Text: err.Error()}))
		}
		list.Answers = append(list.Answers, checked{c, answer})
	}
	return s.folder.Note(bench.Entry{Kind: "checklist", Step: -1, Text: list.How + ", " + list.Operator, Data: list})
}

func accepted(answer string) bool {
	word, _, _ := strings.Cut(strings.ToLower(answer), " ")
	return strings.Trim(word, ",.:;") == "yes" || word == "y"
}

// answers reads the file of answers, nil where none is named.
func (s *session) answers() (map[string]string, error) {
	if s.flags.checklist == "" {
		return nil, nil
	}
	text, err := os.ReadFile(s.flags.checklist)
	if err != nil {
		return nil, fmt.Errorf("checklist: %w", err)
	}
	known := map[string]bool{}
	for _, c := range s.m.Checklist() {
		known[c.Key] = true
	}
	answers := map[string]string{}
	for n, line := range strings.Split(string(text), "\n") {
		if line = strings.TrimSpace(line); line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		key, answer, found := strings.Cut(line, ":")
		if key = strings.TrimSpace(key); !found || !known[key] {
			return nil, fmt.Errorf("checklist %s:%d: %q is no answer to it, allowed are lines KEY: yes", s.flags.checklist, n+1, line)
		}
		answers[key] = strings.TrimSpace(answer)
	}
	return answers, nil
}
