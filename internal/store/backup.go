package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
)

// Backup brings a backup in a folder up to this store, which may be in use meanwhile. The folder may be new, or a backup made before: only what is not there is copied, and
// everything copied is verified. A backup is a store without a chain of its own: it can be read, checked and merged from, and not be appended to.
func (s *Store) Backup(ctx context.Context, folder string) (m Merged, err error) {
	b, err := openFolder(ctx, folder, folderMode{create: true})
	if err != nil {
		return m, fmt.Errorf("backup: %w", err)
	}
	defer func() { err = errors.Join(err, b.Close()) }()
	if b.home != "" {
		return m, fmt.Errorf("backup: store %s: has a chain of its own and is in use: allowed is a new folder or a backup", folder)
	}
	return b.Merge(ctx, s)
}

// Restore makes a store of a backup, in a folder that is not there or empty. It begins a chain of its own, whose first record says from which records it was restored, so that the
// store the backup was made of may go on and be merged with it.
func Restore(ctx context.Context, backup, folder string, o Origin) (s *Store, err error) {
	defer func() {
		if err != nil {
			s, err = nil, fmt.Errorf("restore of %s: %w", backup, err)
		}
	}()
	from, err := Open(ctx, backup, Options{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer from.Close()
	heads, err := from.Heads(ctx)
	if err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(folder)
	if len(entries) > 0 {
		err = fmt.Errorf("%s is not empty: %w", folder, fs.ErrExist)
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	part := folder + ".part" // under its name only when it is whole
	if err := os.Mkdir(part, 0o755); err != nil {
		return nil, fmt.Errorf("%w: a restore that was cut off may have left it", err)
	}
	if err := restore(ctx, from, part, o, Beginning{Name: o.Name, Began: "restored", Restored: heads}); err != nil {
		return nil, errors.Join(err, os.RemoveAll(part))
	}
	if len(entries) == 0 {
		os.Remove(folder)
	}
	if err := os.Rename(part, folder); err != nil {
		return nil, err
	}
	return Open(ctx, folder, Options{})
}

func restore(ctx context.Context, from *Store, folder string, o Origin, b Beginning) error {
	s, err := create(ctx, folder, o, b)
	if err != nil {
		return err
	}
	_, err = s.Merge(ctx, from)
	return errors.Join(err, s.Close())
}
