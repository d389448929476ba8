// Proving: a string, its steps, one tap a step.

import { $, attr, choice, h, keep, kept, text } from "./dom.js";
import { Line } from "./line.js";
import { get, listen, loadProofs, noteProof, on, post, proofOf, show, stringNamed, tell, yard } from "./yard.js";
import { whiteAllowed } from "./sheets.js";
import { readings, showReadings } from "./reading.js";

// The steps of a proof, with the level each is shown at, per cent. Sight needs
// little; a run of colours is counted best without glare (common practice, no source).
export const steps = [
  { pattern: "number", word: "Number", level: 30, seen: ["nothing lights", "another string answers", "another number"] },
  { pattern: "dark", word: "Dark", level: 0, seen: ["pixels stay lit", "the tail stays lit", "all stays lit"] },
  { pattern: "one-slot", word: "One slot", level: 30, seen: ["colours in another order", "one pixel dark", "one pixel of another colour"] },
  { pattern: "colour-order", word: "Order", level: 25, seen: ["colours in another order", "no two neighbours alike", "runs doubled", "it runs backwards"] },
  { pattern: "ends", word: "Ends", level: 20, seen: ["dark after a pixel", "dark past the red", "no red end", "first pixel not green"] },
  { pattern: "full-white", word: "White", level: 100, seen: ["yellow or red far end", "sparkles when bright", "a step in brightness", "amps too low", "amps too high"] },
];
// Some steps say nothing of some strings: a run of LEDs without addresses has no
// ends, and a short string shows no whole set of colour-order's runs.
function fits(k, s) {
  if (steps[k].pattern === "ends") return s.chip !== "none";
  if (steps[k].pattern === "colour-order") return s.pixels >= (s.order.length === 4 ? 17 : 11);
  return true;
}
const after = (k, s) => steps.findIndex((_, j) => j > k && fits(j, s));

const always = ["flickers", "dies after minutes", "fails when wet"];

export const stages = [["bench", "Bench"], ["hung", "Hung"], ["opening", "Opening"]];

const prove = { step: -1, done: new Set(), level: null, busy: false, rung: 0 };

// The first string of a batch comes up to white with two stops, for nobody knows
// yet what it draws (common practice, no source).
const rungs = [25, 50, 100];
const whitened = new Set();
const firstOfBatch = (s) => !whitened.has(s.batch) &&
  !yard.plan.strings.some((o) => o.batch === s.batch && stages.some(([at]) => proofOf(o.name, at)?.verdict === "good"));
const white = steps.length - 1;
export const stage = () => kept("stage", "hung");

let line;

export function startProve() {
  line = new Line($("picture"));
  on("frame", (f) => {
    if (f.string === yard.view) line.show(bytes(f.slots));
  });
  on("state", draw);
  on("proofs", draw);
  on("link", draw);
  $("right").onclick = () => act(right);
  $("back").onclick = () => act(() => move(-1));
  $("next").onclick = () => act(() => move(1));
  $("fault").onclick = openFault;
  $("level-less").onclick = () => act(() => nudge(-1));
  $("level-more").onclick = () => act(() => nudge(1));
  $("walk-now").onclick = () => act(() => show({ pattern: "walk", strings: [yard.view], level_percent: 50 }));
  $("fault-form").onsubmit = (e) => { e.preventDefault(); act(saveFault); };
  $("fault-no").onclick = () => $("fault-sheet").close();
  $("replace-form").onsubmit = (e) => { e.preventDefault(); act(replaced); };
  drawStages();
}

export function bytes(base64) {
  const raw = atob(base64), b = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) b[i] = raw.charCodeAt(i);
  return b;
}

// act runs what a tap asked for, and says what went wrong.
export async function act(fn) {
  if (prove.busy) return;
  prove.busy = true;
  if (navigator.userActivation?.isActive) navigator.vibrate?.(15); // a tap that cold fingers feel
  document.body.dataset.busy = "yes";
  try {
    await fn();
  } catch (e) {
    tell("say", e.message);
  } finally {
    prove.busy = false;
    delete document.body.dataset.busy;
    draw();
  }
}

// view chooses the string under test, without lighting it.
export function view(name) {
  if (name === yard.view) return;
  yard.view = name;
  prove.level = null;
  prove.step = -1;
  prove.done.clear();
  keep("string", name);
  const s = stringNamed(name);
  if (s) line.string(s.pixels, s.order);
  listen();
  tell("view");
  draw();
}

