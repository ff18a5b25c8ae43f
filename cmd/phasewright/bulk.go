package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"cloud.google.com/go/longrunning/autogen/longrunningpb"
	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/fault"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/wire"
)

type bulkFlags struct {
	file, out, resume string
	again, reason     string
}

func (p *program) bulk() *cobra.Command {
	var f bulkFlags
	cmd := &cobra.Command{
		Use:   "bulk",
		Short: "Make many programs",
		Long: `Make many programs. The file has one a line, each a message ProgramOrder as JSON: {"request": ...}
with all that a program is made from, as for generate, or {"athlete": "athletes/..."} for an athlete that is
kept. All lines are checked before anything is made. The results come one a line, in the order of the
file, each a message ProgramResult as JSON: the program, or why there is none.

With --revise-from the newest program of each athlete is made again from that day on, with what was
logged since, instead of a new one.

It may be interrupted: what was made is kept, and --resume with the name that was printed goes on.` + whereKept,
		Example: `  phasewright bulk -f athletes.jsonl -o results.jsonl
  phasewright bulk -f athletes.jsonl -o results.jsonl --resume operations/019cae00-ffb8-7000-a5c2-3b71dbf8a160
  phasewright bulk -f athletes.jsonl -o results.jsonl --revise-from 2027-02-01 --reason "two weeks of logs"
  phasewright bulk -f athletes.jsonl -o results.jsonl --server 127.0.0.1:9090`,
		Args: cobra.NoArgs,
	}
	flags := cmd.Flags()
	flags.StringVarP(&f.file, "file", "f", "", "file with a program to be made on each line")
	flags.StringVarP(&f.out, "out", "o", "", "new file for the results; without it, standard output")
	flags.StringVar(&f.again, "revise-from", "", "first day, as 2027-02-01, from which the newest program of each athlete is made again")
	flags.StringVar(&f.reason, "reason", "", "why they are made again, for people")
	flags.StringVar(&f.resume, "resume", "", "name of the operation to go on with")
	return p.desked(cmd, func(ctx context.Context, d *desk, _ []string) error { return p.runBulk(ctx, d, &f) })
}

func (p *program) runBulk(ctx context.Context, d *desk, f *bulkFlags) error {
	if f.file == "" || f.file == "-" {
		return wrong("-f needs a file: it is read twice, and again with --resume")
	}
	if f.again == "" && f.reason != "" {
		return wrong("--reason goes with --revise-from")
	}
	if f.resume != "" && f.again != "" {
		return wrong("--revise-from: the operation that --resume names was begun with what it does; leave this out")
	}
	out, keep, err := p.resultFile(f.out)
	if err != nil {
		return err
	}
	b := &bulkRun{p: p, bulk: pb.NewBulkServiceClient(d.Conn()), ops: pb.NewOperationServiceClient(d.Conn()), file: f.file, name: f.resume}
	if f.again != "" {
		b.revise = &pb.ProgramsRevision{FromDate: f.again, Reason: f.reason}
	}
	err = b.run(ctx, d.work, out)
	if ctx.Err() != nil && b.name != "" {
		fmt.Fprintf(p.err, "Interrupted; what was made is kept. To go on, add --resume %s\n", b.name)
	}
	return keep(err)
}

// resultFile opens where results go. keep closes it, and takes it away where there was an
// error: half of it is not what was asked for.
func (p *program) resultFile(name string) (out io.Writer, keep func(error) error, err error) {
	if name == "" {
		return p.out, func(err error) error { return err }, nil
	}
	// It is about people: for this user's eyes, and never over something else.
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, nil, wrong("%s: %s", name, cause(err))
	}
	return f, func(err error) error {
		if err == nil {
			err = f.Sync()
		}
		if err = errors.Join(err, f.Close()); err != nil {
			_ = os.Remove(name)
		}
		return err
	}, nil
}

// bulkRun is one operation, from the file to the results.
type bulkRun struct {
	p    *program
	bulk pb.BulkServiceClient
	ops  pb.OperationServiceClient
	file string
	name string

	revise *pb.ProgramsRevision     // nil: new programs
	bar    *progressbar.ProgressBar // nil: nobody watches
}

func (b *bulkRun) run(ctx context.Context, work func(context.Context), out io.Writer) error {
	total := int64(0)
	if err := b.lines(ctx, func(*pb.ProgramOrder) error { total++; return nil }); err != nil {
		return err
	}
	if total == 0 {
		return wrong("%s: is empty", b.file)
	}
	if err := b.begin(ctx); err != nil {
		return err
	}
	if work != nil {
		working, stop := context.WithCancel(ctx)
		ended := make(chan struct{})
		go func() { work(working); close(ended) }()
		defer func() { stop(); <-ended }()
	}
	if err := b.send(ctx, total); err != nil {
		return err
	}
	m, err := b.watch(ctx, total)
	if err != nil {
		return err
	}
	if err := b.results(ctx, out); err != nil {
		return err
	}
	fmt.Fprintf(b.p.err, "%d programs made, %d could not be made.\n", m.GetMade(), m.GetFailed())
	return nil
}

// mostLine bounds a line; the server takes no larger message.
const mostLine = 4 << 20

