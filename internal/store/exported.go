package store

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"time"
)

// exportForm is the version of an exported file. Every version ever released stays readable.
const exportForm = "plumbline export 1"

const (
	manifestName = "manifest.json"
	longestNote  = 64 << 20 // bytes of a manifest
)

// manifest is the first entry of an exported file.
type manifest struct {
	Form     string         `json:"form"`
	Software string         `json:"software"`
	Asked    []Digest       `json:"asked"`
	Records  []exportRecord `json:"records"`
	Files    []exportFile   `json:"files"`
}

type exportRecord struct {
	Digest Digest `json:"digest"`
	Chain  Chain  `json:"chain"`
	Seq    int64  `json:"seq"`
	Kind   string `json:"kind"`
	Key    string `json:"key"`
}

type exportFile struct {
	Digest Digest `json:"digest"`
	Size   int64  `json:"size"`
}

func recordEntry(d Digest) string { return "records/" + string(d) + ".txt" }
func fileEntry(d Digest) string   { return "files/" + string(d) }

// Export writes records, all records they cite or replace, those that these cite, and so on, and all files that any of them names, as one zip file without compression. The same
// records give the same bytes; each entry's name is the SHA-256 of its content. Software is the version of the program that exports.
func (s *Store) Export(ctx context.Context, w io.Writer, software string, asked ...Digest) error {
	if err := s.export(ctx, w, software, asked); err != nil {
		return fmt.Errorf("store %s: export: %w", s.where, err)
	}
	return nil
}

func (s *Store) export(ctx context.Context, w io.Writer, software string, asked []Digest) error {
	records, err := s.closure(ctx, asked)
	if err != nil {
		return err
	}
	m := manifest{Form: exportForm, Software: software, Asked: slices.Compact(slices.Sorted(slices.Values(asked)))}
	files := map[Digest]int64{}
	for _, r := range records {
		m.Records = append(m.Records, exportRecord{r.Digest, r.Chain, r.Seq, r.Kind, r.Key})
		for _, d := range r.Files {
			f, n, err := s.OpenFile(ctx, d)
			if err != nil {
				return fmt.Errorf("%v: %w", r, err)
			}
			f.Close()
			files[d] = n
		}
	}
	for _, d := range slices.Sorted(maps.Keys(files)) {
		m.Files = append(m.Files, exportFile{d, files[d]})
	}
	note, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	z := zip.NewWriter(w)
	if err := entry(z, manifestName, bytes.NewReader(note)); err != nil {
		return err
	}
	for _, r := range records {
		if err := entry(z, recordEntry(r.Digest), bytes.NewReader(r.Content())); err != nil {
			return err
		}
	}
	for _, f := range m.Files {
		r, _, err := s.OpenFile(ctx, f.Digest)
		if err != nil {
			return err
		}
		err = entry(z, fileEntry(f.Digest), whole{ctx, r})
		if err := errors.Join(err, r.Close()); err != nil {
			return err
		}
	}
	return z.Close()
}

// entry writes one entry that depends on nothing but its name and its bytes.
func entry(z *zip.Writer, name string, r io.Reader) error {
	w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store})
	if err != nil {
		return err
	}
	_, err = io.Copy(w, r)
	return err
}

// closure is the records asked for with all they point to, in order of their places.
func (s *Store) closure(ctx context.Context, asked []Digest) ([]Record, error) {
	if len(asked) == 0 {
		return nil, errors.New("no record asked for")
	}
	seen := map[Digest]bool{}
	var all []Record
	for next := slices.Clone(asked); len(next) > 0; {
		d := next[0]
		next = next[1:]
		if seen[d] {
			continue
		}
		seen[d] = true
		r, err := s.Get(ctx, d)
		if err != nil {
			return nil, err
		}
		all = append(all, r)
		next = append(append(next, r.Cites...), r.Replaces...)
	}
	slices.SortFunc(all, inOrder)
	return all, nil
}

func inOrder(a, b Record) int {
	return cmp.Or(cmp.Compare(a.Chain, b.Chain), cmp.Compare(a.Seq, b.Seq))
}

// Imported says what came of an exported file.
type Imported struct {
	Software string   // that exported it
	Asked    []Digest // the records it was made for
	Records  []Record // those that were not here
	Files    int      // those that were not here
}

// Import takes over the records and files of an exported file that are not here, all or nothing, after every one was compared with its digest. A record of the import says who made it
// and which records came; where all were here already there is none.
func (s *Store) Import(ctx context.Context, r io.ReaderAt, size int64, by string, at time.Time) (Imported, error) {
	got, err := s.imports(ctx, r, size, by, at)
	if err != nil {
		return Imported{}, fmt.Errorf("store %s: import: %w; nothing was taken over", s.where, err)
	}
	return got, nil
}

func (s *Store) imports(ctx context.Context, r io.ReaderAt, size int64, by string, at time.Time) (got Imported, err error) {
	if s.home == "" {
		return got, ErrBackup
	}
	in, err := openExport(ctx, r, size)
	if err != nil {
		return got, err
	}
	if err := in.references(ctx, s); err != nil {
		return got, err
	}
	got.Software, got.Asked = in.manifest.Software, in.manifest.Asked
	for _, f := range in.manifest.Files {
		new, err := s.takeFile(ctx, in, f)
		if err != nil {
			return got, err
		}
		got.Files += new
	}
	err = s.transaction(ctx, func(t session) error {
		a, err := s.arrival(ctx, t, "the file")
		if err != nil {
			return err
		}
		var came []Digest
		for _, r := range in.records {
			a.excerpts[r.Digest] = true
			before := a.taken
			if err := a.take(ctx, r); err != nil {
				return err
			}
			if a.taken > before {
				got.Records = append(got.Records, r)
				came = append(came, r.Digest)
			}
		}
		if len(came) == 0 {
			return nil
		}
		return s.noteImport(ctx, t, Import{Software: in.manifest.Software, File: in.digest, Records: came}, by, at)
	})
	return got, err
}

