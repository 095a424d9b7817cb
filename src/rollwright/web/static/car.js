// A car at the bench: the answers to the next step, the sheets, and what other devices entered meanwhile.
import { ask, page } from "./bench.js";
import * as outbox from "./outbox.js";
import { Typed } from "./keypad.js";

const $ = (id) => document.getElementById(id);
const place = $("car");
const car = place.dataset.car;
let head = Number(place.dataset.head);
let seenAt = Date.now();
let reached = true;
let news = "";
const loadedAt = performance.now();
const SETTLE = 500;
const POLL = 3500;
const WAYS = { height_difference: ["nose high", "nose low"], drift: ["left", "right"], rail_offset: ["off the rail", "too far in"] };
const MOVES = {
  bend: { kind: "angle", ways: ["more", "less"] }, turn: { kind: "angle", ways: ["clockwise", "counter-clockwise"] },
  sand: { kind: "length", ways: [] }, washer: { kind: "length", ways: ["added", "removed"] }, shim: { kind: "length", ways: ["added", "removed"] },
};

// --- sheets ---------------------------------------------------------------------------------------------------
function open(id) { const sheet = $(id); sheet.showModal(); return sheet; }
for (const button of document.querySelectorAll("[data-close]")) button.addEventListener("click", () => button.closest("dialog").close());

function send(said, sheet) {
  outbox.add(car, said);
  if (sheet) sheet.close();
}

// A page that just came up takes no tap that was meant for the one before it.
function on(id, run) {
  $(id)?.addEventListener("click", () => { if (performance.now() - loadedAt > SETTLE) run($(id)); });
}

// --- reading --------------------------------------------------------------------------------------------------
const sheetRead = $("sheet-read");
const reading = { verb: "read", words: [], options: {}, repeats: [], kind: "", side: "", asked: false };
const typed = new Typed($("typed"), $("typed-unit"), sheetRead.querySelector(".keypad"), () => { reading.asked = false; echo(); }, () => turnSide());
const sideButtons = [...sheetRead.querySelectorAll("[data-side]")];

function unitFor(kind) {
  if (kind === "mass") return page.units === "in" ? "oz" : "g";
  if (kind === "angle") return "deg";
  if (page.units !== "in") return "mm";
  return kind === "drift" ? "in" : "thou";
}

function setSide(side) {
  reading.side = side;
  for (const each of sideButtons) each.setAttribute("aria-pressed", String(each.dataset.side === side));
}

function turnSide() { if (reading.kind in WAYS) setSide(reading.side === "-" ? "+" : "-"); else typed.insert("-"); }

function setKind(kind) {
  reading.kind = kind;
  reading.repeats = [];
  const ways = WAYS[kind];
  sheetRead.querySelector(".sides").style.visibility = ways ? "visible" : "hidden";
  if (ways) sideButtons.forEach((each, n) => { each.textContent = ways[n]; });
  const chosen = sheetRead.querySelector(`input[value="${kind}"]`);
  if (chosen) chosen.checked = true;
  typed.unit = unitFor(kind);
  setSide("");
  echo();
}

function openReading({ title = "Enter a reading", verb = "read", words = [], options = {}, kind = "height_difference", free = true } = {}) {
  Object.assign(reading, { verb, words, options, repeats: [], asked: false });
  $("sheet-read-title").textContent = title;
  sheetRead.querySelector(".kinds").hidden = !free;
  $("repeat").hidden = verb !== "read";
  typed.clear();
  setKind(kind);
  open("sheet-read");
  $("typed").focus();
}

function signed(text) {
  if (!text || !(reading.kind in WAYS) || /^[-+\u2212]/.test(text) || !reading.side) return text;
  if (reading.kind === "drift") return `${text} ${reading.side === "+" ? "left" : "right"}`;
  return reading.side === "-" ? `-${text}` : text;
}

function current() { return signed(typed.written); }
function all() { const now = current(); return now ? [...reading.repeats, now] : [...reading.repeats]; }

let echoTimer = 0;
let echoTurn = 0;
let echoed = { ok: false, ask: "" };
function show(target, rows) {
  target.replaceChildren(...rows.filter((each) => each[0]).map(([text, odd]) => {
    const row = document.createElement("div");
    row.textContent = text;
    if (odd) row.className = "odd";
    return row;
  }));
}

