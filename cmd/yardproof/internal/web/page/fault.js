// The sheet on which a fault is noted, of the string under test or of one that
// is chosen there.

import { $, attr, h, text } from "./dom.js";
import { act, give, orKept } from "./act.js";
import { atBench, giveOnBench, tagOf } from "./bench.js";
import { seenAt } from "./steps.js";
import { stage, stringNamed, tell, yard } from "./yard.js";

const chosen = new Set();
let saved = null, noted = () => []; // noted: readings that belong to the fault

// openFault asks what was seen. choose: which string, too. then is called with
// what was saved.
export function openFault({ step = -1, choose = false, then = null, readings = () => [] } = {}) {
  chosen.clear();
  saved = then;
  noted = readings;
  $("seen").replaceChildren(...seenAt(step).map((w) => h("button", {
    type: "button", "aria-pressed": "false",
    onclick: (e) => {
      chosen.has(w) ? chosen.delete(w) : chosen.add(w);
      attr(e.currentTarget, "aria-pressed", chosen.has(w));
    },
  }, w)));
  const which = $("fault-string");
  which.parentElement.hidden = !choose;
  which.replaceChildren(...(choose ? [h("option", { value: "" }, "Choose the string")] : []),
    ...yard.plan.strings.map((s) => h("option", { value: s.name, selected: !choose && s.name === yard.view }, `${s.number} ${s.name}`)));
  $("last-lit").value = "";
  $("fault-note").value = "";
  $("fault-wrong").textContent = "";
  text($("fault-title"), choose ? "Which string, and what was seen?" : `What was seen on ${tagOf({ name: yard.view })}?`);
  $("fault-sheet").showModal();
}

async function save() {
  const string = stringNamed($("fault-string").value);
  const last = $("last-lit").value.trim(), note = $("fault-note").value.trim();
  const wrong = !string ? [$("fault-string"), "Choose the string."]
    : last && !(Number.isInteger(+last) && +last >= 0 && +last <= string.pixels) ? [$("last-lit"), `The last good pixel is 0 to ${string.pixels}.`]
    : !chosen.size && !last && !note ? [$("fault-note"), "Tap what was seen, or write a note."] : null;
  text($("fault-wrong"), wrong?.[1] || "");
  if (wrong) return wrong[0].focus();
  const seen = [...chosen], lastLit = last ? +last : null;
  $("fault-sheet").close();
  const name = tagOf(string), what = { verdict: "fault", seen: seen.join("; "), last_lit: lastLit, note, readings: noted() };
  const line = await (atBench() ? giveOnBench(what) : give(string.name, stage(), what));
  tell("say", orKept(line, `Fault of ${name} saved. Tap Find out for likely causes, or ${atBench() ? "hang the next one" : "› for the next string"}.`));
  tell("fault", { string: string.name, last_lit: lastLit, seen });
  await saved?.({ string: string.name, seen, note });
}

export function startFault() {
  $("fault-form").onsubmit = (e) => { e.preventDefault(); act(save); };
  $("fault-no").onclick = () => $("fault-sheet").close();
}
