// Everything dark: asked, and believed only when the state says so.

import { $, attr, clock, text } from "./dom.js";
import { dark, on, tell, yard } from "./yard.js";

const persist = 30 * 1000; // ms, in which an unanswered wish for dark is asked again
let asked = 0, failed = 0, timer = 0; // failed: when it was tapped that failed

async function everythingDark() {
  tell("dark");
  await ask(Date.now());
}

async function ask(tapped) {
  clearTimeout(timer);
  asked = Date.now();
  failed = 0;
  draw();
  try {
    await dark();
  } catch {
    failed = tapped;
    if (Date.now() - tapped < persist) timer = setTimeout(() => failed && ask(tapped), 2000);
  }
  asked = 0;
  draw();
}

// There is one in the dock and one in every sheet that covers the dock.
const buttons = [...document.querySelectorAll(".dark")];

function draw() {
  const now = yard.state?.showing, health = yard.state?.health;
  const silent = health && health.rate_hz < 1; // then no dark reaches anybody
  const dark = now?.pattern === "dark" && yard.linked;
  const is = asked ? "asked" : failed ? "failed" : dark ? (silent ? "silent" : "dark") : "lit";
  const word = { asked: "Asking for dark", failed: "Dark is not confirmed", silent: "Dark, but nothing goes out", dark: "All is dark", lit: "Everything dark" }[is];
  let note = { asked: "", lit: "", failed: "the laptop did not answer; tap again, or switch off the supply", silent: "look at the laptop's network cable", dark: "" }[is];
  if (is === "dark") {
    const n = new Set((yard.state.competing || []).map((c) => c.universe)).size;
    note = n ? `as far as we send: another source sends to ${n} ${n === 1 ? "universe" : "universes"}` : (yard.state.hold?.dark ? "held since " : "since ") + clock(now.since);
  }
  for (const b of buttons) {
    attr(b, "data-is", is);
    text(b.querySelector("span"), word);
    text(b.querySelector("small"), note);
  }
}

export function startDark() {
  for (const b of buttons) b.onclick = everythingDark;
  on("state", (s) => {
    if (s?.showing.pattern === "dark") failed = 0;
    draw();
  });
  on("link", (up) => {
    if (up && failed && Date.now() - failed < persist) ask(failed);
    else if (up && failed) {
      failed = 0;
      tell("say", "Dark was not confirmed while the link was lost. Tap it again if you still want it.");
    }
    draw();
  });
}
