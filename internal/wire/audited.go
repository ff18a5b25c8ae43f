package wire

import (
	pb "github.com/phasewright/phasewright/gen/phasewright/v1"

	"github.com/phasewright/phasewright/engine/plan"
)

// AuditedToProto gives the answer of an audit.
func AuditedToProto(findings []plan.Finding, rules []plan.Rule, intact bool) *pb.AuditProgramResponse {
	return &pb.AuditProgramResponse{Findings: FindingsToProto(findings), Intact: intact, Rules: RulesToProto(rules)}
}
