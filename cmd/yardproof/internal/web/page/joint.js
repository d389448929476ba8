// A bad joint from the ground: a block of light is moved, a meter at one end is read.
// The laptop chooses the block.

import { h, text } from "./dom.js";
import { act } from "./act.js";
import { told } from "./answer.js";
import { number } from "./meter.js";
import { longest } from "./steps.js";
import { post, show, tell } from "./yard.js";

export function joint(body, s) {
  const answer = h("div", {}), where = h("p", { class: "looks" });
  const input = h("input", { inputMode: "decimal", autocomplete: "off" });
  const label = h("span", {}, "The meter shows");
  let readings = [], next = {};
  const step = () => act(async () => {
    const { scan, answer: said } = await post("/api/diagnose", { string: s.name, scan: readings });
    const done = scan.verdict.done;
    entry.hidden = done;
    if (done) {
      await show({ pattern: "dark", strings: [s.name] });
      text(where, "");
      return answer.replaceChildren(told({ answer: said }));
    }
    next = scan.verdict.next;
    await show(next.first ? { pattern: "block", strings: [s.name], level_percent: 100, hold_seconds: longest, ...next } : { pattern: "dark", strings: [s.name] });
    text(label, scan.quantity === "volts" ? "Volts" : "Amps");
    text(where, (next.first ? `Pixels ${next.first} to ${next.last} are lit, for ${longest} s. ` : "It is dark. ") + said.next[1]);
    input.value = "";
    input.focus();
  });
  const entry = h("div", { hidden: true }, h("label", { class: "field" }, label, input),
    h("button", { type: "button", onclick: () => {
      const value = number(input.value);
      if (value == null) return tell("say", "Type what the meter shows.");
      readings.push({ ...next, value });
      step();
    } }, "Next block"),
    h("button", { type: "button", onclick: () => { readings.pop(); step(); } }, "Take the last one back"));
  body.replaceChildren(
    h("p", {}, `On ${s.name} a block of light moves, and the meter stays where it is: nobody climbs. Some ten readings find a joint of 50 milliohm.`),
    h("button", { type: "button", onclick: () => { readings = []; answer.replaceChildren(); step(); } }, "Begin"),
    where, entry, answer);
}
