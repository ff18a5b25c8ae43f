package main

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"sigs.k8s.io/yaml"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/wire"
)

// serving starts a server on free ports and gives it with what ends it and waits.
func serving(t *testing.T) *app.App {
	t.Helper()
	c := app.DefaultConfig()
	c.GRPCAddr, c.HTTPAddr, c.DrainDelay = "127.0.0.1:0", "127.0.0.1:0", 0
	c.Dev, c.Rate = true, 0
	server, err := app.New(c)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- server.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-ended)
	})
	return server
}

// Every command prints the same, whoever answers, and ends with the same code.
func TestServerAnswersTheSame(t *testing.T) {
	at := serving(t).GRPCAddr()
	made := demoJSON(t)
	misspelt := strings.Replace(string(demo), "exercise_id: back-squat", "exercise_id: back-sqat", 1)
	long := strings.Replace(string(demo), "weeks: 8", "weeks: 1", 1)
	symptoms := strings.Replace(string(demo), "symptoms: false", "symptoms: true", 1)
	bare := strings.Replace(string(demo), "preset: EQUIPMENT_PRESET_FULL_GYM", "preset: EQUIPMENT_PRESET_BODYWEIGHT", 1)
	for _, c := range []struct {
		name, in string
		args     []string
		code     int
	}{
		{"text", string(demo), []string{"generate", "-f", "-"}, exitOK},
		{"why", string(demo), []string{"generate", "-f", "-", "--why", "--week", "2"}, exitOK},
		{"json", string(demo), []string{"generate", "-f", "-", "--json"}, exitOK},
		{"thorough", string(demo), []string{"generate", "-f", "-", "--thorough", "--json"}, exitOK},
		{"no request", "", []string{"generate"}, exitOK},
		{"audit", made, []string{"audit", "-f", "-"}, exitOK},
		{"audit json", made, []string{"audit", "-f", "-", "--json"}, exitOK},
		{"violations", strings.ReplaceAll(made, `"minutes": 75`, `"minutes": 15`), []string{"audit", "-f", "-"}, exitViolations},
		{"estimate", string(demo), []string{"estimate", "-f", "-"}, exitOK},
		{"estimate json", string(demo), []string{"estimate", "-f", "-", "--json"}, exitOK},
		{"estimate typed", "", []string{"estimate", "back-squat", "100kgx5", "pull-up", "bwx8", "--body-mass", "80kg"}, exitOK},
		{"estimate impossible", "", []string{"estimate", "barbell-curl", "900kgx1"}, exitInvalid},
		{"estimate what is not there", "", []string{"estimate", "back-sqat", "100kgx5"}, exitInvalid},
		{"strategies", "", []string{"strategies"}, exitOK},
		{"one strategy", "", []string{"strategies", "linear"}, exitOK},
		{"strategies json", "", []string{"strategies", "--json"}, exitOK},
		{"exercises", "", []string{"exercises", "--muscle", "chest", "--place-preset", "full-gym"}, exitOK},
		{"one exercise", "", []string{"exercises", "pull-up"}, exitOK},
		{"exercises json", "", []string{"exercises", "--json"}, exitOK},
		{"unknown exercise", "", []string{"exercises", "pull-upp"}, exitInvalid},
		{"unknown goal", misspelt, []string{"generate", "-f", "-"}, exitInvalid},
		{"two weeks", long, []string{"generate", "-f", "-"}, exitInvalid},
		{"refused", symptoms, []string{"generate", "-f", "-"}, exitRefused},
		{"infeasible", bare, []string{"generate", "-f", "-"}, exitInfeasible},
	} {
		t.Run(c.name, func(t *testing.T) {
			here := run(t, c.in, c.args...)
			require.Equal(t, c.code, here.code, here.err)
			require.Equal(t, here, run(t, c.in, append(c.args, "--server", at)...))
		})
	}
}

func TestServerThatIsNotThere(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	at := l.Addr().String()
	require.NoError(t, l.Close())
	got := run(t, "", "strategies", "--server", at)
	require.Equal(t, exitUnavailable, got.code)
	require.Contains(t, got.err, "no answer from the server")
	require.Contains(t, got.err, at)
	require.Equal(t, exitInvalid, run(t, "", "strategies", "--server", "nonsense").code)
	require.Equal(t, exitInvalid, run(t, "", "serve", "--server", at).code)
}

