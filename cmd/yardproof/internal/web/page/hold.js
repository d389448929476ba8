// Who holds the display, since when, and the way to lift it: two taps, since
// somebody may be on a ladder.

import { $, clock, text } from "./dom.js";
import { on, post, take, tell, yard } from "./yard.js";

const surely = 5000; // ms for the second tap
let sure = 0;

function draw() {
  const hold = yard.state?.hold;
  $("hold").hidden = !hold;
  const problem = yard.state?.record_problem;
  $("unrecorded").hidden = !problem;
  text($("unrecorded"), problem ? `Nothing can be recorded. ${problem} Write proofs on paper, and tell who looks after the laptop.` : "");
  if (!hold) return;
  text($("hold-title"), hold.dark ? "Held dark" : "Chosen by hand");
  text($("hold-text"), hold.dark
    ? `by ${hold.by} since ${clock(hold.since)}. Nothing lights until somebody lifts it.`
    : `by ${hold.by} since ${clock(hold.since)}. The burn-in waits. It goes dark at ${clock(hold.goes_dark)}, and the burn-in still waits.`);
  text($("resume"), sure ? "All clear? Tap again" : hold.dark ? "Lift the hold" : "Back to the burn-in");
}

async function resume() {
  if (!sure) {
    sure = setTimeout(() => { sure = 0; draw(); }, surely);
    draw();
    return;
  }
  clearTimeout(sure);
  sure = 0;
  try {
    take(await post("/api/resume", {}));
  } catch (e) {
    tell("say", e.message);
  }
  draw();
}

export function startHold() {
  $("resume").onclick = resume;
  on("state", draw);
}
