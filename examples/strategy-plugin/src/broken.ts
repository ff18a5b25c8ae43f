// The same strategy with one fault, to see it found: plans of nine weeks lack the last.
import { serve } from "./server.js";
import { plan } from "./wave.js";

serve((asked) => {
  const outline = plan(asked);
  if (asked.sessions.length === 9) outline.phases.at(-1)?.weeks.pop();
  return outline;
}, Number(process.argv[2] ?? 7100));
