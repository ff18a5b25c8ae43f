package app

import (
	"bytes"
	"context"
	"encoding/json"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"
	"pgregory.net/rapid"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine"
	"github.com/phasewright/phasewright/engine/plan"
	"github.com/phasewright/phasewright/internal/export"
	"github.com/phasewright/phasewright/internal/wire"
)

// inPounds is a garage in pounds, and where foreign with a bar, plates, dumbbells and an
// add-on in kilograms among what is there.
func inPounds(t *rapid.T, foreign bool) plan.Place {
	p := plan.Place{ID: "garage", Items: []plan.Equipment{plan.Rack, plan.FlatBench, plan.PullUpBar, plan.DipBelt, plan.LatPulldownStation}, Safeties: plan.Some(true)}
	mass := func(lb, kg int64, label string) plan.Load {
		if foreign && rapid.Bool().Draw(t, label+" in kg") {
			return plan.Kg(kg)
		}
		return plan.Lb(lb)
	}
	bar := plan.Bar{Kind: plan.Barbell, Mass: mass(45_000, 20_000, "bar")}
	if rapid.Bool().Draw(t, "collars") {
		bar.Collars = plan.Some(mass(1000, 2500, "collar"))
	}
	p.Bars = []plan.Bar{bar}
	for _, m := range []struct{ lb, kg int64 }{{45_000, 20_000}, {25_000, 12_500}, {10_000, 5000}, {5000, 2500}, {2500, 1250}} {
		if n := rapid.Int32Range(0, 6).Draw(t, "count"); n > 0 {
			p.Plates = append(p.Plates, plan.PlateStock{Mass: mass(m.lb, m.kg, "plate"), Count: n})
		}
	}
	p.Plates = append(p.Plates, plan.PlateStock{Mass: plan.Lb(35_000), Count: 2})
	p.Adjustables = []plan.Adjustable{{Count: 2, Handle: plan.Some(mass(5000, 2250, "handle")), Plates: []plan.PlateStock{{Mass: mass(5000, 2500, "small"), Count: 8}, {Mass: mass(2500, 1250, "smaller"), Count: 4}}}}
	p.Dumbbells = []plan.HeldStock{{Mass: mass(40_000, 17_500, "dumbbell"), Count: 2}}
	p.Stacks = []plan.Stack{{Kind: plan.LatPulldownStation, First: plan.Lb(20_000), Step: plan.Lb(15_000), Last: plan.Lb(200_000),
		AddOns: []plan.PlateStock{{Mass: mass(5000, 2500, "add-on"), Count: 2}}}}
	return p
}

var kgText = regexp.MustCompile(`([0-9]+\.[0-9]+) ?kg`)

// TestPoundsShowNoFractionsOfKilograms makes programs of a lifter in pounds. Nothing in
// the text, and no number or sentence of the JSON, is a fraction of a kilogram, but for
// what is marked so on a piece that is there; no total is in kilograms at all.
func TestPoundsShowNoFractionsOfKilograms(t *testing.T) {
	t.Parallel()
	e, err := NewEngine()
	require.NoError(t, err)
	e = e.WithBudget(10_000)
	request := scenarioRequest(t, "pounds-gym")
	request.Constraints.Weeks = plan.Some[int32](2)

	programs, totals := 0, 0
	for _, foreign := range []bool{false, true} {
		rapid.Check(t, func(t *rapid.T) {
			if programs >= 60 && !foreign || programs >= 120 {
				return // enough of each
			}
			r := request
			r.Constraints.Places = []plan.Place{inPounds(t, foreign)}
			p, err := e.Generate(context.Background(), r)
			require.NoError(t, err)
			programs++
			totals += poundsOnly(t, e, &p)
		})
	}
	require.Greater(t, totals, 1000, "there were loads to look at")
}

