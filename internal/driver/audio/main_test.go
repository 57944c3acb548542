//go:build linux

package audio_test

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	"plumbline/bench"
	"plumbline/internal/driver/audio"
	"plumbline/internal/driver/audio/audiotest"
	"plumbline/recording"
)

// child makes the test's binary a program of its own: "drive" drives and records until it is killed, "leave" closes after a while and counts what it leaves behind. The server
// is the one that the environment names.
const child = "PLUMBLINE_TEST_AUDIO_CHILD"

func TestMain(m *testing.M) {
	programs := map[string]func() error{"drive": driveOn, "leave": leave}
	if program := programs[os.Getenv(child)]; program != nil {
		if err := program(); err != nil {
			fmt.Println("ended:", err)
			os.Exit(1)
		}
		return
	}
	if err := audiotest.Hurry(); err != nil {
		fmt.Println("tests of sound without haste:", err)
	}
	flag.Parse()
	if err := flag.Set("test.parallel", "8"); err != nil { // what waits for sound to pass can wait together
		panic(err)
	}
	os.Exit(m.Run())
}

func openChild() (*audio.Interface, error) {
	return audio.Open(context.Background(), audio.Config{Sink: audiotest.Sink, Source: audiotest.Source, Rate: audiotest.Rate,
		Output: audiotest.DriveOutput, FullScale: fullScale, Latency: mostLatency, Limit: 10e9})
}

// driveOn drives at half of full scale and reads on, telling of every disturbance; a line on its input closes it.
func driveOn() error {
	a, err := openChild()
	if err != nil {
		return err
	}
	if err := a.Drive(context.Background(), bench.Signal{{Frequency: 40, Amplitude: fullScale / 2}}); err != nil {
		return err
	}
	asked, closed := make(chan struct{}), make(chan error)
	go func() {
		bufio.NewScanner(os.Stdin).Scan()
		close(asked)
		closed <- a.Close()
	}()
	for {
		r, err := a.Acquire(context.Background())
		if err == nil {
			fmt.Println("recording")
			err = until(r, 1<<40)
		}
		select {
		case <-asked:
			fmt.Println("closed:", <-closed)
			return nil
		default:
		}
		fmt.Println("disturbed:", err)
		if !errors.Is(err, bench.ErrGap) {
			return err
		}
		if err := r.Close(); err != nil {
			return err
		}
	}
}

// leave drives, waits for a line on its input, closes twice and says how many goroutines are left.
func leave() error {
	before := runtime.NumGoroutine()
	a, err := openChild()
	if err != nil {
		return err
	}
	r, err := a.Acquire(context.Background())
	if err != nil {
		return err
	}
	if err := a.Drive(context.Background(), bench.Signal{{Frequency: 40, Amplitude: 1}}); err != nil {
		return err
	}
	if err := until(r, audiotest.Rate/2); err != nil {
		return err
	}
	fmt.Println("driving")
	bufio.NewScanner(os.Stdin).Scan()
	for range 2 {
		err := a.Close()
		fmt.Println("closed:", err)
	}
	for end := time.Now().Add(10 * time.Second); runtime.NumGoroutine() > before && time.Now().Before(end); {
		time.Sleep(10 * time.Millisecond)
	}
	fmt.Println("goroutines:", runtime.NumGoroutine()-before)
	return nil
}

// until reads to the error, or to the end of the given frames.
func until(r recording.Reader, frames int) error {
	block := recording.Block(len(r.Info().Channels), audiotest.Rate/10)
	for frames > 0 {
		n, err := r.Read(block)
		if err != nil {
			return err
		}
		frames -= n
	}
	return nil
}
