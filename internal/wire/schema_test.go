package wire

import (
	"go/ast"
	"go/constant"
	"go/parser"
	"go/token"
	"go/types"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"testing"

	validatepb "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"github.com/stretchr/testify/require"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "github.com/phasewright/phasewright/gen/phasewright/v1"
)

// schemaFiles gives every file of the public schema.
func schemaFiles() (out []protoreflect.FileDescriptor) {
	protoregistry.GlobalFiles.RangeFilesByPackage("phasewright.v1", func(f protoreflect.FileDescriptor) bool {
		out = append(out, f)
		return true
	})
	return out
}

// domainEnum says which constants of the domain an enumeration of the schema mirrors:
// those of a type, whose names may start with a prefix.
type domainEnum struct{ dir, typ, prefix string }

// fromZero are enumerations of the domain whose zero is a value: the usual one. The schema
// has it as 1, and its own zero for not given.
var fromZero = map[protoreflect.Name]bool{"PairCriterion": true, "ImbalanceMeasure": true, "AlphaSpending": true, "IncidentKind": true}

const planDir, exerciseDir = "../../engine/plan", "../../engine/exercise"

const assignDir, matchDir, sequentialDir, analyseDir, conductDir, reportDir = "../../engine/trial/assign", "../../engine/trial/match", "../../engine/trial/sequential",
	"../../engine/trial/analyse", "../../engine/trial/conduct", "../../engine/trial/report"

var domainEnums = map[protoreflect.Name]domainEnum{
	"MassUnit":         {planDir, "MassUnit", ""},
	"Weekday":          {planDir, "Weekday", ""},
	"Muscle":           {planDir, "Muscle", ""},
	"MovementPattern":  {planDir, "Pattern", ""},
	"Joint":            {planDir, "Joint", ""},
	"ExerciseRole":     {planDir, "Role", ""},
	"SkillLevel":       {planDir, "Skill", "Skill"},
	"Equipment":        {planDir, "Equipment", ""},
	"Loading":          {planDir, "Loading", "Loading"},
	"EquipmentPreset":  {planDir, "Preset", "Preset"},
	"Sex":              {planDir, "Sex", ""},
	"AgeBand":          {planDir, "AgeBand", "Age"},
	"TrainingStatus":   {planDir, "Status", ""},
	"Severity":         {planDir, "Severity", "Severity"},
	"MedicalCondition": {planDir, "Condition", ""},
	"PregnancyStage":   {planDir, "Pregnancy", ""},
	"ClearanceScope":   {planDir, "Scope", "Scope"},
	"Supervision":      {planDir, "Supervision", ""},
	"GoalKind":         {planDir, "GoalKind", "Goal"},
	"SetKind":          {planDir, "SetKind", "Set"},
	"SessionKind":      {planDir, "SessionKind", "Session"},
	"WeekKind":         {planDir, "WeekKind", "Week"},
	"ReferenceKind":    {planDir, "ReferenceKind", "Ref"},
	"ProgressionKind":  {planDir, "ProgressKind", "Progress"},
	"PrescribedNumber": {planDir, "Number", "Number"},
	"ContingencyCase":  {planDir, "Case", "Case"},
	"FindingLevel":     {planDir, "FindingLevel", "Level"},
	"ChangeKind":       {planDir, "ChangeKind", "Change"},
	"Equating":         {planDir, "Equating", "Equate"},
	"Measure":          {planDir, "Measure", "Measure"},
	"ParameterKind":    {planDir, "ValueKind", "Value"},
	"BodyRegion":       {exerciseDir, "Region", ""},
	"ExerciseStanding": {exerciseDir, "Standing", ""},
	"JointStress":      {exerciseDir, "untyped int", "Stress"},
	"ExerciseTrait":    {exerciseDir, "Flag", ""},
	"AllocationScheme": {assignDir, "Scheme", ""},
	"AllocationSearch": {planDir, "Search", "Search"},
	"ImbalanceMeasure": {assignDir, "Measure", ""},
	"PairCriterion":    {matchDir, "Criterion", ""},
	"AlphaSpending":    {sequentialDir, "Spending", ""},
	"TrialReading":     {analyseDir, "Reading", ""},
	"TrialState":       {conductDir, "State", "State"},
	"MeasurementTime":  {conductDir, "When", ""},
	"IncidentKind":     {reportDir, "EventKind", ""},
}

