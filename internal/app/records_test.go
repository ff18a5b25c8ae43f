package app

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/internal/gateway"
	"github.com/phasewright/phasewright/internal/rpc"
	"github.com/phasewright/phasewright/internal/service"
	"github.com/phasewright/phasewright/internal/store/memory"
	"github.com/phasewright/phasewright/internal/wire"
)

// keeper is a server with storage over REST. A call's Authorization names its tenant.
type keeper struct {
	t    *testing.T
	url  string
	conn *grpc.ClientConn
	as   string // tenant
	key  string // Idempotency-Key of the next call
}

func keeping(t *testing.T) *keeper {
	engine, err := NewEngine()
	require.NoError(t, err)
	now := func() service.Instant { return service.At(time.Now()) }
	s := service.New(engine, service.WithStorage(service.Storage{Store: memory.NewTwice(now), Key: [32]byte{1}}))
	local := rpc.NewLocal()
	server, err := rpc.NewServer(s, rpc.Options{Callers: tenants{}})
	require.NoError(t, err)
	go func() { _ = server.Serve(local) }()
	t.Cleanup(server.Stop)
	conn, err := local.Connect()
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	h, err := gateway.New(conn, gateway.Options{Read: wire.ReadJSON, Status: rpc.Status, Log: slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	rest := httptest.NewServer(h)
	t.Cleanup(rest.Close)
	return &keeper{t: t, url: rest.URL, conn: conn, as: "one"}
}

// tenants takes every key for the name of a tenant.
type tenants struct{}

func (tenants) Authenticate(_ context.Context, key string) (service.Caller, error) {
	if key == "" {
		return service.Caller{}, service.Stranger()
	}
	return service.Open(service.Tenant(key)), nil
}

type object = map[string]any

func (k *keeper) call(method, path string, body any) (int, object) {
	k.t.Helper()
	var in io.Reader
	if body != nil {
		b, err := json.Marshal(body)
		require.NoError(k.t, err)
		in = bytes.NewReader(b)
	}
	r, err := http.NewRequest(method, k.url+"/v1/"+path, in)
	require.NoError(k.t, err)
	if body != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	if k.as != "" {
		r.Header.Set("Authorization", "Bearer "+k.as)
	}
	if k.key != "" {
		r.Header.Set("Idempotency-Key", k.key)
	}
	a, err := http.DefaultClient.Do(r)
	require.NoError(k.t, err)
	defer a.Body.Close()
	out := object{}
	require.NoError(k.t, json.NewDecoder(a.Body).Decode(&out))
	return a.StatusCode, out
}

// ok makes a call that succeeds, and gives what it answers under a name.
func (k *keeper) ok(method, path string, body any, under string) object {
	k.t.Helper()
	code, out := k.call(method, path, body)
	require.Equal(k.t, 200, code, "%v", out)
	v, ok := out[under].(object)
	require.True(k.t, ok, "%v", out)
	return v
}

// fails makes a call that fails with a code, a reason and, where one is given, about a field.
func (k *keeper) fails(method, path string, body any, code int, reason, field string) object {
	k.t.Helper()
	got, out := k.call(method, path, body)
	require.Equal(k.t, code, got, "%v", out)
	info := out["details"].([]any)[0].(object)
	require.Equal(k.t, reason, info["reason"], "%v", out)
	at, _ := info["metadata"].(object)["field"].(string)
	require.Equal(k.t, field, at, "%v", out)
	return out
}

const someKey = "8e03978e-40d5-43e8-bc93-6894a57f9324"

func (k *keeper) athlete() string {
	return k.ok("POST", "athletes", object{"athlete": object{"profile": object{"ageBand": "AGE_BAND_ADULT", "callerId": "a"}}}, "athlete")["name"].(string)
}

// Of who an athlete is the server needs an age band only; a birth date it can't be told.
func TestAthletesNeedNoName(t *testing.T) {
	k := keeping(t)
	k.ok("POST", "athletes", object{"athlete": object{"profile": object{"ageBand": "AGE_BAND_ADULT"}}}, "athlete")
	code, without := k.call("POST", "athletes", object{"athlete": object{"profile": object{"callerId": "no-age"}}})
	require.Equal(t, 400, code, "%v", without)
	var born []string
	fields := (&pb.Athlete{}).ProtoReflect().Descriptor().Fields()
	for i := range fields.Len() {
		if name := string(fields.Get(i).Name()); strings.Contains(name, "birth") || strings.Contains(name, "date") {
			born = append(born, name+" "+fields.Get(i).Kind().String())
		}
	}
	require.Equal(t, []string{"birth_year int32"}, born)
}

func TestAthletesOverREST(t *testing.T) {
	k := keeping(t)
	adult := object{"profile": object{"ageBand": "AGE_BAND_ADULT", "callerId": "7", "bodyMass": object{"kilograms": 80.5}}}
	dry := k.ok("POST", "athletes", object{"athlete": adult, "validateOnly": true}, "athlete")
	require.Equal(t, adult["profile"].(object)["callerId"], dry["profile"].(object)["callerId"])
	_, none := k.call("GET", "athletes", nil)
	require.Empty(t, none["athletes"], "a dry run keeps nothing")

	k.key = someKey
	first := k.ok("POST", "athletes", object{"athlete": adult}, "athlete")
	again := k.ok("POST", "athletes", object{"athlete": adult}, "athlete")
	require.Equal(t, first, again, "the same request has its effect once")
	k.fails("POST", "athletes", object{"athlete": object{"profile": object{"ageBand": "AGE_BAND_OLDER"}}}, 409, "REQUEST_ID_OTHER", "requestId")
	k.fails("POST", "athletes", object{"athlete": adult, "requestId": "11111111-1111-4111-8111-111111111111"}, 400, "FIELD_TWICE", "requestId")
	k.key = "no uuid"
	k.fails("POST", "athletes", object{"athlete": adult}, 400, "FORMAT", "requestId")
	k.key = ""
	k.fails("POST", "athletes", object{"athlete": adult}, 409, "NAME_TAKEN", "athlete.profile.callerId")

	name := first["name"].(string)
	require.Regexp(t, `^athletes/[0-9a-f]{8}-[0-9a-f]{4}-7`, name)
	got := k.ok("GET", name, nil, "athlete")
	require.Equal(t, first, got)

	// What was read is sent back whole, with what the server gives in it.
	got["profile"].(object)["sex"] = "SEX_FEMALE"
	second := k.ok("PATCH", name, object{"athlete": got}, "athlete")
	require.Equal(t, "SEX_FEMALE", second["profile"].(object)["sex"])
	require.NotEqual(t, first["etag"], second["etag"])
	require.Equal(t, first["createTime"], second["createTime"])
	k.fails("PATCH", name, object{"athlete": got}, 409, "STALE", "athlete.etag")
	k.fails("DELETE", name+"?etag="+`%22x%22`, nil, 409, "STALE", "etag")
	third := k.ok("PATCH", name, object{"athlete": object{"profile": object{}}, "updateMask": "profile.bodyMass,create_time"}, "athlete")
	require.NotContains(t, third["profile"], "bodyMass")
	require.Equal(t, "7", third["profile"].(object)["callerId"])
	k.fails("PATCH", name, object{"athlete": object{"profile": object{}}, "updateMask": "profile.ageBand"}, 400, "ATHLETE_AGE", "athlete.profile")
	k.fails("PATCH", name, object{"athlete": object{"profile": object{}}, "updateMask": "*"}, 400, "ATHLETE_AGE", "athlete.profile")
	out := k.fails("PATCH", name, object{"athlete": object{}, "updateMask": "profile.bodymass"}, 400, "UNKNOWN_FIELD", "updateMask")
	require.Contains(t, out["message"], "profile.bodymass")
	k.fails("PATCH", name, object{"athlete": object{"profile": object{"performances": []any{object{"exerciseId": "back-squat", "reps": 5}}}}}, 400, "PERFORMANCES_APART", "athlete.profile.performances")

	gone := k.ok("DELETE", name, nil, "athlete")
	require.NotEmpty(t, gone["deleteTime"])
	k.fails("PATCH", name, object{"athlete": object{"profile": object{"sex": "SEX_MALE"}}}, 404, "DELETED", "athlete.name")
	_, all := k.call("GET", "athletes", nil)
	require.Empty(t, all["athletes"])
	_, all = k.call("GET", "athletes?showDeleted=true&callerId=7", nil)
	require.Len(t, all["athletes"], 1)
	k.ok("POST", name+":undelete", object{}, "athlete")
	k.fails("POST", name+":undelete", object{}, 409, "NOT_DELETED", "name")

	// Somebody else's is like one that there isn't.
	k.as = "two"
	mine := k.fails("GET", name, nil, 404, "UNKNOWN", "name")
	other := strings.Replace(name, name[len(name)-4:], "0000", 1)
	theirs := k.fails("GET", other, nil, 404, "UNKNOWN", "name")
	require.Equal(t, mine["message"], theirs["message"])
	k.fails("PATCH", name, object{"athlete": object{"profile": object{"sex": "SEX_MALE"}}}, 404, "UNKNOWN", "athlete.name")
	k.as = ""
	k.fails("GET", name, nil, 401, "API_KEY", "")
}

func TestWhatBelongsToAnAthleteOverREST(t *testing.T) {
	k := keeping(t)
	name := k.athlete()
	p := k.ok("POST", name+"/performances", object{"performance": object{"performance": object{"exerciseId": "back-squat", "reps": 5, "load": object{"kilograms": 100}, "date": "2026-01-05"}}}, "performance")
	require.True(t, strings.HasPrefix(p["name"].(string), name+"/performances/"))
	k.ok("PATCH", p["name"].(string), object{"performance": object{"performance": object{"reps": 6}}}, "performance")
	require.Equal(t, 6.0, k.ok("GET", p["name"].(string), nil, "performance")["performance"].(object)["reps"])
	k.fails("POST", name+"/performances", object{"performance": object{"performance": object{"exerciseId": "back-squatt", "reps": 5}}}, 400, "UNKNOWN_EXERCISE", "performance.performance.exerciseId")
	k.fails("POST", name+"/performances", object{"performance": object{"performance": object{"exerciseId": "back-squat"}}}, 400, "OUT_OF_RANGE", "performance.performance.reps")
	_, list := k.call("GET", name+"/performances?exerciseId=back-squat&fromDate=2026-01-05&toDate=2026-01-05", nil)
	require.Len(t, list["performances"], 1)
	_, list = k.call("GET", name+"/performances?fromDate=2026-01-06", nil)
	require.Empty(t, list["performances"])
	k.fails("GET", name+"/performances?fromDate=2026-02-30", nil, 400, "NOT_A_DATE", "fromDate")

	m := k.ok("POST", name+"/measurements", object{"measurement": object{"quantity": "body mass", "date": "2026-01-05", "value": 80.25, "unit": "kg"}}, "measurement")
	require.Equal(t, 80.25, m["value"])
	k.fails("POST", name+"/measurements", object{"measurement": object{"quantity": "x", "date": "2026-01-05", "value": 0.00001}}, 400, "NOT_EXACT", "measurement.value")
	m = k.ok("PATCH", m["name"].(string), object{"measurement": object{}, "updateMask": "value"}, "measurement")
	require.Equal(t, 0.0, m["value"])

	other := k.ok("POST", "athletes", object{"athlete": object{"profile": object{"ageBand": "AGE_BAND_ADULT"}}}, "athlete")["name"].(string)
	k.fails("GET", strings.Replace(m["name"].(string), name, other, 1), nil, 404, "UNKNOWN", "name")

	l := k.ok("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-05", "exercises": []any{object{"exerciseId": "back-squat", "sets": []any{object{"reps": 5, "load": object{"pounds": 225}, "rir": 0}}}}}}, "sessionLog")
	require.Equal(t, 0.0, l["exercises"].([]any)[0].(object)["sets"].([]any)[0].(object)["rir"])
	k.fails("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-05", "exercises": []any{object{"exerciseId": "no-such"}}}}, 400, "UNKNOWN_EXERCISE", "sessionLog.exercises[0].exerciseId")
	k.fails("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-05", "week": 2}}, 400, "UNKNOWN_REVISION", "sessionLog.programRevision")
	k.fails("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-05", "programRevision": "programs/1"}}, 400, "RESOURCE_NAME", "sessionLog.programRevision")

	k.ok("DELETE", name, nil, "athlete")
	k.fails("POST", name+"/measurements", object{"measurement": object{"quantity": "x", "date": "2026-01-05"}}, 404, "UNKNOWN_ATHLETE", "parent")
}

