package exercise

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"github.com/phasewright/phasewright/engine/plan"
)

// Write puts exercises out in the form that Parse reads: Parse gives back the
// same values, CallerID aside, which the file does not hold.
func Write(w io.Writer, list []*Exercise) error {
	out := csv.NewWriter(w)
	_ = out.Write(columns[:]) // errors stay and come out of Error below
	for _, e := range list {
		_ = out.Write(record(e))
	}
	out.Flush()
	return out.Error()
}

func record(e *Exercise) []string {
	bar := ""
	if e.Bar != plan.EquipmentUnspecified {
		bar = token(e.Bar.String())
	}
	equipment := alternativesText(e.Equipment)
	if equipment == "" {
		equipment = none
	}
	unilateral := "no"
	if e.Unilateral {
		unilateral = "yes"
	}
	n := func(v int32) string { return strconv.Itoa(int(v)) }
	return []string{e.ID, e.Name, token(e.Pattern.String()), token(e.Role.String()),
		musclesText(e, Prime), musclesText(e, Secondary), equipment, token(e.Loading.String()), bar,
		alternativesText(e.AddedNeeds), unilateral, n(int32(e.BodyMassShare)), n(int32(e.Setup)), n(int32(e.Rep)),
		n(int32(e.SetSetup)), token(e.Skill.String()), jointsText(e), plan.Kg(e.StepMilliKg).Number(),
		plan.Lb(e.StepMilliLb).Number(), string(e.Curve), e.Region.String(), strings.Join(e.FlagNames(), ";"),
		n(e.MinReps), e.Group, e.RelatedTo, n(int32(e.RelatedRatio)), n(e.MaxPlausibleKg), e.Standing.String(), e.Source}
}

// FlagNames lists the flags by the data file's names.
func (e *Exercise) FlagNames() []string {
	var out []string
	for i, name := range flagNames {
		if e.Is(1 << i) {
			out = append(out, name)
		}
	}
	return out
}

func musclesText(e *Exercise, share plan.HalfSets) string {
	var out []string
	for m, s := range e.Involvement {
		if s == share {
			out = append(out, token(plan.Muscle(m).String()))
		}
	}
	return strings.Join(out, ";")
}

func jointsText(e *Exercise) string {
	var out []string
	for j, level := range e.Stress {
		if level > 0 {
			out = append(out, token(plan.Joint(j).String())+":"+strconv.Itoa(int(level)))
		}
	}
	return strings.Join(out, ";")
}

func alternativesText(alts [][]plan.Equipment) string {
	texts := make([]string, len(alts))
	for i, alt := range alts {
		names := make([]string, len(alt))
		for k, item := range alt {
			names[k] = token(item.String())
		}
		texts[i] = strings.Join(names, "+")
	}
	return strings.Join(texts, "|")
}