// TestEnumNumbers holds every value of every enumeration against the constants of the
// domain, name by name and number by number, both ways.
func TestEnumNumbers(t *testing.T) {
	packages := map[string]*types.Package{}
	for _, dir := range []string{planDir, exerciseDir, assignDir, matchDir, sequentialDir, analyseDir, conductDir, reportDir} {
		packages[dir] = constants(t, dir)
	}
	seen := 0
	for _, f := range schemaFiles() {
		for i := range f.Enums().Len() {
			e := f.Enums().Get(i)
			if e.Name() == "Scope" {
				continue // of the transports; internal/rpc holds it against the service's
			}
			if e.Name() == "RandomisationUnit" { // words in the domain
				for i, u := range units {
					require.Equal(t, "RANDOMISATION_UNIT_"+strings.ToUpper(usual(u, "unspecified")), string(e.Values().ByNumber(protoreflect.EnumNumber(i)).Name()))
				}
				require.Len(t, units, e.Values().Len())
				continue
			}
			d, ok := domainEnums[e.Name()]
			require.True(t, ok, "%s mirrors nothing", e.Name())
			seen++
			want := domainNumbers(packages[d.dir], d, fromZero[e.Name()])
			got := map[string]int64{}
			for j := 1; j < e.Values().Len(); j++ { // the zero is nothing
				v := e.Values().Get(j)
				got[plain(strings.TrimPrefix(string(v.Name()), strings.TrimSuffix(string(e.Values().Get(0).Name()), "UNSPECIFIED")))] = int64(v.Number())
			}
			require.NotEmpty(t, got)
			require.Equal(t, want, got, string(e.Name()))
		}
	}
	require.Equal(t, len(domainEnums), seen)
}

