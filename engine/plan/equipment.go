package plan

// Equipment is a kind of thing that a place has and an exercise needs.
type Equipment uint8

// Equipment kinds. Numbers are stored and never reused.
const (
	EquipmentUnspecified Equipment = iota
	Barbell
	EZBar
	TrapBar
	Rack
	FlatBench
	InclineBench
	Dumbbells
	Kettlebells
	Bands
	PullUpBar
	DipBars
	LowBar // bar, rings or straps at waist height, for inverted rows
	Box    // box, step or sturdy chair
	CableStation
	LatPulldownStation
	SeatedRowStation
	LegPressMachine
	HackSquatMachine
	LegExtensionMachine
	LyingLegCurlMachine
	SeatedLegCurlMachine
	StandingCalfMachine
	SeatedCalfMachine
	ChestPressMachine
	ShoulderPressMachine
	RowMachine
	FlyMachine
	HipAbductionMachine
	HipAdductionMachine
	BackExtensionBench
	SmithMachine
	AssistedPullUpMachine
	HipThrustMachine
	AbdominalMachine
	PreacherBench
	Landmine
	AbWheel
	FootAnchor // a partner or pad that holds the feet
	DipBelt    // or another way to hang load from the body
	EquipmentCount
)

var equipmentNames = [...]string{"", "barbell", "EZ bar", "trap bar", "rack", "flat bench", "incline bench", "dumbbells",
	"kettlebells", "bands", "pull-up bar", "dip bars", "low bar or straps", "box", "cable station", "lat pulldown station",
	"seated row station", "leg press", "hack squat machine", "leg extension machine", "lying leg curl machine",
	"seated leg curl machine", "standing calf machine", "seated calf machine", "chest press machine",
	"shoulder press machine", "row machine", "fly machine", "hip abduction machine", "hip adduction machine",
	"back extension bench", "Smith machine", "assisted pull-up machine", "hip thrust machine", "abdominal machine",
	"preacher bench", "landmine", "ab wheel", "foot anchor", "dip belt"}

// String gives the plain name.
func (e Equipment) String() string { return nameOf(equipmentNames[:], uint8(e), "Equipment") }

// Loading is how the load of an exercise is set, which decides what steps it can take.
type Loading uint8

// Ways of loading.
const (
	LoadingUnspecified    Loading = iota
	LoadingBar                    // bar plus plates in pairs; the load is the total
	LoadingPlateMachine           // plates on a machine; the load is the plates, in pairs
	LoadingStack                  // selector stack; the load is the pin setting
	LoadingDumbbellPair           // two equal dumbbells; the load is that of one
	LoadingDumbbell               // one dumbbell
	LoadingKettlebell             // one kettlebell
	LoadingKettlebellPair         // two equal kettlebells; the load is that of one
	LoadingAdded                  // body mass plus an added load, which may be nothing
	LoadingBodyweight             // body mass alone
	LoadingBand                   // no load in numbers, RIR only
	LoadingAssisted               // a counterweight takes part of the body mass; the load is that help, so less is heavier
	LoadingCount
)

var loadingNames = [...]string{"", "bar and plates", "plates on a machine", "stack", "pair of dumbbells", "one dumbbell",
	"one kettlebell", "pair of kettlebells", "body mass and added load", "body mass", "band", "counterweight"}

// String gives the plain name.
func (l Loading) String() string { return nameOf(loadingNames[:], uint8(l), "Loading") }

// PerHand reports loads stated for one of two equal implements.
func (l Loading) PerHand() bool { return l == LoadingDumbbellPair || l == LoadingKettlebellPair }

// Loadable reports whether a load in numbers is prescribed wherever the exercise can be
// done. A counterweight has one only where its settings and the body mass are known.
func (l Loading) Loadable() bool {
	return l != LoadingUnspecified && l != LoadingBodyweight && l != LoadingBand && l != LoadingAssisted
}

// Preset is a ready set of equipment for a place.
type Preset uint8

