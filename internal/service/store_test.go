package service

import (
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"
)

// Nothing of a tenant's can be asked of a store without naming the tenant.
func TestEveryQuestionNamesTheTenant(t *testing.T) {
	ownerless := map[string]bool{"Tenants": true, "Scrub": true, "Ready": true, "Close": true}
	s := reflect.TypeFor[Store]()
	for i := range s.NumMethod() {
		m := s.Method(i)
		if ownerless[m.Name] {
			delete(ownerless, m.Name)
			continue
		}
		require.Equal(t, reflect.TypeFor[Tenant](), m.Type.In(1), m.Name)
	}
	require.Empty(t, ownerless)
}

func TestTraitsFitTheRecords(t *testing.T) {
	for _, v := range []Record{&Athlete{}, &Performance{}, &SessionLog{}, &Measurement{}, &OwnExercise{}, &SavedPlan{}, &Program{}, &Key{}, &Trial{}, &Participant{}} {
		_, owned := reflect.TypeOf(v).Elem().FieldByName("Athlete")
		require.Equal(t, owned, TraitsOf(v.Kind()).Athlete, v.Kind())
		require.Contains(t, Shelved(), v.Kind())
		require.NoError(t, v.Check())
	}
	require.Len(t, Shelved(), 11)
}
