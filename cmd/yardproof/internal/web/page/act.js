// What a tap asked for: one at a time, what went wrong is said, and what the
// laptop could not be told is kept on this phone and offered again.

import { $, clock, h, keep, kept } from "./dom.js";
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

// record sends a line for the record. Without an answer it stays on this phone,
// under the words that offer it again.
export async function record(path, line, words) {
  const body = { ...line, once: word() };
  try {
    return await post(path, body);
  } catch (e) {
    if (e.status !== 0) throw e;
    unsent.push({ path, body, words, at: clock(Date.now()) });
    store();
    throw new Error(`The laptop did not answer. "${words}" is saved on this phone. Send it when the link is back.`);
  }
}

// give puts a proof or a fault on record.
export async function give(string, stage, what) {
  const words = `${string}: ${what.verdict}${what.seen ? ", " + what.seen : ""}`;
  noteProof(await record("/api/proofs", { string, stage, ...what }, words));
  tell("proofs");
}

async function sendAll() {
  while (unsent.length) {
    const { path, body, at } = unsent[0];
    const note = [body.note, `tapped at ${at}, sent later`].filter(Boolean).join("; ");
    await post(path, path === "/api/replacements" ? body : { ...body, note });
    unsent.shift();
    store();
  }
  tell("recorded");
  tell("say", "Sent.");
}

function draw() {
  const box = $("unsent");
  box.hidden = !unsent.length;
  if (!unsent.length) return box.replaceChildren();
  box.replaceChildren(
    h("p", {}, h("b", {}, "Saved on this phone, not on the laptop:")),
    h("ul", {}, unsent.map((u) => h("li", {}, `${u.at} ${u.words}`))),
    h("div", { class: "pair" },
      h("button", { type: "button", id: "unsent-no", onclick: () => { unsent.pop(); store(); } }, "Discard the last"),
      h("button", { type: "button", id: "unsent-yes", class: "right", disabled: !yard.linked, onclick: () => act(sendAll) }, "Send now")));
}

export function startUnsent() {
  on("link", draw);
  draw();
}
