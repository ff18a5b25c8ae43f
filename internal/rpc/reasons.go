package rpc

import (
	"slices"

	"google.golang.org/grpc/codes"

	"github.com/phasewright/phasewright/engine/fault"
)

// Reason is one that a caller can meet in an ErrorInfo or beside a violation.
type Reason struct {
	Name  string // stable; never used again for anything else
	Kinds []fault.Kind
	Means string // what is wrong
	Do    string // what the caller can do
}

// Codes are those that the reason can come with.
func (r Reason) Codes() []codes.Code {
	switch r.Name { // statuses that no kind of fault has
	case ReasonDeadline:
		return []codes.Code{codes.DeadlineExceeded}
	case ReasonUnknownMethod, "METHOD_NOT_ALLOWED":
		return []codes.Code{codes.Unimplemented}
	case "TOO_LARGE":
		return []codes.Code{codes.ResourceExhausted}
	}
	var out []codes.Code
	for _, k := range r.Kinds {
		if c := table[k]; !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// ReasonGroup is a chapter of the reasons.
type ReasonGroup struct {
	Title   string
	Reasons []Reason
}

func kinds(k ...fault.Kind) []fault.Kind { return k }

// Reasons lists every reason that can reach a caller. A test holds the list to the
// source: a reason that is used and not here, or here and not used, fails it.
func Reasons() []ReasonGroup {
	const (
		invalid     = fault.Invalid
		infeasible  = fault.Infeasible
		refused     = fault.Refused
		notFound    = fault.NotFound
		exists      = fault.Exists
		unavailable = fault.Unavailable
	)
	return []ReasonGroup{
		{"Access", []Reason{
			{"API_KEY", kinds(fault.Unauthenticated, unavailable), "The key is missing, wrong, expired or revoked (one answer for all), or keys can't be looked up now.", "Send `Authorization: Bearer KEY`; where it is UNAVAILABLE, try again."},
			{"SCOPE", kinds(fault.Denied, invalid), "The key lacks the scope that the call needs; or, making a key, its scopes are not possible.", "Use a key with that scope; each call's is in the API description."},
			{"RATE_LIMIT", kinds(fault.Exhausted), "The tenant calls more often than its rate.", "Wait as `Retry-After` or RetryInfo says."},
			{"EXPIRE_TIME", kinds(invalid), "A key can't expire then.", "Give a time in the future, no further than the text says."},
			{"NAME", kinds(invalid), "The name of a key is missing or too long.", "Give a short name."},
		}},
		{"Waiting and trying again", []Reason{
			{"OVERLOADED", kinds(unavailable), "Programs are asked for faster than they are made; nothing was done.", "Wait as RetryInfo says, then try again."},
			{"NOT_READY", kinds(unavailable), "The server is starting or stopping.", "Try again, or another replica."},
			{"UNAVAILABLE", kinds(unavailable), "The server can't be reached or does not answer.", "Try again, with growing pauses."},
			{"DEADLINE", kinds(fault.Canceled, unavailable), "The call took longer than its deadline.", "Allow more time, or ask for fewer weeks or days at once."},
			{"CANCELED", kinds(fault.Canceled), "The caller went away.", "Nothing; a call with a `request_id` can be made again."},
			{"CONTENTION", kinds(unavailable), "Others change the same data, or the database is busy.", "Try again with the same `request_id`."},
			{"OUTCOME_UNKNOWN", kinds(unavailable), "The connection to the database broke while the change was being stored: it may have happened.", "Call again with the same `request_id`: it then has its effect once."},
			{"CLOSED", kinds(unavailable), "The store is closing.", "Try again, or another replica."},
			{"STORAGE_FAULT", kinds(unavailable), "The disk or database failed; the change was not acknowledged.", "Try again later; tell the operator."},
			{"STORAGE_FULL", kinds(fault.Exhausted), "There is no room to store it; reading goes on.", "The operator has to make room."},
			{"STRATEGY_UNAVAILABLE", kinds(unavailable), "The strategy is run by a plug-in that does not answer.", "Try again later, or take another strategy."},
			{"PLUGIN_UNAVAILABLE", kinds(unavailable), "A plug-in does not answer.", "Try again later, or take another strategy."},
			{"PLUGIN_DEADLINE", kinds(unavailable), "A plug-in took too long.", "Try again later, or take another strategy."},
			{"PLUGIN_CHANGED", kinds(unavailable), "A plug-in answers as another version than it began as.", "The operator has to restart the server."},
		}},
		{"How a request is written", []Reason{
			{"SYNTAX", kinds(invalid), "The body is no JSON or YAML.", "Mend it where the text says."},
			{"MALFORMED_MESSAGE", kinds(invalid), "The bytes are no message of this method.", "Generate the client from the current schema."},
			{"UNKNOWN_FIELD", kinds(invalid), "There is no such field or query key.", "Take it out, or spell it as the schema does."},
			{"UNKNOWN_VALUE", kinds(invalid), "The enum has no such value.", "Take one of those listed."},
			{"FIELD_TWICE", kinds(invalid), "A field or header is there twice.", "Give it once."},
			{"WRONG_TYPE", kinds(invalid), "A value of another type is needed.", "Give the type that the text names."},
			{"NOT_EXACT", kinds(invalid), "A number can't be kept exactly.", "Round it as the text says."},
			{"NOT_A_DATE", kinds(invalid), "The calendar has no such day.", "Give year, month and day of a real date."},
			{"OUT_OF_RANGE", kinds(invalid), "A number lies outside its bounds.", "Stay within the bounds in the text."},
			{"TOO_MANY", kinds(invalid), "A list is too long.", "Give no more than the text says."},
			{"TOO_FEW", kinds(invalid), "A list is too short.", "Give at least what the text says."},
			{"TOO_LONG", kinds(invalid), "A text is too long.", "Shorten it."},
			{"TOO_DEEP", kinds(invalid), "Lists or objects lie in each other too deep.", "Look at the byte that is named for a bracket too many."},
			{"TOO_LARGE", kinds(invalid), "The message or body is larger than what is taken.", "Send less; page through lists."},
			{"FORMAT", kinds(invalid), "A text has another form than is needed.", "Write it as the text says."},
			{"TEXT", kinds(invalid), "A text is too long, missing, or no valid UTF-8.", "Send it as the text says."},
			{"REQUIRED", kinds(invalid), "A field is missing.", "Give it."},
			{"ONE_OF", kinds(invalid), "Exactly one of several fields is possible.", "Give one of them."},
			{"MALFORMED", kinds(invalid), "A text holds letters that can't be printed.", "Take them out."},
			{"UNITS_DIFFER", kinds(invalid), "Kilograms and pounds are mixed where they may not be.", "Use one unit."},
			{"SETS_FORMAT", kinds(invalid), "A list of sets can't be read.", "Write it like `3x5@80%, 1x8-10`."},
			{"RESOURCE_NAME", kinds(invalid), "A resource name has another form.", "Write it as answers do, such as `athletes/ID`."},
			{"INVALID_ID", kinds(invalid), "An id is no UUID of version 7.", "Use ids that the server gave."},
			{"INVALID_TENANT", kinds(invalid), "The name of a tenant is not possible.", "Lower-case letters, digits and hyphens."},
			{"PAGE_TOKEN", kinds(invalid), "The token is not of this list, or has expired.", "Use `next_page_token` as it was given, with the same query; leave it out to start."},
			{"QUERY", kinds(invalid), "What is asked of a list is not possible.", "See the field that is named."},
			{"CONDITION", kinds(invalid), "`If-Match` or `If-None-Match` can't be read, or is not possible here.", "Send the ETag as it was given."},
			{"UNKNOWN_ROUTE", kinds(notFound), "REST has no such path.", "`GET /` lists what there is."},
			{"METHOD_NOT_ALLOWED", kinds(invalid), "The path does not take this HTTP method.", "See the header `Allow`."},
			{"UNKNOWN_METHOD", kinds(notFound), "gRPC has no such method.", "See reflection, or the schema."},
			{"UNKNOWN_SERVICE", kinds(notFound), "The health check knows no such service.", "Leave the service out."},
			{"PATH_MALFORMED", kinds(invalid), "The path can't be read.", "Escape it as URLs do."},
			{"QUERY_MALFORMED", kinds(invalid), "The query can't be read.", "Escape it as URLs do."},
			{"CONTENT_TYPE", kinds(invalid), "The body is no JSON in UTF-8.", "Send `Content-Type: application/json`."},
			{"CONTENT_ENCODING", kinds(invalid), "The body is compressed.", "Send it plain."},
			{"TIMEOUT_MALFORMED", kinds(invalid), "`Grpc-Timeout` can't be read.", "Write it like `10S`, or leave it out."},
			{"BODY_UNEXPECTED", kinds(invalid), "This call takes no body.", "Send none."},
			{"BODY_INCOMPLETE", kinds(invalid), "The body ended too early.", "Send all of it."},
		}},
		{"What is kept", []Reason{
			{"NO_STORE", kinds(refused), "The server keeps nothing.", "Start it with a data directory or database."},
			{"UNKNOWN", kinds(notFound), "There is no such resource of this tenant.", "Check the name."},
			{"UNKNOWN_ATHLETE", kinds(notFound), "There is no such athlete of this tenant.", "Check the name."},
			{"UNKNOWN_REVISION", kinds(invalid), "The program has no such revision.", "List its revisions."},
			{"UNKNOWN_EXERCISE", kinds(invalid, notFound), "The catalogue and your own exercises have none of that id.", "List the exercises."},
			{"DELETED", kinds(notFound), "It is deleted.", "Undelete it first."},
			{"NOT_DELETED", kinds(exists), "It is not deleted, so there is nothing to undo.", "Nothing."},
			{"STALE", kinds(fault.Stale), "It was changed since you read it.", "Read it again, then change it."},
			{"ID_TAKEN", kinds(exists), "The id is taken.", "Choose another."},
			{"NAME_TAKEN", kinds(exists), "The name is taken.", "Choose another."},
			{"FIXED", kinds(invalid), "This can't be changed once it is made.", "Leave it as it is; make a new one."},
			{"JOB_ORDER", kinds(invalid), "Requests of a job that come before these are missing.", "Go on with the index that the text names."},
			{"JOB_SIZE", kinds(invalid), "The job would have more requests than one can take.", "Begin another for the rest."},
			{"JOB_ENDED", kinds(infeasible), "The job takes no more requests: it has all, or was canceled.", "Begin another."},
			{"NO_PROGRAM", kinds(notFound), "The athlete has no program that could be made again.", "Make a new one first."},
			{"ITEMS", kinds(invalid), "The requests of a job do not follow each other as they must.", "Send them as the text says."},
			{"FINISHED", kinds(exists), "This request of a job was finished before.", "Nothing; its result is there."},
			{"LOGGED", kinds(invalid), "The session is logged already.", "Change that log."},
			{"PERFORMANCES_APART", kinds(invalid), "Performances are resources of their own.", "Create them below the athlete."},
			{"REQUEST_ID_USED", kinds(exists), "The `request_id` was used with other content.", "Take a new one for a new request."},
			{"REQUEST_ID_OTHER", kinds(exists), "The `request_id` was used for another call.", "Take a new one for a new request."},
			{"ANSWER_ERASED", kinds(notFound), "The answer to this `request_id` was erased with its athlete.", "Nothing; the athlete's data are gone."},
		}},
		{"Safety: refused", []Reason{
			{"CONTRAINDICATION", kinds(refused), "A stated condition rules out resistance training until a clinician has treated it.", "See a clinician; no program is given."},
			{"CLEARANCE_NEEDED", kinds(refused), "A clinician's word is needed first.", "Get it and state it as the text says."},
			{"CONFIRMATION_NEEDED", kinds(refused), "The obstetric clinician or midwife has to confirm first.", "Get that and state it."},
			{"SUPERVISION_NEEDED", kinds(refused), "Someone under 18 trains only with a qualified adult present.", "See to that and state it."},
			{"TOO_YOUNG", kinds(refused), "Too young for a program.", "None is given."},
			{"TOO_MANY_DAYS", kinds(refused), "Too many days, or days in a row, for someone under 18.", "Two or three days that don't follow each other."},
		}},
		{"Wishes that can't be", []Reason{
			{"CONTRADICTION", kinds(invalid), "Two fields say different things.", "Give one of the two."},
			{"DUPLICATE", kinds(invalid), "The same thing is there twice.", "Give it once."},
			{"MIXED", kinds(invalid), "Something is given for some entries only.", "Give it for all or none."},
			{"ORDER", kinds(invalid), "A list is not in order.", "Order it as the text says."},
			{"IMPLAUSIBLE", kinds(invalid), "A performance can't have been.", "Check the number and its unit."},
			{"IMPLAUSIBLE_STRENGTH", kinds(invalid), "A performance means a strength that nobody has.", "Check load, repetitions and unit."},
			{"EVIDENCE_IN_FUTURE", kinds(invalid), "A performance has a day in the future.", "Check the date."},
			{"TEST_OF_ONE", kinds(invalid), "A tested 1RM is one repetition with none in reserve.", "Give it so, or as a set."},
			{"TOO_MANY_REPS", kinds(invalid), "So many repetitions can't have been beside what else was shown.", "Check the number."},
			{"LOAD_OUT_OF_BOUNDS", kinds(invalid), "A load lies outside what is possible.", "Check the number and its unit."},
			{"REPS_OUT_OF_BOUNDS", kinds(invalid), "Repetitions lie outside what is possible.", "Check the number."},
			{"RIR_OUT_OF_BOUNDS", kinds(invalid), "Repetitions in reserve lie outside what is possible.", "Check the number."},
			{"ATHLETE_AGE", kinds(invalid), "The athlete's age is missing.", "Give `age_band` or `birth_year`."},
			{"PLACE_PERIOD_ENDS", kinds(invalid), "A time at another place has no two ends.", "Give both dates or both weeks."},
			{"RANGE_ORDER", kinds(invalid), "A range's least is above its most.", "Put them in order."},
			{"ADJUSTABLE_DUMBBELL_KIND", kinds(invalid), "A dumbbell that adjusts is described in two ways, or in none.", "Give a handle with its plates, or the settings of a dial."},
			{"STACK_SETTINGS", kinds(invalid), "A weight stack is described in two ways, or in none.", "Give first, step and last, or a list of settings."},
			{"EXERCISE_INVALID", kinds(invalid), "An own exercise is not described as the catalogue needs it.", "See the field that is named."},
			{"EXERCISE_DUPLICATE", kinds(invalid), "An exercise of that id or name exists.", "Choose another."},
			{"EXERCISE_UNKNOWN", kinds(invalid), "An own exercise names one that there is not.", "List the exercises."},
			{"NOT_A_LIFT", kinds(invalid), "The exercise has no 1RM.", "Choose another goal for it."},
			{"NOT_TESTED", kinds(invalid), "The exercise's 1RM is not tested.", "Choose another, or leave the test out."},
			{"UNSUPPORTED", kinds(invalid), "That goal is not possible for this exercise.", "Pin the exercise instead."},
			{"UNKNOWN_CONDITION", kinds(invalid), "No such screening condition.", "Take one of the enum."},
			{"UNKNOWN_JOINT", kinds(invalid), "No such joint.", "Take one of the enum."},
			{"UNKNOWN_MUSCLE", kinds(invalid), "No such muscle.", "List the muscles."},
			{"UNKNOWN_PATTERN", kinds(invalid), "No such movement pattern.", "Take one of the enum."},
			{"UNKNOWN_PLACE", kinds(invalid), "No such place in the request.", "Name one of `constraints.places`."},
			{"UNKNOWN_RULE", kinds(invalid), "No such rule for making arms equal.", "Take one of the enum."},
			{"UNKNOWN_SEVERITY", kinds(invalid), "No such severity.", "Take one of the enum."},
			{"UNKNOWN_STAGE", kinds(invalid), "No such stage of pregnancy.", "Take one of the enum."},
			{"UNKNOWN_STATUS", kinds(invalid), "No such training status.", "Take one of the enum."},
			{"UNKNOWN_UNIT", kinds(invalid), "No such unit of mass.", "Kilograms or pounds."},
			{"UNKNOWN_WEEKDAY", kinds(invalid), "No such day of the week.", "Take one of the enum."},
			{"FORBIDDEN", kinds(infeasible), "The exercise is not done in this stage of pregnancy.", "Choose another."},
			{"RESTRICTED", kinds(infeasible, invalid), "A restriction rules the exercise out.", "Take one of the two back."},
			{"SKILL", kinds(infeasible), "The exercise needs a skill that is not stated.", "State it, or learn it first with a coach."},
			{"EQUIPMENT", kinds(infeasible), "The exercise can't be done with what is there.", "Add the equipment, or choose another."},
			{"TOO_HARD", kinds(infeasible), "The lightest load there is is too heavy.", "Choose an easier version."},
			{"NOTHING_FITS", kinds(infeasible), "Not one exercise fits into the days.", "More minutes or other equipment."},
			{"NO_SESSION", kinds(infeasible), "No day is left to train on.", "Shorten the times without training."},
			{"CONFLICT_PIN", kinds(infeasible), "A pinned exercise clashes with other wishes.", "Take one of those named back; ways that work stand beside it."},
			{"CONFLICT_LIFT", kinds(infeasible), "A goal lift clashes with other wishes.", "Take one of those named back; ways that work stand beside it."},
			{"CONFLICT_DAY", kinds(infeasible), "A day's wishes clash with others.", "Take one of those named back; ways that work stand beside it."},
			{"CONFLICT_RECOVERY", kinds(infeasible), "Recovery between days clashes with other wishes.", "Take one of those named back; ways that work stand beside it."},
			{"CONFLICT_LIMIT", kinds(infeasible), "A limit clashes with other wishes.", "Take one of those named back; ways that work stand beside it."},
			{"CONFLICT_LOCK", kinds(infeasible), "A lock or swap of a program that is made again clashes with others or with the request.", "Take one of those named back; ways that work stand beside it."},
			{"INFEASIBLE_UNPROVEN", kinds(infeasible), "No program was found within the effort, and none proven impossible.", "Relax a wish, or ask for a thorough search (`allocation_search`)."},
		}},
		{"Strategies and plans", []Reason{
			{"STRATEGY_EMPTY", kinds(invalid), "No strategy is named.", "Name one of the list."},
			{"STRATEGY_UNKNOWN", kinds(notFound, invalid), "No such strategy.", "List the strategies."},
			{"STRATEGY_VERSION_UNKNOWN", kinds(notFound, invalid), "The strategy has no such version.", "List the strategies."},
			{"PARAMETER_UNKNOWN", kinds(invalid), "The strategy has no such parameter.", "See its description."},
			{"PARAMETER_TWICE", kinds(invalid), "A parameter is there twice.", "Give it once."},
			{"PARAMETER_KIND", kinds(invalid), "A parameter is of another kind.", "See its description."},
			{"PARAMETER_OUT_OF_BOUNDS", kinds(invalid), "A parameter lies outside its bounds.", "Stay within them."},
			{"PARAMETER_NOT_A_CHOICE", kinds(invalid), "A parameter is none of its choices.", "Take one of them."},
			{"PARAMETER_NOT_SETS", kinds(invalid), "A parameter is no list of sets.", "Write it like `3x5@80%`."},
			{"PARAMETERS_CLASH", kinds(invalid), "Two parameters can't go together.", "Change one of them."},
			{"WEEKS_OUT_OF_BOUNDS", kinds(invalid), "The strategy can't last so long, or so short.", "Stay within the weeks in the text."},
			{"SESSIONS_PER_WEEK", kinds(invalid), "The strategy can't have so many sessions in a week.", "Stay within what the text says."},
			{"STATUS_MISSING", kinds(invalid), "The strategy needs the training status.", "Give it."},
			{"ENTRY_NOT_MET", kinds(infeasible), "The strategy asks for more strength than is there.", "Choose another."},
			{"ENTRY_UNKNOWN", kinds(infeasible), "The strategy asks for a strength that was never shown.", "Add a performance."},
			{"TOO_SHORT", kinds(infeasible), "There are fewer weeks than the plan needs.", "More weeks, or fewer segments."},
			{"TRACKS_ROTATE", kinds(infeasible), "Tracks rotate their workouts differently.", "Give them the same rotation."},
			{"ARMS_DIFFER", kinds(infeasible), "Arms can't be compared as they are.", "Give them the same length and days."},
			{"ARMS_TOGETHER", kinds(infeasible), "The arms can't all have the same exercises on the same days.", "See the violations beside it."},
			{"PAST", kinds(invalid), "What lies before the change must stay.", "Change from a later day on."},
			{"NOT_THERE", kinds(invalid), "What is locked or swapped is not in the program from then on.", "Name what is there."},
			{"NO_DATES", kinds(invalid), "The program has no dates.", "Give `rework.from_week`."},
			{"PINNED", kinds(invalid), "The exercise is a goal lift or pinned.", "Take it out of the request first."},
			{"PLUGIN_REFUSAL", kinds(invalid, infeasible), "A plug-in refuses the request and says why.", "See the text."},
			{"PLUGIN_FAILED", kinds(fault.Broken), "A plug-in failed.", "Tell whoever runs it."},
			{"PLUGIN_PROTOCOL", kinds(fault.Broken), "A plug-in does not speak this contract.", "Tell whoever runs it; `phasewright conform` shows it."},
			{"PLUGIN_DESCRIPTION", kinds(fault.Broken), "A plug-in describes itself wrongly.", "Tell whoever runs it; `phasewright conform` shows it."},
			{"PLUGIN_OUTLINE", kinds(fault.Broken), "A plug-in's outline breaks the laws of outlines.", "Tell whoever runs it; `phasewright conform` shows it."},
		}},
		{"Trials", []Reason{
			{"TRIAL_PROTOCOL", kinds(invalid), "The protocol can't be.", "Change the field named; docs/trials.md says what each is for."},
			{"TRIAL_DESIGN", kinds(invalid), "Arms can't be drawn in this way.", "Change the field named below the protocol's allocation."},
			{"TRIAL_STRATEGY", kinds(invalid), "The protocol trains by a strategy that is unknown here.", "Ask for the strategies that there are; versions can be named, as in constant@1."},
			{"TRIAL_ORDER", kinds(infeasible, exists, refused), "It can't come now, is there already, or consent is missing: the order is protocol, freezing, joining with consent, baseline, a program under every arm, enrolment, arms, measurements, end, key.", "Do first what the message names."},
			{"TRIAL_EVENT", kinds(invalid, notFound), "What is recorded can't be, or is of nobody in the trial.", "Change the field named."},
			{"TRIAL_UNIT", kinds(invalid), "What is said of a unit is not what the protocol's allocation asks for.", "Give a level for each factor and a whole number for each covariate, in their order."},
			{"TRIAL_LOCKED", kinds(infeasible), "Results can't be seen before the end, but at planned looks.", "End the trial, or look as the protocol plans it."},
			{"TRIAL_NO_ARM", kinds(infeasible), "There is no arm yet, or no program of it.", "Draw the arms; for adherence, make the program of the arm or give the share."},
			{"TRIAL_PROGRAM_MADE", kinds(exists), "The participant has this program already.", "Read it under the name that the participant has; revise it where it has to change."},
			{"TRIAL_BALANCE", kinds(infeasible), "No way to deal balances the covariates as closely as the protocol asks.", "Nothing can be drawn by this rule; amend a protocol before anyone joins with a larger imbalance."},
			{"TRIAL_CHAIN", kinds(invalid), "The stored events are not what was chained.", "Keep what there is and compare it with a copy; somebody or something changed the store."},
			{"TRIAL_COMMITMENT", kinds(invalid), "The key is not the one that was committed to.", "As for TRIAL_CHAIN."},
			{"TRIAL_REPLAY", kinds(invalid), "The key gives other arms than those that were told.", "As for TRIAL_CHAIN."},
			{"MATCH_SIZE", kinds(invalid), "There are more units than can be matched.", "Close enrolment with fewer, or deal by blocks."},
			{"MATCH_COVARIATE", kinds(invalid), "Covariates do not let distances be told.", "Give covariates that differ between units."},
			{"POWER_INPUT", kinds(invalid), "What is believed of a trial can't be, or there is too much to invent.", "Change the field named."},
			{"STAT_INPUT", kinds(invalid), "A number can't be.", "Change the field named."},
			{"STAT_FEW", kinds(infeasible), "Too few were measured for this.", "Wait for more; a report says it instead of a number."},
			{"STAT_SPREAD", kinds(infeasible), "The values do not vary, so nothing says how sure one can be.", "Look at how it was measured."},
			{"STAT_ALIAS", kinds(infeasible), "The effect can't be told from a covariate or a stratum.", "Measure more."},
			{"STAT_RANGE", kinds(infeasible), "The answer is beyond what can be computed.", "Look at the data for values that can't be."},
			{"SEQUENTIAL_LOOKS", kinds(invalid), "There is nothing new since the look before.", "Wait until more are measured."},
		}},
		{"Faults of the server", []Reason{
			{"INTERNAL", kinds(fault.Internal), "A fault of the server; it is in its log, and only there.", "Report it with the time and the trace."},
		}},
	}
}
