// How much of the machine a test and everything it started takes, and how much others take, from Linux's own accounts (proc(5)).

import { readFileSync, readdirSync } from "node:fs";

/** Clock ticks a second of /proc's accounts, 100 on every Linux that Debian makes. */
const TICKS = 100;

/** Processor seconds of all processes that this one started, and theirs. */
function ours() {
  const processes = new Map();
  for (const id of readdirSync("/proc").filter((name) => /^\d+$/.test(name))) {
    try {
      // The name stands in brackets and may hold anything.
      const fields = readFileSync(`/proc/${id}/stat`, "utf8").split(") ").at(-1).split(" ");
      processes.set(Number(id), { parent: Number(fields[1]), ticks: Number(fields[11]) + Number(fields[12]) });
    } catch {
      // It has ended meanwhile.
    }
  }
  const isOurs = (id) => id === process.pid || (processes.has(id) && isOurs(processes.get(id).parent));
  let ticks = 0;
  for (const [id, { ticks: taken }] of processes) if (isOurs(id)) ticks += taken;
  return ticks / TICKS;
}

/** Processor seconds of everybody, and of all processors together whether used or not. */
function everybody() {
  const [user, nice, system, idle, wait, interrupts, soft, stolen] = readFileSync("/proc/stat", "utf8").split("\n")[0].split(/\s+/).slice(1).map(Number);
  const busy = user + nice + system + interrupts + soft + stolen;
  return { busy: busy / TICKS, all: (busy + idle + wait) / TICKS };
}

/** Seconds that a limit on this container's processor time has taken from it, where there is one (cgroup v2). */
function withheld() {
  try {
    return Number(readFileSync("/sys/fs/cgroup/cpu.stat", "utf8").match(/throttled_usec (\d+)/)?.[1] ?? 0) / 1e6;
  } catch {
    return 0;
  }
}

/** Runs `work`; what it gave, the processor seconds it took, and the share of the machine that others had meanwhile. */
export async function watched(work) {
  const before = { ours: ours(), withheld: withheld(), ...everybody() };
  const made = await work();
  const after = { ours: ours(), withheld: withheld(), ...everybody() };
  const seconds = after.ours - before.ours;
  const all = Math.max(1e-3, after.all - before.all);
  const others = Math.max(0, after.busy - before.busy - seconds + (after.withheld - before.withheld)) / all;
  return { made, seconds, others };
}

/** Share of the machine from which on others keep a bar in seconds from being measured. */
export const BUSY = 0.15;
