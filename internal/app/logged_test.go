package app

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What was logged moves the loads of the next revision, without a word about it in the
// call; what was logged is not made again.
func TestRevisionsTakeInLogs(t *testing.T) {
	k := keeping(t)
	name := k.ok("POST", "athletes", object{"athlete": object{"profile": object{
		"ageBand": "AGE_BAND_ADULT", "trainingStatus": "TRAINING_STATUS_INTERMEDIATE", "screening": object{"regularExercise": true, "knownDisease": false, "symptoms": false},
	}}}, "athlete")["name"].(string)
	kilos := func(n float64) object { return object{"kilograms": n} }
	k.ok("POST", name+"/performances", object{"performance": object{"performance": object{"exerciseId": "back-squat", "load": kilos(100), "reps": 5, "rir": 1, "date": "2025-12-30"}}}, "performance")
	code, made := k.call("POST", name+"/programs", object{"goals": []any{object{"kind": "GOAL_KIND_RAISE_ONE_RM", "exerciseId": "back-squat"}}, "constraints": object{
		"days":   []any{object{"weekday": "WEEKDAY_MONDAY", "minutes": 60}, object{"weekday": "WEEKDAY_THURSDAY", "minutes": 60}},
		"places": []any{object{"preset": "EQUIPMENT_PRESET_FULL_GYM", "safeties": true}}, "weeks": 6, "startDate": "2026-01-05",
	}})
	require.Equal(t, 200, code, "%v", made)
	p, first := made["program"].(object), made["revision"].(object)
	path := p["name"].(string)
	strength := func(r object) object {
		for _, s := range r["program"].(object)["strengths"].([]any) {
			if s.(object)["exerciseId"] == "back-squat" {
				return s.(object)
			}
		}
		return nil
	}
	set := func(load float64, reps, rir int) object { return object{"load": kilos(load), "reps": reps, "rir": rir} }
	log := func(date string, week, session int, sets ...any) object {
		return object{"sessionLog": object{"date": date, "programRevision": first["name"], "week": week, "session": session,
			"exercises": []any{object{"exerciseId": "back-squat", "sets": sets}}}}
	}
	k.fails("POST", name+"/sessionLogs", log("2026-01-05", 1, 1, set(1000, 5, 1)), 400, "IMPLAUSIBLE", "sessionLog.exercises[0].sets[0].load")
	k.ok("POST", name+"/sessionLogs", log("2026-01-05", 1, 1, set(115, 5, 1), set(115, 5, 0)), "sessionLog")
	wrong := k.ok("POST", name+"/sessionLogs", log("2026-01-08", 1, 2, set(60, 3, 0)), "sessionLog")["name"].(string)
	k.ok("DELETE", wrong, nil, "sessionLog")
	k.ok("POST", name+"/sessionLogs", object{"sessionLog": object{"date": "2026-01-08", "programRevision": first["name"], "week": 1, "session": 2}}, "sessionLog") // missed

	k.fails("POST", path+":revise", object{"rework": object{"fromDate": "2026-01-08"}}, 400, "LOGGED", "rework.fromDate")
	k.fails("POST", path+":revise", object{}, 400, "LOGGED", "rework.fromDate")
	code, after := k.call("POST", path+":revise", object{"rework": object{"fromWeek": 2}})
	require.Equal(t, 200, code, "%v", after)
	second := after["revision"].(object)
	shown := second["request"].(object)["athlete"].(object)["performances"].([]any)
	require.Len(t, shown, 2, "of the log the first of equal sets, of the deleted one none")
	require.Equal(t, object{"exerciseId": "back-squat", "load": kilos(115), "reps": 5.0, "rir": 1.0, "toFailure": false, "date": "2026-01-05"}, shown[1])
	was, is := strength(first)["oneRmKilograms"].(float64), strength(second)["oneRmKilograms"].(float64)
	require.Greater(t, is, was)
	require.NotEmpty(t, after["changes"])

	// The same again with nothing new moves nothing; a change of the request goes with
	// what was logged too.
	code, same := k.call("POST", path+":revise", object{"rework": object{"fromWeek": 3}})
	require.Equal(t, 200, code, "%v", same)
	require.Empty(t, same["changes"])
	k.ok("POST", name+"/sessionLogs", log("2026-01-19", 3, 1, set(120, 5, 1)), "sessionLog")
	request := k.ok("GET", second["name"].(string), nil, "revision")["request"].(object)
	request["constraints"].(object)["excludedExerciseIds"] = []any{"leg-press"}
	code, last := k.call("POST", path+":revise", object{"rework": object{"fromDate": "2026-01-20"}, "request": request})
	require.Equal(t, 200, code, "%v", last)
	require.Len(t, last["revision"].(object)["request"].(object)["athlete"].(object)["performances"], 3)
}
