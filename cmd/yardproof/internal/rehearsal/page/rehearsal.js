// The rehearsal yard: it draws what the simulated strings show, lends the meters,
// and takes what the helper thinks is wrong.

import { $, h, text } from "/dom.js";
import { startDark } from "/dark.js";
import { startHold } from "/hold.js";
import { listen } from "/stream.js";
import { get, on, post, show, tell } from "/yard.js";
import { Ropes } from "./ropes.js";

const every = 66, breath = 15; // ms: some 15 looks a second, and the least between two where one takes long
const patterns = [["colour-order", 100], ["walk", 100], ["number", 30], ["one-slot", 30], ["ends", 30], ["full-white", 30]];

let ropes = null, drawn = null;

// look asks for the picture over and over, one question at a time.
async function look() {
  let missed = 0;
  for (;;) {
    const began = performance.now();
    try {
      const answer = await fetch("look", { signal: AbortSignal.timeout(3000) });
      if (!answer.ok) throw new Error(answer.status);
      ropes.show(new Uint8Array(await answer.arrayBuffer()));
      missed = 0;
    } catch {
      missed++;
    }
    $("lost").hidden = missed < 3;
    await new Promise((done) => setTimeout(done, missed ? 500 : document.hidden ? 1000 : Math.max(breath, every - (performance.now() - began))));
  }
}

async function ask(fn) {
  text($("say"), "");
  try {
    await fn();
  } catch (e) {
    text($("say"), e.message);
  }
}

const minutes = (n) => `${n} ${n === 1 ? "minute" : "minutes"}`;
const number = (id) => parseInt($(id).value, 10) || 0;

async function measure(at) {
  const got = await post("/rehearsal/meter", at);
  $("probe-string").value = at.string;
  $("probe-at").value = at.feed ? "feed" : "pixel";
  $("probe-place").value = at.feed || at.pixel;
  ropes.measured(at.string, at.pixel, at.feed);
  text($("reading"), `${got.where}: ${got.volts.toFixed(2)} V, ${got.amps.toFixed(2)} A` + (got.minutes ? `. That took ${minutes(got.minutes)}.` : ""));
}

const probe = () => ($("probe-at").value === "feed"
  ? { string: $("probe-string").value, feed: number("probe-place") }
  : { string: $("probe-string").value, pixel: number("probe-place") });

function claimed() {
  const at = drawn.kinds.find((k) => k.kind === $("claim-kind").value).at;
  $("claim-place").disabled = !at;
  text($("claim-says"), { "": "It needs no place.", pixel: "Place: the pixel.", joint: "Place: the last pixel before the joint.", feed: "Place: the feed, from 1." }[at]);
}

async function mend() {
  const got = await post("/rehearsal/mend", { kind: $("claim-kind").value, string: $("claim-string").value, place: $("claim-place").disabled ? 0 : number("claim-place") });
  text($("mended"), `${got.was ? `Mended: ${got.was}.` : "Nothing was broken there."} That took ${minutes(got.minutes)}. ${got.left ? `Still hidden: ${got.left}.` : ""}`);
  if (got.over) await end();
}

async function end() {
  const s = await post("/rehearsal/end", {});
  text($("hidden"), `The evening is over: found ${s.found.length} of ${s.found.length + s.missed.length} in ${minutes(Math.round(s.minutes))}. Ladder trips: ${s.climbs}. Mended what was not broken: ${s.wrong}. The same evening again: --seed ${s.seed}.`);
  $("score").replaceChildren(...s.found.map((f) => h("li", {}, "Found: " + f)), ...s.missed.map((f) => h("li", {}, "Missed: " + f)));
  $("mend").disabled = $("end").disabled = true;
}

async function begin() {
  drawn = await get("/rehearsal/yard");
  text($("plan-name"), drawn.name);
  const names = () => drawn.strings.map((s) => h("option", { value: s.name }, s.name));
  $("probe-string").replaceChildren(...names());
  ropes = new Ropes($("ropes"), drawn.strings, (hit) => ask(() => measure(hit)));
  $("probe").onclick = () => ask(() => measure(probe()));
  $("lights").replaceChildren(...patterns.map(([name, level]) =>
    h("button", { type: "button", onclick: () => ask(() => show({ pattern: name, level_percent: level })) }, name)));
  if (drawn.hidden) {
    $("trainer").hidden = false;
    text($("hidden"), `${drawn.hidden} ${drawn.hidden === 1 ? "fault is" : "faults are"} hidden. Walking, ladder and mending take minutes that are counted. Work with the phone page as on a real evening.`);
    $("claim-string").replaceChildren(...names());
    $("claim-kind").replaceChildren(...drawn.kinds.map((k) => h("option", { value: k.kind }, k.kind)));
    $("claim-kind").onchange = claimed;
    $("mend").onclick = () => ask(mend);
    $("end").onclick = () => ask(end);
    claimed();
    if (drawn.over) await end();
  }
  look();
}

on("say", (words) => text($("say"), words));
on("link", (up) => { document.body.dataset.link = up ? "up" : "lost"; });
on("state", (s) => text($("now"), s.showing.pattern === "dark" ? "Sent now: dark." : `Sent now: ${s.showing.pattern} at ${Math.round(s.showing.level_now_percent)} %.`));
on("stranger", (words) => tell("say", words));
startDark();
startHold();
listen();
ask(begin);
