// What a tap asked for: one at a time, what went wrong is said, and what the
// laptop could not be told is kept on this phone and offered again.

import { $, clock, h, keep, kept } from "./dom.js";
import { meterText } from "./meter.js";
import { noteProof, on, post, tell, yard } from "./yard.js";

let busy = false;

// act runs what a tap asked for, and says what went wrong.
export async function act(fn) {
  if (busy) return;
  busy = true;
  if (navigator.userActivation?.isActive) navigator.vibrate?.(15); // a tap that cold fingers feel
  document.body.dataset.busy = "yes";
  try {
    await fn();
  } catch (e) {
    tell("say", e.message);
  } finally {
    busy = false;
    delete document.body.dataset.busy;
    tell("acted");
  }
}

// Lines for the record that never reached the laptop, the oldest first.
let unsent = [];
try {
  unsent = JSON.parse(kept("unsent", "[]"));
} catch { /* what is not readable is lost already */ }

function store() {
  keep("unsent", JSON.stringify(unsent));
  draw();
}

// A word of our own lets the laptop know a line that it had recorded before its answer
// was lost: sent again, it is not recorded again.
const word = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");

// orKept is what to say of a line that was given: the words, unless it is kept here.
export const orKept = (line, words) => (line ? words : "The laptop did not answer. It is saved on this phone. Send it when the link is back.");

// record sends a line for the record. Without an answer it stays on this phone, under
// the words that offer it again, and null is returned: the work goes on.
export async function record(path, line, words) {
  const body = { ...line, once: word() };
  try {
    return await post(path, body) || body;
  } catch (e) {
    if (e.status !== 0) throw e;
    unsent.push({ path, body, words, at: clock(Date.now()) });
    store();
    return null;
  }
}

// give puts a proof or a fault on record, or keeps it here: null.
export async function give(string, stage, what) {
  const line = await record("/api/proofs", { string, stage, meter: meterText(), ...what }, `${string}: ${what.verdict}${what.seen ? ", " + what.seen : ""}`);
  if (line) noteProof(line);
  tell("proofs");
  return line;
}

// waits reports whether a proof of a tag is kept here.
export const waits = (tag) => unsent.some((u) => u.body.tag === tag);

// sendAll sends what is kept. What the laptop refuses stays, with its reason; it holds
// up only what came after it of the same string.
async function sendAll() {
  const stuck = new Set();
  for (const u of [...unsent]) {
    const of = u.body.tag ?? u.body.string;
    if (of && stuck.has(of)) continue;
    const note = [u.body.note, `tapped at ${u.at}, sent later`].filter(Boolean).join("; ");
    try {
      await post(u.path, u.path === "/api/replacements" ? u.body : { ...u.body, note });
      unsent.splice(unsent.indexOf(u), 1);
    } catch (e) {
      if (e.status === 0) throw e;
      u.refused = e.message;
      stuck.add(of);
    }
    store();
  }
  tell("recorded");
  tell("say", unsent.length ? "Not all was taken. The reasons stand beside it." : "Sent.");
}

// again says of a refused proof of a tag that it is meant.
function again(u) {
  u.body.again = true;
  return sendAll();
}

let sure = null; // what is discarded by a second tap

function discard(u) {
  if (sure !== u) sure = u;
  else unsent.splice(unsent.indexOf(u), 1);
  store();
}

function draw() {
  const box = $("unsent"), off = !yard.linked;
  box.hidden = !unsent.length;
  box.replaceChildren(...(unsent.length ? [
    h("p", {}, h("b", {}, "Saved on this phone, not on the laptop:")),
    h("ul", {}, unsent.map((u) => h("li", {},
      h("p", {}, `${u.at} ${u.words}`), u.refused && h("p", { class: "wrong" }, u.refused),
      h("div", { class: "pair" },
        h("button", { type: "button", onclick: () => discard(u) }, sure === u ? "Surely? Tap again" : "Discard"),
        u.refused && u.body.tag && h("button", { type: "button", disabled: off, onclick: () => act(() => again(u)) }, "It is this string"))))),
    h("button", { type: "button", id: "unsent-yes", class: "right", disabled: off, onclick: () => act(sendAll) }, "Send now")] : []));
}

export function startUnsent() {
  on("link", draw);
  draw();
}
