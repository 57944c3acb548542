// Command cmd runs the scriptable instrument by itself: orders as lines of JSON on standard input, reports on standard output, ending with the input.
package main

import (
	"flag"
	"fmt"
	"os"

	"plumbline/internal/driver/scpi/scpitest"
)

func main() {
	address := flag.String("listen", "127.0.0.1:0", "address to listen at")
	rate := flag.Float64("rate", 10000, "frames per second of the digitizer at the start")
	reference := flag.Float64("reference", 1, "gain from the generator's output to the first input")
	device := flag.Float64("device", 0.5, "gain from the generator's output to the second input")
	noise := flag.Float64("noise", 1e-4, "noise of the inputs in V, half width")
	flag.Parse()
	w := scpitest.NewWorld(*rate, 2, true, scpitest.Wire(*noise, *reference, *device))
	if err := scpitest.Serve(w, scpitest.Config{Address: *address, Generator: true, Inputs: []int{0, 1}}, os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
