package app

import (
	"context"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// send makes a call with headers, in pairs, and gives the whole answer.
func (k *keeper) send(method, path, body string, headers ...string) (*http.Response, string) {
	k.t.Helper()
	r, err := http.NewRequest(method, k.url+"/v1/"+path, strings.NewReader(body))
	require.NoError(k.t, err)
	r.Header.Set("Authorization", "Bearer "+k.as)
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		r.Header.Add(headers[i], headers[i+1])
	}
	a, err := http.DefaultClient.Do(r)
	require.NoError(k.t, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(k.t, err)
	return a, string(text)
}

// Conditions of RFC 9110, section 13: what is answered once and not again, and what is
// not overwritten.
func TestConditionsOverREST(t *testing.T) {
	k := keeping(t)
	name := k.athlete()
	got, body := k.send("GET", name, "")
	require.Equal(t, 200, got.StatusCode)
	first := got.Header.Get("ETag")
	require.Equal(t, first, k.ok("GET", name, nil, "athlete")["etag"], "the header is the field")

	for have, want := range map[string]int{first: 304, "W/" + first: 304, `"x", ` + first: 304, "*": 304, `"x"`: 200, "nothing": 200, `"x", "y"`: 200} {
		a, text := k.send("GET", name, "", "If-None-Match", have)
		require.Equal(t, want, a.StatusCode, have)
		require.Equal(t, first, a.Header.Get("ETag"))
		if want == 304 {
			require.Empty(t, text)
			require.Empty(t, a.Header.Get("Content-Type"))
		} else {
			require.Equal(t, body, text)
		}
	}
	a, _ := k.send("GET", name, "", "If-None-Match", `"x"`, "If-None-Match", first)
	require.Equal(t, 304, a.StatusCode, "a header in two lines is one list")
	a, _ = k.send("HEAD", name, "", "If-None-Match", first)
	require.Equal(t, 304, a.StatusCode)
	a, text := k.send("GET", "athletes", "", "If-None-Match", "*")
	require.Equal(t, 200, a.StatusCode, "a list has no ETag")
	require.Empty(t, a.Header.Get("ETag"))
	require.Contains(t, text, name)
	a, text = k.send("GET", name[:len(name)-4]+"0000", "", "If-None-Match", "*")
	require.Equal(t, 404, a.StatusCode, text)

	refused := func(code int, reason, field, method, path, body string, headers ...string) {
		t.Helper()
		a, text := k.send(method, path, body, headers...)
		require.Equal(t, code, a.StatusCode, text)
		var s struct {
			Details []struct {
				Reason   string
				Metadata map[string]string
			}
		}
		require.NoError(t, json.Unmarshal([]byte(text), &s))
		require.Equal(t, reason, s.Details[0].Reason)
		require.Equal(t, field, s.Details[0].Metadata["field"])
	}
	change := `{"athlete": {"profile": {"sex": "SEX_FEMALE"}}}`
	a, text = k.send("PATCH", name, change, "If-Match", first)
	require.Equal(t, 200, a.StatusCode, text)
	second := a.Header.Get("ETag")
	require.NotEqual(t, first, second)
	refused(412, "STALE", "athlete.etag", "PATCH", name, change, "If-Match", first)
	refused(412, "STALE", "athlete.etag", "PATCH", name, change, "If-Match", "W/"+second)
	refused(412, "STALE", "etag", "DELETE", name, "", "If-Match", first)
	refused(412, "STALE", "etag", "POST", name+":undelete", "{}", "If-Match", first)
	refused(409, "STALE", "etag", "DELETE", name+`?etag=%22x%22`, "")
	refused(400, "FIELD_TWICE", "athlete.etag", "PATCH", name, `{"athlete": {"etag": "\"x\""}}`, "If-Match", second)
	refused(400, "CONDITION", "athlete.etag", "PATCH", name, change, "If-Match", first+", "+second)
	refused(400, "CONDITION", "athlete.etag", "PATCH", name, change, "If-Match", first, "If-Match", second)
	refused(400, "CONDITION", "", "POST", "athletes", `{"athlete": {"profile": {"ageBand": "AGE_BAND_ADULT"}}}`, "If-Match", second)
	refused(400, "CONDITION", "", "PATCH", name, change, "If-None-Match", "*")
	refused(404, "UNKNOWN", "athlete.name", "PATCH", name[:len(name)-4]+"0000", change, "If-Match", "*")
	a, text = k.send("PATCH", name, change, "If-Match", "*")
	require.Equal(t, 200, a.StatusCode, text)

	// A revision, too; and the same over gRPC.
	code, made := k.call("POST", name+"/programs", object{"constraints": object{
		"days": []any{object{"minutes": 45}, object{"minutes": 45}}, "places": []any{object{"preset": "EQUIPMENT_PRESET_FULL_GYM"}}, "weeks": 4,
	}})
	require.Equal(t, 200, code, "%v", made)
	p := made["program"].(object)
	refused(412, "STALE", "etag", "POST", p["name"].(string)+":revise", "{}", "If-Match", first)
	a, text = k.send("POST", p["name"].(string)+":revise", "{}", "If-Match", p["etag"].(string))
	require.Equal(t, 200, a.StatusCode, text)
	require.NotEqual(t, p["etag"], a.Header.Get("ETag"))
	ctx := metadata.AppendToOutgoingContext(as(k.as), "if-match", first)
	_, err := pb.NewAthleteServiceClient(k.conn).DeleteAthlete(ctx, &pb.DeleteAthleteRequest{Name: name})
	require.Equal(t, codes.Aborted, status.Code(err))
}

// 64 who add to the same resource at the same time, each to what it has read, lose
// nothing: there are as many versions as writes that succeeded.
func TestParallelWriters(t *testing.T) {
	stored(t, func(t *testing.T, r *running, admin string) {
		c := pb.NewMeasurementServiceClient(r.conn)
		a, err := pb.NewAthleteServiceClient(r.conn).CreateAthlete(as(admin), &pb.CreateAthleteRequest{Athlete: adult()})
		require.NoError(t, err)
		made, err := c.CreateMeasurement(as(admin), &pb.CreateMeasurementRequest{
			Parent: a.GetAthlete().GetName(), Measurement: &pb.Measurement{Quantity: "times", Date: "2026-01-05"},
		})
		require.NoError(t, err)
		name := made.GetMeasurement().GetName()
		const writers, each = 64, 2
		var all sync.WaitGroup
		var mu sync.Mutex
		tags := map[string]bool{made.GetMeasurement().GetEtag(): true}
		clashes := 0
		for range writers {
			all.Go(func() {
				for done := 0; done < each; {
					got, err := c.GetMeasurement(as(admin), &pb.GetMeasurementRequest{Name: name})
					if err != nil {
						t.Error(err)
						return
					}
					m := got.GetMeasurement()
					m.Value++
					now, err := c.UpdateMeasurement(as(admin), &pb.UpdateMeasurementRequest{Measurement: m})
					mu.Lock()
					switch code := status.Code(err); code {
					case codes.OK:
						done++
						if tag := now.GetMeasurement().GetEtag(); tags[tag] {
							t.Error("two writes made one version")
						} else {
							tags[tag] = true
						}
					case codes.Aborted, codes.Unavailable: // STALE; too many at once
						clashes++
					default:
						t.Error(err)
						done = each
					}
					mu.Unlock()
				}
			})
		}
		all.Wait()
		got, err := c.GetMeasurement(context.WithoutCancel(as(admin)), &pb.GetMeasurementRequest{Name: name})
		require.NoError(t, err)
		require.EqualValues(t, writers*each, got.GetMeasurement().GetValue())
		require.Len(t, tags, writers*each+1)
		t.Logf("%d writes, %d clashes", writers*each, clashes)
	})
}
