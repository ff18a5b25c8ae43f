package app

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/storetest"
)

// What is written about an athlete, in every field that takes free text, through all that
// is done with a stored athlete. It goes into no log at any level, no metric and no answer
// to another tenant; after an erasure it is in none of the database's files, and in none
// of a backup that is brought back.
func TestNoCanaryEscapesSQLite(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	c := newCanaries(t, Data{Dir: dir})
	require.NotEmpty(t, storetest.Found(t, dir, c.texts), "the search finds what is there")
	backup := filepath.Join(t.TempDir(), "backup")
	require.NoError(t, Backup(context.Background(), dir, backup))
	require.NotEmpty(t, storetest.Found(t, filepath.Dir(backup), c.texts))
	c.erase(t)
	require.Empty(t, storetest.Found(t, dir, c.texts), "erased, with the log of the database")
	c.silent(t)
	require.NoError(t, c.r.stop())
	require.Empty(t, storetest.Found(t, dir, c.texts))
	n, err := Restore(context.Background(), dir, backup)
	require.NoError(t, err)
	require.Equal(t, 1, n, "came back, and went again")
	require.Empty(t, storetest.Found(t, dir, c.texts))
}

// On PostgreSQL what is stored is what a dump shows. A dump that is brought back holds the
// athlete again, until the erasures are replayed.
func TestNoCanaryEscapesPostgreSQL(t *testing.T) {
	all, _ := filepath.Glob("/usr/lib/postgresql/*/bin/pg_dump")
	d, ok := postgresData(t)
	if !ok || len(all) == 0 {
		require.False(t, tools(), "PostgreSQL is missing")
		return
	}
	u, err := url.Parse(strings.Replace(d.URL, "app@", "postgres@", 1))
	require.NoError(t, err)
	c := newCanaries(t, d)
	dump := func() (out []string) {
		text, err := exec.Command(all[len(all)-1], "--inserts", u.String()).Output()
		var failed *exec.ExitError
		if errors.As(err, &failed) {
			require.NoError(t, err, string(failed.Stderr))
		}
		require.NoError(t, err)
		for _, s := range c.texts {
			if bytes.Contains(text, []byte(s)) || bytes.Contains(text, []byte(hex.EncodeToString([]byte(s)))) {
				out = append(out, s)
			}
		}
		return out
	}
	require.Greater(t, len(dump()), c.stored/2, "the search finds what is there; some has changed since, and revisions are packed")
	backup, err := exec.Command(all[len(all)-1], "--clean", "--if-exists", u.String()).Output()
	require.NoError(t, err)
	c.erase(t)
	require.Empty(t, dump())
	c.silent(t)
	require.NoError(t, c.r.stop())

	var erased bytes.Buffer
	n, err := d.WriteErasures(t.Context(), &erased)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	psql := exec.Command(filepath.Join(filepath.Dir(all[len(all)-1]), "psql"), "-q", "-v", "ON_ERROR_STOP=1", u.String())
	psql.Stdin = bytes.NewReader(backup)
	out, err := psql.CombinedOutput()
	require.NoError(t, err, string(out))
	require.NotEmpty(t, dump())
	for _, want := range []int{1, 0} {
		n, err = d.ReplayErasures(t.Context(), bytes.NewReader(erased.Bytes()))
		require.NoError(t, err)
		require.Equal(t, want, n)
		require.Empty(t, dump())
	}
	_, err = d.ReplayErasures(t.Context(), strings.NewReader(erased.String()+"{\"tenant\": \"a\"}\n"))
	require.ErrorContains(t, err, "line 2")
}

// canaries are texts about one athlete that stand nowhere else, and what was done with
// them.
type canaries struct {
	r            *running
	admin, other string
	athlete      string
	texts        []string
	stored       int             // so many of the texts were taken
	theirs       strings.Builder // what another tenant was answered
}

func (c *canaries) text() string {
	s := fmt.Sprintf("zq%03dnightingale%03dqz", len(c.texts), 7919*len(c.texts)%1000)
	c.texts = append(c.texts, s)
	return s
}

func newCanaries(t *testing.T, d Data) *canaries {
	c := &canaries{}
	c.r, c.admin = lockedWith(t, quick(t), withAdmin, func(config *Config) {
		config.Data = d
		log := config.Log.Handler()
		config.Log = slog.New(anyLevel{log})
	})
	c.other = c.r.tenant(t, "other")
	c.life(t)
	c.stored = len(c.texts)
	require.GreaterOrEqual(t, c.stored, 30)
	c.mistakes(t)
	c.attempts(t)
	c.silent(t)
	return c
}

// anyLevel passes on records of every level.
type anyLevel struct{ slog.Handler }

