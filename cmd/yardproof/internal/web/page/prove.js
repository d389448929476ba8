// Proving: a string, its steps, one tap a step.

import { $, attr, choice, h, keep, text } from "./dom.js";
import { act, give, orKept, record } from "./act.js";
import { atBench, bench, benchReadings, drawBench, giveOnBench, nextTag, standsApart, tagOf } from "./bench.js";
import { whiteAllowed } from "./caution.js";
import { openFault } from "./fault.js";
import { forgetWhite, offFeeds, readings, showReadings } from "./reading.js";
import { after, fits, longest, stages, steps, white } from "./steps.js";
import { drawTag } from "./tag.js";
import { view } from "./view.js";
import { competing, on, proofOf, refresh, remaining, show, shownFor, stage, stringNamed, tell, yard } from "./yard.js";

// A picture counts as shown when it has been on the wire for so long, ms: an eye
// needs it, and a second tap of a trembling finger comes sooner.
const seeable = 500;

const prove = {
  step: -1,
  done: new Set(),
  shown: new Set(), // steps whose picture was on the wire long enough
  level: null,
  rung: 0,
  sure: false,      // asked whether it is good in spite of doubts()
  ends: "",         // when the white that was lit last ends by itself
  ended: "",        // says that it has
  off: [],          // feeds whose amps are not what they should be
  look: 0,          // timer to the moment at which a tap counts
};

// The first string of a batch comes up to white with two stops, for nobody knows
// yet what it draws (common practice, no source).
const rungs = [25, 50, 100];
const whitened = new Set();
const firstOfBatch = (s) => !whitened.has(s.batch) &&
  !bench.batch?.good && !yard.plan.strings.some((o) => o.batch === s.batch && stages.some(([at]) => proofOf(o.name, at)?.verdict === "good"));

export function startProve() {
  for (const what of ["state", "proofs", "link", "plan", "acted", "typed"]) on(what, draw);
  on("retyped", () => { doubtNothing(); draw(); });
  on("plan", () => yard.plan.bench && prove.step < 0 && begin());
  on("view", () => { $("where").href = "/film.html#" + encodeURIComponent(yard.view); begin(); prove.level = null; draw(); });
  $("right").onclick = () => act(right);
  $("back").onclick = () => act(() => move(-1));
  $("next").onclick = () => act(() => move(1));
  $("fault").onclick = () => openFault({ step: prove.step, readings: atBench() ? benchReadings : readings, then: atBench() ? nextHangs : null });
  $("level-less").onclick = () => act(() => nudge(-1));
  $("level-more").onclick = () => act(() => nudge(1));
  $("walk-now").onclick = () => act(() => show({ pattern: "walk", strings: [yard.view], level_percent: 50 }));
  $("replace-form").onsubmit = (e) => { e.preventDefault(); act(replaced); };
  drawStages();
}

function begin() {
  prove.step = -1;
  prove.done.clear();
  prove.shown.clear();
  doubtNothing();
  prove.ends = prove.ended = "";
  if (yard.plan?.bench && !yard.state?.hold) prove.step = 0; // dark is what the bench begins with
}

function doubtNothing() {
  prove.sure = false;
  prove.off = [];
}

async function go(k) {
  const s = steps[k], str = stringNamed(yard.view);
  prove.shown.delete(k);
  if (k === white) {
    if (!(await whiteAllowed(str, longest))) return;
    if (prove.step !== k) prove.rung = firstOfBatch(str) ? 0 : rungs.length - 1;
    prove.step = k;
    prove.shown.delete("white " + prove.rung);
    const count = yard.state.viewed?.string === str.name ? yard.state.viewed.white_count : 0;
    await show({ pattern: "full-white", strings: [yard.view], level_percent: prove.level ?? rungs[prove.rung], hold_seconds: longest, count });
    if (prove.rung === rungs.length - 1) whitened.add(str.batch);
  } else {
    prove.step = k;
    await show(s.pattern === "dark" ? { pattern: "dark" } : { pattern: s.pattern, strings: [yard.view], level_percent: prove.level ?? s.level });
  }
  doubtNothing();
  tell("say", "");
}

