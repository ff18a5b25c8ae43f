package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"github.com/phasewright/phasewright/engine/fault"
)

// Exit codes. 69, 70 and 77 are EX_UNAVAILABLE, EX_SOFTWARE and EX_NOPERM of sysexits.h, 130 what a shell gives after Ctrl-C.
const (
	exitOK          = 0
	exitViolations  = 1
	exitInvalid     = 2
	exitInfeasible  = 3
	exitRefused     = 4
	exitUnavailable = 69
	exitInternal    = 70
	exitNoKey       = 77
	exitCanceled    = 130
)

const exitCodes = `Exit codes:
  0    done
  1    audit found a violation of a hard limit, or conform a law that is broken
  2    the command line or its input is wrong
  3    the request is valid, but its wishes can't all be met
  4    refused for safety; the message says what is needed
  69   the server does not answer, or not in time, or not so often
  70   a fault of the program itself
  77   the server wants a key, or one that may do more
  130  interrupted`

// errViolations ends an audit, or laws asked of a strategy, that said what was found.
var errViolations = errors.New("violations found")

// inputError is about what was handed in: a file that can't be read, a wrong argument.
type inputError struct{ says string }

func (e inputError) Error() string { return e.says }

func wrong(format string, args ...any) error { return inputError{fmt.Sprintf(format, args...)} }

// finish says what went wrong, in plain lines, and gives the exit code.
func (p *program) finish(ctx context.Context, cmd *cobra.Command, err error) int {
	var input inputError
	f, isFault := fault.As(err)
	switch {
	case err == nil:
		return exitOK
	case errors.Is(err, errViolations):
		return exitViolations
	case errors.Is(err, context.Canceled), ctx.Err() != nil, isFault && f.Kind == fault.Canceled:
		fmt.Fprintln(p.err, "interrupted")
		return exitCanceled
	case isFault:
		fmt.Fprintln(p.err, f.Error())
		printWays(p.err, f.Ways)
		return codeOf(f.Kind)
	case errors.As(err, &input):
		fmt.Fprintln(p.err, input.says)
		return exitInvalid
	case !p.started:
		fmt.Fprintf(p.err, "%s\nSee %s --help.\n", trimEnd(err.Error()), cmd.CommandPath())
		return exitInvalid
	}
	fmt.Fprintln(p.err, err.Error())
	return exitInternal
}

func codeOf(k fault.Kind) int {
	switch k {
	case fault.Invalid, fault.NotFound, fault.Exists, fault.Stale:
		return exitInvalid
	case fault.Infeasible:
		return exitInfeasible
	case fault.Refused:
		return exitRefused
	case fault.Unavailable, fault.Exhausted:
		return exitUnavailable
	case fault.Unauthenticated, fault.Denied:
		return exitNoKey
	}
	return exitInternal
}