async function go(k, hold = 0) {
  const s = steps[k];
  if (s.pattern === "full-white") {
    const str = stringNamed(yard.view);
    if (!(await whiteAllowed(str))) return;
    if (prove.step !== k) prove.rung = firstOfBatch(str) ? 0 : rungs.length - 1;
    prove.step = k;
    await show({ pattern: "full-white", strings: [yard.view], level_percent: prove.level ?? rungs[prove.rung], hold_seconds: hold, count: yard.state.viewed?.string === str.name ? yard.state.viewed.white_count : 0 });
    if (prove.rung === rungs.length - 1) whitened.add(str.batch);
  } else {
    prove.step = k;
    await show(s.pattern === "dark" ? { pattern: "dark" } : { pattern: s.pattern, strings: [yard.view], level_percent: prove.level ?? s.level });
  }
  tell("say", "");
}

// A meter takes its time: white for a reading stays as long as it may.
export const whiteAgain = () => go(white, 60);

// agrees reports whether what the laptop says is shown is this step's picture.
function agrees() {
  const now = yard.state?.showing, s = steps[prove.step];
  if (!now || !s || now.pattern !== s.pattern) return false;
  return s.pattern === "dark" || (now.strings.length === 1 && now.strings[0] === yard.view);
}

async function right() {
  if (prove.step < 0) return go(0);
  if (!agrees() && prove.step !== white) return go(prove.step); // nothing is right that is not shown; white falls back by itself
  if (prove.step === white && prove.rung < rungs.length - 1) {
    prove.rung++;
    return go(white);
  }
  prove.done.add(prove.step);
  if (prove.step !== white) return go(after(prove.step, stringNamed(yard.view)));
  await good();
}

async function good() {
  const name = yard.view, at = stage();
  const missed = steps.filter((_, k) => !prove.done.has(k) && fits(k, stringNamed(name))).map((s) => s.word.toLowerCase());
  await give({ verdict: "good", readings: readings(), note: missed.length ? "left out: " + missed.join(", ") : "" });
  const left = remaining(at);
  if (!left.length) {
    prove.step = -1;
    await show({ pattern: "dark" });
    tell("say", `${name} is proved, the last one. All ${yard.plan.strings.length} strings are proved (${at}).`);
    return;
  }
  const from = yard.plan.strings.findIndex((s) => s.name === name);
  const onward = left.find((s) => s.number - 1 > from) || left[0];
  view(onward.name);
  await go(0);
  tell("say", `${name} is proved. ${left.length} remain.`);
}

async function give(what) {
  const entry = await post("/api/proofs", { string: yard.view, stage: stage(), ...what });
  noteProof(entry);
  tell("proofs");
}

export const remaining = (at) => yard.plan.strings.filter((s) => proofOf(s.name, at)?.verdict !== "good");

async function move(by) {
  const all = yard.plan.strings;
  const at = all.findIndex((s) => s.name === yard.view);
  const begun = prove.step >= 0;
  view(all[(at + by + all.length) % all.length].name);
  if (begun) await go(0);
}

async function nudge(by) {
  const ladder = [2, 5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100];
  const now = yard.state.showing;
  const at = prove.level ?? (now.pattern === "dark" ? 30 : now.level_percent);
  prove.level = by > 0 ? ladder.find((l) => l > at) ?? 100 : ladder.findLast((l) => l < at) ?? 2;
  if (now.pattern === "dark") return;
  await show({ pattern: now.pattern, strings: now.strings, level_percent: prove.level, pixel: now.pixel, slot: now.slot, count: now.count });
}

// Faults

const chosen = new Set();

function openFault() {
  const words = [...new Set([...(steps[prove.step]?.seen || steps.flatMap((s) => s.seen)), ...always])];
  chosen.clear();
  $("seen").replaceChildren(...words.map((w) => h("button", {
    type: "button", "aria-pressed": "false",
    onclick: (e) => {
      chosen.has(w) ? chosen.delete(w) : chosen.add(w);
      attr(e.currentTarget, "aria-pressed", chosen.has(w));
    },
  }, w)));
  $("last-lit").value = "";
  $("fault-note").value = "";
  text($("fault-title"), "What was seen on " + yard.view + "?");
  $("fault-sheet").showModal();
}

async function saveFault() {
  const last = $("last-lit").value.trim();
  const most = stringNamed(yard.view).pixels;
  if (last && !(Number.isInteger(+last) && +last >= 0 && +last <= most)) {
    $("last-lit").focus();
    throw new Error(`The last pixel that is right goes from 0 to ${most}.`);
  }
  await give({ verdict: "fault", seen: [...chosen].join("; "), last_lit: last ? +last : null, note: $("fault-note").value.trim(), readings: readings() });
  $("fault-sheet").close();
  tell("say", `The fault of ${yard.view} is kept. "Find out" tells what to do; the arrow goes on.`);
  tell("fault", { last_lit: last ? +last : null, seen: [...chosen][0] || "" });
}