// lines reads the file line by line; empty ones are passed over.
func (b *bulkRun) lines(ctx context.Context, each func(*pb.ProgramOrder) error) error {
	f, err := os.Open(b.file)
	if err != nil {
		return wrong("%s: %s", b.file, cause(err))
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	lines.Buffer(nil, mostLine)
	for n := 1; lines.Scan(); n++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		if len(bytes.TrimSpace(lines.Bytes())) == 0 {
			continue
		}
		o, err := wire.ReadOrder(lines.Bytes())
		if f, ok := fault.As(err); ok {
			return wrong("%s, line %d: %s: %s", b.file, n, f.Violations[0].Field, f.Violations[0].Says)
		}
		if err == nil {
			err = each(o)
		}
		if err != nil {
			return err
		}
	}
	if err := lines.Err(); err != nil {
		return wrong("%s: %s", b.file, cause(err))
	}
	return nil
}

func (b *bulkRun) begin(ctx context.Context) error {
	if b.name != "" {
		return nil
	}
	o, err := b.bulk.GeneratePrograms(ctx, &pb.GenerateProgramsRequest{Revise: b.revise, RequestId: requestID()})
	if err != nil {
		return rpc.Fault(err, "")
	}
	b.name = o.GetName()
	_, err = fmt.Fprintf(b.p.err, "This is %s.\n", b.name)
	return err
}

func (b *bulkRun) look(ctx context.Context) (*longrunningpb.Operation, *pb.GenerateProgramsMetadata, error) {
	o, err := b.ops.GetOperation(ctx, &pb.GetOperationRequest{Name: b.name})
	if err != nil {
		return nil, nil, rpc.Fault(err, "")
	}
	m := &pb.GenerateProgramsMetadata{}
	return o, m, o.GetMetadata().UnmarshalTo(m)
}

// What goes in one message.
const (
	sendOrders = 200
	sendBytes  = 1 << 20
)

// send brings what the operation does not have yet.
func (b *bulkRun) send(ctx context.Context, total int64) error {
	o, m, err := b.look(ctx)
	if err != nil {
		return err
	}
	if int64(m.GetRequests()) > total {
		return wrong("--resume: the operation has %d requests, and %s has %d: it is another file's", m.GetRequests(), b.file, total)
	}
	if o.GetDone() || m.GetComplete() {
		return nil
	}
	have, place, held := m.GetRequests(), int32(0), 0
	batch := &pb.AddProgramRequestsRequest{Name: b.name, FirstIndex: have}
	flush := func() error {
		batch.Last = int64(batch.FirstIndex)+int64(len(batch.Orders)) == total
		batch.RequestId = requestID()
		a, err := b.bulk.AddProgramRequests(ctx, batch)
		if err != nil {
			return rpc.Fault(err, "")
		}
		batch.FirstIndex, batch.Orders, held = a.GetRequests(), nil, 0
		return nil
	}
	err = b.lines(ctx, func(o *pb.ProgramOrder) error {
		place++
		if place <= have {
			return nil
		}
		if n := proto.Size(o); len(batch.Orders) == sendOrders || held+n > sendBytes && held > 0 {
			if err := flush(); err != nil {
				return err
			}
		}
		batch.Orders, held = append(batch.Orders, o), held+proto.Size(o)
		return nil
	})
	if err != nil {
		return err
	}
	return flush()
}

// How often the operation is looked at, and how often a line is printed where nobody sees
// a bar.
const (
	lookEvery = 200 * time.Millisecond
	sayEvery  = 10 * time.Second
)

// watch shows how far it is until it is done.
func (b *bulkRun) watch(ctx context.Context, total int64) (*pb.GenerateProgramsMetadata, error) {
	if isTerminal(b.p.err) {
		b.bar = progressbar.NewOptions64(total, progressbar.OptionSetWriter(b.p.err), progressbar.OptionShowCount(), progressbar.OptionShowIts(), progressbar.OptionClearOnFinish())
	}
	said := time.Now()
	for {
		o, m, err := b.look(ctx)
		if err != nil {
			return nil, err
		}
		dealt := int64(m.GetMade() + m.GetFailed() + m.GetErased())
		switch {
		case b.bar != nil:
			err = b.bar.Set64(dealt)
		case time.Since(said) >= sayEvery:
			said = time.Now()
			_, err = fmt.Fprintf(b.p.err, "%d of %d\n", dealt, total)
		}
		if err != nil {
			return nil, err
		}
		if o.GetError() != nil {
			return nil, wrong("%s: %s", b.name, o.GetError().GetMessage())
		}
		if o.GetDone() {
			return m, nil
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(lookEvery):
		}
	}
}

func (b *bulkRun) results(ctx context.Context, out io.Writer) error {
	to := bufio.NewWriter(out)
	for token := ""; ; {
		a, err := b.bulk.ExportProgramResults(ctx, &pb.ExportProgramResultsRequest{Name: b.name, PageSize: 1000, PageToken: token})
		if err != nil {
			return rpc.Fault(err, "")
		}
		for _, r := range a.GetResults() {
			line, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(r)
			if err == nil {
				_, err = to.Write(append(line, '\n'))
			}
			if err != nil {
				return err
			}
		}
		if token = a.GetNextPageToken(); token == "" {
			return to.Flush()
		}
	}
}
