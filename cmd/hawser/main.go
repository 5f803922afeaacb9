// Command hawser watches moored ships: it takes line loads and winch readings
// in, keeps them, finds what is wrong and tells people. This package wires the
// parts together and decides nothing of its own.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // quiet hours and reports in a zone, on a machine without the zones
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// A second signal ends the process at once, however slow the stop is.
	context.AfterFunc(ctx, stop)
	code := run(ctx, os.Args[1:], streams{in: os.Stdin, out: os.Stdout, err: os.Stderr})
	stop()
	os.Exit(code)
}
