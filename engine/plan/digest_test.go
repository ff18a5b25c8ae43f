package plan

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestNounsAreWholeNumbers: no float, map, pointer, interface or hidden field is
// reachable from what is stored and digested, and every field has a name of its own.
func TestNounsAreWholeNumbers(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var walk func(x reflect.Type, path string)
	walk = func(x reflect.Type, path string) {
		switch x.Kind() {
		case reflect.Bool, reflect.String, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Int32, reflect.Int64:
		case reflect.Slice:
			walk(x.Elem(), path+"[]")
		case reflect.Struct:
			if seen[x] {
				return
			}
			seen[x] = true
			names := map[string]bool{}
			for i := range x.NumField() {
				f := x.Field(i)
				name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
				require.True(t, f.IsExported(), "%s.%s is hidden", path, f.Name)
				require.NotEmpty(t, name, "%s.%s has no name", path, f.Name)
				require.NotEqual(t, "-", name, "%s.%s is left out", path, f.Name)
				require.False(t, names[name], "%s has %s twice", path, name)
				names[name] = true
				walk(f.Type, path+"."+f.Name)
			}
		default:
			t.Errorf("%s is a %s", path, x.Kind())
		}
	}
	for _, v := range []any{Program{}, Request{}, Outline{}, OutlineRequest{}, Descriptor{}} {
		walk(reflect.TypeOf(v), reflect.TypeOf(v).Name())
	}
	require.Greater(t, len(seen), 50)
}

// fill sets every field to something, each number to another one.
func fill(v reflect.Value, next *int64) {
	*next++
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(true)
	case reflect.String:
		v.SetString(fmt.Sprintf("t%d", *next))
	case reflect.Uint8:
		v.SetUint(uint64(*next%200) + 1)
	case reflect.Uint16, reflect.Uint32:
		v.SetUint(uint64(*next))
	case reflect.Int32, reflect.Int64:
		v.SetInt(*next)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fill(v.Index(0), next)
		fill(v.Index(1), next)
	case reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), next)
		}
	}
}

// leaves calls f for every value that holds no other, and for every list.
func leaves(v reflect.Value, path string, f func(v reflect.Value, path string)) {
	switch v.Kind() {
	case reflect.Slice:
		f(v, path)
		for i := range v.Len() {
			leaves(v.Index(i), fmt.Sprintf("%s[%d]", path, i), f)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			leaves(v.Field(i), path+"."+v.Type().Field(i).Name, f)
		}
	default:
		f(v, path)
	}
}

// changes gives other values for a leaf: the next one, and none.
func changes(v reflect.Value) []reflect.Value {
	other := reflect.New(v.Type()).Elem()
	out := []reflect.Value{reflect.Zero(v.Type())}
	switch v.Kind() {
	case reflect.Bool:
		return out
	case reflect.String:
		other.SetString(v.String() + "x")
	case reflect.Uint8, reflect.Uint16, reflect.Uint32:
		other.SetUint(v.Uint() + 1)
	case reflect.Int32, reflect.Int64:
		other.SetInt(-v.Int())
	case reflect.Slice:
		other.Set(v.Slice(0, 1))
		if v.Len() != 2 || reflect.DeepEqual(v.Index(0).Interface(), v.Index(1).Interface()) {
			break
		}
		swapped := reflect.MakeSlice(v.Type(), 2, 2)
		swapped.Index(0).Set(v.Index(1))
		swapped.Index(1).Set(v.Index(0))
		out = append(out, swapped)
	}
	return append(out, other)
}

func everyChangeCounts(t *testing.T, v reflect.Value, digest func() string) {
	n := 0
	whole := digest()
	leaves(v, v.Type().Name(), func(leaf reflect.Value, path string) {
		was := reflect.New(leaf.Type()).Elem()
		was.Set(leaf)
		for _, other := range changes(leaf) {
			leaf.Set(other)
			if digest() == whole {
				t.Errorf("%s: %v instead of %v changes nothing", path, other, was)
			}
			n++
		}
		leaf.Set(was)
	})
	require.Equal(t, whole, digest())
	require.Greater(t, n, 300)
}

func TestEveryFieldOfARequestCounts(t *testing.T) {
	var r Request
	next := int64(0)
	fill(reflect.ValueOf(&r).Elem(), &next)
	everyChangeCounts(t, reflect.ValueOf(&r).Elem(), func() string {
		d, err := DigestOf(r)
		require.NoError(t, err)
		return d
	})
}