func TestProgramsOverREST(t *testing.T) {
	k := keeping(t)
	name := k.athlete()
	k.ok("POST", name+"/performances", object{"performance": object{"performance": object{"exerciseId": "back-squat", "reps": 5, "load": object{"kilograms": 100}, "rir": 1}}}, "performance")

	_, all := k.call("GET", "exercises/cable-crunch", nil)
	e, ok := all["exercise"].(object)
	require.True(t, ok, "%v", all)
	e["id"], e["displayName"] = "own-crunch", "Own crunch"
	own := k.ok("POST", "ownExercises", object{"ownExercise": object{"exercise": e}}, "ownExercise")
	require.Equal(t, "exercises/own-crunch", own["exercise"].(object)["name"])
	e["id"] = "back-squat"
	k.fails("POST", "ownExercises", object{"ownExercise": object{"exercise": e}}, 400, "EXERCISE_DUPLICATE", "ownExercise.exercise.id")

	saved := k.ok("POST", "plans", object{"plan": object{"displayName": "waves", "plan": object{"tracks": []any{object{"segments": []any{object{"strategy": "undulating"}}}}}}}, "plan")
	body := object{
		"program": object{"displayName": "Spring"}, "planName": saved["name"],
		"constraints": object{
			"days":   []any{object{"minutes": 60}, object{"minutes": 60}},
			"places": []any{object{"preset": "EQUIPMENT_PRESET_FULL_GYM"}}, "weeks": 4, "pinned": []any{object{"exerciseId": "own-crunch"}},
		},
	}
	path := name + "/programs"
	k.key = someKey
	code, made := k.call("POST", path, body)
	require.Equal(t, 200, code, "%v", made)
	_, again := k.call("POST", path, body)
	require.Equal(t, made, again)
	k.key = ""

	p, revision := made["program"].(object), made["revision"].(object)
	require.Equal(t, "Spring", p["displayName"])
	require.Equal(t, p["name"].(string)+"/revisions/1", revision["name"])
	require.Equal(t, revision["name"], p["latestRevision"])
	text, err := json.Marshal(revision["program"])
	require.NoError(t, err)
	require.Contains(t, string(text), "own-crunch")
	require.Equal(t, "own-crunch", revision["program"].(object)["request"].(object)["ownExercises"].([]any)[0].(object)["id"], "whoever reads the program needs nothing else")
	k.ok("DELETE", own["name"].(string), nil, "ownExercise")
	code, later := k.call("POST", p["name"].(string)+":revise", object{"rework": object{"fromWeek": 2}, "validateOnly": true})
	require.Equal(t, 200, code, "what is no longer stored is still in the program: %v", later)
	require.Empty(t, later["changes"])
	k.ok("POST", own["name"].(string)+":undelete", object{}, "ownExercise")
	require.Contains(t, string(text), "undulating")
	require.Len(t, revision["request"].(object)["athlete"].(object)["performances"], 1)
	require.Equal(t, revision, k.ok("GET", revision["name"].(string), nil, "revision"), "the stored document is the truth")
	_, list := k.call("GET", p["name"].(string)+"/revisions", nil)
	require.Len(t, list["revisions"], 1)
	require.NotContains(t, list["revisions"].([]any)[0], "program")
	k.fails("GET", p["name"].(string)+"/revisions/2", nil, 404, "UNKNOWN", "name")
	k.fails("GET", p["name"].(string)+"/revisions/01", nil, 400, "RESOURCE_NAME", "name")
	require.Equal(t, "Summer", k.ok("PATCH", p["name"].(string), object{"program": object{"displayName": "Summer"}}, "program")["displayName"])

	// A log can name what was prescribed.
	k.ok("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-05", "programRevision": revision["name"], "week": 1, "session": 2}}, "sessionLog")
	k.fails("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-05", "programRevision": revision["name"], "week": 1, "session": 3}}, 400, "UNKNOWN_REVISION", "sessionLog.session")

	body["planName"] = saved["name"].(string)[:len(saved["name"].(string))-4] + "0000"
	k.fails("POST", path, body, 404, "UNKNOWN", "planName")
	delete(body, "planName")
	body["validateOnly"] = true
	code, dry := k.call("POST", path, body)
	require.Equal(t, 200, code, "%v", dry)
	_, list = k.call("GET", path, nil)
	require.Len(t, list["programs"], 1, "a dry run keeps nothing")
	body["constraints"].(object)["pinned"] = []any{object{"exerciseId": "no-such-thing"}}
	k.fails("POST", path, body, 400, "UNKNOWN_EXERCISE", "constraints.pinned[0].exerciseId")
	k.ok("DELETE", p["name"].(string), nil, "program")
	k.ok("POST", p["name"].(string)+":undelete", object{}, "program")
}

