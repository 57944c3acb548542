package audio

import (
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/jfreymuth/pulse/proto"
)

// server is the connection to the sound server.
type server struct {
	*proto.Client
	conn  net.Conn
	own   uint32        // our number as a client of the server
	ended chan struct{} // closed when nothing is received any more
	once  sync.Once
}

// wire limits the time of a write and makes every end of the connection look alike: the client of package proto tells of an end of file only.
type wire struct{ net.Conn }

func (w wire) Read(p []byte) (int, error) {
	n, err := w.Conn.Read(p)
	if err != nil {
		err = io.EOF
	}
	return n, err
}

func (w wire) Write(p []byte) (int, error) {
	err := w.SetWriteDeadline(time.Now().Add(answerLimit))
	n := 0
	if err == nil {
		n, err = w.Conn.Write(p)
	}
	if err != nil { // half a message may be on its way: nothing after it would be understood
		_ = w.Close()
	}
	return n, err
}

// connect opens a connection; hear is told of what the server sends unasked, from one goroutine, and must not wait.
func connect(address string, hear func(any)) (*server, error) {
	network, place, err := where(address)
	if err != nil {
		return nil, err
	}
	conn, err := net.DialTimeout(network, place, answerLimit)
	if err != nil {
		return nil, fmt.Errorf("audio: server %s: %w", place, err)
	}
	s := &server{Client: &proto.Client{}, conn: conn, ended: make(chan struct{})}
	s.Callback = func(message any) {
		hear(message)
		if _, ok := message.(*proto.ConnectionClosed); ok {
			close(s.ended)
		}
	}
	s.SetTimeout(answerLimit)
	s.Open(wire{conn})
	if err := s.introduce(); err != nil {
		s.cut()
		return nil, fmt.Errorf("audio: server %s: %w", place, err)
	}
	return s, nil
}

func (s *server) introduce() error {
	key, err := cookie()
	if err != nil {
		return err
	}
	var version proto.AuthReply
	if err := s.Request(&proto.Auth{Version: s.Version(), Cookie: key}, &version); err != nil {
		return err
	}
	s.SetVersion(version.Version)
	var client proto.SetClientNameReply
	err = s.Request(&proto.SetClientName{Props: proto.PropList{"application.name": proto.PropListString("plumbline"), "application.process.id": proto.PropListString(fmt.Sprint(os.Getpid()))}}, &client)
	if err != nil {
		return err
	}
	s.own = client.ClientIndex
	return s.Request(&proto.Subscribe{Mask: proto.SubscriptionMaskSink | proto.SubscriptionMaskSource | proto.SubscriptionMaskSinkInput}, nil)
}

// cut closes the connection and waits until nothing is received any more. The server then drops what it had not played.
func (s *server) cut() {
	if s == nil {
		return
	}
	s.once.Do(func() { _ = s.conn.Close() })
	<-s.ended
}

// where reads the address of a server.
func where(address string) (network, place string, err error) {
	if address == "" {
		address = os.Getenv("PULSE_SERVER")
	}
	if address == "" {
		address = "unix:" + filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), "pulse", "native")
	}
	switch network, place, _ = strings.Cut(address, ":"); network {
	case "unix":
		return network, place, nil
	case "tcp", "tcp4", "tcp6":
		return network, place, nil
	}
	if strings.HasPrefix(address, "/") {
		return "unix", address, nil
	}
	return "", "", fmt.Errorf("audio: server %q, allowed are unix:PATH and tcp:HOST:PORT", address)
}

// cookie is the key that the server asks for. A server that lets everyone in takes any.
func cookie() ([]byte, error) {
	name := os.Getenv("PULSE_COOKIE")
	if name == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return make([]byte, cookieBytes), nil //nolint:nilerr // without a home there is no cookie
		}
		name = filepath.Join(home, ".config", "pulse", "cookie")
	}
	key, err := os.ReadFile(name)
	if os.IsNotExist(err) {
		return make([]byte, cookieBytes), nil
	}
	if err == nil && len(key) != cookieBytes {
		err = fmt.Errorf("%s: %d bytes, a server's cookie has %d", name, len(key), cookieBytes)
	}
	return key, err
}

const cookieBytes = 256