func (anyLevel) Enabled(context.Context, slog.Level) bool { return true }

// life is what is usually done with an athlete.
func (c *canaries) life(t *testing.T) {
	ctx := as(c.admin)
	a, m := pb.NewAthleteServiceClient(c.r.conn), pb.NewMeasurementServiceClient(c.r.conn)
	l, g := pb.NewSessionLogServiceClient(c.r.conn), pb.NewProgramRecordServiceClient(c.r.conn)
	who := adult()
	who.Profile.CallerId, who.Profile.DisplayName = c.text(), c.text()
	who.Profile.Restrictions = []*pb.Restriction{{Target: &pb.Restriction_Joint{Joint: pb.Joint_JOINT_KNEE}, Severity: pb.Severity_SEVERITY_MILD, Note: c.text()}}
	who.Profile.Clearance = &pb.Clearance{Scope: pb.ClearanceScope_CLEARANCE_SCOPE_MODERATE, Date: "2026-01-04", Note: c.text()}
	made, err := a.CreateAthlete(ctx, &pb.CreateAthleteRequest{Athlete: who, RequestId: uuid4(t)})
	require.NoError(t, err)
	c.athlete = made.GetAthlete().GetName()
	changed := made.GetAthlete()
	changed.Profile.DisplayName, changed.Profile.CallerId = c.text(), c.text()
	_, err = a.UpdateAthlete(ctx, &pb.UpdateAthleteRequest{Athlete: changed, RequestId: uuid4(t)})
	require.NoError(t, err)
	for range 4 {
		taken, err := m.CreateMeasurement(ctx, &pb.CreateMeasurementRequest{Parent: c.athlete, RequestId: uuid4(t), Measurement: &pb.Measurement{
			Quantity: c.text(), Unit: c.text()[:20], Date: "2026-01-05", Value: 1, Note: c.text(),
		}})
		require.NoError(t, err)
		_, err = m.UpdateMeasurement(ctx, &pb.UpdateMeasurementRequest{Measurement: &pb.Measurement{Name: taken.GetMeasurement().GetName(), Note: c.text()}})
		require.NoError(t, err)
		_, err = m.DeleteMeasurement(ctx, &pb.DeleteMeasurementRequest{Name: taken.GetMeasurement().GetName()})
		require.NoError(t, err)
	}
	where := twoDays()
	where.Places[0].CallerId, where.Places[0].DisplayName = c.text(), c.text()
	made2, err := g.CreateProgram(ctx, &pb.CreateProgramRequest{Parent: c.athlete, RequestId: uuid4(t), Program: &pb.ProgramRecord{DisplayName: c.text()}, Constraints: where})
	require.NoError(t, err)
	_, err = g.UpdateProgram(ctx, &pb.UpdateProgramRequest{Program: &pb.ProgramRecord{Name: made2.GetProgram().GetName(), DisplayName: c.text()}})
	require.NoError(t, err)
	revised, err := g.ReviseProgram(ctx, &pb.ReviseProgramRequest{Name: made2.GetProgram().GetName(), RequestId: uuid4(t), Rework: &pb.Rework{From: &pb.Rework_FromWeek{FromWeek: 2}}, Reason: c.text()})
	require.NoError(t, err)
	for session := range int32(2) {
		_, err = l.CreateSessionLog(ctx, &pb.CreateSessionLogRequest{Parent: c.athlete, RequestId: uuid4(t), SessionLog: &pb.SessionLog{
			Date: "2026-01-05", ProgramRevision: revised.GetRevision().GetName(), Week: 1, Session: session + 1, Note: c.text(),
			Exercises: []*pb.LoggedExercise{{ExerciseId: "back-squat", Note: c.text(), Sets: []*pb.LoggedSet{{Reps: 5}}}},
		}})
		require.NoError(t, err)
	}
}

// mistakes are calls of who may see the texts, with texts where they don't belong.
func (c *canaries) mistakes(t *testing.T) {
	for _, q := range []struct{ verb, path, body string }{
		{"GET", "athletes/" + c.text(), ""},
		{"GET", c.text(), ""},
		{"GET", "athletes?callerId=" + c.text() + "&" + c.text() + "=1", ""},
		{"GET", "athletes?pageToken=" + c.text(), ""},
		{"POST", "athletes", `{"athlete": {"profile": {"` + c.text() + `": 1, "sex": "` + c.text() + `"}}}`},
		{"POST", "athletes", `{"athlete": ` + c.text()},
		{"POST", "athletes", `{"requestId": "` + c.text() + `", "athlete": {"profile": {"ageBand": "AGE_BAND_ADULT"}}}`},
		{"PATCH", c.athlete, `{"athlete": {"etag": "` + c.text() + `", "profile": {"displayName": "` + c.text() + `"}}}`},
		{"POST", c.athlete + "/sessionLogs", `{"sessionLog": {"date": "` + c.text() + `", "exercises": [{"exerciseId": "` + c.text() + `"}]}}`},
		{"POST", c.athlete + "/programs", `{"planName": "` + c.text() + `", "constraints": {"days": [{"minutes": 45}]}}`},
		{"DELETE", "athletes/" + c.text(), ""},
	} {
		code, _ := c.call(t, c.admin, q.verb, q.path, q.body, c.text())
		require.True(t, code >= 400 && code < 500, "%s %s: %d", q.verb, q.path, code)
	}
}

