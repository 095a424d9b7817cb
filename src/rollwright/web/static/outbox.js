// What is entered waits here until the bench says that it is on the disk. It survives a reload and a restart.
import { ask, line, newId, page } from "./bench.js";

const KEY = "rollwright-outbox-1";
const SAVED_KEPT = 5;
const PAUSES = [1000, 2000, 4000, 5000];
const heard = new Set();
let busy = false;
let misses = 0;
let timer = 0;

export const state = { reload: false, unpaired: false, reached: true };

function read() {
  try { return JSON.parse(localStorage.getItem(KEY) || "[]"); } catch { return []; }
}

function write(items) {
  const saved = items.filter((each) => each.state === "saved").slice(-SAVED_KEPT);
  localStorage.setItem(KEY, JSON.stringify(items.filter((each) => each.state !== "saved" || saved.includes(each))));
  for (const tell of heard) tell();
}

function change(id, more) {
  // Read anew each time: another page of the same bench may have written meanwhile.
  write(read().map((each) => (each.id === id ? { ...each, ...more } : each)));
}

export function onChange(tell) { heard.add(tell); }
export function items() { return read().filter((each) => each.bench === page.bench); }
export function waiting() { return items().filter((each) => each.state === "waiting"); }
export function refused() { return items().filter((each) => each.state === "refused"); }
export function forget(id) { write(read().filter((each) => each.id !== id)); }

export function add(car, said) {
  const item = { id: newId(), bench: page.bench, car, verb: said.verb, words: said.words || [], options: said.options || {},
    label: said.label || said.verb, at: Date.now(), state: "waiting" };
  // Written before anything is sent: what was typed is never only on the screen.
  write([...read(), item]);
  flush();
  return item;
}

export async function flush() {
  if (busy) return;
  busy = true;
  clearTimeout(timer);
  try {
    for (let next = waiting()[0]; next && !state.reload; next = waiting()[0]) {
      if (!(await send(next))) break;
    }
  } finally { busy = false; }
  if (waiting().length && !state.reload) {
    timer = setTimeout(flush, PAUSES[Math.min(misses, PAUSES.length - 1)]);
  }
}

async function send(item) {
  const { id, verb, words, options } = item;
  let status = 0;
  let told = {};
  try {
    ({ status, told } = await ask(`/api/cars/${encodeURIComponent(item.car)}/entries`,
      { id, bench: item.bench, version: page.version, verb, words, options }));
  } catch { /* Out of reach: it waits. */ }
  state.reached = status > 0;
  state.unpaired = status === 401;
  if (status === 200 || status === 201) {
    misses = 0;
    change(id, { state: "saved", savedAt: Date.now(), entry: told.entry, said: told.words });
    return true;
  }
  if (status === 409 && told.reload) { state.reload = true; write(read()); return false; }
  if ([400, 404, 409, 413, 415, 422].includes(status)) {
    misses = 0;
    change(id, { state: "refused", reason: line(told) });
    return true;
  }
  misses += 1;
  for (const tell of heard) tell();
  return false;
}

addEventListener("online", flush);
addEventListener("storage", (event) => { if (event.key === KEY) for (const tell of heard) tell(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) { misses = 0; flush(); } });
flush();