// agrees reports whether what the laptop says is shown is this step's picture.
function agrees() {
  const now = yard.state?.showing, s = steps[prove.step];
  if (!now || !s || now.pattern !== s.pattern) return false;
  return s.pattern === "dark" || (now.strings.length === 1 && now.strings[0] === yard.view);
}

// whiteEnded says that white was lit and has ended by itself, and how to light it again.
function whiteEnded() {
  if (prove.step !== white) return "";
  if (agrees()) [prove.ends, prove.ended] = [yard.state.showing.falls_back, ""];
  else if (prove.ends && Date.parse(yard.state.showing.since) >= Date.parse(prove.ends)) {
    [prove.ends, prove.ended] = ["", `White has ended by itself. Type what you read, or tap White for ${longest} s more.`];
    tell("say", prove.ended);
  }
  return prove.ended;
}

// watch notes when the step's picture has been shown for long enough. White counts
// at its last level only.
function watch() {
  clearTimeout(prove.look);
  const health = yard.state.health;
  if (!agrees() || !yard.linked || health && health.rate_hz < 1) return;
  const wait = seeable - shownFor();
  if (wait > 0) prove.look = setTimeout(draw, wait + 5);
  else prove.shown.add(prove.step === white ? "white " + prove.rung : prove.step);
}

const wasShown = () => prove.shown.has(prove.step === white ? "white " + prove.rung : prove.step);
const topRung = () => prove.step === white && prove.rung === rungs.length - 1;

// due says what the big button does now: one of begin, wait, again, up, step, good.
function due() {
  if (prove.step < 0) return "begin";
  if (topRung() && wasShown()) return "good"; // white falls back by itself, and a reading is typed afterwards
  if (!agrees()) return "again";
  if (!wasShown()) return "wait";
  return prove.step === white ? "up" : "step";
}

async function right() {
  switch (due()) {
    case "begin": return go(0);
    case "again": return go(prove.step); // nothing is good that is not shown
    case "up":
      prove.rung++;
      forgetWhite(); // what was read at less light is another reading
      return go(white);
    case "step":
      prove.done.add(prove.step);
      return go(after(prove.step, stringNamed(yard.view)));
    case "good":
      if (!prove.sure) {
        prove.off = atBench() ? [] : await offFeeds(stringNamed(yard.view));
        prove.sure = doubts().length > 0;
        if (prove.sure) return tell("typed");
      }
      prove.done.add(white);
      return good();
  }
}

// doubts are why Good asks once more.
function doubts() {
  const all = competing(stringNamed(yard.view)).length ? ["another source sends"] : [];
  const off = prove.off.length ? [`amps far off at ${prove.off.join(", ")}`] : [];
  return [...all, ...off, ...(atBench() && standsApart() ? [standsApart()] : [])];
}

// nextHangs goes on to the next string of the bench: everything dark first.
async function nextHangs() {
  await nextTag();
  prove.done.clear();
  await go(0);
}

async function good() {
  if (atBench()) return goodOnBench();
  const name = yard.view, at = stage(), s = stringNamed(name);
  const others = competing(s).map((c) => `${c.name || c.address} sent to universe ${c.universe} too`);
  const off = prove.off.map((f) => `amps at ${f} far off, called good all the same`);
  const line = await give(name, at, { verdict: "good", readings: readings(), note: [leftOut(), ...others, ...off].filter(Boolean).join("; ") });
  const left = remaining(at).filter((o) => o.name !== name);
  if (!left.length) {
    begin();
    await show({ pattern: "dark" });
    tell("say", orKept(line, `${name} is proved, the last one. All ${yard.plan.strings.length} strings are proved (${at}).`));
    return;
  }
  view((left.find((o) => o.number > s.number) || left[0]).name);
  await go(0);
  tell("say", orKept(line, `${name} is proved. ${left.length} ${left.length === 1 ? "remains" : "remain"}.`));
}

