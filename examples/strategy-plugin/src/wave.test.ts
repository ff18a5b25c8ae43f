import assert from "node:assert/strict";
import { test } from "node:test";
import { create, toBinary, type MessageInitShape } from "@bufbuild/protobuf";
import {
  Outline_Role as Role,
  OutlineRequest_AthleteStatus as Status,
  OutlineRequestSchema,
  OutlineSchema,
  type Outline,
} from "./gen/phasewright/strategy/v1/strategy_plugin_pb.js";
import { id, plan } from "./wave.js";

const asked = (more: MessageInitShape<typeof OutlineRequestSchema> = {}) =>
  create(OutlineRequestSchema, { strategy: id, sessions: Array(8).fill(3), status: Status.INTERMEDIATE, strength: true, ...more });

const schemes = (o: Outline, role: Role) =>
  o.phases.flatMap((p) => p.weeks).flatMap((w) => w.sessions.slice(0, 1)).map((s) => s.targets.find((t) => t.role === role)!.schemes[0]!);

test("repetitions fall over three weeks, and an easy week follows", () => {
  const o = plan(asked());
  assert.deepEqual(schemes(o, Role.GOAL_LIFT).map((s) => s.reps?.min), [8, 6, 4, 8, 8, 6, 4, 8]);
  assert.deepEqual(schemes(o, Role.GOAL_LIFT).map((s) => s.effort?.rir), [3, 2, 1, 4, 3, 2, 1, 4]);
  assert.deepEqual(o.phases.flatMap((p) => p.weeks).map((w) => w.dosePercent), [100, 100, 100, 60, 100, 100, 100, 60]);
});

test("parameters are followed", () => {
  const number = (name: string, value: number) => ({ name, value: { kind: { case: "number" as const, value } } });
  const o = plan(asked({ parameters: [number("easy_percent", 50), number("rising_weeks", 2)] }));
  assert.deepEqual(o.phases.map((p) => p.weeks.length), [3, 3, 2]);
  assert.equal(o.phases[0]?.weeks[2]?.dosePercent, 50);
});

test("novices keep two repetitions in reserve, size has more repetitions", () => {
  const novice = plan(asked({ status: Status.NOVICE }));
  assert.ok(schemes(novice, Role.GOAL_LIFT).every((s) => s.effort!.rir! >= 2));
  assert.deepEqual(schemes(plan(asked({ strength: false, size: true })), Role.GOAL_LIFT).map((s) => s.reps?.min).slice(0, 3), [12, 10, 8]);
});

test("a week has the sessions that it has room for", () => {
  const o = plan(asked({ sessions: [4, 0, 2] }));
  assert.deepEqual(o.phases.flatMap((p) => p.weeks).map((w) => w.sessions.length), [4, 0, 2]);
});

test("equal requests get equal outlines", () => {
  assert.deepEqual(toBinary(OutlineSchema, plan(asked())), toBinary(OutlineSchema, plan(asked())));
});
