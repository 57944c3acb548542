package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path"
	"strings"
	"sync/atomic"
)

// Files keeps bytes under their digest.
type Files interface {
	// Put reads r to its end and keeps what it read. When it returns without error the bytes survive a power cut.
	Put(ctx context.Context, r io.Reader) (Digest, int64, error)
	// Open returns the bytes kept under a digest and their number, not verified; where there are none the error is fs.ErrNotExist.
	Open(ctx context.Context, d Digest) (io.ReadCloser, int64, error)
	// Names goes through all that is kept, in order. What has no name of the store's own making is among it.
	Names(ctx context.Context) iter.Seq2[string, error]
}

// Folder keeps files in a folder of the disk. No name can leave it.
type Folder struct {
	root  *os.Root
	where string
	count atomic.Int64
}

const (
	byDigest = "sha256"
	incoming = "incoming" // files that are being written
)

// OpenFolder opens a folder of files, and makes it where it is not there and may be.
func OpenFolder(dir string, readOnly bool) (*Folder, error) {
	if !readOnly {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return nil, err
		}
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	f := &Folder{root: root, where: dir}
	if readOnly {
		return f, nil
	}
	for _, sub := range []string{byDigest, incoming} {
		if err := root.Mkdir(sub, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
			return nil, errors.Join(err, root.Close())
		}
	}
	if err := f.sync("."); err != nil {
		return nil, errors.Join(err, root.Close())
	}
	return f, nil
}

// Close frees the folder.
func (f *Folder) Close() error { return f.root.Close() }

// clean removes what programs that ended left half written. Nobody else may have the folder open.
func (f *Folder) clean() error {
	left, err := fs.ReadDir(f.root.FS(), incoming)
	for _, e := range left {
		err = errors.Join(err, f.root.Remove(path.Join(incoming, e.Name())))
	}
	return err
}

func pathOf(d Digest) string { return path.Join(byDigest, string(d[:2]), string(d)) }

// Put implements Files: under a temporary name, synced, renamed, the folder synced.
func (f *Folder) Put(ctx context.Context, r io.Reader) (d Digest, size int64, err error) {
	tmp, name, err := f.create()
	if err != nil {
		return "", 0, fmt.Errorf("files in %s: %w", f.where, err)
	}
	defer func() {
		if err != nil {
			tmp.Close()
			f.root.Remove(name)
			err = fmt.Errorf("files in %s, after %d bytes of a new one: %w; nothing of it was kept", f.where, size, err)
		}
	}()
	h := sha256.New()
	if size, err = io.CopyBuffer(io.MultiWriter(tmp, h), whole{ctx, r}, make([]byte, 256<<10)); err != nil {
		return "", size, err
	}
	d = Digest(hex.EncodeToString(h.Sum(nil)))
	if err = errors.Join(tmp.Chmod(0o440), tmp.Sync(), tmp.Close()); err != nil {
		return "", size, err
	}
	return d, size, f.settle(ctx, name, d)
}

// create opens a new file under a name of its own.
func (f *Folder) create() (*os.File, string, error) {
	for {
		name := path.Join(incoming, fmt.Sprintf("%d-%d", os.Getpid(), f.count.Add(1)))
		tmp, err := f.root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if !errors.Is(err, fs.ErrExist) {
			return tmp, name, err
		}
	}
}

// settle gives a complete file its name. One that is there already stays, unless it is damaged.
func (f *Folder) settle(ctx context.Context, name string, d Digest) error {
	dir := path.Dir(pathOf(d))
	switch err := f.root.Mkdir(dir, 0o755); {
	case err == nil:
		if err := f.sync(byDigest); err != nil {
			return err
		}
	case !errors.Is(err, fs.ErrExist):
		return err
	}
	there, err := f.sound(ctx, d)
	if err != nil {
		return err
	}
	if there {
		err = f.root.Remove(name)
	} else {
		err = f.root.Rename(name, pathOf(d))
	}
	return errors.Join(err, f.sync(dir)) // also where another program renamed it and has not come to this line
}

// sound says whether the bytes are there and are those of the digest.
func (f *Folder) sound(ctx context.Context, d Digest) (bool, error) {
	r, _, err := f.Open(ctx, d)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer r.Close()
	got, _, err := sum(whole{ctx, r})
	return err == nil && got == d, ctx.Err()
}

// Open implements Files.
func (f *Folder) Open(_ context.Context, d Digest) (io.ReadCloser, int64, error) {
	if _, err := ParseDigest(string(d)); err != nil {
		return nil, 0, err
	}
	file, err := f.root.Open(pathOf(d))
	if err != nil {
		return nil, 0, err
	}
	info, err := file.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("not a file")
	}
	if err != nil {
		return nil, 0, errors.Join(err, file.Close())
	}
	return file, info.Size(), nil
}

// Names implements Files.
func (f *Folder) Names(ctx context.Context) iter.Seq2[string, error] {
	return func(yield func(string, error) bool) {
		err := fs.WalkDir(f.root.FS(), byDigest, func(name string, e fs.DirEntry, err error) error {
			if err == nil {
				err = ctx.Err()
			}
			if err != nil || e.IsDir() {
				return err
			}
			known := path.Base(name)
			if _, err := ParseDigest(known); err != nil || pathOf(Digest(known)) != name {
				known = name
			}
			if !yield(known, nil) {
				return fs.SkipAll
			}
			return nil
		})
		if err != nil {
			yield("", fmt.Errorf("files in %s: %w", f.where, err))
		}
	}
}

// sync makes the names in a folder survive a power cut.
func (f *Folder) sync(dir string) error {
	d, err := f.root.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(syncFolder(d), d.Close())
}

// whole reads until the context ends, and tells a read that was cut off from the end.
type whole struct {
	ctx context.Context
	r   io.Reader
}

func (w whole) Read(p []byte) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	return w.r.Read(p)
}

// sum is the digest and the number of the bytes of a reader.
func sum(r io.Reader) (Digest, int64, error) {
	h := sha256.New()
	n, err := io.CopyBuffer(h, r, make([]byte, 256<<10))
	return Digest(hex.EncodeToString(h.Sum(nil))), n, err
}

// verified compares the digest when the end is reached.
type verified struct {
	io.ReadCloser
	d    Digest
	h    interface{ Sum([]byte) []byte }
	tee  io.Reader
	name string
}

func newVerified(r io.ReadCloser, d Digest, where string) *verified {
	h := sha256.New()
	return &verified{r, d, h, io.TeeReader(r, h), strings.TrimSpace("file " + string(d) + " of " + where)}
}

// Read returns an error in place of the end where the bytes are not those of the digest.
func (v *verified) Read(p []byte) (int, error) {
	n, err := v.tee.Read(p)
	if err == io.EOF {
		if got := hex.EncodeToString(v.h.Sum(nil)); got != string(v.d) {
			return n, fmt.Errorf("%s: %w: its bytes have the digest %s", v.name, ErrDamaged, got)
		}
	}
	return n, err
}
