// Command cmd rewrites CLAUSES.md in the working directory from the Go files below it.
package main

import (
	"fmt"
	"os"

	"plumbline/internal/clauses"
)

func main() {
	all, err := clauses.Gather(os.DirFS("."))
	if err == nil {
		err = os.WriteFile("CLAUSES.md", clauses.Render(all), 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "clauses:", err)
		os.Exit(1)
	}
}
