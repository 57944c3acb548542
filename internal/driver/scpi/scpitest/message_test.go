package scpitest

import (
	"bufio"
	"strings"
	"testing"
)

// TestMatches spells headers as the standard allows (SCPI-99 volume 1, 6.2.1, from memory).
func TestMatches(t *testing.T) {
	const pattern = "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]"
	for header, want := range map[string]bool{
		"SOURce:VOLTage:LEVel:IMMediate:AMPLitude": true, "volt": true, "sour:volt:ampl": true, "VOLTAGE:IMM": true,
		"VOLTA": false, "SOUR": false, "VOLT:AMPL:LEV": false, "VOLT:UNIT": false, "": false,
	} {
		if matches(pattern, header) != want {
			t.Errorf("%q: %v", header, !want)
		}
	}
}

func TestSplit(t *testing.T) {
	message, err := readMessage(bufio.NewReader(strings.NewReader("SOUR:VOLT 1;UNIT VPP;*WAI;OFFS 0;:TRAC P,#14;\n;#;OUTP \"a;\n\"\r\nNEXT")))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, u := range split(message) {
		got = append(got, u.header+" "+u.data)
	}
	want := []string{"SOUR:VOLT 1", "SOUR:UNIT VPP", "*WAI ", "SOUR:OFFS 0", "TRAC P,#14;\n;#", "OUTP \"a;\n\""}
	if strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("%q, want %q", got, want)
	}
}
