// Package certificate is the document: what is said, rounded once, in which order.
package certificate

import "time"

// Address names an organisation and where it is.
type Address struct {
	Name    string
	Lines   []string
	Contact string // person, may be empty
}

// Particulars are the administrative data of a certificate, as entered; none of them changes a reported value.
type Particulars struct {
	Number         string
	Title          string
	Laboratory     Address
	Location       string // where the calibration was performed
	Customer       Address
	OrderReference string
	Received       time.Time
	Performed      time.Time
	Until          time.Time
	Issued         time.Time
	PerformedBy    string
	AuthorisedBy   string
	AuthorisedRole string
	Traceability   string   // statement as the laboratory entered it; "none": the laboratory makes no claim. Mandatory
	Mounting       string   // how device and reference were mounted
	Statements     []string // further statements of the laboratory
	CustomerData   []string // data supplied by the customer, marked as such: "KEY of the device: VALUE", or a sentence
	Deviations     []string // additions to, deviations or exclusions from the method, as entered
	Invented       bool     // demo data: every page says so
}
