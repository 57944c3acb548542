package lab

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"

	"plumbline/certificate"
	"plumbline/internal/resultfile"
)

// Digest is the SHA-256 of b in lower-case hex.
func Digest(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// Certificate makes the certificate of an evaluation; it names the result record by the file name given and by its digest, which is returned.
func (e *Evaluation) Certificate(record string) (certificate.Document, string, error) {
	var b bytes.Buffer
	if err := resultfile.Write(&b, e.ResultFile()); err != nil {
		return certificate.Document{}, "", err
	}
	digest := Digest(b.Bytes())
	doc, err := certificate.New(e.Job.Particulars, e.Result, e.Statements, certificate.Origin{Software: "Plumbline " + e.version, Record: record, Digest: digest})
	return doc, digest, err
}
