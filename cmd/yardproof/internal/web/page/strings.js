// The list of strings with their proofs, and what remains.

import { $, attr, choice, h, shape, text } from "./dom.js";
import { view } from "./view.js";
import { on, proofOf, remaining, stage, tell, yard } from "./yard.js";

let which = "all";

export function startStrings() {
  $("search").oninput = draw;
  for (const what of ["proofs", "view", "plan"]) on(what, draw);
}

const words = { good: "good", fault: "fault", none: "not yet" };

function draw() {
  if (!yard.plan) return;
  const at = stage(), left = remaining(at), all = yard.plan.strings;
  const faults = left.filter((s) => proofOf(s.name, at)?.verdict === "fault").length;
  text($("remain"), left.length ? `${all.length - left.length} of ${all.length} good` : `All ${all.length} are good`);
  text($("remain-what"), left.length ? [faults && `${faults} with a fault`, left.length > faults && `${left.length - faults} not yet proved`].filter(Boolean).join(", ") + ` (${at})` : "");
  $("buoys").replaceChildren(...all.slice(0, 400).map((s) => shape(proofOf(s.name, at)?.verdict)));
  choice($("filters"), [["all", "All"], ["left", "To prove"], ["fault", "Faults"]], which, (v) => { which = v; draw(); });
  const wanted = $("search").value.trim().toLowerCase().split(/\s+/).filter(Boolean);
  const rows = all.filter((s) => {
    const verdict = proofOf(s.name, at)?.verdict;
    if (which === "left" && verdict === "good" || which === "fault" && verdict !== "fault") return false;
    const hay = [s.number, s.name, s.label, s.controller, "port " + s.port, "universe " + s.universe].join(" ").toLowerCase();
    return wanted.every((w) => hay.includes(w));
  });
  $("list").replaceChildren(...rows.slice(0, 300).map((s) => row(s, at)),
    ...(rows.length ? [] : [h("li", {}, h("p", { class: "row" }, "", "No string fits."))]),
    ...(rows.length > 300 ? [h("li", {}, h("p", { class: "row" }, "", `${rows.length - 300} more: search to see them.`))] : []));
}

function row(s, at) {
  const proof = proofOf(s.name, at), verdict = proof?.verdict || "none";
  const b = h("button", { type: "button", onclick: () => { view(s.name); tell("goto", "prove"); } },
    h("span", { class: "no" }, String(s.number)),
    h("span", { class: "who" }, h("b", {}, s.name), h("small", {}, [s.label, s.controller, s.port && "port\u00a0" + s.port].filter(Boolean).join(" · ") + (proof?.seen ? " · " + proof.seen : "") + (proof?.last_lit != null ? " · good to " + proof.last_lit : ""))),
    h("span", { class: "mark" }, shape(verdict), words[verdict]));
  attr(b, "aria-current", s.name === yard.view ? "true" : null);
  return h("li", {}, b);
}
