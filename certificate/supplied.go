package certificate

import (
	"slices"
	"strings"
)

const (
	headingSupplied = "Supplied by the customer"
	labelSerial     = "Serial number"
	labelNominal    = "Nominal sensitivity"
	markCustomer    = "*" // a value that the customer supplied
)

// ofDevice stands between the key of a value of the device that the customer supplied and the value.
const ofDevice = " of the device: "

// suppliedValues says by the key of a device's value what it is called in words and under which label it stands on the first page, if it does.
var suppliedValues = map[string]struct{ words, label string }{
	"kind":                      {"Kind", "Kind"},
	"maker":                     {"Maker", "Maker"},
	"model":                     {"Model", "Model"},
	"serial":                    {labelSerial, labelSerial},
	"sensitivity":               {labelNominal, labelNominal},
	"reference frequency":       {"Reference frequency", "Reference frequency"},
	"tolerance":                 {"Tolerance", "Tolerance"},
	"flatness":                  {"Flatness", "Flatness"},
	"flatness band":             {"Band of the flatness", "Flatness"},
	"range":                     {"Range", "Range"},
	"condition":                 {"Condition on receipt", "Condition on receipt"},
	"corner":                    {"Corner frequency", ""},
	"temperature coefficient":   {"Temperature coefficient of the sensitivity", ""},
	"u temperature coefficient": {"Standard uncertainty of the temperature coefficient", ""},
	"reference temperature":     {"Temperature that the nominal sensitivity is for", ""},
	"limits":                    {"Table of limits", ""},
}

// supplied is what the customer stated.
// Clause: ISO/IEC 17025:2017 7.8.2.2
func (a *author) supplied() Section {
	if len(a.p.CustomerData) == 0 {
		return Section{}
	}
	var l List
	for _, d := range a.p.CustomerData {
		if key, value, ok := strings.Cut(d, ofDevice); ok {
			if s := suppliedValues[key]; s.words != "" {
				key = s.words
			}
			l = append(l, plain(stop(capital(key)+ofDevice+value)))
			continue
		}
		l = append(l, plain(sentence(d)))
	}
	return Section{Heading: headingSupplied, Blocks: []Block{
		Paragraph{Text: plain("The following was stated by the customer and has not been verified; the laboratory accepts no responsibility for it or for what follows from it.")}, l}}
}

// markSupplied marks the facts whose values the customer supplied and reports whether there are any.
func (a *author) markSupplied(facts Facts) bool {
	marked := false
	for _, d := range a.p.CustomerData {
		key, _, ok := strings.Cut(d, ofDevice)
		label := suppliedValues[key].label
		i := slices.IndexFunc(facts, func(f Fact) bool { return f.Label == label })
		if !ok || i < 0 {
			continue
		}
		marked = true
		last := &facts[i].Lines[len(facts[i].Lines)-1]
		if mark := thin + markCustomer; !strings.HasSuffix(last.String(), mark) {
			*last = append(*last, Span{Text: mark})
		}
	}
	return marked
}
