package scpitest

import (
	"bufio"
	"io"
	"strings"
)

// unit is one command or query of a message.
type unit struct {
	header string // as written, with the question mark
	data   string // parameters, a block with its head
}

func (u unit) query() bool { return strings.HasSuffix(u.header, "?") }

// longestMessage is the longest message in bytes.
const longestMessage = 1 << 20

// readMessage reads one message up to its end of line. A line feed in a block or between quotes ends nothing.
func readMessage(r *bufio.Reader) (string, error) {
	var b strings.Builder
	quote := byte(0)
	for b.Len() < longestMessage {
		c, err := r.ReadByte()
		if err != nil {
			return "", err
		}
		if c == '\n' && quote == 0 {
			return strings.TrimRight(b.String(), "\r "), nil
		}
		b.WriteByte(c)
		switch {
		case quote != 0 && c == quote:
			quote = 0
		case quote != 0:
		case c == '"' || c == '\'':
			quote = c
		case c == '#':
			if err := copyBlock(&b, r); err != nil {
				return "", err
			}
		}
	}
	return "", refuse(-363, "Input buffer overrun")
}

// copyBlock copies a block of definite length after its #.
func copyBlock(b *strings.Builder, r *bufio.Reader) error {
	next, err := r.Peek(1)
	if err != nil || next[0] < '1' || next[0] > '9' {
		return err
	}
	head := make([]byte, 1+int(next[0]-'0'))
	if _, err := io.ReadFull(r, head); err != nil {
		return err
	}
	b.Write(head)
	n := 0
	for _, d := range head[1:] {
		if n = 10*n + int(d-'0'); d < '0' || d > '9' || n > longestMessage {
			return refuse(-161, "Invalid block data")
		}
	}
	_, err = io.CopyN(b, r, int64(n))
	return err
}

// split cuts a message into its units and writes every header from the root.
// Source: SCPI-99 volume 1, 6.2.4 (header path of a compound message, from memory).
func split(message string) []unit {
	var units []unit
	path := ""
	for _, text := range cut(message) {
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		header, data, _ := strings.Cut(text, " ")
		switch {
		case strings.HasPrefix(header, "*"):
		case strings.HasPrefix(header, ":"):
			header = header[1:]
			path = header[:strings.LastIndex(header, ":")+1]
		default:
			header = path + header
			path = header[:strings.LastIndex(header, ":")+1]
		}
		units = append(units, unit{header, strings.TrimLeft(data, " ")})
	}
	return units
}

// cut separates at semicolons outside quotes and blocks.
func cut(message string) []string {
	var parts []string
	start, quote := 0, byte(0)
	for i := 0; i < len(message); i++ {
		switch c := message[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '#':
			i += blockLength(message[i+1:])
		case c == ';':
			parts = append(parts, message[start:i])
			start = i + 1
		}
	}
	return append(parts, message[start:])
}

// blockLength is the length of the digits and the content of a block after its #, 0 where none stands.
func blockLength(s string) int {
	if s == "" || s[0] < '1' || s[0] > '9' || len(s) < 1+int(s[0]-'0') {
		return 0
	}
	digits := int(s[0] - '0')
	n := 0
	for _, d := range s[1 : 1+digits] {
		n = 10*n + int(d-'0')
	}
	return min(1+digits+n, len(s))
}

// matches tells whether a header is a spelling of a pattern such as [SOURce]:VOLTage[:LEVel], where capitals are the short form and brackets hold what may be left out.
func matches(pattern, header string) bool {
	nodes := strings.Split(strings.ReplaceAll(pattern, "[:", ":["), ":")
	return matchNodes(nodes, strings.Split(header, ":"))
}

func matchNodes(nodes, words []string) bool {
	if len(nodes) == 0 {
		return len(words) == 0
	}
	node := strings.Trim(nodes[0], "[]")
	if len(words) > 0 && sameWord(node, words[0]) && matchNodes(nodes[1:], words[1:]) {
		return true
	}
	return node != nodes[0] && matchNodes(nodes[1:], words)
}

// sameWord compares a word with the short and the long form of a mnemonic.
func sameWord(mnemonic, word string) bool {
	short := strings.TrimRight(mnemonic, "abcdefghijklmnopqrstuvwxyz")
	return strings.EqualFold(word, mnemonic) || strings.EqualFold(word, short)
}
