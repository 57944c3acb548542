package run

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// disk is what a run changes on a file system.
type disk interface {
	open(name string, flag int) (file, error)
	rename(from, to string) error
	mkdir(name string) error // with those above it
	syncDir(name string) error
}

// file is an open file.
type file interface {
	io.Reader
	io.Writer
	io.Seeker
	io.Closer
	Sync() error
}

// osDisk is the operating system's.
type osDisk struct{}

func (osDisk) open(name string, flag int) (file, error) { return os.OpenFile(name, flag, 0o644) }
func (osDisk) rename(from, to string) error             { return os.Rename(from, to) }
func (osDisk) mkdir(name string) error                  { return os.MkdirAll(name, 0o755) }

// syncDir makes the names in a folder safe. A system that cannot sync folders says so with an error of its own, which counts.
func (osDisk) syncDir(name string) error {
	d, err := os.Open(name)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// partSuffix ends the name of a file that is not complete.
const partSuffix = ".part"

// writeWhole writes a file that is there with its whole content or not at all.
func writeWhole(d disk, name string, content []byte) (err error) {
	f, err := d.open(name+partSuffix, os.O_CREATE|os.O_WRONLY|os.O_TRUNC)
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := d.rename(name+partSuffix, name); err != nil {
		return err
	}
	return d.syncDir(filepath.Dir(name))
}

// exists reports whether there is something under the name.
func exists(name string) bool {
	_, err := os.Lstat(name)
	return !errors.Is(err, fs.ErrNotExist)
}
