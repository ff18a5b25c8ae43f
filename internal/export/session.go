package export

import (
	"fmt"
	"io"

	"github.com/phasewright/phasewright/engine/plan"
)

// Session writes one session of a program: the week as it is numbered, the session by its
// place in it, 1-based. The error is that of w, or says that there is no such session.
func Session(w io.Writer, p *plan.Program, week, session int32, o Options) error {
	t := &text{p: p, o: o, names: map[string]string{}, found: map[foundAt]int32{}}
	t.index()
	for i := range p.Phases {
		for k := range p.Phases[i].Weeks {
			of := &p.Phases[i].Weeks[k]
			if of.Number != week || session < 1 || int(session) > len(of.Sessions) {
				continue
			}
			t.line(fmt.Sprintf("Week %d of %d, session %d of %d", week, p.WeekCount(), session, len(of.Sessions)))
			t.session(&of.Sessions[session-1], week)
			_, err := io.WriteString(w, t.String())
			return err
		}
	}
	return fmt.Errorf("there is no session %d in week %d", session, week)
}
