// One peer's part of the race: fills its store, lets devices come back, asks when what was acknowledged can be read by
// somebody else, kills it, and prints one JSON object. Knows peers by what `<name>/peer.mjs` says, which has
//
//   about               title, whose client it is, and what counts as acknowledged
//   serve(folder)       a server on that store and a port of 127.0.0.1, by the peer's own defaults; gives the port
//   command(folder)     instead of it: a program that prints "port" and its number
//   fill(folder, ids)   the earlier entries of each document, put into the store by the peer's own means
//   ready()             makes the work of the devices, before any clock runs
//   id(n)               the name of the n-th document
//   push(port, id)      a device that comes back: is over when all was acknowledged, gives what hangs up
//   read(folder, ids)   how many entries of each document the store holds, for a reader who is not the server
//   fetch(port, id)     how many entries a device without any gets from a server
//
//   node race.mjs run NAME --devices 100 --within 10 --limit 120 --trials 5 --folder DIR

import { execFileSync, spawn } from "node:child_process";
import { EventEmitter } from "node:events";
import { cpSync, mkdirSync, rmSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { parseArgs } from "node:util";

import { Wire, cpuOf, cpuOfAll, cpuOwn, peakOf, quantile, sleep } from "./measure.mjs";
import { ALL, EARLIER } from "./work.mjs";

const SELF = fileURLToPath(import.meta.url);
// Documents that are looked at after filling, and read back by devices after the server was killed.
const READ_BACK = 50;

const { positionals, values } = parseArgs({
  allowPositionals: true,
  options: {
    devices: { type: "string", default: "20" },
    within: { type: "string", default: "10" },
    limit: { type: "string", default: "120" },
    trials: { type: "string", default: "5" },
    folder: { type: "string", default: "store" },
  },
});
const [word, name, ...rest] = positionals;
const wire = word === "run" ? new Wire() : undefined;
const peer = await import(`./${name}/peer.mjs`);
const ids = (count, from = 0) => Array.from({ length: count }, (_, n) => peer.id(from + n));

// The peer's server in a process of its own.
class Server {
  static async start(folder) {
    const server = new Server();
    const [program, ...words] = peer.command?.(folder) ?? [process.execPath, SELF, "serve", name, folder];
    server.child = spawn(program, words, { stdio: ["ignore", "pipe", "pipe"] });
    server.said = "";
    server.child.stderr.on("data", (bytes) => (server.said = (server.said + bytes).slice(-2_000)));
    server.ended = new Promise((done) => server.child.once("exit", (code, signal) => done(code ?? signal)));
    server.ended.then((how) => (server.died = how));
    server.port = await new Promise((done, failed) => {
      let heard = "";
      server.child.stdout.on("data", (bytes) => {
        heard += bytes;
        const port = /^port (\d+)$/m.exec(heard);
        if (port) done(Number(port[1]));
      });
      server.ended.then(() => failed(new Error(`the server did not start: ${server.said}`)));
    });
    return server;
  }

  get cpu() {
    return this.died === undefined ? (this.lastCpu = cpuOf(this.child.pid)) : this.lastCpu;
  }

  get peak() {
    return this.died === undefined ? (this.lastPeak = peakOf(this.child.pid)) : this.lastPeak;
  }

  // As a loss of power would, but for the disk.
  async kill() {
    this.child.kill("SIGKILL");
    await this.ended;
  }
}

// How many entries of each document somebody reads who has the files alone: a copy, as they are now.
async function readByOther(folder, wanted) {
  const copy = `${folder}-read`;
  rmSync(copy, { recursive: true, force: true });
  try {
    cpSync(folder, copy, { recursive: true });
  } catch {
    // The server has taken a file away amid the copy: the next one will tell.
    return [];
  }
  const reader = spawn(process.execPath, [SELF, "read", name, copy, String(wanted)], {
    stdio: ["ignore", "pipe", "ignore"],
  });
  let heard = "";
  reader.stdout.on("data", (bytes) => (heard += bytes));
  await new Promise((done) => reader.once("close", done));
  // A copy that was taken amid a write may not open: then nothing is known of it, and the next one will tell.
  try {
    return JSON.parse(heard);
  } catch {
    return [];
  }
}

const whole = (count) => count === ALL;

// All devices within some seconds, and all that is told of it.
async function comeBack(folder, count, within, limit) {
  await peer.ready();
  const server = await Server.start(folder);
  await sleep(500);
  const watch = setInterval(() => [server.cpu, server.peak], 200);
  wire.begin(server.port);
  const before = { server: server.cpu, own: cpuOwn(), all: cpuOfAll() };
  const begun = performance.now();
  const since = () => (performance.now() - begun) / 1e3;
  const over = sleep(limit * 1e3).then(() => "time is over");
  const latencies = [];
  const failures = new Map();
  const hangUps = [];
  const devices = ids(count).map(async (id, n) => {
    const due = (within * n) / count;
    await sleep(due * 1e3);
    try {
      hangUps.push(await peer.push(server.port, id));
      latencies.push((since() - due) * 1e3);
    } catch (why) {
      failures.set(why.message, (failures.get(why.message) ?? 0) + 1);
    }
  });
  await Promise.race([Promise.all(devices), over, server.ended]);
  const row = { devices: count, acknowledged: latencies.length };
  if (latencies.length === count) row.acknowledged_s = since();
  const told = wire.told();
  row.bytes_up = told.up / count;
  row.bytes_down = told.down / count;
  row.turns = told.turns / count;
  while (server.died === undefined && since() < limit) {
    const at = since();
    const held = await readByOther(folder, count);
    row.durable = held.filter(whole).length;
    if (row.durable === count) {
      row.durable_s = at;
      break;
    }
    // Half of the time at most is spent on reading: the server has work, too.
    await sleep(Math.max(500, (since() - at) * 1e3));
  }
  row.server_cpu_s = server.cpu - before.server;
  row.peak_mb = server.peak;
  clearInterval(watch);
  // The server's own child processes would be counted as others; no peer has any.
  row.others_cpu_s = Math.max(0, cpuOfAll() - before.all - (cpuOwn() - before.own) - row.server_cpu_s);
  row.measured_s = since();
  for (const [figure, share] of Object.entries({ p50: 0.5, p95: 0.95, p99: 0.99, max: 1 })) {
    if (latencies.length) row[`${figure}_ms`] = quantile(latencies, share);
  }
  const notes = [];
  if (server.died !== undefined) notes.push(`the server died (${server.died}): ${server.said.trim().split("\n").pop()}`);
  else if (latencies.length < count) notes.push(`not all acknowledged within ${limit} s`);
  if (row.durable_s === undefined) notes.push(`${row.durable ?? 0} durable when time was over`);
  for (const [why, times] of failures) notes.push(`${times} times: ${why}`);
  if (server.died === undefined) await server.kill();
  for (const hangUp of hangUps) hangUp();
  if (row.durable_s !== undefined) {
    const asked = Math.min(READ_BACK, count);
    const back = await fetchAll(folder, ids(asked));
    if (!back.every(whole)) notes.push(`only ${back.filter(whole).length} of ${asked} read back after kill -9`);
  }
  row.note = notes.join("; ");
  return row;
}

// What devices without any entries get from a server on that store.
async function fetchAll(folder, wanted) {
  const server = await Server.start(folder);
  const got = [];
  for (const id of wanted) {
    const late = sleep(20_000).then(() => 0);
    got.push(await Promise.race([peer.fetch(server.port, id), late, server.ended.then(() => 0)]));
  }
  await server.kill();
  return got;
}

// One device; the server is killed in the tick in which it says that all is there. Entries that are then not there.
async function killed(folder) {
  await peer.ready();
  const server = await Server.start(folder);
  const hangUp = await peer.push(server.port, peer.id(0), () => server.child.kill("SIGKILL"));
  await server.ended;
  hangUp();
  const [held] = await fetchAll(folder, [peer.id(0)]);
  return ALL - held;
}

async function run() {
  const folder = values.folder;
  const fresh = (at, count) => {
    rmSync(at, { recursive: true, force: true });
    mkdirSync(at, { recursive: true });
    // In a process of its own: what it opened must be shut.
    execFileSync(process.execPath, [SELF, "fill", name, at, String(count)], { stdio: ["ignore", "ignore", "inherit"] });
  };
  const store = join(folder, "store");
  fresh(store, Number(values.devices));
  const row = await comeBack(store, Number(values.devices), Number(values.within), Number(values.limit));
  rmSync(store, { recursive: true, force: true });
  rmSync(`${store}-read`, { recursive: true, force: true });
  row.lost = [];
  const one = join(folder, "one");
  if (Number(values.trials) > 0) fresh(one, 1);
  for (let n = 0; n < Number(values.trials); n++) {
    const trial = join(folder, "trial");
    rmSync(trial, { recursive: true, force: true });
    cpSync(one, trial, { recursive: true });
    const late = sleep(30_000).then(() => null);
    row.lost.push(await Promise.race([killed(trial), late]));
  }
  process.stdout.write(`${JSON.stringify({ server: peer.about.title, client: peer.about.client, ...row })}\n`);
  process.exit(0);
}

if (word === "run") {
  // What a peer's client throws into the air is no end of the race: a device that is not told is counted.
  process.on("uncaughtException", (why) => console.error(why));
  // Many devices in one program.
  EventEmitter.defaultMaxListeners = 0;
  process.setMaxListeners(0);
  try {
    await run();
  } catch (why) {
    const row = { server: peer.about.title, client: peer.about.client, devices: Number(values.devices) };
    process.stdout.write(`${JSON.stringify({ ...row, note: `not measured: ${why.message}` })}\n`);
    process.exit(1);
  }
} else if (word === "serve") console.log(`port ${await peer.serve(rest[0])}`);
else if (word === "fill") {
  await peer.fill(rest[0], ids(Number(rest[1])));
  const held = await peer.read(rest[0], ids(Math.min(READ_BACK, Number(rest[1]))));
  if (!held.every((n) => n === EARLIER)) throw new Error(`not filled: ${held}`);
  process.exit(0);
} else if (word === "read") {
  console.log(JSON.stringify(await peer.read(rest[0], ids(Number(rest[1])))));
  process.exit(0);
} else throw new Error(`no such word: ${word}`);
