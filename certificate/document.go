package certificate

import (
	"time"

	"plumbline/figure"
)

// Document is a certificate as it is said: rounded strings in order, pure data, the same for every output.
type Document struct {
	Number     string
	Title      string
	Laboratory Address
	Subject    string // one line for the description of a file: what was calibrated
	Issued     time.Time
	Invented   bool // demo data: every page says so
	Sections   []Section
	End        string // the mark that shows a clear end
}

// Section is a part of the document under one heading.
type Section struct {
	Heading string
	Annex   bool // belongs to the annexes, which follow the body
	Blocks  []Block
}

// Block is one of Facts, Keynote, Paragraph, List, Table, Plot and Signature.
type Block interface{ block() }

// Facts is labels with their values.
type Facts []Fact

// Fact is one label with the lines of its value.
type Fact struct {
	Label string
	Lines []Text
}

// Keynote is the few facts that a reader looks for first, shown larger.
type Keynote []Fact

// Paragraph is running text.
type Paragraph struct {
	Text  Text
	Small bool
}

// List is points in no order.
type List []Text

// Table is columns and rows; its notes stand below it.
type Table struct {
	Caption Text
	Columns []Column
	Rows    []Row
	Notes   []Note
}

// Kind says what a column holds and so how it is set.
type Kind uint8

// The kinds of column.
const (
	Words  Kind = iota // broken into lines, flush left
	Number             // aligned at the decimal point
	Fixed              // as wide as its widest cell, flush left
	Marks              // marks of notes
	Digest             // long strings without blanks, broken anywhere
)

// Column is one column of a table.
type Column struct {
	Group Text // heading over neighbouring columns of the same group; empty: none
	Head  Text
	Unit  Text // printed below the heading; empty: none
	Kind  Kind
	Share float64 // of the width left over by the other columns, for Words and Digest
}

// Row is one row of a table. Cells may be fewer than columns.
type Row struct {
	Cells  []Text
	Counts bool // its numbers are of another kind than the columns': they are centred
	Ruled  bool // a rule stands above it: sums below the rows they sum
	Spaced bool // a little space stands above it: a new group begins
}

// Note explains a mark of a table. The mark is empty where the note holds for the whole table.
type Note struct {
	Mark string
	Text Text
}

// Plot is a figure with its caption.
type Plot struct {
	Figure  figure.Response
	Caption Text
}

// Signature is the place where the authorising person signs.
type Signature struct {
	Name, Role, Date string
}

func (Facts) block()     {}
func (Keynote) block()   {}
func (Paragraph) block() {}
func (List) block()      {}
func (Table) block()     {}
func (Plot) block()      {}
func (Signature) block() {}