// One request, whichever way it comes in: one digest.
func TestOneDigest(t *testing.T) {
	server := serving(t)
	read, err := wire.ReadRequest(demo)
	require.NoError(t, err)
	asJSON, err := yaml.YAMLToJSON(demo)
	require.NoError(t, err)

	digest := func(printed string) string {
		var p struct{ Digest string }
		require.NoError(t, json.Unmarshal([]byte(printed), &p))
		require.Regexp(t, `^sha256:[0-9a-f]{64}$`, p.Digest)
		return p.Digest
	}
	want := digest(demoJSON(t))
	require.Equal(t, want, digest(run(t, "", "generate", "-f", file(t, "r.yaml", string(demo)), "--json").out), "YAML file")
	require.Equal(t, want, digest(run(t, "", "generate", "-f", file(t, "r.json", string(asJSON)), "--json").out), "JSON file")
	require.Equal(t, want, digest(run(t, "", "generate", "-f", file(t, "r.json", string(asJSON)), "--json", "--server", server.GRPCAddr()).out), "client")

	conn, err := grpc.NewClient(server.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	require.NoError(t, err)
	defer conn.Close()
	answer, err := pb.NewProgramServiceClient(conn).GenerateProgram(context.Background(), &pb.GenerateProgramRequest{Request: read})
	require.NoError(t, err)
	require.Equal(t, want, answer.GetProgram().GetDigest(), "gRPC")

	post := func(path string, body []byte) []byte {
		r, err := http.Post("http://"+server.HTTPAddr()+path, "application/json", bytes.NewReader(body))
		require.NoError(t, err)
		defer r.Body.Close()
		got, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		require.Equal(t, http.StatusOK, r.StatusCode, string(got))
		return got
	}
	rest := post("/v1/programs:generate", []byte(`{"request": `+string(asJSON)+`}`))
	var program struct{ Program struct{ Digest string } }
	require.NoError(t, json.Unmarshal(rest, &program))
	require.Equal(t, want, program.Program.Digest, "REST")

	// What generate answers is what audit takes.
	var audited struct{ Intact bool }
	require.NoError(t, json.Unmarshal(post("/v1/programs:audit", rest), &audited))
	require.True(t, audited.Intact)
}

// The command itself: says where it listens, answers, goes when told to.
func TestServe(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	logs, w := io.Pipe()
	p := program{in: strings.NewReader(""), out: io.Discard, err: w, newMaker: newMaker}
	code := make(chan int, 1)
	go func() {
		code <- p.run(ctx, []string{"serve", "--dev", "--grpc-addr", "127.0.0.1:0", "--http-addr", "127.0.0.1:0", "--drain-delay", "10ms"})
		w.Close()
	}()
	lines := json.NewDecoder(logs)
	var line struct{ Msg, HTTP, GRPC string }
	require.NoError(t, lines.Decode(&line))
	require.Equal(t, "serving", line.Msg)
	r, err := http.Get("http://" + line.HTTP + "/readyz")
	require.NoError(t, err)
	require.NoError(t, r.Body.Close())
	require.Equal(t, http.StatusOK, r.StatusCode)
	stop()
	said := map[string]bool{}
	for {
		line.Msg = ""
		if err := lines.Decode(&line); err == io.EOF {
			break
		} else {
			require.NoError(t, err)
		}
		said[line.Msg] = true
	}
	require.True(t, said["draining"])
	require.True(t, said["drained"])
	require.Equal(t, exitOK, <-code)
}

func TestServeNamesWrongFlags(t *testing.T) {
	for _, c := range [][2]string{
		{"--grpc-addr=x", "grpc-addr: "}, {"--http-addr=:x", "http-addr: "}, {"--deadline=1ms", "deadline: "},
		{"--drain-delay=-1s", "drain-delay: "}, {"--drain-timeout=0s", "drain-timeout: "}, {"--log-level=loud", "--log-level: "},
	} {
		got := run(t, "", "serve", c[0])
		require.Equal(t, exitInvalid, got.code, c[0])
		require.Contains(t, got.err, c[1])
	}
}
