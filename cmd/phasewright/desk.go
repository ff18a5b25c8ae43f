package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/exercise"
	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/wire"
)

// desk is what commands about stored athletes work with: the API, of a server or of this
// process on its own data.
type desk struct {
	*rpc.Client
	p        *program
	athletes pb.AthleteServiceClient
	shown    pb.PerformanceServiceClient
	logs     pb.SessionLogServiceClient
	programs pb.ProgramRecordServiceClient
	cat      *exercise.Catalogue
	work     func(context.Context) // does bulk work; nil where a server does
}

const whereKept = `
Data is kept on this machine (--data-dir), or by the server that --server names.`

// desked adds the flags that say where data is, and opens it for the run of a command.
func (p *program) desked(cmd *cobra.Command, run func(context.Context, *desk, []string) error) *cobra.Command {
	d := p.data(cmd)
	tenant := cmd.Flags().String("tenant", string(service.MainTenant), "whose data; a server knows it by the key")
	p.served(cmd)
	cmd.RunE = p.do(func(cmd *cobra.Command, args []string) error {
		if p.server != "" {
			for _, name := range [...]string{"data-dir", "database-url-file", "pepper-file", "tenant"} {
				if d.given(name) {
					return wrong("--server and --%s: give one of them", name)
				}
			}
			m, err := p.maker()
			if err != nil {
				return err
			}
			c, ok := m.(*rpc.Client)
			if !ok {
				return wrong("--server: this one keeps no athletes")
			}
			defer func() { _ = c.Close() }()
			return run(cmd.Context(), p.deskOn(c), args)
		}
		data, err := d.read()
		if err != nil {
			return err
		}
		e, err := app.Embed(cmd.Context(), data, service.Tenant(*tenant), p.now, p.random)
		if err != nil {
			return err
		}
		defer func() { _ = e.Close() }()
		here := p.deskOn(rpc.ClientOn(e.Conn))
		here.work = e.Work
		return run(cmd.Context(), here, args)
	})
	return cmd
}

func (p *program) deskOn(c *rpc.Client) *desk {
	conn := c.Conn()
	return &desk{
		Client: c, p: p, athletes: pb.NewAthleteServiceClient(conn), shown: pb.NewPerformanceServiceClient(conn),
		logs: pb.NewSessionLogServiceClient(conn), programs: pb.NewProgramRecordServiceClient(conn),
	}
}

// pages calls a listing method until its end.
func pages[R interface{ GetNextPageToken() string }](call func(token string) (R, error), each func(R)) error {
	for token := ""; ; {
		answer, err := call(token)
		if err != nil {
			return rpc.Fault(err, "")
		}
		each(answer)
		if token = answer.GetNextPageToken(); token == "" {
			return nil
		}
	}
}

// everyone lists the athletes.
func (d *desk) everyone(ctx context.Context, deleted bool) (out []*pb.AthleteRecord, err error) {
	err = pages(func(token string) (*pb.ListAthletesResponse, error) {
		return d.athletes.ListAthletes(ctx, &pb.ListAthletesRequest{PageSize: 1000, PageToken: token, ShowDeleted: deleted})
	}, func(r *pb.ListAthletesResponse) { out = append(out, r.GetAthletes()...) })
	return out, err
}

// athlete finds the one who is meant: by your own id, by name or the beginning of one of
// its words, or by the beginning or end of the id.
func (d *desk) athlete(ctx context.Context, who string, deleted bool) (*pb.AthleteRecord, error) {
	all, err := d.everyone(ctx, deleted)
	if err != nil {
		return nil, err
	}
	for _, fits := range [...]func(*pb.AthleteRecord) bool{
		func(a *pb.AthleteRecord) bool {
			return a.GetName() == who || idIn(a.GetName()) == who || a.GetProfile().GetCallerId() == who
		},
		func(a *pb.AthleteRecord) bool { return strings.EqualFold(a.GetProfile().GetDisplayName(), who) },
		func(a *pb.AthleteRecord) bool { return meant(who, a.GetName(), a.GetProfile().GetDisplayName()) },
	} {
		var found []*pb.AthleteRecord
		for _, a := range all {
			if fits(a) {
				found = append(found, a)
			}
		}
		switch {
		case len(found) == 1:
			return found[0], nil
		case len(found) > 1:
			says := fmt.Sprintf("%q may be", who)
			for _, a := range found {
				says += "\n  " + person(a)
			}
			return nil, wrong("%s\nWrite your own id of the athlete, or the id at the end of the line.", says)
		}
	}
	if len(all) == 0 {
		return nil, wrong("there is no athlete %q, and no other yet; phasewright athlete add makes one", who)
	}
	return nil, wrong("there is no athlete %q; phasewright athlete list shows who there is", who)
}

