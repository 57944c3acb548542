package store_test

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"plumbline/internal/store"
	"plumbline/internal/store/storetest"
)

// childEnv holds the folder in which this program works, as a child of a test, until it is killed.
const childEnv = "PLUMBLINE_STORE_TEST_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childEnv); dir != "" {
		fmt.Println("child:", work(dir))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// work runs, imports, merges and backs up in a folder for ever, and says on standard output what was acknowledged: "record DIGEST" or "file DIGEST".
func work(dir string) error {
	ctx := context.Background()
	s, err := store.Open(ctx, filepath.Join(dir, "store"), store.Options{})
	if err != nil {
		return err
	}
	other, err := store.Open(ctx, filepath.Join(dir, "other"), store.Options{})
	if err != nil {
		return err
	}
	fmt.Println("started")
	for i := 0; ; i++ {
		h, err := s.Head(ctx)
		if err != nil {
			return err
		}
		name := fmt.Sprintf("A-%d", h.Seq)
		recording, _, err := s.PutFile(ctx, strings.NewReader(strings.Repeat(name, 5000)))
		if err != nil {
			return err
		}
		fmt.Println("file", recording)
		d := storetest.Draft("calibration", name, "Aldermere")
		d.Files = []store.Digest{recording}
		err = s.Together(ctx, func(w *store.Writer) error { // a run and its certificate
			r, err := w.Append(ctx, d)
			if err != nil {
				return err
			}
			c := storetest.Draft("certificate", name)
			c.Cites = []store.Digest{r.Digest}
			c.Files = []store.Digest{recording}
			_, err = w.Append(ctx, c)
			return err
		})
		if err != nil {
			return err
		}
		if h, err = s.Head(ctx); err != nil {
			return err
		}
		fmt.Println("record", h.Digest)
		switch i % 4 {
		case 1:
			if _, err := other.Append(ctx, storetest.Draft("asset", name)); err != nil {
				return err
			}
			_, err = s.Merge(ctx, other)
		case 2:
			_, err = other.Merge(ctx, s)
		case 3:
			_, err = s.Backup(ctx, filepath.Join(dir, "backup"))
		}
		if err != nil {
			return err
		}
	}
}

// TestKilled kills a program at random moments while it appends, keeps files, merges and backs up. What it was told to be kept is there, nothing is there by half, and a check finds nothing.
func TestKilled(t *testing.T) {
	const seed = 20261125
	r := rand.New(rand.NewPCG(seed, 2))
	dir := t.TempDir()
	for i, name := range []string{"store", "other"} {
		s, err := store.Create(t.Context(), filepath.Join(dir, name), storetest.Origin(i+1))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	kills := soak(50, 500)
	var acknowledged []string
	for kill := range kills {
		acknowledged = append(acknowledged, killed(t, dir, time.Duration(r.IntN(60_000))*time.Microsecond)...)
		if kill%10 == 9 || kill == kills-1 {
			afterKills(t, dir, acknowledged)
		}
		if t.Failed() {
			t.Fatalf("seed %d, kill %d", seed, kill+1)
		}
	}
	t.Logf("seed %d: %d kills", seed, kills)
}

// killed starts a child, kills it some time after it has started, and returns what it had acknowledged.
func killed(t *testing.T, dir string, after time.Duration) []string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), childEnv+"="+dir)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var said []string
	for lines := bufio.NewScanner(out); lines.Scan(); {
		switch line := lines.Text(); {
		case line == "started":
			time.AfterFunc(after, func() { cmd.Process.Kill() })
		case strings.HasPrefix(line, "child:"):
			t.Error(line)
		default:
			said = append(said, line)
		}
	}
	cmd.Wait() // its error is the kill
	return said
}

// afterKills opens the stores as the next program would and looks for what was acknowledged.
func afterKills(t *testing.T, dir string, acknowledged []string) {
	t.Helper()
	for _, name := range []string{"store", "other", "backup"} {
		if _, err := os.Stat(filepath.Join(dir, name)); err != nil && name == "backup" {
			continue // no child came that far
		}
		s, err := store.Open(t.Context(), filepath.Join(dir, name), store.Options{ReadOnly: name == "backup"})
		if err != nil {
			if name == "backup" && strings.Contains(err.Error(), "no store") || strings.Contains(err.Error(), "older version") {
				continue // killed while its first backup was being made
			}
			t.Error(err)
			continue
		}
		found, err := s.Check(t.Context())
		if err != nil || len(found) > 0 {
			t.Errorf("%s: check found %v, %v", name, found, err)
		}
		if name == "store" {
			lookFor(t, s, acknowledged)
		}
		s.Close()
		if left, err := os.ReadDir(filepath.Join(dir, name, "files", "incoming")); name != "backup" && (err != nil || len(left) > 0) {
			t.Errorf("%s: half written files are left: %v, %v", name, left, err)
		}
	}
}

// lookFor wants every acknowledged record with its files, every acknowledged file, and no run without its certificate.
func lookFor(t *testing.T, s *store.Store, acknowledged []string) {
	t.Helper()
	for _, line := range acknowledged {
		kind, digest, _ := strings.Cut(line, " ")
		if kind == "file" {
			f, _, err := s.OpenFile(t.Context(), store.Digest(digest))
			if err != nil {
				t.Errorf("lost: %v", err)
				continue
			}
			f.Close()
		} else if _, err := s.Get(t.Context(), store.Digest(digest)); err != nil {
			t.Errorf("lost: %v", err)
		}
	}
	runs, err := s.Find(t.Context(), store.Query{Kind: "calibration"})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range runs {
		if c, err := s.Find(t.Context(), store.Query{Kind: "certificate", Cites: r.Digest}); err != nil || len(c) != 1 {
			t.Errorf("%v has %d certificates, %v", r, len(c), err)
		}
	}
	t.Logf("%d runs; %d lines acknowledged", len(runs), len(acknowledged))
}
