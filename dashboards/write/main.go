// Command write writes the boards beside the package that makes them; go generate
// runs it there.
package main

import (
	"fmt"
	"os"

	"hawser/dashboards"
)

func main() {
	files, err := dashboards.All()
	for name, text := range files {
		if err == nil {
			err = os.WriteFile(name, text, 0o644)
		}
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "dashboards:", err)
		os.Exit(1)
	}
}