// meant says whether a word is the beginning of a name's word, or of an id, or its end.
func meant(word, resource, name string) bool {
	word = strings.ToLower(word)
	for i, w := 0, strings.Fields(strings.ToLower(name)); i < len(w); i++ {
		if strings.HasPrefix(strings.Join(w[i:], " "), word) {
			return true
		}
	}
	id := idIn(resource)
	return len(word) >= 4 && (strings.HasPrefix(id, word) || strings.HasSuffix(id, word))
}

// idIn gives the last id of a resource name, short the part of it that people see: the
// beginning is alike for all that were made in the same minute.
func idIn(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

func short(name string) string {
	id := idIn(name)
	return id[max(0, len(id)-8):]
}

// person tells an athlete in a line.
func person(a *pb.AthleteRecord) string {
	name := a.GetProfile().GetDisplayName()
	if name == "" {
		name = "(no name)"
	}
	if own := a.GetProfile().GetCallerId(); own != "" {
		name += " · " + own
	}
	if a.GetDeleteTime() != nil {
		name += " · removed"
	}
	return name + " · " + short(a.GetName())
}

// program finds the program that is meant: the newest without a word, else by name, or
// by the beginning or end of its id.
func (d *desk) program(ctx context.Context, a *pb.AthleteRecord, which string) (*pb.ProgramRecord, error) {
	all, err := d.programsOf(ctx, a)
	if err != nil {
		return nil, err
	}
	var found []*pb.ProgramRecord
	for _, p := range all {
		if which == "" || p.GetName() == which || meant(which, p.GetName(), p.GetDisplayName()) {
			found = append(found, p)
		}
	}
	switch {
	case len(all) == 0:
		return nil, wrong("%s has no program yet; phasewright program new makes one", person(a))
	case which == "":
		return all[len(all)-1], nil
	case len(found) == 0:
		return nil, wrong("--program: there is no %q; phasewright program list shows those that there are", which)
	case len(found) > 1:
		return nil, wrong("--program: %q may be %s or %s; write more of it", which, called(found[0]), called(found[1]))
	}
	return found[0], nil
}

func (d *desk) programsOf(ctx context.Context, a *pb.AthleteRecord) (out []*pb.ProgramRecord, err error) {
	err = pages(func(token string) (*pb.ListProgramsResponse, error) {
		return d.programs.ListPrograms(ctx, &pb.ListProgramsRequest{Parent: a.GetName(), PageSize: 1000, PageToken: token})
	}, func(r *pb.ListProgramsResponse) { out = append(out, r.GetPrograms()...) })
	return out, err
}

// called names a program for people.
func called(p *pb.ProgramRecord) string {
	if n := p.GetDisplayName(); n != "" {
		return n + " (" + short(p.GetName()) + ")"
	}
	return short(p.GetName())
}

// logsOf lists logs of an athlete, of one program where it is named.
func (d *desk) logsOf(ctx context.Context, a *pb.AthleteRecord, program string) (out []*pb.SessionLog, err error) {
	err = pages(func(token string) (*pb.ListSessionLogsResponse, error) {
		return d.logs.ListSessionLogs(ctx, &pb.ListSessionLogsRequest{Parent: a.GetName(), Program: program, PageSize: 1000, PageToken: token})
	}, func(r *pb.ListSessionLogsResponse) { out = append(out, r.GetSessionLogs()...) })
	return out, err
}

// json prints a message.
func (p *program) json(m proto.Message) error {
	out, err := wire.Marshal(m)
	if err != nil {
		return err
	}
	_, err = p.out.Write(out)
	return err
}

func (p *program) say(format string, args ...any) error {
	_, err := fmt.Fprintf(p.out, format+"\n", args...)
	return err
}