function needsSide(values) {
  const last = values[values.length - 1] || "";
  return reading.kind in WAYS && !reading.side && Number.parseFloat(last.replace(",", ".")) !== 0 && !/^[-+\u2212]|left|right/.test(last);
}

function echo() {
  clearTimeout(echoTimer);
  $("save-reading").textContent = reading.asked ? "Save it all the same" : "Save";
  const values = all();
  if (!values.length) { echoed = { ok: false, ask: "" }; show($("echo"), [["What you type is read back here."]]); return; }
  echoTimer = setTimeout(async () => {
    const turn = ++echoTurn;
    try {
      const { status, told } = await ask("/api/echo", { kind: reading.kind, values, car }, { patience: 3000 });
      if (turn !== echoTurn || status !== 200) return;
      echoed = told;
      const last = told.values[told.values.length - 1];
      const read = last.error ? `${last.error}; ${last.mend}.` : `${last.shown}${last.also ? ` = ${last.also}` : ""}`;
      show($("echo"), [
        [needsSide(values) ? `Say which way: ${WAYS[reading.kind].join(" or ")}.` : read, Boolean(last.error) || needsSide(values)],
        [told.summary], [needsSide(values) ? "" : told.ask, true]]);
    } catch {
      if (turn === echoTurn) { echoed = { ok: true, ask: "" }; show($("echo"), [["No connection: it is read and checked when it is sent."]]); }
    }
  }, 120);
}

sideButtons.forEach((each) => each.addEventListener("click", () => { setSide(each.dataset.side); reading.asked = false; echo(); }));
sheetRead.querySelectorAll('input[name="kind"]').forEach((each) => each.addEventListener("change", () => { reading.verb = each.value === "mass" ? "weigh" : "read"; $("repeat").hidden = reading.verb !== "read"; setKind(each.value); }));
$("repeat").addEventListener("click", () => {
  const now = current();
  if (!now || needsSide([now])) { echo(); return; }
  reading.repeats.push(now);
  typed.clear();
  echo();
  $("typed").focus();
});
sheetRead.querySelector("form").addEventListener("submit", (event) => {
  event.preventDefault();
  const values = all();
  if (!values.length || needsSide(values)) { echo(); $("typed").focus(); return; }
  const bad = echoed.values?.find((each) => each.error);
  if (bad && echoed.values.length === values.length && bad.written === values[echoed.values.indexOf(bad)]) { $("typed").focus(); return; }
  if (echoed.ask && !reading.asked) { reading.asked = true; $("save-reading").textContent = "Save it all the same"; return; }
  if (reading.verb === "read") send({ verb: "read", words: [reading.kind, ...values], label: `${reading.kind.replace("_", " ")} ${values.join(", ")}` }, sheetRead);
  else if (reading.verb === "weigh" && !reading.words.length) send({ verb: "weigh", words: ["whole", values[0]], label: `weight ${values[0]}` }, sheetRead);
  else send({ verb: reading.verb, words: [...reading.words, values[0]], options: reading.options, label: `${reading.verb} ${values[0]}` }, sheetRead);
});

