package simulator

import (
	"plumbline/bench"
	"plumbline/recording"
	"testing"
)

func frames(t testing.TB, l *Live, n int) [][]float64 {
	t.Helper()
	r, err := l.Acquire(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	x := recording.Block(channels, n)
	for at := 0; at < n; {
		k, err := r.Read([][]float64{x[0][at:], x[1][at:]})
		if err != nil {
			t.Fatalf("frame %d: %v", at, err)
		}
		at += k
	}
	return x
}

func BenchmarkLive(b *testing.B) {
	l, _, err := New(FenwickLive(), 1)
	if err != nil {
		b.Fatal(err)
	}
	if err := l.Drive(b.Context(), bench.Signal{{Frequency: 10, Amplitude: 0.05}}); err != nil {
		b.Fatal(err)
	}
	r, err := l.Acquire(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	dst := recording.Block(channels, 200)
	for b.Loop() {
		if _, err := r.Read(dst); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*200/2000/b.Elapsed().Seconds(), "x_real_time")
}
