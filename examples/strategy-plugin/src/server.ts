// Answers the engine: node dist/server.js [PORT]
import { createServer } from "node:http2";
import type { AddressInfo } from "node:net";
import { fileURLToPath } from "node:url";
import type { ConnectRouter } from "@connectrpc/connect";
import { connectNodeAdapter } from "@connectrpc/connect-node";
import { StrategyPluginService, type Outline, type OutlineRequest } from "./gen/phasewright/strategy/v1/strategy_plugin_pb.js";
import { description, id, plan } from "./wave.js";

export function routes(planned: (asked: OutlineRequest) => Outline) {
  return (router: ConnectRouter) =>
    router.service(StrategyPluginService, {
      handshake: () => ({ protocolVersions: [1] }),
      describe: () => ({ description }),
      outline: (asked) =>
        asked.strategy === id
          ? { outline: planned(asked) }
          : { refusals: [{ field: "strategy", reason: "OTHER_VERSION", description: `This is ${id}.` }] },
    });
}

export function serve(planned: (asked: OutlineRequest) => Outline, port: number) {
  const server = createServer(connectNodeAdapter({ routes: routes(planned) }));
  server.listen(port, "127.0.0.1", () => {
    console.log(`${id} answers on 127.0.0.1:${(server.address() as AddressInfo).port}`);
  });
  return server;
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  serve(plan, Number(process.argv[2] ?? 7100));
}
