// Command phasewright makes and checks resistance-training programs.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"

	"google.golang.org/grpc"

	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	p := program{
		in: os.Stdin, out: os.Stdout, err: os.Stderr,
		newMaker: newMaker, now: time.Now,
	}
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	code := p.run(ctx, os.Args[1:])
	stop()
	os.Exit(code)
}

func newMaker(server string, with ...grpc.DialOption) (maker, error) {
	if server != "" {
		return rpc.NewClient(server, with...)
	}
	engine, err := app.NewEngine()
	if err != nil {
		return nil, err
	}
	return service.New(engine), nil
}