// Presets.
const (
	PresetUnspecified   Preset = iota
	PresetFullGym              // everything, in the request's unit
	PresetDumbbells            // pairs of dumbbells and an adjustable bench
	PresetHome                 // body mass, bands, a sturdy box
	PresetBodyweight           // floor only
	PresetBarbellGarage        // bar, plates, rack, bench, pull-up bar
	PresetMachines             // machines and cables only
)

var presetNames = [...]string{"", "full gym", "dumbbells", "home", "bodyweight", "barbell and rack", "machines"}

// String gives the plain name.
func (p Preset) String() string { return nameOf(presetNames[:], uint8(p), "Preset") }

// Bar is a bar that is there.
type Bar struct {
	Kind Equipment `json:"kind"` // Barbell, EZBar or TrapBar
	Mass Load      `json:"mass"` // with collars, if they are always on
	// Collars is the mass of both collars together, which go on with plates; unset
	// where they weigh next to nothing or are in Mass.
	Collars Opt[Load] `json:"collars,omitzero"`
}

// PlateStock is how many plates of one mass are there.
type PlateStock struct {
	Mass  Load  `json:"mass"`
	Count int32 `json:"count"` // single plates; a bar takes them in pairs
}

// HeldStock is a dumbbell or kettlebell mass that is there, one or several of it.
type HeldStock struct {
	Mass  Load  `json:"mass"`
	Count int32 `json:"count"` // single pieces; a pair exercise needs two
}

// Adjustable is one dumbbell or several alike that are set to a load: either a handle
// with plates, or a dial with settings.
type Adjustable struct {
	Count int32 `json:"count"` // pieces that can be used at once; a pair exercise needs two
	// Handle is the mass of one handle with what holds its plates.
	Handle Opt[Load] `json:"handle,omitzero"`
	// Plates are all single plates for these handles: one dumbbell takes them in twos,
	// two equal dumbbells in fours.
	Plates []PlateStock `json:"plates,omitempty"`
	// Settings are the masses of one piece on its dial.
	Settings []Load `json:"settings,omitempty"`
}

// Stack is the set of loads of a selector stack: First, First+Step, ... up to Last, or
// Settings where the steps are uneven; on each of them small weights can go.
type Stack struct {
	Kind     Equipment    `json:"kind"` // which machine; unspecified holds for every stack of the place
	First    Load         `json:"first"`
	Step     Load         `json:"step"`
	Last     Load         `json:"last"`
	Settings []Load       `json:"settings,omitempty"` // instead of First, Step and Last
	AddOns   []PlateStock `json:"add_ons,omitempty"`  // single weights that lie on top
}

// Place is where training happens and what is there. After settling, Items is
// complete (presets expanded) and the stocks are the only loads that exist.
type Place struct {
	ID          string       `json:"id"`
	CallerID    string       `json:"caller_id,omitzero"`
	Name        string       `json:"name,omitzero"`
	Preset      Preset       `json:"preset,omitzero"`
	Items       []Equipment  `json:"items,omitempty"`  // beyond the preset
	Absent      []Equipment  `json:"absent,omitempty"` // taken out of the preset
	Safeties    Opt[bool]    `json:"safeties,omitzero"`
	Bars        []Bar        `json:"bars,omitempty"`
	Plates      []PlateStock `json:"plates,omitempty"`
	Dumbbells   []HeldStock  `json:"dumbbells,omitempty"`
	Kettlebells []HeldStock  `json:"kettlebells,omitempty"`
	Stacks      []Stack      `json:"stacks,omitempty"`
	// Adjustables are dumbbells that are set to a load, beside the fixed ones.
	Adjustables []Adjustable `json:"adjustable_dumbbells,omitempty"`
}

// Has reports whether the (settled) place has an item.
func (p *Place) Has(e Equipment) bool {
	for _, i := range p.Items {
		if i == e {
			return true
		}
	}
	return false
}
