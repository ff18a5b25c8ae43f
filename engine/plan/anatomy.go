package plan

import "fmt"

// Muscle is a muscle group for which weekly sets are counted.
type Muscle uint8

// Muscle groups. Numbers are stored and never reused.
const (
	MuscleUnspecified Muscle = iota
	Chest
	FrontDelt
	SideDelt
	RearDelt
	Lats
	MidBack
	UpperTraps
	Biceps // elbow flexors
	Triceps
	Forearms
	Abs
	Obliques
	Erectors
	Glutes
	Quads
	Hamstrings
	Adductors
	Calves
	MuscleCount // array bound, not a muscle
)

var muscleNames = [...]string{"", "chest", "front deltoid", "side deltoid", "rear deltoid", "lats", "mid-back",
	"upper traps", "biceps", "triceps", "forearms", "abs", "obliques", "spinal erectors", "glutes", "quads",
	"hamstrings", "adductors", "calves"}

// String gives the name a coach uses.
func (m Muscle) String() string { return nameOf(muscleNames[:], uint8(m), "Muscle") }

// LargeMuscles are the groups that every balanced program gives something to
// (floors in dose, findings in audit). Common practice, no source.
var LargeMuscles = [...]Muscle{Chest, Lats, MidBack, Glutes, Quads, Hamstrings}

// Pattern is a movement pattern.
type Pattern uint8

// Movement patterns.
const (
	PatternUnspecified Pattern = iota
	Squat
	Lunge
	Hinge
	HipExtension
	KneeExtension
	KneeFlexion
	HorizontalPush
	VerticalPush
	HorizontalPull
	VerticalPull
	ElbowFlexion
	ElbowExtension
	ShoulderAbduction
	ShoulderFlexion
	HorizontalAbduction // reverse fly, face pull
	HorizontalAdduction // fly
	ShoulderExtension
	ScapularElevation
	HipAbduction
	HipAdduction
	PlantarFlexion
	TrunkFlexion
	TrunkStability // anti-extension, anti-rotation, anti-lateral flexion
	TrunkRotation
	WristFlexion
	Carry
	ExplosivePull
	ExplosiveLower // jumps, swings
	ExplosivePush
	PatternCount
)

var patternNames = [...]string{"", "squat", "lunge", "hinge", "hip extension", "knee extension", "knee flexion",
	"horizontal push", "vertical push", "horizontal pull", "vertical pull", "elbow flexion", "elbow extension",
	"shoulder abduction", "shoulder flexion", "horizontal abduction", "horizontal adduction", "shoulder extension",
	"scapular elevation", "hip abduction", "hip adduction", "plantar flexion", "trunk flexion", "trunk stability",
	"trunk rotation", "wrist flexion", "carry", "explosive pull", "explosive lower body", "explosive push"}

// String gives the name a coach uses.
func (p Pattern) String() string { return nameOf(patternNames[:], uint8(p), "Pattern") }

// Explosive reports patterns trained for speed, which count for no size.
func (p Pattern) Explosive() bool { return p >= ExplosivePull && p <= ExplosivePush }

// Push reports horizontal and vertical pushing (for the push/pull balance).
func (p Pattern) Push() bool { return p == HorizontalPush || p == VerticalPush }

// Pull reports horizontal and vertical pulling.
func (p Pattern) Pull() bool { return p == HorizontalPull || p == VerticalPull }

// KneeDominant reports squats, lunges and knee extensions (for the knee/hip balance).
func (p Pattern) KneeDominant() bool { return p == Squat || p == Lunge || p == KneeExtension }

// HipDominant reports hinges, hip extensions and knee flexions.
func (p Pattern) HipDominant() bool { return p == Hinge || p == HipExtension || p == KneeFlexion }

// Joint is a joint that an exercise stresses and a restriction may name.
type Joint uint8

// Joints.
const (
	JointUnspecified Joint = iota
	Shoulder
	Elbow
	Wrist
	LowerBack
	Hip
	Knee
	Ankle
	Neck
	JointCount
)

var jointNames = [...]string{"", "shoulder", "elbow", "wrist", "lower back", "hip", "knee", "ankle", "neck"}

// String gives the plain name.
func (j Joint) String() string { return nameOf(jointNames[:], uint8(j), "Joint") }

// Role is the part an exercise plays in a program; strategies give set schemes per role.
type Role uint8

// Roles.
const (
	RoleUnspecified Role = iota
	GoalLift             // a lift that a goal names
	MultiJoint           // other multi-joint exercise
	SingleJoint
	Trunk
	Explosive
	Unloadable // cannot be loaded in steps: bands, most bodyweight work
	RoleCount
)

var roleNames = [...]string{"", "goal lift", "multi-joint", "single-joint", "trunk", "explosive", "unloadable"}

// String gives the plain name.
func (r Role) String() string { return nameOf(roleNames[:], uint8(r), "Role") }

// Skill is how much practice a movement needs, and what an athlete has in it.
type Skill uint8

// Skill levels.
const (
	SkillUnspecified Skill = iota
	SkillLow               // learned in one session
	SkillMedium            // needs a few coached sessions
	SkillHigh              // needs coaching over weeks (cleans, snatches)
)

var skillNames = [...]string{"", "low", "medium", "high"}

// String gives the plain name.
func (s Skill) String() string { return nameOf(skillNames[:], uint8(s), "Skill") }

func nameOf(names []string, i uint8, kind string) string {
	if int(i) < len(names) {
		if i == 0 {
			return "unspecified"
		}
		return names[i]
	}
	return fmt.Sprintf("%s(%d)", kind, i)
}
