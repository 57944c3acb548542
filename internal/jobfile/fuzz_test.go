package jobfile

import (
	"strings"
	"testing"
	"testing/fstest"
)

// FuzzJob checks that no job file breaks the reader, and that every file is either read or refused with places in it.
func FuzzJob(f *testing.F) {
	f.Add(string(full(f)["job.toml"].Data))
	f.Add(string(readings(f)["job.toml"].Data))
	f.Add(string(withHistory(f)["job.toml"].Data))
	f.Add(strings.Replace(string(stated(f)["job.toml"].Data), "file = \"exciter.toml\"", "stated_level = { level_step = \"1 mm/s peak\" }\ncertificate.point = [{}]\nhistory = [{}]", 1))
	f.Add("[[point]]\nreading = [{}]\n[point.readings.columns.time]\ncolumn = 1")
	f.Add("a.b.c = 1\n[a.b]\nd = [{x.y = 2}, [1]]\n[[e]]\n[[e.f]]\n[e.f.g]")
	base := full(f)
	for name, file := range readings(f) {
		if _, there := base[name]; !there {
			base[name] = file
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		fsys := fstest.MapFS{}
		for name, file := range base {
			fsys[name] = file
		}
		fsys["job.toml"] = &fstest.MapFile{Data: []byte(text)}
		j, err := Load(FromFS(fsys), "job.toml")
		if (j == nil) != (err != nil) {
			t.Fatalf("job %v and error %v", j, err)
		}
		ps, _ := err.(Problems)
		for _, p := range ps {
			lines := strings.Count(string(fsys[p.File].Data), "\n") + 1
			if p.Line < 1 || p.Column < 1 || p.Line > lines || p.Text == "" {
				t.Fatalf("%+v in a file of %d lines", p, lines)
			}
		}
	})
}

// FuzzSheet does the same for CSV files.
func FuzzSheet(f *testing.F) {
	f.Add(string(full(f)["transfer.csv"].Data))
	f.Add("frequency_Hz,modulus_1,phase_deg,U_modulus_percent,U_phase_deg,k\n1,2,\"3\n\",4,5,6\n")
	base := full(f)
	f.Fuzz(func(t *testing.T, text string) {
		fsys := fstest.MapFS{}
		for name, file := range base {
			fsys[name] = file
		}
		fsys["transfer.csv"] = &fstest.MapFile{Data: []byte(text)}
		if j, err := Load(FromFS(fsys), "job.toml"); (j == nil) != (err != nil) {
			t.Fatalf("job %v and error %v", j, err)
		}
	})
}
