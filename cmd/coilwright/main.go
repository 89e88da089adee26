// Command coilwright turns the instruction set of a relay computer into phases, memory images and a diode matrix.
package main

import (
	"os"

	"coilwright/cmd/internal/cli"
)

func main() {
	os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
