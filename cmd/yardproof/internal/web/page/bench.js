// The bench: one string after another on one port, each with a tag of its own, and
// what the batch of them draws.

import { $, attr, h, shape, text } from "./dom.js";
import { record, waits } from "./act.js";
import { number } from "./meter.js";
import { stepsOfBench } from "./steps.js";
import { get, on, stringNamed, tell, yard } from "./yard.js";

export const bench = { batch: null, again: "", last: null }; // again: a tag that was said to be on record

export const atBench = () => !!yard.plan?.bench;

let drawBatch = () => {}; // what only the bench needs comes with it, so that a page load in the yard stays light

const tag = () => $("bench-tag").value.trim();
const amps = () => number($("bench-amps").value);

// tagOf is what a string is called: on the bench by its tag.
export const tagOf = (s) => (atBench() ? tag() || "this string" : s.name);

export function startBench() {
  on("plan", () => {
    if (!atBench() || document.body.dataset.bench) return;
    document.head.append(h("link", { rel: "stylesheet", href: "/bench.css" }));
    document.body.dataset.bench = "yes";
    stepsOfBench();
    text(document.querySelector('[data-to="prove"]'), "Bench");
    refreshBatch().catch((e) => tell("say", e.message));
  });
  on("recorded", () => atBench() && refreshBatch().catch(() => {}));
  $("bench-read").append(..."1234567890.<".split("").map((c) => h("button", {
    type: "button", "aria-label": c === "<" ? "Delete the last digit" : c === "." ? "Point" : null, onclick: () => key(c),
  }, c === "<" ? "⌫" : c)));
  $("bench-amps").oninput = draw;
  $("bench-tag").oninput = () => { bench.again = ""; tell("tag"); };
  $("bench-print").onclick = print;
}

function key(c) {
  const field = $("bench-amps");
  field.value = c === "<" ? field.value.slice(0, -1) : field.value + c;
  tell("typed");
  draw();
}

async function refreshBatch() {
  const was = bench.batch?.next_tag;
  if (!bench.batch) ({ drawBatch } = await import("./batch.js"));
  bench.batch = await get("/api/bench");
  if (tag() === (was ?? "")) suggest(); // what was typed stays
  tell("batch");
  draw();
}

// suggest writes the next tag, counted up past those that are kept on this phone.
function suggest() {
  let next = bench.batch.next_tag;
  while (waits(next)) next = next.replace(/[0-9]*$/, (n) => (n ? String(+n + 1).padStart(n.length, "0") : "2"));
  $("bench-tag").value = next;
}

// giveOnBench puts a proof of the tag on record, or keeps it here: null. A tag that is
// on record already is asked about once.
export async function giveOnBench(what) {
  const t = tag();
  try {
    const line = await record("/api/proofs", { string: yard.view, stage: "bench", tag: t, again: bench.again !== "" && bench.again === t, ...what },
      `${t}: ${what.verdict}${what.seen ? ", " + what.seen : ""}`);
    bench.last = line || { label: t, ...what, time: new Date().toISOString(), plan: yard.plan.name };
    return line;
  } catch (e) {
    if (e.status === 409) bench.again = t;
    throw e;
  }
}

// nextTag makes the page ready for the string that comes, with the laptop or without.
export async function nextTag() {
  $("bench-amps").value = "";
  bench.again = "";
  await refreshBatch().catch(() => {});
  suggest();
  tell("tag");
}

export const benchReadings = () => (amps() == null ? [] : [{ feed: stringNamed(yard.view).feeds[0], quantity: "amps", at: "supply", value: amps(), while: "white" }]);

// standsApart says why a reading asks for a second look; "" when it does not.
export function standsApart() {
  const b = bench.batch, v = amps();
  if (!b?.high || v == null || (v >= b.low && v <= b.high)) return "";
  return `${v.toFixed(2)} A stands apart`;
}

// drawBench draws what belongs to a step of the bench: -1 for none.
export function drawBench(step, isWhite) {
  if (!atBench()) return;
  const s = stringNamed(yard.view), b = bench.batch;
  text($("tag-number"), String((b?.strings.length ?? 0) + 1));
  text($("tag-where"), "");
  attr(document.body, "data-step", isWhite ? "white" : step === 0 ? "hang" : null);
  $("bench-read").hidden = !isWhite;
  text($("bench-do"), step === 0 ? "Supply off. Hang the string on the port. Supply on. Nothing may light." : "");
  text($("bench-by"), [s?.chip, s && `universe ${s.universe}`].filter(Boolean).join(" · "));
  draw();
}

function draw() {
  const b = bench.batch;
  if (!b) return;
  drawBatch($("bench-chart"), b, amps());
  text($("bench-says"), standsApart() ? standsApart() + ". " + b.says : b.says);
  attr($("bench-says"), "data-apart", standsApart() ? "yes" : null);
  text($("bench-count"), `${b.good} good, ${b.fault} with a fault`);
  $("bench-list").replaceChildren(...b.strings.slice(-30).reverse().map((s) => h("li", {}, h("p", { class: "row" },
    h("span", { class: "who" }, h("b", {}, s.tag), h("small", {}, [s.amps ? s.amps.toFixed(2) + " A" : "not read", s.seen, s.stands_apart && "stands apart"].filter(Boolean).join(" · "))),
    h("span", { class: "mark" }, shape(s.verdict), s.verdict)))));
  const last = bench.last;
  $("bench-print").hidden = !last;
  if (last) text($("bench-print"), `Print the tag of ${last.label}`);
}

// print prints the tag of the string that was saved last, on whatever printer the
// phone knows.
function print() {
  const l = bench.last, s = stringNamed(yard.view), a = l.readings?.find((r) => r.while === "white");
  $("slip").replaceChildren(
    h("b", {}, l.label),
    h("p", {}, `${s.pixels} px ${s.order} ${s.chip}`),
    h("p", {}, `bench: ${l.verdict}${a ? `, ${a.value.toFixed(2)} A` : ""}`),
    h("p", {}, `${l.time.slice(0, 10)}, ${l.plan}`));
  window.print();
}
