// A burn-in in the yard: how far it is, and that somebody looked.

import { $, text } from "./dom.js";
import { act, orKept, record } from "./act.js";
import { openFault } from "./fault.js";
import { on, tell, yard } from "./yard.js";

const looked = (seen, note = "") => record("/api/looks", { seen, note }, seen);

export function startBurning() {
  on("state", () => {
    $("programme").hidden = !yard.state?.programme;
    text($("programme-text"), yard.state?.programme || "");
  });
  $("looked-well").onclick = () => act(async () => {
    const line = await looked("all well");
    tell("say", orKept(line, "Saved: you looked, and all was well."));
  });
  $("looked-ill").onclick = () => openFault({
    choose: true,
    then: (f) => looked("something is wrong", [f.string + ": " + f.seen.join("; "), f.note].filter(Boolean).join(", ")),
  });
}
