// Light by hand: any pattern on one string, one controller's or all.

import { $, attr, choice, h, kept, keep, text } from "./dom.js";
import { ends, on, show, stringNamed, yard } from "./yard.js";
import { act } from "./act.js";
import { whiteAllowed } from "./caution.js";

const hand = { target: "this", level: 30, pixel: 0, slot: 0, block: {} };
const whiteLook = 15; // seconds that white stays when nobody says how long
const ladder = [2, 5, 10, 20, 30, 40, 50, 60, 80, 100];

export function startByHand() {
  hand.level = Number(kept("hand-level", 30)) || 30;
  $("hand-less").onclick = () => act(() => nudge(-1));
  $("hand-more").onclick = () => act(() => nudge(1));
  for (const what of ["state", "plan", "view"]) on(what, draw);
}

function strings() {
  const s = stringNamed(yard.view);
  if (hand.target === "this") return [s.name];
  if (hand.target === "controller") return yard.plan.strings.filter((o) => o.controller === s.controller).map((o) => o.name);
  return [];
}

async function light(pattern) {
  if ((pattern === "full-white" || pattern === "ramp") && !(await whiteAllowed(stringNamed(yard.view), pattern === "ramp" ? 0 : whiteLook))) return;
  await show({
    pattern, strings: strings(), level_percent: hand.level,
    pixel: pattern === "half" ? hand.pixel : 0, slot: pattern === "one-slot" ? hand.slot : 0, ...(pattern === "block" ? hand.block : {}),
  });
}

async function nudge(by) {
  const next = by > 0 ? ladder.find((l) => l > hand.level) : ladder.findLast((l) => l < hand.level);
  hand.level = next ?? hand.level;
  keep("hand-level", hand.level);
  const now = yard.state.showing;
  if (now.pattern !== "dark") await show({ pattern: now.pattern, strings: now.strings, level_percent: hand.level, pixel: now.pixel, slot: now.slot, count: now.count, first: now.first, last: now.last });
}

function draw() {
  if (!yard.plan || !yard.state || !stringNamed(yard.view)) return;
  const now = yard.state.showing, s = stringNamed(yard.view);
  choice($("targets"), [["this", s.name], ...(s.controller ? [["controller", "All of " + s.controller]] : []), ["all", "Everything"]], hand.target, (v) => { hand.target = v; draw(); });
  if (!$("patterns").children.length) {
    $("patterns").append(...yard.plan.patterns.map((p) => {
      const [does, ...proves] = p.does.split(": ");
      return h("button", { type: "button", "data-pattern": p.name, onclick: () => act(() => light(p.name)) },
        h("b", {}, p.name), h("small", {}, proves.length ? proves.join(": ") : does));
    }));
  }
  for (const b of $("patterns").children) attr(b, "aria-pressed", String(b.dataset.pattern === now.pattern));
  drawOptions(now, s);
  text($("hand-level"), hand.level + " %");
  text($("hand-why"), now.capped_by ? `level allowed: ${now.level_percent} % (${now.capped_by})` : "");
  const n = now.strings.length;
  text($("light-now"), now.pattern === "dark" ? "Dark, everywhere." : `${now.pattern} at ${now.level_now_percent} % on ${n === 1 ? now.strings[0] : n === yard.plan.strings.length ? "all strings" : n + " strings"}${ends()}.`);
}

let drawn = "";

function drawOptions(now, s) {
  const key = [now.pattern, now.pixel, now.slot, now.first, now.last, s.name, hand.target].join();
  if (key === drawn) return;
  drawn = key;
  const box = $("options");
  if (now.pattern === "one-slot") {
    const set = h("fieldset", { class: "choice" }, h("legend", {}, "Slot"));
    choice(set, [[0, "Each in turn"], ...[...s.order].map((_, k) => [k + 1, String(k + 1)])], now.slot || 0, (v) => act(() => { hand.slot = v; return light("one-slot"); }));
    box.replaceChildren(set);
  } else if (now.pattern === "half") {
    const at = now.pixel || Math.ceil(s.pixels / 2);
    box.replaceChildren(h("p", { class: "fine" }, "White at pixel " + at),
      h("div", { class: "four" }, [-10, -1, 1, 10].map((d) => h("button", {
        type: "button", onclick: () => act(() => { hand.pixel = Math.max(1, Math.min(s.pixels, at + d)); return light("half"); }),
      }, (d > 0 ? "+" : "−") + Math.abs(d)))));
  } else if (now.pattern === "block") {
    const most = Math.max(1, Math.floor(s.pixels / 2)), first = now.first || 1, long = (now.last || most) - first + 1;
    const move = (from, n) => act(() => {
      const size = Math.max(1, Math.min(most, n)), at = Math.max(1, Math.min(s.pixels - size + 1, from));
      hand.block = { first: at, last: at + size - 1 };
      return light("block");
    });
    const button = (word, from, n) => h("button", { type: "button", onclick: () => move(from, n) }, word);
    box.replaceChildren(h("p", { class: "fine" }, now.first ? `Pixels ${first} to ${now.last}` : "A tenth in the middle"),
      h("div", { class: "four" }, button("−10", first - 10, long), button("+10", first + 10, long), button("Shorter", first, long - 5), button("Longer", first, long + 5)));
  } else box.replaceChildren();
}
