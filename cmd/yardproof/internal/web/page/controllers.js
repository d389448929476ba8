// The controllers, and the check of what each does when its data stops.

import { $, h, text } from "./dom.js";
import { act } from "./act.js";
import { on, post, show, tell, yard } from "./yard.js";

export function startControllers() {
  on("plan", drawControllers);
  on("plan", drawFaults);
}

// What wires and fuses do in a fault, by the plan.
function drawFaults() {
  const p = yard.plan;
  const all = [...(p.faults || []), ...p.strings.flatMap((s) => (s.faults || []).map((f) => s.name + ": " + f))];
  $("faults").hidden = !all.length;
  $("faults").querySelector("ul").replaceChildren(...all.slice(0, 100).map((f) => h("li", {}, f)),
    ...(all.length > 100 ? [h("li", {}, all.length - 100 + " more: yardproof plan lists them.")] : []));
}

const losses = [["dark", "It went dark"], ["holds", "It held the picture"], ["own-pattern", "A pattern of its own"]];
const lossWords = { unknown: "not known", dark: "goes dark", holds: "holds its picture", "own-pattern": "a pattern of its own" };

// The pull-the-cable check: a dim picture, the cable out, ten seconds, a look.
function drawControllers() {
  $("controllers").replaceChildren(...yard.plan.controllers.map((c) => {
    const count = h("p", { class: "looks", role: "status" });
    const names = yard.plan.strings.filter((s) => s.controller === c.name).map((s) => s.name);
    let timer = 0;
    const pulled = () => {
      let left = 10;
      clearInterval(timer);
      const tick = () => {
        text(count, left > 0 ? `Wait ${left} s` : "Look now, and tap what it does.");
        if (left-- <= 0) clearInterval(timer);
      };
      timer = setInterval(tick, 1000);
      tick();
    };
    const saw = (v, label) => act(async () => {
      await post("/api/looks", { controller: c.name, seen: v, note: "cable pulled" });
      c.seen = v;
      drawControllers();
      tell("say", `${c.name}: "${label.toLowerCase()}" saved.` + (c.on_loss === v ? "" : ` Write on_loss: ${v} in the plan.`));
    });
    return h("li", {}, h("details", {},
      h("summary", { class: "row two" }, h("span", { class: "no" }, String(c.strings)),
        h("span", { class: "who" }, h("b", {}, c.name), h("small", {}, `${c.address || "multicast"} · when data stops: ${lossWords[c.seen || c.on_loss]}${c.seen ? " (seen)" : ""}`))),
      h("p", {}, "What does it do when its data stops? Light it dimly, pull its network cable, wait ten seconds, look."),
      h("div", { class: "pair" },
        h("button", { type: "button", disabled: !names.length, onclick: () => act(() => show({ pattern: "ruler", strings: names, level_percent: 5 })) }, "Light it dimly"),
        h("button", { type: "button", onclick: pulled }, "The cable is out")),
      count,
      h("div", { class: "choice" }, losses.map(([v, label]) => h("button", { type: "button", onclick: () => saw(v, label) }, label)))));
  }));
}
