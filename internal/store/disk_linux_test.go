package store_test

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"plumbline/internal/store"
	"plumbline/internal/store/storetest"
)

const smallDiskEnv = "PLUMBLINE_STORE_TEST_DISK"

// TestFullDisk works on a disk of 3 MB until it is full, gets more room and goes on, and is then allowed to read alone. It runs in a child with mounts of its own.
func TestFullDisk(t *testing.T) {
	if os.Getenv(smallDiskEnv) != "" {
		onSmallDisk(t)
		return
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "-test.run=^TestFullDisk$", "-test.v")
	cmd.Env = append(os.Environ(), smallDiskEnv+"="+t.TempDir())
	cmd.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS}
	if os.Getuid() != 0 {
		cmd.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
		cmd.SysProcAttr.UidMappings = []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}
	}
	out, err := cmd.CombinedOutput()
	t.Logf("%s", out)
	if err != nil {
		t.Error(err)
	}
}

// mount changes the disk of the test.
func mount(t *testing.T, dir string, flags uintptr, options string) {
	t.Helper()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", flags, options); err != nil {
		t.Fatal(err)
	}
}

func onSmallDisk(t *testing.T) {
	disk := os.Getenv(smallDiskEnv)
	if err := syscall.Mount("none", "/", "", syscall.MS_REC|syscall.MS_PRIVATE, ""); err != nil {
		t.Fatal(err)
	}
	mount(t, disk, 0, "size=3m")
	dir := filepath.Join(disk, "store")
	s, err := store.Create(t.Context(), dir, storetest.Origin(1))
	if err != nil {
		t.Fatal(err)
	}
	_, _, err = s.PutFile(t.Context(), io.LimitReader(zeros{}, 8<<20))
	complains(t, "large file", err, "no space left", "nothing of it was kept")
	var kept []store.Record
	for err = nil; err == nil && len(kept) < 1000; {
		d := storetest.Draft("calibration", fmt.Sprint("A-", len(kept)))
		d.Body = []byte(`"` + strings.Repeat("0123456789", 3000) + `"`)
		var r store.Record
		if r, err = s.Append(t.Context(), d); err == nil {
			kept = append(kept, r)
		}
	}
	complains(t, fmt.Sprintf("record %d", len(kept)+1), err, "full", "calibration", dir)
	t.Log(err)
	for _, r := range kept {
		if _, err := s.Get(t.Context(), r.Digest); err != nil {
			t.Errorf("full disk: %v", err)
		}
	}
	storetest.Sound(t, s)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	mount(t, disk, syscall.MS_REMOUNT, "size=12m")
	if s, err = store.Open(t.Context(), dir, store.Options{}); err != nil {
		t.Fatal(err)
	}
	if h, err := s.Head(t.Context()); err != nil || h.Digest != kept[len(kept)-1].Digest {
		t.Errorf("head %v, %v", h, err)
	}
	last := storetest.Append(t, s, storetest.Draft("asset", "A-0401"))
	storetest.Sound(t, s, last.Digest)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	mount(t, disk, syscall.MS_REMOUNT|syscall.MS_RDONLY, "size=12m")
	onReadOnlyDisk(t, dir, last)
}

func onReadOnlyDisk(t *testing.T, dir string, last store.Record) {
	_, err := store.Open(t.Context(), dir, store.Options{})
	complains(t, "open to write", err, dir, "read-only")
	_, err = store.Create(t.Context(), dir+"2", storetest.Origin(2))
	complains(t, "create", err, dir+"2", "read-only")
	s, err := store.Open(t.Context(), dir, store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	_, err = s.Append(t.Context(), storetest.Draft("asset", "A-0402"))
	complains(t, "append", err, dir, "reading only")
	_, _, err = s.PutFile(t.Context(), strings.NewReader("x"))
	complains(t, "put", err, dir, "reading only")
	storetest.Sound(t, s, last.Digest)
}

func complains(t *testing.T, what string, err error, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if err == nil || !strings.Contains(err.Error(), text) {
			t.Errorf("%s: %v, want %q in it", what, err, text)
		}
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }
