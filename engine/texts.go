package engine

import "github.com/phasewright/phasewright/engine/plan"

// cautions is the catalogue of what users have to read, by id.
var cautions = [...]plan.Caution{
	{ID: "not-medical", Says: "This is training guidance, not medical advice, and no medical device. When in doubt ask a clinician or a qualified coach."},
	{ID: "stop-signs", Says: "Stop and get help for chest pain, faintness, unusual breathlessness, a sudden sharp joint or nerve pain, or a new headache on effort."},
	{ID: "technique", Says: "Warm up, use collars, and end a set when the movement breaks down, whatever the number says."},
	{ID: "estimates", Says: "Loads are estimates: a 1RM from a few repetitions is good to about ±10 %, from 6 to 10 repetitions to ±15–20 %. Repetitions in reserve overrule the load."},
	{ID: "estimate-only", Says: "An estimate, with the error that stands beside it. It is no reason to try a maximum: whether and when one is tested is for a plan and a coach to say."},
	{ID: "screening-missing", Says: "The health questions are not answered. Until they are, nothing here is heavy or close to failure. Answer them before training: regular exercise? known heart, metabolic or kidney disease? symptoms?"},
	{ID: "clearance-for-vigorous", Says: "Heavier work than this needs a clinician's clearance for vigorous exercise, not older than 12 months."},
	{ID: "clearance-expired", Says: "The clearance given could not be used: it needs a date within the last 12 months."},
	{ID: "clinician", Says: "Follow what your clinician has said about training; it goes before this program."},
	{ID: "breathing", Says: "Breathe out on the effort; no straining with held breath."},
	{ID: "older", Says: "Take the time to learn each movement, hold on to something where balance is needed, and let a joint that complains decide."},
	{ID: "minor", Says: "Technique first. No maximal tests and no sets to failure."},
	{ID: "supervised", Says: "Every session takes place with a qualified adult present."},
	{ID: "pregnancy", Says: "Effort about 13–14 of 20; you can talk throughout. Stop for bleeding, regular painful contractions, fluid leak, breathlessness before effort, dizziness, headache, chest pain, weakness that affects balance, calf pain or swelling."},
	{ID: "postpartum", Says: "Build up slowly after birth; leaking, heaviness or pain is a reason to stop and ask your clinician."},
	{ID: "spotter", Says: "Nobody spots and there are no safety bars: nothing under a bar is taken closer than two repetitions to failure."},
	{ID: "pain", Says: "Work around the restriction, not through pain; if it lasts or gets worse, see a clinician."},
}

func caution(id string) plan.Caution {
	for _, c := range cautions {
		if c.ID == id {
			return c
		}
	}
	return plan.Caution{ID: id, Says: id}
}