async function replaced() {
  const label = $("replace-label").value.trim();
  await post("/api/replacements", { string: yard.view, label, stage: stage() });
  $("replace-label").value = "";
  $("replaced").open = false;
  prove.step = -1;
  prove.done.clear();
  await refresh();
  tell("say", `${label} hangs as ${yard.view} now, unproved.`);
}

export async function refresh() {
  yard.plan = await get("/api/plan");
  tell("plan");
  await loadProofs();
}

// Drawing

function drawStages() {
  choice($("stages"), stages, stage(), (v) => {
    keep("stage", v);
    prove.done.clear();
    drawStages();
    tell("proofs");
  });
}

export function draw() {
  const s = stringNamed(yard.view);
  if (!s || !yard.state) return;
  const now = yard.state.showing;
  const proof = proofOf(s.name, stage());
  text($("tag-number"), String(s.number));
  text($("tag-name"), s.name);
  text($("tag-where"), [s.label, s.controller, s.port && "port " + s.port].filter(Boolean).join(" · "));
  text($("tag-what"), `${s.pixels}\u00a0px\u00a0${s.order} · from\u00a0${s.universe}/${s.channel}`);
  text($("tag-stamp"), proof ? stage() + ": " + proof.verdict : "");
  attr($("tag-stamp"), "data-verdict", proof?.verdict);
  line.string(s.pixels, s.order);
  line.exposure(now.level_now_percent / 100);

  const v = yard.state.viewed?.string === s.name ? yard.state.viewed : null;
  if (v) {
    text($("looks"), v.looks);
    text($("watch"), v.watch);
    text($("meter"), meterWords(v));
    attr($("picture"), "aria-label", "The string as it was last sent. " + v.looks);
  }
  const mine = agrees() || prove.step < 0;
  const where = now.strings.length === 1 ? now.strings[0] : now.strings.length === yard.plan.strings.length ? "all strings" : now.strings.length + " strings";
  const dark = now.pattern === "dark";
  const left = now.falls_back ? `, ${Math.max(0, Math.round((Date.parse(now.falls_back) - Date.parse(yard.state.time)) / 1000))} s more` : "";
  text($("now"), `${yard.linked ? "Sent now" : "Last heard"}: ${dark ? "dark, everywhere" : `${now.pattern} on ${where === s.name ? "this string" : where}${left}`}`);
  attr($("now"), "data-other", mine ? null : "yes");

  drawSteps(s);
  showReadings(prove.step === white ? s : null);

  text($("level-text"), dark ? (prove.level ?? 30) + " %" : Math.round(now.level_now_percent) + " %");
  text($("level-why"), dark || !now.capped_by ? "" : `capped at ${now.level_percent} %: ${now.capped_by}`);

  const higher = prove.step === white && rungs[prove.rung + 1];
  const last = prove.step === white && !higher;
  const again = prove.step >= 0 && prove.step !== white && !agrees();
  text($("right-word"), prove.step < 0 ? "Begin" : again ? "Show again" : last ? "Good" : "Right");
  text($("right-next"), prove.step < 0 ? "number " + s.number : again ? steps[prove.step].word : last ? "keep proof" : higher ? `then ${higher} %` : "then " + steps[after(prove.step, s)].word.toLowerCase());
  $("fault").disabled = $("right").disabled = !yard.linked;
}

function meterWords(v) {
  if (v.swings) return "The meter swings with this one.";
  if (!v.meter) return "";
  return "Meter: " + v.meter.map((f) => `${f.lit.toFixed(2)} A at ${f.feed}`).join(", ");
}

function drawSteps(s) {
  const list = $("halyard");
  if (!list.children.length) {
    list.append(...steps.map((s, k) => h("li", {}, h("button", { type: "button", onclick: () => act(() => go(k)) }, s.word))));
  }
  [...list.children].forEach((li, k) => {
    const b = li.firstChild;
    b.disabled = !fits(k, s);
    attr(b, "aria-current", k === prove.step ? "step" : null);
    attr(b, "data-done", prove.done.has(k) ? "yes" : null);
    attr(b, "aria-label", steps[k].word + (prove.done.has(k) ? ", done" : ""));
  });
}