// --- a move ---------------------------------------------------------------------------------------------------
const sheetDid = $("sheet-did");
const did = { way: -1 };
const amount = new Typed($("amount"), $("amount-unit"), sheetDid.querySelector(".keypad"), () => echoDid());
const wayButtons = [...sheetDid.querySelectorAll("[data-way]")];
function setMove() {
  const { kind, ways } = MOVES[$("move").value];
  did.way = ways.length ? -1 : 0;
  amount.unit = unitFor(kind);
  sheetDid.querySelector(".sides").style.visibility = ways.length ? "visible" : "hidden";
  wayButtons.forEach((each, n) => { each.textContent = ways[n] || ""; each.setAttribute("aria-pressed", "false"); });
  echoDid();
}
function echoDid() {
  const move = $("move").value;
  const { ways } = MOVES[move];
  const text = amount.written;
  const seen = move === "turn" ? ", seen from outside the wheel" : "";
  const at = $("station").selectedOptions[0].textContent;
  if (!text) show($("did-echo"), [["By how much? Or write: unknown"]]);
  else if (ways.length && did.way < 0) show($("did-echo"), [[`Say which way: ${ways.join(" or ")}${seen}.`, true]]);
  else show($("did-echo"), [[`${move} at ${at} by ${text} ${ways[did.way] || ""}${seen}`]]);
}
wayButtons.forEach((each, n) => each.addEventListener("click", () => { did.way = n; wayButtons.forEach((one, m) => one.setAttribute("aria-pressed", String(m === n))); echoDid(); }));
$("move").addEventListener("change", setMove);
$("station").addEventListener("change", echoDid);
sheetDid.querySelector("form").addEventListener("submit", (event) => {
  event.preventDefault();
  const move = $("move").value;
  const { ways } = MOVES[move];
  const unknown = /^unknown\b/i.test($("amount").value.trim());
  if (!amount.written || (!unknown && ways.length && did.way < 0)) { echoDid(); return; }
  const text = unknown ? "unknown" : `${amount.written} ${ways[did.way] || ""}`.trim();
  send({ verb: "did", words: [move, $("station").value, text], options: $("measured").checked ? { measured: "yes" } : {}, label: `${move} ${text}` }, sheetDid);
});
on("differently", () => {
  const asked = $("as-asked");
  const words = asked?.dataset.verb === "did" ? JSON.parse(asked.dataset.words) : [];
  if (words[0]) $("move").value = words[0];
  if (words[1] && $("station").querySelector(`[value="${words[1]}"]`)) $("station").value = words[1];
  amount.clear();
  $("measured").checked = false;
  setMove();
  const way = MOVES[$("move").value].ways.findIndex((each) => (words[2] || "").endsWith(each) && !(each === "clockwise" && words[2].includes("counter")));
  if (way >= 0) wayButtons[way].click();
  open("sheet-did");
  $("amount").focus();
});

// --- words ----------------------------------------------------------------------------------------------------
const sheetText = $("sheet-text");
let textDone = null;
function openText({ title, about, usual = [], done }) {
  $("sheet-text-title").textContent = title;
  $("text-about").textContent = about;
  $("text").value = "";
  textDone = done;
  $("text-usual").replaceChildren(...usual.map((words) => {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "button", textContent: words });
    button.addEventListener("click", () => { sheetText.close(); done(words); });
    return button;
  }));
  open("sheet-text");
}
sheetText.querySelector("form").addEventListener("submit", (event) => {
  event.preventDefault();
  const words = $("text").value.trim();
  if (!words) { $("text").focus(); return; }
  sheetText.close();
  textDone(words);
});
function note() { openText({ title: "A note", about: "It stands in the history.", done: (text) => send({ verb: "note", words: [text], label: "note" }) }); }
on("cannot", () => openText({
  title: "It cannot be done", about: "It is written down as a note. What you do instead is entered with the button beside it, and the next step then follows from that.",
  usual: ["Cannot: it is at its limit", "Cannot: the tool for it is missing", "Cannot: something broke"],
  done: (text) => send({ verb: "note", words: [text.startsWith("Cannot") ? text : `Cannot: ${text}`], label: "note" }),
}));
for (const id of ["add-note", "more-note"]) on(id, note);
for (const id of ["add-reading", "more-reading"]) on(id, () => openReading());
for (const button of document.querySelectorAll("[data-undo]")) {
  button.addEventListener("click", () => openText({
    title: `Undo entry ${button.dataset.undo}`, about: `${button.dataset.what}. Both stay in the history.`,
    usual: ["Entered by mistake", "The wrong side or unit", "Read again, more carefully"],
    done: (because) => send({ verb: "undo", words: [button.dataset.undo], options: { because }, label: `undo entry ${button.dataset.undo}` }),
  }));
}

// --- the first answer -----------------------------------------------------------------------------------------
const READ_KINDS = new Set(["height_difference", "drift", "rail_offset"]);
on("as-asked", (button) => {
  const { verb, asks, title } = button.dataset;
  const [words, options, choices] = [button.dataset.words, button.dataset.options, button.dataset.choices].map((each) => JSON.parse(each));
  const label = button.textContent;
  if (choices.length) {
    $("choice-text").textContent = title;
    const buttons = choices.map((each) => {
      const one = document.createElement("button");
      Object.assign(one, { type: "button", className: "button", textContent: each.replaceAll("_", " ") });
      one.addEventListener("click", () => send({ verb, words: [...words, each], options, label: each }, $("sheet-choice")));
      return one;
    });
    if (asks === "value") {
      const one = document.createElement("button");
      Object.assign(one, { type: "button", className: "button", textContent: "It was measured" });
      one.addEventListener("click", () => { $("sheet-choice").close(); openReading({ title: "By how much?", verb, words, options, kind: "length", free: false }); });
      buttons.push(one);
    }
    $("choices").replaceChildren(...buttons);
    open("sheet-choice");
  } else if (verb === "read" && READ_KINDS.has(words[0])) openReading({ kind: words[0] });
  else if (asks === "value") openReading({ title, verb, words, options, kind: verb === "weigh" ? "mass" : "length", free: false });
  else if (asks === "text") openText({ title: label, about: title, usual: verb === "undo" ? ["Entered by mistake"] : [], done: (text) => send(verb === "undo" || verb === "retire" ? { verb, words, options: { because: text }, label } : { verb, words: [...words, text], options, label }) });
  else { button.disabled = true; send({ verb, words, options, label: `${words.join(" ")}` }); }
});