// constants type-checks a package far enough to know its constants; what it imports
// is left open.
func constants(t *testing.T, dir string) *types.Package {
	fset := token.NewFileSet()
	names, err := filepath.Glob(dir + "/*.go")
	require.NoError(t, err)
	var files []*ast.File
	for _, n := range names {
		if strings.HasSuffix(n, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(fset, n, nil, 0)
		require.NoError(t, err)
		files = append(files, f)
	}
	c := types.Config{Importer: noImports{}, Error: func(error) {}}
	p, _ := c.Check(dir, fset, files, nil)
	require.NotNil(t, p)
	return p
}

type noImports struct{}

func (noImports) Import(path string) (*types.Package, error) {
	p := types.NewPackage(path, filepath.Base(path))
	p.MarkComplete()
	return p, nil
}

func domainNumbers(p *types.Package, d domainEnum, zero bool) map[string]int64 {
	out := map[string]int64{}
	for _, name := range p.Scope().Names() {
		c, ok := p.Scope().Lookup(name).(*types.Const)
		if !ok || !c.Exported() || !strings.HasSuffix(c.Type().String(), d.typ) || strings.HasSuffix(name, "Count") {
			continue
		}
		if n, named := c.Type().(*types.Named); named && n.Obj().Name() != d.typ || !named && !strings.HasPrefix(name, d.prefix) {
			continue
		}
		v, _ := constant.Int64Val(c.Val())
		if d.typ == "Flag" { // bits are numbered from 1
			v = int64(trait(uint16(v)))
		}
		if zero {
			v++
		}
		if v != 0 {
			out[plain(strings.TrimPrefix(name, d.prefix))] = v
		}
	}
	return out
}

func plain(name string) string {
	return strings.ReplaceAll(strings.ToLower(strings.ReplaceAll(name, "_", "")), "1rm", "onerm")
}

// TestFieldsAreRuled: every field says how it behaves, and whatever has a range or a
// length has a bound.
func TestFieldsAreRuled(t *testing.T) {
	fields := 0
	for _, f := range schemaFiles() {
		for i := range f.Messages().Len() {
			m := f.Messages().Get(i)
			for j := range m.Fields().Len() {
				fields++
				ruled(t, m.Fields().Get(j))
			}
		}
	}
	require.Greater(t, fields, 250)
}

func ruled(t *testing.T, f protoreflect.FieldDescriptor) {
	name := string(f.FullName())
	behaviour, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	require.Len(t, behaviour, 1, "%s: one of REQUIRED, OPTIONAL, OUTPUT_ONLY, IDENTIFIER", name)
	rules, _ := proto.GetExtension(f.Options(), validatepb.E_Field).(*validatepb.FieldRules)
	// What an update sends is held against the rules after it has been put into the whole.
	partly := rules.GetIgnore() == validatepb.Ignore_IGNORE_ALWAYS
	require.Equal(t, partly, f.Parent().(protoreflect.MessageDescriptor).Fields().ByName("update_mask") != nil && behaviour[0] == annotations.FieldBehavior_REQUIRED, name)
	if behaviour[0] == annotations.FieldBehavior_REQUIRED && f.Message() != nil && !f.IsList() && !partly {
		require.True(t, rules.GetRequired(), "%s is REQUIRED", name)
	}
	if f.IsList() {
		require.NotNil(t, rules.GetRepeated().MaxItems, "%s: most items", name)
		rules = rules.GetRepeated().GetItems()
	}
	switch f.Kind() {
	case protoreflect.StringKind:
		require.True(t, rules.GetString().MaxLen != nil || rules.GetString().Pattern != nil, "%s: longest text", name)
	case protoreflect.BytesKind:
		require.NotNil(t, rules.GetBytes().MaxLen, "%s: most bytes", name)
	case protoreflect.EnumKind:
		require.True(t, rules.GetEnum().GetDefinedOnly() || behaviour[0] == annotations.FieldBehavior_OUTPUT_ONLY, "%s: defined values only", name)
	case protoreflect.DoubleKind:
		d := rules.GetDouble()
		require.True(t, d.GetLessThan() != nil && d.GetGreaterThan() != nil, "%s: range", name)
	case protoreflect.Int32Kind:
		d := rules.GetInt32()
		most := d.GetLessThan() != nil || f.Name() == "page_size" // of which too much is taken as the most
		require.True(t, most && d.GetGreaterThan() != nil, "%s: range", name)
	case protoreflect.Int64Kind:
		d := rules.GetInt64()
		require.True(t, d.GetLessThan() != nil && d.GetGreaterThan() != nil, "%s: range", name)
	case protoreflect.BoolKind, protoreflect.MessageKind, protoreflect.Uint32Kind: // every value is fine
	default:
		require.Fail(t, "no rule for the kind of "+name)
	}
}

var (
	rooted = regexp.MustCompile(`"((?:athlete|goals|constraints|plan|exercises|rework)(?:\[(?:%d|0)\])?(?:\.[a-z_0-9]+(?:\[(?:%d|0)\])?)+)\.?"`)
	index  = regexp.MustCompile(`\[(%d|0)\]`)
)

// TestEngineSpeaksTheSchema: paths that the engine puts into faults and assumptions are
// those of the request's schema.
func TestEngineSpeaksTheSchema(t *testing.T) {
	var names []string
	for _, dir := range []string{"engine", "engine/schedule", "engine/audit"} {
		list, err := filepath.Glob("../../" + dir + "/*.go")
		require.NoError(t, err)
		names = append(names, list...)
	}
	sort.Strings(names)
	found := 0
	var strange []string
	for _, n := range names {
		if strings.HasSuffix(n, "_test.go") {
			continue
		}
		src, err := os.ReadFile(n)
		require.NoError(t, err)
		for _, m := range rooted.FindAllStringSubmatch(string(src), -1) {
			found++
			if !inSchema(m[1]) {
				strange = append(strange, strings.TrimPrefix(n, "../../")+": "+m[1])
			}
		}
	}
	require.Empty(t, strange, "no fields of the request")
	require.Greater(t, found, 20)
	require.False(t, inSchema("athlete.nonsense"))
}

func inSchema(path string) bool {
	var d protoreflect.MessageDescriptor = (&pb.ProgramRequest{}).ProtoReflect().Descriptor()
	if strings.HasPrefix(path, "rework") {
		d = (&pb.RegenerateProgramRequest{}).ProtoReflect().Descriptor()
	}
	for _, step := range strings.Split(path, ".") {
		if d == nil {
			return false
		}
		name := index.ReplaceAllString(step, "")
		f := d.Fields().ByName(protoreflect.Name(name))
		if f == nil || f.IsList() != (name != step) && name != step {
			return false
		}
		d = f.Message()
	}
	return true
}