func TestRevisionsOverREST(t *testing.T) {
	k := keeping(t)
	name := k.athlete()
	code, made := k.call("POST", name+"/programs", object{"constraints": object{
		"days": []any{object{"minutes": 60}, object{"minutes": 60}}, "places": []any{object{"preset": "EQUIPMENT_PRESET_FULL_GYM"}}, "weeks": 6, "startDate": "2026-01-05",
	}})
	require.Equal(t, 200, code, "%v", made)
	p, before := made["program"].(object), made["revision"].(object)
	path := p["name"].(string)
	k.fails("POST", path+":revise", object{"rework": object{"fromWeek": 60}}, 400, "OUT_OF_RANGE", "rework.fromWeek")
	k.fails("POST", path+":revise", object{"etag": "x"}, 409, "STALE", "etag")

	request := k.ok("GET", before["name"].(string), nil, "revision")["program"].(object)["request"].(object)
	request["constraints"].(object)["excludedExerciseIds"] = []any{"leg-press"}
	change := object{"rework": object{"fromWeek": 3}, "request": request, "reason": "no leg press any more", "etag": p["etag"]}
	change["validateOnly"] = true
	code, dry := k.call("POST", path+":revise", change)
	require.Equal(t, 200, code, "%v", dry)
	delete(change, "validateOnly")
	k.key = someKey
	code, after := k.call("POST", path+":revise", change)
	require.Equal(t, 200, code, "%v", after)
	_, again := k.call("POST", path+":revise", change)
	require.Equal(t, after, again)
	k.key = ""
	require.Equal(t, dry["changes"], after["changes"])
	second := after["revision"].(object)
	require.Equal(t, path+"/revisions/2", second["name"])
	require.Equal(t, second["name"], after["program"].(object)["latestRevision"])
	require.Equal(t, "2026-01-19", second["fromDate"])
	require.Equal(t, "no leg press any more", second["reason"])
	require.Equal(t, before, k.ok("GET", before["name"].(string), nil, "revision"), "a revision is final")
	weeks := func(r object) (out []any) {
		for _, phase := range r["program"].(object)["phases"].([]any) {
			out = append(out, phase.(object)["weeks"].([]any)...)
		}
		return out
	}
	require.Equal(t, weeks(before)[:2], weeks(second)[:2], "the past stays")
	k.fails("POST", path+":revise", change, 409, "STALE", "etag")
	_, list := k.call("GET", path+"/revisions?pageSize=1", nil)
	require.Len(t, list["revisions"], 1)
	_, list = k.call("GET", path+"/revisions?pageSize=1&pageToken="+list["nextPageToken"].(string), nil)
	require.Equal(t, second["name"], list["revisions"].([]any)[0].(object)["name"])
	require.Empty(t, list["nextPageToken"])
}
