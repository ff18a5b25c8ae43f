package prescribe

import (
	"github.com/phasewright/phasewright/engine/load"
	"github.com/phasewright/phasewright/engine/plan"
)

// A counterweight takes part of the body mass. Its setting is the load of a set, so that
// the load falls as what is moved rises: less help is heavier. Where help ends, the
// exercise is its free version, which is another one; nothing here goes below the
// smallest setting.

// settable reports a counterweight whose settings are known.
func settable(in *Input) bool {
	return in.Exercise.Loading == plan.LoadingAssisted && in.Menu != nil && in.Menu.Len() > 0
}

// helped reports help in numbers: the body mass is known too, and more than any setting.
func helped(in *Input) bool {
	return settable(in) && in.Menu.At(in.Menu.Len()-1).Load.Grams() < bodyShare(&in.Athlete)
}

// bodyShare is the moved body mass in grams, 0 where it is unknown.
func bodyShare(a *Athlete) int64 { return a.BodyGrams * int64(a.Share) / 1000 }

// moved is the whole mass that a load moves, in grams.
func moved(in *Input, l plan.Load) int64 {
	if in.Exercise.Loading == plan.LoadingAssisted {
		return bodyShare(&in.Athlete) - l.Grams()
	}
	return bodyShare(&in.Athlete) + l.Grams()
}

// counterweight is the settings of a stack that takes off the body's share.
type counterweight struct {
	menu *load.Menu
	body int64
}

func (c counterweight) rung(o load.Option) rung {
	return rung{moved: c.body - o.Load.Grams(), opt: o, load: true}
}

// near rounds down to more help, and of two settings equally near takes the lighter one,
// which is more help too.
func (c counterweight) near(moved int64, down bool) (rung, bool) {
	help := max(c.body-moved, 0)
	o, ok := c.menu.Nearest(plan.Kg(help), false)
	if !ok {
		return rung{}, false
	}
	less := c.rung(o)
	off := help - o.Load.Grams()
	if more, ok := c.below(less); ok && off > 0 && (down || off == more.opt.Load.Grams()-help) {
		return more, true
	}
	return less, true
}

func (c counterweight) below(r rung) (rung, bool) {
	o, ok := c.menu.Above(r.opt.Load)
	return c.rung(o), ok
}

func (c counterweight) above(r rung) (rung, bool) {
	o, ok := c.menu.Below(r.opt.Load)
	return c.rung(o), ok
}

// next is the load one step heavier or lighter, as the set feels.
func (in *Input) next(from plan.Load, heavier bool) (load.Option, bool) {
	if heavier == (in.Exercise.Loading == plan.LoadingAssisted) {
		return in.Menu.Below(from)
	}
	return in.Menu.Above(from)
}

// firstHelp is the setting nearest to half of the moved body mass, where finding the help
// begins: common practice, no source.
func firstHelp(in *Input) string {
	o, _ := in.Menu.Nearest(plan.Kg(bodyShare(&in.Athlete)/2), false)
	return o.Load.String()
}

// warmRole is the role that lighter sets go by. Body-mass work has none as nothing makes
// it lighter; a counterweight does.
func warmRole(in *Input) plan.Role {
	if in.Role == plan.Unloadable && settable(in) {
		return plan.MultiJoint
	}
	return in.Role
}