// poundsOnly checks one program and counts its loads.
func poundsOnly(t *rapid.T, e *engine.Engine, p *plan.Program) int {
	place := &p.Request.Constraints.Places[0]
	marked := marks(place)
	says := func(where, s string) {
		for _, m := range kgText.FindAllStringSubmatch(s, -1) {
			require.True(t, marked[m[1]], "%s: %q in %q", where, m[0], s)
		}
	}
	var text bytes.Buffer
	require.NoError(t, export.Text(&text, p, export.Options{Catalogue: e.Catalogue()}))
	for line := range strings.Lines(text.String()) {
		says("text", line)
	}
	body, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(wire.ProgramToProto(p))
	require.NoError(t, err)
	var tree any
	require.NoError(t, json.Unmarshal(body, &tree))
	n := 0
	walk(tree, "", func(path string, v any) {
		switch v := v.(type) {
		case string:
			says(path, v)
		case float64:
			if !strings.HasSuffix(path, ".kilograms") {
				break
			}
			for _, piece := range []string{"plates_per_side", "base", "collars", "add_ons", "load"} {
				if strings.Contains(path, piece+".") && marked[strconv.FormatFloat(v, 'f', -1, 64)] {
					return
				}
			}
			t.Fatalf("%s is %v kg", path, v)
		}
	})
	for i := range p.Phases {
		for _, w := range p.Phases[i].Weeks {
			for _, s := range w.Sessions {
				for k := range s.Exercises {
					x, _ := e.Catalogue().ByID(s.Exercises[k].ExerciseID)
					for _, set := range s.Exercises[k].Sets {
						if !set.Load.Set {
							continue
						}
						n++
						single := (x.Loading == plan.LoadingDumbbell || x.Loading == plan.LoadingDumbbellPair) && len(set.Plates) == 0
						require.True(t, set.Load.Value.Unit == plan.Pound || single, "%s: %s", x.ID, set.Load.Value)
					}
				}
			}
		}
	}
	return n
}

// marks are the kilograms that stand on something.
func marks(p *plan.Place) map[string]bool {
	out := map[string]bool{}
	add := func(l plan.Load) {
		if l.Unit == plan.Kilogram {
			out[l.Number()] = true
		}
	}
	for _, b := range p.Bars {
		add(b.Mass)
		add(b.Collars.Value)
	}
	for _, s := range p.Plates {
		add(s.Mass)
	}
	for _, s := range p.Dumbbells {
		add(s.Mass)
	}
	for _, a := range p.Adjustables {
		add(a.Handle.Value)
		for _, s := range a.Plates {
			add(s.Mass)
		}
	}
	for _, s := range p.Stacks {
		for _, a := range s.AddOns {
			add(a.Mass)
		}
	}
	return out
}

// walk visits all leaves but those of the request, which is what the caller sent, and
// numbers whose name says that they are kilograms whatever the request's unit.
func walk(v any, path string, visit func(path string, v any)) {
	switch v := v.(type) {
	case map[string]any:
		for k, c := range v {
			if path == "" && k == "request" || strings.HasSuffix(k, "_kilograms") {
				continue
			}
			walk(c, path+"."+k, visit)
		}
	case []any:
		for _, c := range v {
			walk(c, path, visit)
		}
	default:
		visit(path, v)
	}
}

// Gym loads go through the API's messages and JSON, and back, to the last thousandth.
func TestGymLoadsSurviveTheWire(t *testing.T) {
	request := plan.Request{Constraints: plan.Constraints{Places: []plan.Place{{ID: "gym"}}}}
	stock := &request.Constraints.Places[0].Plates
	for milli := int64(250); milli <= 600_000; milli += 250 {
		*stock = append(*stock, plan.PlateStock{Mass: plan.Kg(milli), Count: 1})
	}
	for milli := int64(500); milli <= 1_300_000; milli += 500 {
		*stock = append(*stock, plan.PlateStock{Mass: plan.Lb(milli), Count: 1}, plan.PlateStock{Mass: plan.Lb(milli).In(plan.Kilogram).In(plan.Pound), Count: 1})
	}
	body, err := protojson.Marshal(wire.RequestToProto(request))
	require.NoError(t, err)
	require.NotContains(t, string(body), "00000")
	var again pb.ProgramRequest
	require.NoError(t, protojson.Unmarshal(body, &again))
	back, err := wire.RequestFromProto(&again)
	require.NoError(t, err)
	require.Equal(t, *stock, back.Constraints.Places[0].Plates)
}
