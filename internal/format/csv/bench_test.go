package csv

import (
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"plumbline/internal/format"
	"plumbline/internal/format/formattest"
	"plumbline/recording"
)

// big is a table of n rows as a recorder writes it.
func big(n int) []byte {
	var b strings.Builder
	b.WriteString("Zeit [s];Referenz [V];Pruefling [V]\n")
	for i := range n {
		x := math.Sin(float64(i) * 0.01)
		b.WriteString(strings.ReplaceAll(fmt.Sprintf("%.7f;%.7e;%.7e\n", float64(i)/12800, x, x/3), ".", ","))
	}
	return []byte(b.String())
}

func BenchmarkCSVOpen(b *testing.B) {
	data := big(200_000)
	var h formattest.Handles
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := format.Open([]format.Format{Format{}}, h.Source("a.csv", data), format.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCSVRead(b *testing.B) {
	data := big(200_000)
	var h formattest.Handles
	rec, err := format.Open([]format.Format{Format{}}, h.Source("a.csv", data), format.Options{})
	if err != nil {
		b.Fatal(err)
	}
	dst := recording.Block(2, 4096)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := rec.Open()
		for err == nil {
			_, err = r.Read(dst)
		}
		if err != io.EOF {
			b.Fatal(err)
		}
		r.Close()
	}
}
