package main

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"sigs.k8s.io/yaml"

	"github.com/phasewright/phasewright/internal/app"
	"github.com/phasewright/phasewright/internal/wire"
)

func TestGenerateWithoutARequest(t *testing.T) {
	got := run(t, "", "generate")
	require.Equal(t, exitOK, got.code, got.err)
	require.Contains(t, got.err, "invented athlete")
	for _, want := range []string{
		"Robin Example (invented) · intermediate · 8 weeks, Mon 4 Jan 2027", "Example Gym (invented)",
		"Week 1 in full", "Bench press", "All weeks of the phase", "SETS A WEEK BY MUSCLE", "WHEN IT GOES DIFFERENTLY",
	} {
		require.Contains(t, got.out, want)
	}
	require.NotContains(t, got.out, "WHY THESE NUMBERS")
	require.Equal(t, got.out, run(t, "", "generate").out)
}

func TestGenerateOneWeekAndWhy(t *testing.T) {
	got := run(t, string(demo), "generate", "-f", "-", "--week", "3", "--why")
	require.Equal(t, exitOK, got.code, got.err)
	require.Empty(t, got.err)
	require.Contains(t, got.out, "Week 3 in full")
	require.NotContains(t, got.out, "Week 1 in full")
	require.Contains(t, got.out, "WHY THESE NUMBERS")
	require.Contains(t, got.out, "Source: ")
}

// YAML and JSON, file and standard input, the embedded example and its printed copy:
// one program.
func TestGenerateReadsYAMLAndJSON(t *testing.T) {
	want := demoJSON(t)
	asJSON, err := yaml.YAMLToJSON(demo)
	require.NoError(t, err)
	example := run(t, "", "generate", "--example")
	require.Equal(t, string(demo), example.out)
	require.Equal(t, want, run(t, string(asJSON), "generate", "-f", "-", "--json").out)
	require.Equal(t, want, run(t, "", "generate", "-f", file(t, "r.json", string(asJSON)), "--json").out)
	require.Equal(t, want, run(t, "", "generate", "-f", file(t, "r.yaml", example.out), "--json").out)
}

// What is printed as JSON is the program, nothing added and nothing lost.
func TestGenerateJSONIsTheProgram(t *testing.T) {
	printed := []byte(demoJSON(t))
	require.True(t, json.Valid(printed))
	message, err := wire.ReadProgram(printed)
	require.NoError(t, err)
	read, err := wire.ProgramFromProto(message)
	require.NoError(t, err)
	intact, err := read.Intact()
	require.NoError(t, err)
	require.True(t, intact)
	require.True(t, proto.Equal(message, wire.ProgramToProto(read)))

	engine, err := app.NewEngine()
	require.NoError(t, err)
	request, err := wire.ReadRequest(demo)
	require.NoError(t, err)
	domain, err := wire.RequestFromProto(request)
	require.NoError(t, err)
	made, err := engine.Generate(context.Background(), domain)
	require.NoError(t, err)
	require.Equal(t, made.Digest, read.Digest)
}

func TestGenerateNamesWrongFields(t *testing.T) {
	for _, c := range []struct {
		from, to, says string
	}{
		{"minutes: 75", "minuts: 75", "constraints.days[0].minuts: "},
		{"minutes: 75", "minutes: 7", "constraints.days[0].minutes: is 7"},
		{"exercise_id: back-squat", "exercise_id: back-sqat", "did you mean back-squat"},
		{"AGE_BAND_ADULT", "AGE_BAND_ADUL", "did you mean AGE_BAND_ADULT"},
		{"strategy: strength-then-size", "strategy: strength-then-sise", "strength-then-size"},
	} {
		got := run(t, strings.Replace(string(demo), c.from, c.to, 1), "generate", "-f", "-")
		require.Equal(t, exitInvalid, got.code, c.to)
		require.Contains(t, got.err, c.says)
		require.Regexp(t, `\[[A-Z_]+\]\n$`, got.err)
		require.Empty(t, got.out)
	}
}

func TestGenerateRefusesForSafety(t *testing.T) {
	got := run(t, strings.Replace(string(demo), "symptoms: false", "symptoms: true", 1), "generate", "-f", "-")
	require.Equal(t, exitRefused, got.code)
	require.Contains(t, got.err, "clearance")
	require.Empty(t, got.out)
}

func TestGenerateSaysWhatClashes(t *testing.T) {
	got := run(t, strings.Replace(string(demo), "preset: EQUIPMENT_PRESET_FULL_GYM", "preset: EQUIPMENT_PRESET_BODYWEIGHT", 1), "generate", "-f", "-")
	require.Equal(t, exitInfeasible, got.code)
	require.Contains(t, got.err, "goals[0].exercise_id: ")
}