// attempts are those of another tenant on the athlete; it doesn't know the texts.
func (c *canaries) attempts(t *testing.T) {
	s := &siege{t: t, r: c.r, us: furnish(t, c.r.conn, "other", c.other)}
	for _, m := range methods(t) {
		for _, p := range textFields(m.Input()) {
			of, parent := namedBy(m, p[len(p)-1])
			name := c.athlete
			switch {
			case of == "phasewright/Athlete", parent && strings.Count(cut(s.us.name(of), true), "/") == 1:
			default:
				continue
			}
			r := s.base(m, s.us)
			p.set(r.ProtoReflect(), name)
			a := newMessage(t, m.Output())
			err := c.r.conn.Invoke(as(c.other), pathOf(m), r, a)
			fmt.Fprintln(&c.theirs, err, said(status.Convert(err)))
			body, bad := protojson.Marshal(a)
			require.NoError(t, bad)
			c.theirs.Write(body)
		}
	}
	for _, path := range []string{c.athlete, c.athlete + "/programs", c.athlete + "/sessionLogs", "athletes?showDeleted=true", "auditEvents"} {
		_, body := c.call(t, c.other, "GET", path, "", "")
		c.theirs.WriteString(body)
	}
	require.NotEmpty(t, c.theirs.String())
}

func (h *holdings) name(of string) string {
	if all := h.names[of]; len(all) > 0 {
		return all[0]
	}
	return ""
}

func (c *canaries) call(t *testing.T, key, verb, path, body, header string) (int, string) {
	q, err := http.NewRequest(verb, c.r.url("/v1/"+path), strings.NewReader(body))
	require.NoError(t, err)
	q.Header.Set("Authorization", "Bearer "+key)
	if header != "" {
		q.Header.Set("User-Agent", header)
		q.Header.Set("X-Request-Id", header)
	}
	if body != "" {
		q.Header.Set("Content-Type", "application/json")
	}
	a, err := http.DefaultClient.Do(q)
	require.NoError(t, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	return a.StatusCode, string(text)
}

// silent wants none of the texts where they don't belong.
func (c *canaries) silent(t *testing.T) {
	t.Helper()
	_, metrics := get(t, "http://"+c.r.AdminAddr()+"/metrics")
	require.Contains(t, metrics, "CreateSessionLog", "the search finds what is there")
	require.Contains(t, c.r.log.String(), "CreateSessionLog")
	for where, text := range map[string]string{"the log": c.r.log.String(), "the metrics": metrics, "answers to others": c.theirs.String()} {
		for _, s := range c.texts {
			require.False(t, strings.Contains(text, s), "%s is in %s", s, where)
		}
	}
	require.NotContains(t, c.r.log.String()+metrics, c.athlete, "who it is about")
}

// erase takes the athlete away: over the API where the schema has that.
func (c *canaries) erase(t *testing.T) {
	ctx := context.Background()
	for _, m := range methods(t) {
		if m.Name() == "EraseAthlete" {
			r := newMessage(t, m.Input())
			r.ProtoReflect().Set(m.Input().Fields().ByName("name"), protoreflect.ValueOfString(c.athlete))
			require.NoError(t, c.r.conn.Invoke(as(c.admin), pathOf(m), r, newMessage(t, m.Output())))
		}
	}
	id, err := service.ParseID(strings.TrimPrefix(c.athlete, "athletes/"))
	require.NoError(t, err)
	require.NoError(t, c.r.store.Update(ctx, service.MainTenant, func(tx service.Tx) error {
		_, err := tx.Erase(id, "asked for") // again is fine
		return err
	}))
	if c.r.config.Data.URL == "" { // else only the tables' owner can, and a dump shows no rests
		require.NoError(t, c.r.store.Scrub(ctx))
	}
	code, _ := c.call(t, c.admin, "GET", c.athlete, "", "")
	require.Equal(t, 404, code)
}
