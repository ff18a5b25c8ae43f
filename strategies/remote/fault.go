package remote

import (
	"context"
	"fmt"
	"strings"
	"unicode"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reasons of the faults of plug-ins.
const (
	ReasonUnavailable = "PLUGIN_UNAVAILABLE"
	ReasonDeadline    = "PLUGIN_DEADLINE"
	ReasonChanged     = "PLUGIN_CHANGED"
	ReasonFailed      = "PLUGIN_FAILED"
	ReasonProtocol    = "PLUGIN_PROTOCOL"
	ReasonDescription = "PLUGIN_DESCRIPTION"
	ReasonOutline     = "PLUGIN_OUTLINE"
	ReasonRefusal     = "PLUGIN_REFUSAL"
	ReasonCanceled    = "CANCELED"
)

// who names the plug-in to callers, who need not know where it runs.
func (p *Plugin) who() string {
	if p.config.Name == "" {
		return "the plug-in"
	}
	return "the plug-in " + p.config.Name
}

// failed says what the error of a call means. ctx is the caller's.
func (p *Plugin) failed(ctx context.Context, err error) error {
	if ended := ctx.Err(); ended != nil {
		return fault.Wrap(fault.Canceled, ReasonCanceled, ended)
	}
	s := status.Convert(err)
	switch s.Code() {
	case codes.DeadlineExceeded:
		return fault.New(fault.Unavailable, ReasonDeadline, "strategy", fmt.Sprintf("%s has not answered within %s", p.who(), p.config.Timeout)).Because(err)
	case codes.Unavailable:
		return fault.New(fault.Unavailable, ReasonUnavailable, "strategy", p.who()+" does not answer; what asks for other strategies is answered, and this will be once it runs again").Because(err)
	case codes.Unimplemented:
		return p.broken(ReasonProtocol, "strategy", "does not know the call: "+printable(s.Message()))
	case codes.ResourceExhausted:
		return p.broken(ReasonFailed, "strategy", fmt.Sprintf("answers with too much (%d bytes and %d parts are possible): %s", maxBytes, maxParts, printable(s.Message())))
	}
	return p.broken(ReasonFailed, "strategy", "fails with "+s.Code().String()+": "+printable(s.Message()))
}

// broken is a wrong answer; says goes on after the field.
func (p *Plugin) broken(reason, field, says string) error {
	return fault.New(fault.Broken, reason, field, says+" (as "+p.who()+" answers)")
}

// brokenBy makes the fault of a check one of the plug-in, with its paths.
func (p *Plugin) brokenBy(err error) error {
	f, ok := fault.As(err)
	if !ok {
		return p.broken(ReasonFailed, "strategy", printable(err.Error()))
	}
	out := &fault.Error{Kind: fault.Broken}
	for i, v := range f.Violations {
		if i == maxFaults {
			break
		}
		out.Violations = append(out.Violations, fault.Violation{Field: v.Field, Reason: v.Reason, Says: v.Says + " (as " + p.who() + " answers)"})
	}
	return out
}

// maxFaults of an answer are enough to see what is wrong.
const maxFaults = 20

// maxText bounds what is repeated of a stranger's text.
const maxText = 600

func printable(s string) string {
	s = strings.Map(func(c rune) rune {
		if unicode.IsPrint(c) {
			return c
		}
		return ' '
	}, s)
	if r := []rune(s); len(r) > maxText {
		return string(r[:maxText]) + "…"
	}
	return s
}
