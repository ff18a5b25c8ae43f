package app

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"sigs.k8s.io/yaml"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/compare"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/wire"
)

const changed = "../../testdata/changes"

// coachEdit is what a coach does to a program: minutes of days by index, and how it is made again.
type coachEdit struct {
	About   string          `json:"about"`
	Minutes map[int]int32   `json:"minutes"`
	Rework  json.RawMessage `json:"rework"`
}

// TestChanges makes the programs of testdata/changes again after each edit. What is printed
// of it is on record, and what is not told is as it was.
func TestChanges(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	files, err := filepath.Glob(filepath.Join(changed, "*", "request.yaml"))
	require.NoError(t, err)
	require.Len(t, files, 2)
	for _, file := range files {
		dir := filepath.Dir(file)
		t.Run(filepath.Base(dir), func(t *testing.T) {
			base, err := generateFrom(e, file)
			require.NoError(t, err)
			data, err := os.ReadFile(filepath.Join(dir, "must.yaml"))
			require.NoError(t, err)
			m, err := readMust(data)
			require.NoError(t, err)
			v := newView(t, e, &base)
			for _, problem := range m.broken(v) {
				t.Error(problem)
			}
			onRecord(t, filepath.Join(dir, "program.txt"), v.text)
			edits, err := filepath.Glob(filepath.Join(dir, "edit-*.yaml"))
			require.NoError(t, err)
			require.NotEmpty(t, edits)
			for _, file := range edits {
				t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) { edited(t, e, &base, file) })
			}
		})
	}
}

func onRecord(t *testing.T, path, got string) {
	if *rewrite {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "go test ./internal/app -rewrite writes it anew")
}

func edited(t *testing.T, e *engine.Engine, base *plan.Program, file string) {
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	var d coachEdit
	require.NoError(t, yaml.UnmarshalStrict(data, &d))
	require.NotEmpty(t, d.About)
	how := &pb.Rework{}
	_, err = wire.ReadJSON(d.Rework, how)
	require.NoError(t, err)
	require.NoError(t, wire.Validate(how))
	asked, err := wire.ReworkFromProto(how)
	require.NoError(t, err)
	r := ownRequest(t, &base.Request)
	for day, minutes := range d.Minutes {
		r.Constraints.Days[day].Minutes = minutes
	}
	p, err := e.Rework(context.Background(), base, r, asked)
	require.NoError(t, err)
	for _, f := range e.Audit(&p) {
		require.NotEqual(t, plan.LevelViolation, f.Level, f.Says)
	}
	list := compare.Programs(base, &p)
	require.NotEmpty(t, list)
	untold(t, base, &p, list)
	var text bytes.Buffer
	require.NoError(t, export.Changes(&text, base, &p, list, export.Options{Catalogue: e.Catalogue()}))
	for line := range strings.Lines(text.String()) {
		require.LessOrEqual(t, len([]rune(line)), export.Width+1, line)
	}
	onRecord(t, strings.TrimSuffix(file, ".yaml")+".txt", text.String())
}

// untold holds everything that no change tells of against what it was.
func untold(t *testing.T, was, is *plan.Program, list []plan.Change) {
	type place struct {
		week     int32
		weekday  plan.Weekday
		group    string
		exercise string
	}
	told := map[place]bool{}
	for i := range list {
		x := &list[i]
		for _, w := range x.Weeks {
			told[place{w.Week, x.Weekday, x.Group, x.ExerciseID}] = true
		}
	}
	before, after := weeksIn(was), weeksIn(is)
	require.Len(t, after, len(before))
	n := 0
	for i, w := range before {
		require.Len(t, after[i].Sessions, len(w.Sessions))
		for k := range w.Sessions {
			s, now := &w.Sessions[k], &after[i].Sessions[k]
			for j := range s.Exercises {
				x := &s.Exercises[j]
				if told[place{w.Number, s.Weekday, s.Group, x.ExerciseID}] {
					continue
				}
				n++
				found := false
				for l := range now.Exercises {
					if y := now.Exercises[l]; y.ExerciseID == x.ExerciseID {
						found = true
						y.Basis, y.Seconds = x.Basis, x.Seconds
						require.Equal(t, bytesOf(t, *x), bytesOf(t, y), "week %d, %s", w.Number, s.Weekday)
					}
				}
				require.True(t, found, "week %d, %s: %s", w.Number, s.Weekday, x.ExerciseID)
			}
		}
	}
	require.Positive(t, n, "something stays")
}
