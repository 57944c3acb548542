// Package pdf writes a certificate, or a figure alone, as PDF.
package pdf

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"codeberg.org/go-pdf/fpdf"

	"plumbline/certificate"
	"plumbline/figure"
)

// Fonts is the typeface as TrueType files.
type Fonts = figure.Fonts

// producer is written into every file.
const producer = "Plumbline"

// Write writes the document on A4. The same document and fonts give the same bytes. It is an error where a font cannot be read or lacks a
// glyph that the document needs.
func Write(w io.Writer, d certificate.Document, fonts Fonts) error {
	set, err := newTypesetter(fonts)
	if err != nil {
		return fmt.Errorf("certificate %s as PDF: %w", d.Number, err)
	}
	counted, err := set.lay(d, 0)
	if err != nil {
		return fmt.Errorf("certificate %s as PDF: %w", d.Number, err)
	}
	final, err := set.lay(d, counted.PageCount())
	if err != nil {
		return fmt.Errorf("certificate %s as PDF: %w", d.Number, err)
	}
	var b bytes.Buffer
	if err := final.Output(&b); err != nil {
		return fmt.Errorf("certificate %s as PDF: %w", d.Number, err)
	}
	identified, err := identify(b.Bytes())
	if err != nil {
		return fmt.Errorf("certificate %s as PDF: %w", d.Number, err)
	}
	_, err = w.Write(identified)
	return err
}

// lay sets the whole document; pages is the number of pages it will have, 0 while that is not known.
func (t *typesetter) lay(d certificate.Document, pages int) (*fpdf.Fpdf, error) {
	f := fpdf.New("P", "mm", "A4", "")
	f.SetCreationDate(d.Issued)
	f.SetModificationDate(d.Issued)
	f.SetTitle(d.Title+" "+d.Number, true)
	f.SetAuthor(d.Laboratory.Name, true)
	f.SetSubject(d.Subject, true)
	t.prepare(f)
	p := &press{typesetter: t, f: f, d: d, pages: pages}
	p.document()
	if p.err != nil {
		return nil, p.err
	}
	return f, f.Error()
}

// identify puts a file identifier made from the file's own bytes into the trailer, which lies behind every object, so that no offset moves.
func identify(file []byte) ([]byte, error) {
	const opening = "trailer\n<<\n"
	at := bytes.LastIndex(file, []byte(opening))
	if at < 0 {
		return nil, errors.New("the file has no trailer to put its identifier into")
	}
	at += len(opening)
	if bytes.Contains(file[at:], []byte("/ID")) {
		return nil, errors.New("the file has an identifier already")
	}
	sum := sha256.Sum256(file)
	id := fmt.Appendf(nil, "/ID [<%x> <%x>]\n", sum[:16], sum[:16])
	return bytes.Join([][]byte{file[:at], file[at:]}, id), nil
}
