// Clocks, processes and sockets as Linux and Node tell of them. Knows nothing of what is measured.

import { readFileSync } from "node:fs";
import net from "node:net";

const text = (path) => readFileSync(path, "utf8");

// Processor time in seconds from the fields 14 and 15 of a `stat` file, which are in hundredths; with the children
// that ended, 16 and 17 too.
function ticks(path, fields) {
  const after = text(path).slice(text(path).lastIndexOf(")") + 2).split(" ");
  return fields.reduce((sum, field) => sum + Number(after[field - 3]), 0) / 100;
}

// Of another process.
export const cpuOf = (pid) => ticks(`/proc/${pid}/stat`, [14, 15]);

// Of this program and of its children that ended.
export const cpuOwn = () => ticks("/proc/self/stat", [14, 15, 16, 17]);

// Of everything on this machine: what was not idle and not waiting for a disk.
export function cpuOfAll() {
  const of = text("/proc/stat").split("\n")[0].trim().split(/\s+/).slice(1, 9).map(Number);
  return (of.reduce((a, b) => a + b) - of[3] - of[4]) / 100;
}

// The most memory that a process had resident, MB.
export const peakOf = (pid) => Number(/VmHWM:\s+(\d+)/.exec(text(`/proc/${pid}/status`))[1]) / 1024;

export function quantile(figures, share) {
  const sorted = [...figures].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))];
}

export const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

// A websocket's question whether somebody is there has two bytes, its answer begins with this one; neither is a turn.
const SIGN_OF_LIFE = 2;
const PONG = 0x8a;

// What went over every socket of this program to one port, whichever library opened it: bytes, and turns, which are
// the times that a socket's side here spoke first or after it had heard something.
export class Wire {
  #sockets = new Set();
  #port = 0;
  #up = 0;
  #down = 0;
  #turns = 0;

  constructor() {
    const wire = this;
    const { push, _writeGeneric: write } = net.Socket.prototype;
    net.Socket.prototype.push = function (chunk, ...rest) {
      if (chunk?.length > SIGN_OF_LIFE) this.theySpoke = true;
      return push.call(this, chunk, ...rest);
    };
    net.Socket.prototype._writeGeneric = function (...args) {
      wire.#spoken(this, args[1]?.[0] === PONG);
      return write.apply(this, args);
    };
  }

  #spoken(socket, pong) {
    if (!this.#sockets.has(socket)) {
      this.#sockets.add(socket);
      socket.theySpoke = true;
      socket.turns = 0;
      // A closed socket no longer tells where it led to.
      const led = () => (socket.ledTo = socket.remotePort);
      if (socket.connecting) socket.once("connect", led);
      else led();
      socket.once("close", () => this.#ended(socket));
    }
    if (pong) return;
    if (socket.theySpoke) socket.turns += 1;
    socket.theySpoke = false;
  }

  #ended(socket) {
    this.#sockets.delete(socket);
    if (socket.ledTo !== this.#port) return;
    this.#up += socket.bytesWritten;
    this.#down += socket.bytesRead;
    this.#turns += socket.turns;
  }

  // From now on, to that port.
  begin(port) {
    this.#port = port;
    [this.#up, this.#down, this.#turns] = [0, 0, 0];
  }

  // So far.
  told() {
    let [up, down, turns] = [this.#up, this.#down, this.#turns];
    for (const socket of this.#sockets) {
      if (socket.ledTo !== this.#port) continue;
      up += socket.bytesWritten;
      down += socket.bytesRead;
      turns += socket.turns;
    }
    return { up, down, turns };
  }
}
