// Command vulndb lays out the Go vulnerability database as govulncheck reads it from a folder.
//
// The database travels as a Go module, so it arrives by the module proxy with a pinned version and checksum, and the check repeats without a network.
package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// The database's module. A newer one is a change of these two lines.
const (
	database = "golang.org/x/vulndb@v0.0.0-20261105234957-e22db6528018"
	checksum = "h1:mfngRv0Yoh0VApsXKEN82CjD99kl7mtparN3bs3JnqI="
)

func main() {
	out := flag.String("o", "", "folder to write the database to")
	flag.Parse()
	n, err := run(*out)
	if err != nil {
		fmt.Fprintln(os.Stderr, "vulndb:", err)
		os.Exit(1)
	}
	fmt.Printf("vulndb: %d advisories of %s\n", n, database)
}

func run(out string) (int, error) {
	if out == "" {
		return 0, errors.New("-o names the folder to write to")
	}
	dir, err := download()
	if err != nil {
		return 0, err
	}
	if err := os.RemoveAll(out); err != nil {
		return 0, err
	}
	return layOut(filepath.Join(dir, "data", "osv"), out)
}

// download returns the folder of the database's module in the module cache.
func download() (string, error) {
	text, err := exec.Command("go", "mod", "download", "-json", database).Output()
	var got struct{ Dir, Sum, Error string }
	if json.Unmarshal(text, &got) == nil && got.Error != "" {
		return "", errors.New(got.Error)
	}
	if err != nil {
		return "", fmt.Errorf("go mod download %s: %w", database, err)
	}
	if got.Sum != checksum {
		return "", fmt.Errorf("%s has checksum %s, want %s", database, got.Sum, checksum)
	}
	return got.Dir, nil
}

// advisory is what the indexes need of an OSV entry.
type advisory struct {
	ID       string   `json:"id"`
	Modified string   `json:"modified"`
	Aliases  []string `json:"aliases"`
	Affected []struct {
		Package struct {
			Name string `json:"name"`
		} `json:"package"`
	} `json:"affected"`
}

// vuln is one advisory in the index of modules. The version that fixes it is left out: then the advisory itself decides.
type vuln struct {
	ID       string `json:"id"`
	Modified string `json:"modified"`
}

type moduleEntry struct {
	Path  string `json:"path"`
	Vulns []vuln `json:"vulns"`
}

type vulnEntry struct {
	ID       string   `json:"id"`
	Modified string   `json:"modified"`
	Aliases  []string `json:"aliases,omitempty"`
}

// layOut copies the advisories in osv to out/ID and writes out/index. It returns their number.
func layOut(osv, out string) (int, error) {
	names, err := filepath.Glob(filepath.Join(osv, "GO-*.json"))
	if err != nil {
		return 0, err
	}
	if len(names) == 0 {
		return 0, fmt.Errorf("no advisory in %s", osv)
	}
	for _, folder := range []string{"ID", "index"} {
		if err := os.MkdirAll(filepath.Join(out, folder), 0o755); err != nil {
			return 0, err
		}
	}
	byModule := map[string][]vuln{}
	var all []vulnEntry
	latest := ""
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			return 0, err
		}
		var a advisory
		if err := json.Unmarshal(text, &a); err != nil {
			return 0, fmt.Errorf("%s: %w", name, err)
		}
		if a.ID+".json" != filepath.Base(name) {
			return 0, fmt.Errorf("%s: holds advisory %q", name, a.ID)
		}
		for _, affected := range a.Affected {
			path, v := affected.Package.Name, vuln{a.ID, a.Modified}
			if !slices.Contains(byModule[path], v) {
				byModule[path] = append(byModule[path], v)
			}
		}
		all = append(all, vulnEntry{a.ID, a.Modified, a.Aliases})
		latest = max(latest, a.Modified) // times of one form sort as text
		if err := os.WriteFile(filepath.Join(out, "ID", a.ID+".json"), text, 0o644); err != nil {
			return 0, err
		}
	}
	modules := make([]moduleEntry, 0, len(byModule))
	for path, vulns := range byModule {
		modules = append(modules, moduleEntry{path, vulns})
	}
	slices.SortFunc(modules, func(a, b moduleEntry) int { return strings.Compare(a.Path, b.Path) })
	slices.SortFunc(all, func(a, b vulnEntry) int { return cmp.Compare(a.ID, b.ID) })
	for file, content := range map[string]any{"modules": modules, "vulns": all, "db": map[string]string{"modified": latest}} {
		text, err := json.Marshal(content)
		if err != nil {
			return 0, err
		}
		if err := os.WriteFile(filepath.Join(out, "index", file+".json"), text, 0o644); err != nil {
			return 0, err
		}
	}
	return len(names), nil
}
