package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/rpc"
)

func (p *program) athleteExport() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "export ATHLETE",
		Short: "Give out all there is about an athlete",
		Long: `Give out all there is about an athlete, what was removed and the log of calls included: one record a
line, each a message ExportedRecord as JSON. On a server it needs a key with the scope admin.` + whereKept,
		Example: "  phasewright athlete export kim -o kim.jsonl",
		Args:    cobra.ExactArgs(1),
	}
	file := cmd.Flags().StringP("out", "o", "", "new file; without it, standard output")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		if *file == "" {
			_, err := d.export(ctx, a, p.out)
			return err
		}
		// It is about a person: for this user's eyes, and never over something else.
		f, err := os.OpenFile(*file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if err != nil {
			return wrong("%s: %s", *file, cause(err))
		}
		n, err := d.export(ctx, a, f)
		if err == nil {
			err = f.Sync()
		}
		if closed := f.Close(); err == nil {
			err = closed
		}
		if err != nil {
			_ = os.Remove(*file) // half of it is not what was asked for
			return err
		}
		return p.say("%d records in %s.", n, *file)
	})
}

func (d *desk) export(ctx context.Context, a *pb.AthleteRecord, to io.Writer) (n int, err error) {
	var failed error
	err = pages(func(token string) (*pb.ExportAthleteResponse, error) {
		return d.athletes.ExportAthlete(ctx, &pb.ExportAthleteRequest{Name: a.GetName(), PageSize: 1000, PageToken: token})
	}, func(r *pb.ExportAthleteResponse) {
		for _, record := range r.GetRecords() {
			line, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(record)
			if err == nil {
				_, err = to.Write(append(line, '\n'))
			}
			if failed == nil {
				failed = err
			}
			n++
		}
	})
	if err == nil {
		err = failed
	}
	return n, err
}

func (p *program) athleteErase() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "erase ATHLETE",
		Short: "Take away for good all there is about an athlete",
		Long: `Take away for good all there is about an athlete. Nothing brings it back; export it first if it may
be needed. Only the id, the day and the reason stay, so that a backup that is brought back is erased
from again. On a server it needs a key with the scope admin.` + whereKept,
		Example: `  phasewright athlete erase kim                    says what there is, and erases nothing
  phasewright athlete erase kim --yes --reason "asked for it"`,
		Args: cobra.ExactArgs(1),
	}
	yes := cmd.Flags().Bool("yes", false, "really do it")
	reason := cmd.Flags().String("reason", "", "why; it stays, so name nobody in it")
	return p.desked(cmd, func(ctx context.Context, d *desk, args []string) error {
		a, err := d.athlete(ctx, args[0], true)
		if err != nil {
			return err
		}
		r := &pb.EraseAthleteRequest{Name: a.GetName(), Reason: *reason, ValidateOnly: !*yes}
		if *yes {
			r.RequestId = requestID()
		}
		got, err := d.athletes.EraseAthlete(ctx, r)
		if err != nil {
			return rpc.Fault(err, "")
		}
		what := fmt.Sprintf("%d performances, %d session logs, %d measurements, %d programs with %d revisions; in %d audit events the name, and %d kept answers",
			got.GetPerformances(), got.GetSessionLogs(), got.GetMeasurements(), got.GetPrograms(), got.GetRevisions(), got.GetAuditEvents(), got.GetKeptAnswers())
		if !*yes {
			if err := p.say("There is of %s: %s.", person(a), what); err != nil {
				return err
			}
			return wrong("Nothing is erased. With --yes it is, for good.")
		}
		return p.say("Erased %s: %s.", short(a.GetName()), what)
	})
}
