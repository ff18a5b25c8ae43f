// Command phasewright makes and checks resistance-training programs.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"github.com/phasewright/phasewright/internal/app"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	p := program{
		in: os.Stdin, out: os.Stdout, err: os.Stderr,
		newEngine: func() (maker, error) { return app.NewEngine() },
	}
	code := p.run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}
