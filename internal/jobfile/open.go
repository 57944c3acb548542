package jobfile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// Opener opens a file by its name, with slashes between folders.
type Opener func(name string) (io.ReadCloser, error)

// OS opens files of the operating system. Names that are not absolute are relative to the working folder.
func OS(name string) (io.ReadCloser, error) {
	local := filepath.FromSlash(name)
	info, err := os.Stat(local)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() { // opening a pipe would wait for its other end
		return nil, errors.New("not a regular file")
	}
	return os.Open(local)
}

// FromFS opens files of a file system.
func FromFS(fsys fs.FS) Opener {
	return func(name string) (io.ReadCloser, error) { return fsys.Open(path.Clean(name)) }
}

// File is a file that was read for a job, as it was.
type File struct {
	Name    string // as opened
	Content []byte
}

const (
	largestFile = 4 << 20 // bytes
	mostFiles   = 200
)

// read returns the content of a file. A file named twice is read once.
func (d *decoder) read(name string) ([]byte, error) {
	for _, f := range d.files {
		if f.Name == name {
			return f.Content, nil
		}
	}
	if len(d.files) >= mostFiles {
		return nil, fmt.Errorf("more than %d files", mostFiles)
	}
	r, err := d.open(name)
	if err != nil {
		return nil, plainReason(err)
	}
	content, err := io.ReadAll(io.LimitReader(r, largestFile+1))
	if err = errors.Join(err, r.Close()); err != nil {
		return nil, plainReason(err)
	}
	if len(content) > largestFile {
		return nil, fmt.Errorf("larger than %d bytes", largestFile)
	}
	d.files = append(d.files, File{Name: name, Content: content})
	return content, nil
}

// plainReason is err without the name of the file, which the message gives already.
func plainReason(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// resolve makes the name of a file that was named in another.
func resolve(from, name string) (string, error) {
	switch {
	case strings.TrimSpace(name) == "" || strings.ContainsAny(name, "\x00\n\r"):
		return "", fmt.Errorf("file name %q is blank or holds control characters", name)
	case strings.Contains(name, `\`):
		return "", fmt.Errorf("file name %q: folders are separated by /", name)
	case path.IsAbs(name) || len(name) > 1 && name[1] == ':':
		return "", fmt.Errorf("file name %q is absolute: write it relative to the file it stands in", name)
	}
	return path.Join(path.Dir(from), name), nil
}
