package exercise

import (
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// The data file spells every enumeration as its printed name in kebab-case:
// "EZ bar" is ez-bar. There is no second list of names to keep in step.

func token(s string) string { return strings.ReplaceAll(strings.ToLower(s), " ", "-") }

type enum interface {
	~uint8
	String() string
}

func tokens[T enum](count T) []string {
	out := make([]string, 0, int(count)-1)
	for v := T(1); v < count; v++ {
		out = append(out, token(v.String()))
	}
	return out
}

func find[T enum](count T, s string) (T, bool) {
	for v := T(1); v < count; v++ {
		if token(v.String()) == s {
			return v, true
		}
	}
	return 0, false
}

// Roles that an exercise can have; GoalLift is given by a request.
func roleTokens() []string {
	var out []string
	for r := plan.MultiJoint; r < plan.RoleCount; r++ {
		out = append(out, token(r.String()))
	}
	return out
}

var skillCount = plan.SkillHigh + 1

func isKebab(s string) bool {
	if s == "" || len(s) > maxID || s[0] == '-' || s[len(s)-1] == '-' || strings.Contains(s, "--") {
		return false
	}
	for _, c := range []byte(s) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}