func TestEveryFieldOfAProgramCounts(t *testing.T) {
	var p Program
	next := int64(0)
	fill(reflect.ValueOf(&p).Elem(), &next)
	p.Request = Request{Seed: 1, Goals: []Goal{{Kind: GoalGeneral}}, Constraints: Constraints{Excluded: []string{"a", "b"}}} // has its own test
	require.NoError(t, p.Seal())
	sealed := p.Digest
	v := reflect.ValueOf(&p).Elem()
	for i := range v.NumField() {
		name := v.Type().Field(i).Name
		if name == "Digest" || name == "Request" {
			continue
		}
		leaves(v.Field(i), name, func(leaf reflect.Value, path string) {
			was := reflect.New(leaf.Type()).Elem()
			was.Set(leaf)
			for _, other := range changes(leaf) {
				leaf.Set(other)
				if ok, err := p.Intact(); ok || err != nil {
					t.Errorf("%s: %v instead of %v goes unnoticed (%v)", path, other, was, err)
				}
			}
			leaf.Set(was)
		})
	}
	ok, err := p.Intact()
	require.True(t, ok)
	require.NoError(t, err)
	p.Request.Seed++
	ok, err = p.Intact()
	require.False(t, ok, "the request is part of it")
	require.NoError(t, err)
	p.Request.Seed--
	p.Digest = "sha256:0"
	ok, err = p.Intact()
	require.False(t, ok)
	require.NoError(t, err)
	require.NoError(t, p.Seal())
	require.Equal(t, sealed, p.Digest, "the digest itself is no part of it")
}

// TestUnsetAndZeroDifferInTheDigest goes through every optional field.
func TestUnsetAndZeroDifferInTheDigest(t *testing.T) {
	n := 0
	var walk func(root any, v reflect.Value, path string)
	walk = func(root any, v reflect.Value, path string) {
		switch {
		case v.Kind() == reflect.Slice:
			v.Set(reflect.MakeSlice(v.Type(), 1, 1))
			walk(root, v.Index(0), path+"[0]")
			v.SetZero()
			return
		case v.Kind() != reflect.Struct:
			return
		}
		if set := v.FieldByName("Set"); strings.HasPrefix(v.Type().Name(), "Opt[") {
			unset, err := DigestOf(root)
			require.NoError(t, err)
			set.SetBool(true)
			zero, err := DigestOf(root)
			require.NoError(t, err)
			require.NotEqual(t, unset, zero, path)
			set.SetBool(false)
			n++
		}
		for i := range v.NumField() {
			walk(root, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	}
	var r Request
	walk(&r, reflect.ValueOf(&r).Elem(), "Request")
	var p Program
	walk(&p, reflect.ValueOf(&p).Elem(), "Program")
	require.Greater(t, n, 60)
}

func TestCanonicalIsReadBackUnchanged(t *testing.T) {
	var p, back Program
	next := int64(0)
	fill(reflect.ValueOf(&p).Elem(), &next)
	b, err := Canonical(p)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &back))
	require.Equal(t, p, back)
	again, err := Canonical(back)
	require.NoError(t, err)
	require.Equal(t, string(b), string(again))
	require.NotContains(t, string(b), "\n")
}

// TestCanonicalIsOnRecord pins the encoding: what is stored and digested must not move.
func TestCanonicalIsOnRecord(t *testing.T) {
	r := Request{
		Athlete:     Athlete{Name: "A & B <c>", Age: AgeAdult, BodyMass: Some(Kg(80_000)), Spotter: Some(false)},
		Goals:       []Goal{{Kind: GoalRaise1RM, ExerciseID: "back-squat", Priority: 1}},
		Constraints: Constraints{Unit: Pound, Days: []Day{{Minutes: 60}}},
	}
	b, err := Canonical(r)
	require.NoError(t, err)
	require.Equal(t, `{"athlete":{"name":"A & B <c>","age_band":3,"body_mass":{"v":{"milli":80000,"unit":1},"set":true},"spotter":{"v":false,"set":true}},`+
		`"goals":[{"kind":1,"exercise":"back-squat","priority":1}],"constraints":{"unit":2,"days":[{"minutes":60}]}}`, string(b))
}
