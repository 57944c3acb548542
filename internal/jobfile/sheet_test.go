package jobfile

import (
	"strings"
	"testing"
)

// A recorder's export with lines above the headings, a decimal comma and semicolons is read as its plain twin; line numbers stay those of the file.
func TestSheetOptions(t *testing.T) {
	german := "Anzeige; Pr\u00fcfstand 2\nStart 12:03\nZeit;Wert\n0;10,21\n5;10,19\n"
	s, problem := parseSheet("r.csv", []byte(german), sheetOptions{delimiter: ";", decimal: ",", above: 2})
	if problem != nil {
		t.Fatal(problem)
	}
	if len(s.rows) != 2 || s.header[1].text != "Wert" || s.rows[1][1].text != "10.19" || s.rows[1][1].at.line != 5 {
		t.Errorf("headings %v, rows %v", s.header, s.rows)
	}
	if _, problem := parseSheet("r.csv", []byte("t,v\n0,10,21\n"), sheetOptions{}); problem == nil || problem.Line != 2 || !strings.Contains(problem.Text, "3 fields, the headings have 2: a decimal comma") {
		t.Errorf("a decimal comma within comma-separated fields: %v", problem)
	}
	if _, problem := parseSheet("r.csv", []byte("t,v\n0,1\n"), sheetOptions{delimiter: ",", decimal: ","}); problem == nil {
		t.Error("comma as decimal mark and delimiter at once: accepted")
	}
	if _, problem := parseSheet("r.csv", []byte("only\n"), sheetOptions{above: 7}); problem == nil {
		t.Error("more lines to leave out than there are: accepted")
	}
}