// noteImport appends the record of an import.
func (s *Store) noteImport(ctx context.Context, t session, i Import, by string, at time.Time) error {
	body, err := json.Marshal(i)
	if err != nil {
		return err
	}
	w, err := s.writer(ctx, t)
	if err != nil {
		return err
	}
	_, err = w.append(ctx, Draft{Kind: KindImport, Key: string(i.File), By: by, Time: at, Body: body})
	return err
}

// exported is an exported file that was opened: its records are sound, and it holds what its manifest says.
type exported struct {
	manifest manifest
	digest   Digest
	entries  map[string]*zip.File
	records  []Record
}

func openExport(ctx context.Context, r io.ReaderAt, size int64) (*exported, error) {
	digest, _, err := sum(whole{ctx, io.NewSectionReader(r, 0, size)})
	if err != nil {
		return nil, err
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("no exported file: %w", err)
	}
	e := &exported{digest: digest, entries: map[string]*zip.File{}}
	for _, f := range z.File {
		if e.entries[f.Name] != nil {
			return nil, fmt.Errorf("entry %.200q: there twice", f.Name)
		}
		if f.Method != zip.Store { // so nothing unpacks to more than the file's own length
			return nil, fmt.Errorf("entry %.200q: compressed: allowed is without compression, as it was exported", f.Name)
		}
		e.entries[f.Name] = f
	}
	note, err := e.read(manifestName, longestNote)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(note, &e.manifest); err != nil {
		return nil, fmt.Errorf("%s: %w", manifestName, err)
	}
	if e.manifest.Form != exportForm {
		return nil, fmt.Errorf("%s: form %.80q: allowed is %q", manifestName, e.manifest.Form, exportForm)
	}
	return e, e.readRecords()
}

// readRecords reads every record the manifest lists, and refuses entries it does not list.
func (e *exported) readRecords() error {
	listed := map[string]bool{manifestName: true}
	files := map[Digest]bool{}
	for _, f := range e.manifest.Files {
		if _, err := ParseDigest(string(f.Digest)); err != nil {
			return fmt.Errorf("%s: file: %w", manifestName, err)
		}
		listed[fileEntry(f.Digest)], files[f.Digest] = true, true
	}
	for _, l := range e.manifest.Records {
		content, err := e.read(recordEntry(l.Digest), longestBody+(longestList<<8))
		if err != nil {
			return err
		}
		r, err := readAs(l.Digest, string(content))
		if err != nil {
			return err
		}
		if (exportRecord{r.Digest, r.Chain, r.Seq, r.Kind, r.Key}) != l {
			return fmt.Errorf("%s: says %v of %v", manifestName, l, r)
		}
		for _, d := range r.Files {
			if !files[d] {
				return fmt.Errorf("%v names file %s, which is not listed", r, d)
			}
		}
		listed[recordEntry(l.Digest)] = true
		e.records = append(e.records, r)
	}
	for name := range e.entries {
		if !listed[name] {
			return fmt.Errorf("entry %.200q is not listed in %s", name, manifestName)
		}
	}
	slices.SortFunc(e.records, inOrder)
	return nil
}

func (e *exported) open(name string) (io.ReadCloser, int64, error) {
	f := e.entries[name]
	if f == nil {
		return nil, 0, fmt.Errorf("entry %.200q is missing", name)
	}
	r, err := f.Open()
	if err != nil {
		return nil, 0, fmt.Errorf("entry %s: %w", name, err)
	}
	return r, int64(f.UncompressedSize64), nil
}

func (e *exported) read(name string, most int64) ([]byte, error) {
	r, n, err := e.open(name)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if n > most {
		return nil, fmt.Errorf("entry %s: %d bytes, allowed are %d", name, n, most)
	}
	b, err := io.ReadAll(io.LimitReader(r, most))
	if err != nil {
		return nil, fmt.Errorf("entry %s: %w", name, err)
	}
	return b, nil
}

// references refuses a file whose records point to others that are neither in it nor in the store.
func (e *exported) references(ctx context.Context, s *Store) error {
	in := map[Digest]bool{}
	for _, r := range e.records {
		in[r.Digest] = true
	}
	for _, r := range e.records {
		for _, d := range slices.Concat(r.Cites, r.Replaces) {
			if in[d] {
				continue
			}
			if _, err := s.look().get(ctx, d); err != nil {
				return fmt.Errorf("%v points to record %s: %w", r, d, err)
			}
		}
	}
	return nil
}

// takeFile keeps a file of the export that is not here; new is 1 where it was not.
func (s *Store) takeFile(ctx context.Context, e *exported, f exportFile) (new int, err error) {
	if here, _, err := s.files.Open(ctx, f.Digest); err == nil {
		return 0, here.Close()
	}
	r, n, err := e.open(fileEntry(f.Digest))
	if err != nil {
		return 0, err
	}
	v := newVerified(r, f.Digest, "the file")
	defer v.Close()
	if n != f.Size {
		return 0, fmt.Errorf("file %s: %d bytes, listed are %d", f.Digest, n, f.Size)
	}
	_, _, err = s.files.Put(ctx, v)
	return 1, err
}
