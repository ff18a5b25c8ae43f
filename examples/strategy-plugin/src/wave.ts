// The strategy: weeks rise in waves. Over two to four weeks repetitions fall and loads rise,
// then comes an easy week, and the next wave begins. It is a pure function of what is asked.
import { create, type MessageInitShape } from "@bufbuild/protobuf";
import {
  DescriptionSchema,
  Outline_Role as Role,
  Outline_SessionKind as SessionKind,
  Outline_SetKind as SetKind,
  Outline_WeekKind as WeekKind,
  OutlineRequest_AthleteStatus as Status,
  OutlineSchema,
  ParameterType,
  type Outline_SchemeSchema,
  type Outline_TargetSchema,
  type Outline_WeekSchema,
  type OutlineRequest,
} from "./gen/phasewright/strategy/v1/strategy_plugin_pb.js";

type Scheme = MessageInitShape<typeof Outline_SchemeSchema>;
type Target = MessageInitShape<typeof Outline_TargetSchema>;
type Span = { min: number; max: number };
type Week = MessageInitShape<typeof Outline_WeekSchema>;

export const description = create(DescriptionSchema, {
  name: "wave",
  version: "1",
  description:
    "Waves of a few rising weeks, in which repetitions fall and loads rise, each ended by an easy week.",
  claims:
    "None of its own. Plans in which repetitions change from week to week and plans in which they fall steadily " +
    "raised maximal strength about equally in most studies (Harries et al. 2015, 17 studies).",
  minWeeks: 2,
  maxWeeks: 52,
  parameters: [
    {
      name: "easy_percent",
      type: ParameterType.NUMBER,
      default: { kind: { case: "number", value: 60 } },
      min: 40,
      max: 80,
      unit: "percent",
      whole: true,
      description: "Share of the weekly dose that the easy week keeps.",
      source: "Step loading as in Bompa and Haff 2009, where easy weeks have 50 to 70 percent (from memory).",
    },
    {
      name: "rising_weeks",
      type: ParameterType.NUMBER,
      default: { kind: { case: "number", value: 3 } },
      min: 2,
      max: 4,
      unit: "weeks",
      whole: true,
      description: "Weeks of a wave before its easy week.",
      source: "Buford et al. 2007 let repetitions fall from 8 over 6 to 4 from week to week, again and again.",
    },
  ],
});

export const id = `${description.name}@${description.version}`;

export function plan(asked: OutlineRequest) {
  const rising = setting(asked, "rising_weeks");
  const easy = setting(asked, "easy_percent");
  const weeks = asked.sessions.map((sessions, i) => week(asked, sessions, i % (rising + 1), rising, easy));
  const waves = [];
  for (let at = 0; at < weeks.length; at += rising + 1) {
    waves.push({
      name: `wave ${waves.length + 1}`,
      aim: "From moderate sets with some reserve to heavy ones near failure, then an easy week.",
      weeks: weeks.slice(at, at + rising + 1),
    });
  }
  return create(OutlineSchema, { strategy: id, phases: waves });
}

// setting gives a number that was set, else its default.
function setting(asked: OutlineRequest, name: string): number {
  const given = asked.parameters.find((p) => p.name === name)?.value;
  const kind = (given ?? description.parameters.find((p) => p.name === name)?.default)?.kind;
  if (kind?.case !== "number") throw new Error(`${name} is no number`);
  return kind.value;
}

// week gives the week at a place of its wave, 0 the first; the one at `rising` is easy.
function week(asked: OutlineRequest, sessions: number, at: number, rising: number, easy: number): Week {
  const isEasy = at === rising;
  const height = isEasy ? 0 : at / (rising - 1);
  const targets = sets(asked, height, isEasy);
  return {
    kind: isEasy ? WeekKind.DELOAD : WeekKind.TRAINING,
    dosePercent: isEasy ? easy : 100,
    sessions: Array.from({ length: sessions }, () => ({ kind: SessionKind.TRAINING, targets })),
  };
}

// sets gives what each role does, at a height of the wave from 0 to 1.
function sets(asked: OutlineRequest, height: number, isEasy: boolean): Target[] {
  const [most, least] = asked.size && !asked.strength ? [12, 8] : [8, 4];
  const heavy = most - Math.round((most - least) * height);
  const nearest = asked.status === Status.NOVICE ? 2 : 1; // novices misjudge their reserve (common practice, no source)
  const rir = isEasy ? 4 : Math.max(nearest, 3 - Math.round(2 * height));
  return [
    { role: Role.GOAL_LIFT, schemes: [working(3, 5, heavy, heavy, rir, 180)] },
    { role: Role.MULTI_JOINT, schemes: [working(2, 4, heavy, heavy + 2, rir, 150)] },
    { role: Role.SINGLE_JOINT, schemes: [working(2, 4, 10, 15, Math.max(2, rir), 90)] },
    { role: Role.TRUNK, schemes: [working(2, 3, 8, 12, Math.max(2, rir), 60, { min: 20, max: 40 })] },
    { role: Role.EXPLOSIVE, schemes: [working(3, 5, 2, 3, 4, 150)] },
    { role: Role.UNLOADABLE, schemes: [working(2, 4, 8, 15, Math.max(2, rir), 90)] },
  ];
}

function working(fewest: number, most: number, from: number, to: number, rir: number, rest: number, holdSeconds?: Span): Scheme {
  return {
    kind: SetKind.WORKING,
    sets: { min: fewest, max: most },
    reps: { min: from, max: to },
    holdSeconds, // where the exercise is timed
    effort: { rir },
    restSeconds: rest,
  };
}
