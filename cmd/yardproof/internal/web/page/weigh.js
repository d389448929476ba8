// Every cause of a fault, weighed by all that was seen and read of a string. The
// laptop says which look tells most for the least trouble.

import { choice, h, text } from "./dom.js";
import { act } from "./act.js";
import { whiteAllowed } from "./caution.js";
import { number } from "./meter.js";
import { longest } from "./steps.js";
import { post, show, tell } from "./yard.js";

// What a look needs lit. The others need nothing more than what is there. White ends by
// itself: what takes minutes is lit in one colour.
const minutes = { pattern: "one-slot", slot: 1, level_percent: 100 };
const lights = {
  white: { pattern: "full-white", level_percent: 30 }, later: minutes, watch: { ...minutes, level_percent: 60 }, dark: { pattern: "dark" },
  ends: { pattern: "ends", level_percent: 30 }, alone: { pattern: "full-white", level_percent: 30, one: true },
  slots: { pattern: "one-slot", slot: 0, level_percent: 30, one: true }, bright: { pattern: "full-white", level_percent: 100, one: true },
  low: { pattern: "full-white", level_percent: 5, one: true }, more: { pattern: "full-white", level_percent: 100, one: true },
  amps: { pattern: "full-white", level_percent: 100, one: true }, volts: { pattern: "full-white", level_percent: 100, one: true },
};

// Signs that go with the last good pixel.
const placed = /-(tail|head|pixel)$/;
const shares = (x) => (x >= 0.99 ? "99 % or more" : x < 0.01 ? "under 1 %" : Math.round(100 * x) + " %");

// What the words of a saved fault say as looks; f is its last good pixel.
const proved = {
  "nothing lights": () => "alone=nothing", "another string answers": () => "alone=another", "another number": () => "alone=another",
  "pixels stay lit": () => "dark=lit", "the tail stays lit": () => "dark=lit", "all stays lit": () => "dark=lit",
  "colours in another order": () => "slots=another", "it runs backwards": () => "ends=backward", "dies after minutes": () => "later=dark",
  "sparkles when bright": () => "more=another", "flickers": () => "white=noise",
  "dark after a pixel": (f) => f > 0 && `ends=dark-tail@${f}`, "one pixel dark": (f) => f >= 0 && `white=dark-pixel@${f}`,
  "yellow or red far end": (f) => f > 0 && `bright=dim-tail@${f}`,
};
const begins = (fault) => (fault?.seen || []).map((w) => proved[w]?.(fault.last_lit ?? -1)).filter(Boolean);

export function weigh(body, s, fault) {
  const finding = h("p", { role: "status" }), doing = h("p", { class: "looks" }), causes = h("ul", { class: "weighed" });
  const entry = h("div", { hidden: true }), done = h("ol", {}), fine = h("p", { class: "fine" });
  let looks = [], weighed = {};

  const step = async () => {
    const out = await post("/api/diagnose", { string: s.name, looks });
    weighed = out.weighed;
    text(finding, out.answer.finding);
    text(doing, out.answer.next?.[0] || "");
    text(fine, out.answer.basis + (out.answer.caution ? ". " + out.answer.caution : ""));
    const n = out.answer.causes?.length || 0;
    causes.replaceChildren(...weighed.causes.slice(0, n).map((c, i) => h("li", {},
      h("p", {}, h("b", {}, shares(c.share)), ": ", c.cause, c.because && h("span", { class: "fine" }, " (" + c.because + ")")),
      weighed.mends[i] && h("button", { type: "button", onclick: () => act(async () => {
        await post("/api/notes", { string: s.name, note: "Put right: " + c.cause, mended: weighed.mends[i] });
        looks.push(weighed.mends[i]);
        await step();
      }) }, "I put this right"))));
    done.replaceChildren(...looks.map((l) => h("li", {}, l.replace("=", ": ").replaceAll("-", " "))));
    back.hidden = !looks.length;
    entry.hidden = !weighed.next;
    entry.replaceChildren(...(weighed.next ? ways(weighed) : []));
  };
  const add = (look) => act(() => { looks.push(look); return step(); });

  // ways are the buttons and fields by which the next look is answered.
  function ways(w) {
    const lit = lights[w.next.test];
    const light = lit && h("button", { type: "button", onclick: () => act(async () => {
      const { one, ...what } = lit;
      if (one && lit.level_percent === 100 && !(await whiteAllowed(s, longest))) return;
      const block = w.next.first ? { pattern: "block", first: w.next.first, last: w.next.last } : {};
      await show({ hold_seconds: longest, ...what, ...block, ...(one ? { strings: [s.name] } : {}) });
    }) }, lit.pattern === "full-white" ? `Light it for ${longest} s` : "Light it");
    const then = w.next.test === "later" && h("button", { type: "button", onclick: () => act(() => show({ hold_seconds: longest, ...lights.white })) }, `Then white for ${longest} s`);
    return [light, then, ...(w.signs ? signs(w) : values(w))].filter(Boolean);
  }

  function signs(w) {
    const pixel = h("input", { inputMode: "numeric", autocomplete: "off" });
    const others = h("input", { autocomplete: "off" });
    const among = w.next.test === "white" || w.next.test === "later";
    const seen = h("fieldset", { class: "choice" }, h("legend", {}, "What is seen"));
    choice(seen, w.signs.map((v, i) => [v, w.says[i]]), "", (v) => {
      const at = number(pixel.value);
      if (placed.test(v) && at == null) return tell("say", "Type the last good pixel first; 0 when none is good.");
      add(w.ask + v + (placed.test(v) ? "@" + at : "") + (among && others.value.trim() ? " with " + others.value.trim() : ""));
    });
    return [
      w.signs.some((v) => placed.test(v)) && h("label", { class: "field" }, "The last good pixel, if only a part is wrong", pixel),
      among && h("label", { class: "field" }, "Other strings that do the same: names with commas, or none", others),
      seen,
    ];
  }

  function values(w) {
    const dark = h("input", { inputMode: "decimal", autocomplete: "off" }), lit = h("input", { inputMode: "decimal", autocomplete: "off" });
    const amps = w.next.test === "amps";
    return [
      h("div", { class: "twofold" }, amps && h("label", { class: "field" }, "Amps, dark", dark), h("label", { class: "field" }, amps ? "Amps, lit" : "Volts", lit)),
      h("button", { type: "button", onclick: () => {
        const d = number(dark.value), v = number(lit.value);
        if (v == null || (amps && d == null)) return tell("say", "Type what the meter shows.");
        add(w.ask + (amps ? d + "/" : "") + v);
      } }, "That is what it shows"),
    ];
  }

  const back = h("button", { type: "button", hidden: true, onclick: () => act(() => { looks.pop(); return step(); }) }, "Take the last one back");
  body.replaceChildren(
    h("p", {}, `On ${s.name}: every cause is weighed by all that you see and read. The next look is the one that tells most for the least trouble.`),
    h("button", { type: "button", onclick: () => act(() => { looks = begins(fault); return step(); }) }, "Begin"),
    finding, causes, doing, entry, back, done, fine);
}