// --- what waits, what was saved, what others entered ------------------------------------------------------------
const clock = (time) => new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
function age() {
  const seconds = Math.round((Date.now() - seenAt) / 1000);
  if (seconds < 60) return `${seconds} s`;
  return seconds < 3600 ? `${Math.round(seconds / 60)} min` : `${Math.round(seconds / 3600)} h`;
}
function bar() {
  const waits = outbox.waiting().length;
  const refused = outbox.refused();
  const saved = outbox.items().filter((each) => each.state === "saved" && each.car === car).pop();
  const off = !reached || !outbox.state.reached;
  $("bar").classList.toggle("off", off);
  $("bar").classList.toggle("waits", waits > 0);
  let text = saved ? `Saved at ${clock(saved.savedAt)}, entry ${saved.entry}` : "Up to date";
  if (news) text = `New: ${news}`;
  if (off) text = `No connection. As of ${clock(seenAt)}, ${age()} ago`;
  if (waits) text = `Waiting (${waits})${off ? `: no connection for ${age()}` : ""}`;
  if (refused.length) text = `Refused: ${refused[0].reason}`;
  if (outbox.state.unpaired) text = "This device is no longer paired. What waits is kept.";
  if (outbox.state.reload) text = "The bench was renewed. Load this page again; what waits is kept.";
  if ($("bar-text").textContent !== text) $("bar-text").textContent = text;
  $("bar-load").textContent = waits || refused.length ? "Look" : "Load again";
}
function listOutbox() {
  $("outbox").replaceChildren(...[...outbox.waiting(), ...outbox.refused()].map((each) => {
    const row = document.createElement("li");
    const words = document.createElement("span");
    words.textContent = `${each.label} (${clock(each.at)}): ${each.state}${each.reason ? `: ${each.reason}` : ""}`;
    const drop = document.createElement("button");
    Object.assign(drop, { type: "button", className: "button", textContent: "Throw away" });
    drop.addEventListener("click", () => { outbox.forget(each.id); listOutbox(); });
    row.append(words, drop);
    return row;
  }));
}
$("bar-load").addEventListener("click", () => {
  if (outbox.waiting().length && !outbox.state.reload && !outbox.state.unpaired || outbox.refused().length) { listOutbox(); open("sheet-outbox"); } else location.reload();
});
let known = new Set(outbox.items().filter((each) => each.state === "saved").map((each) => each.id));
outbox.onChange(() => {
  bar();
  const saved = outbox.items().filter((each) => each.state === "saved" && !known.has(each.id));
  for (const each of saved) known.add(each.id);
  // The page shows the next step once everything that was entered is on the disk, and never under an open sheet.
  if (saved.some((each) => each.car === car) && !outbox.waiting().length && !document.querySelector("dialog[open]")) location.assign(`/cars/${encodeURIComponent(car)}`);
});
async function poll() {
  if (!document.hidden) {
    try {
      const { status, told } = await ask(`/api/cars/${encodeURIComponent(car)}/entries?after=${head}`, undefined, { patience: 3000 });
      reached = status > 0;
      if (status === 200) {
        seenAt = Date.now();
        head = told.head;
        const own = new Set(outbox.items().map((each) => each.id));
        const others = told.entries.filter((each) => !own.has(each.id));
        if (others.length) news = `${others[others.length - 1].words} (${others[others.length - 1].author})`;
      }
      outbox.state.unpaired = status === 401;
      if (status === 200) outbox.state.reached = true;
    } catch { reached = false; }
  }
  bar();
}
setInterval(poll, POLL);
setInterval(bar, 1000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) poll(); });
bar();