async function goodOnBench() {
  const readings = benchReadings();
  const line = await giveOnBench({ verdict: "good", readings, note: leftOut(readings.length ? [] : ["amps"]) });
  await nextHangs();
  tell("say", orKept(line, `${bench.last.label} is good. Supply off before you take it down.`));
}

function leftOut(more = []) {
  const s = stringNamed(yard.view);
  const missed = steps.filter((_, k) => fits(k, s) && !prove.done.has(k)).map((m) => m.word.toLowerCase()).concat(more);
  return missed.length ? "left out: " + missed.join(", ") : "";
}

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

async function replaced() {
  const label = $("replace-label").value.trim(), name = yard.view;
  const line = await record("/api/replacements", { string: name, label, stage: stage() }, `${name}: replaced by ${label}`);
  $("replace-label").value = "";
  $("replaced").open = false;
  begin();
  if (!line) return tell("say", orKept(line));
  await refresh();
  tell("say", `${label} hangs as ${name} now, unproved.`);
}

// Drawing

function drawStages() {
  choice($("stages"), stages, stage(), (v) => {
    keep("stage", v);
    begin();
    drawStages();
    tell("proofs");
  });
}

function draw() {
  const s = stringNamed(yard.view);
  if (!s || !yard.state) return;
  watch();
  drawTag(s, agrees() || prove.step < 0);
  drawSteps(s);
  showReadings(prove.step === white && !atBench() ? s : null, () => go(white), whiteEnded());
  drawBench(prove.step, prove.step === white);
  drawLevel();
  drawVerdict(s);
}

function drawLevel() {
  const now = yard.state.showing, dark = now.pattern === "dark";
  text($("level-text"), (dark ? prove.level ?? 30 : Math.round(now.level_now_percent)) + " %");
  text($("level-why"), dark || !now.capped_by ? "" : `level allowed: ${now.level_percent} % (${now.capped_by})`);
}

// drawVerdict writes on the big button what it does, and what comes after.
function drawVerdict(s) {
  const what = due(), step = steps[prove.step], asks = what === "good" && prove.sure;
  const next = () => (topRung() ? "save proof" : prove.step === white ? `then ${rungs[prove.rung + 1]} %` : "then " + steps[after(prove.step, s)].word.toLowerCase() + (after(prove.step, s) === white ? `, ${longest} s` : ""));
  text($("right-word"), { begin: "Begin", again: "Show again", good: asks ? "Still good?" : "Good" }[what] || (topRung() ? "Good" : "Correct"));
  text($("right-next"), {
    begin: "number " + s.number, again: prove.step === white ? `white ${rungs[prove.rung]} %` : step?.word,
    good: asks ? doubts().join("; ") + "; tap again" : "save proof",
  }[what] || next());
  attr($("right"), "aria-disabled", what === "wait" ? "true" : null);
  $("fault").disabled = false;
  $("right").disabled = !yard.linked && what !== "good";
}

function drawSteps(s) {
  const list = $("halyard");
  if (!list.children.length) {
    list.append(...steps.map((m, k) => h("li", {}, h("button", { type: "button", onclick: () => act(() => go(k)) }, m.word))));
  }
  const gone = prove.step === white && !agrees(); // white has ended: its step is not what is shown
  [...list.children].forEach((li, k) => {
    const b = li.firstChild;
    b.disabled = !fits(k, s);
    attr(b, "aria-current", k === prove.step ? "step" : null);
    attr(b, "data-ended", gone && k === white ? "yes" : null);
    attr(b, "data-done", prove.done.has(k) ? "yes" : null);
    attr(b, "aria-label", steps[k].word + (prove.done.has(k) ? ", done" : gone && k === white ? ", ended by itself" : ""));
  });
}
