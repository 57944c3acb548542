package csv

import (
	"fmt"
	"io"
	"math"
	"runtime"
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

// TestMemory: the table is not held in memory. What is allocated does not depend on how long it is.
func TestMemory(t *testing.T) {
	allocated := func(rows int) uint64 {
		data := big(rows)
		var h formattest.Handles
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		rec, err := format.Open([]format.Format{Format{}}, h.Source("a.csv", data), format.Options{})
		if err != nil {
			t.Fatal(err)
		}
		r, err := rec.Open()
		dst := recording.Block(2, 4096)
		frames := 0
		for n := 0; err == nil; frames += n {
			n, err = r.Read(dst)
		}
		r.Close()
		runtime.ReadMemStats(&after)
		if err != io.EOF || frames != rows {
			t.Errorf("%v, %d frames, want %d", err, frames, rows)
		}
		return after.TotalAlloc - before.TotalAlloc
	}
	short, long := allocated(20_000), allocated(200_000)
	if long > short+100_000 {
		t.Errorf("%d bytes allocated for 20 000 rows, %d for 200 000", short, long)
	}
}
