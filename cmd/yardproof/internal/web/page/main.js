// The page begins here: it lets the phone in, asks what there is, and listens.

import { $, attr, keep, kept, text } from "./dom.js";
import { act, startUnsent } from "./act.js";
import { startBench } from "./bench.js";
import { startBurning } from "./burning.js";
import { startByHand } from "./byhand.js";
import { startControllers } from "./controllers.js";
import { startDark } from "./dark.js";
import { startFault } from "./fault.js";
import { startFind } from "./find.js";
import { startGauges } from "./gauges.js";
import { startHold } from "./hold.js";
import { startMeter } from "./meter.js";
import { startPhones } from "./phones.js";
import { startProve } from "./prove.js";
import { listen } from "./stream.js";
import { startStrings } from "./strings.js";
import { startTag } from "./tag.js";
import { view } from "./view.js";
import { get, loadProofs, on, post, refresh, stringNamed, tell, yard } from "./yard.js";

// Views

function goto(name) {
  document.body.dataset.view = name;
  for (const b of $("views").children) attr(b, "aria-current", b.dataset.to === name ? "page" : null);
  scrollTo(0, 0);
  tell("state", yard.state);
}
on("goto", goto);
for (const b of $("views").children) b.onclick = () => goto(b.dataset.to);

// Words for whoever looks

on("state", (s) => { $("unreal").hidden = !s?.rehearsal; });
on("say", (words) => text($("say"), words));

function night(is) {
  attr(document.documentElement, "data-look", is ? "night" : null);
  attr($("night"), "aria-pressed", String(is));
  text($("night"), is ? "Day" : "Night");
  keep("night", is ? "yes" : "no");
}
$("night").onclick = () => night(document.documentElement.dataset.look !== "night");
night(kept("night", "no") === "yes");

// The link to the laptop

let lostAt = 0;

on("link", (up) => {
  attr(document.body, "data-link", up ? "up" : "lost");
  $("lost").hidden = up;
  if (up) {
    lostAt = 0;
    refresh().catch(() => {});
  } else lostAt ||= Date.now();
  drawLost();
});

// A phone that is not let in shows nothing that looks as if it worked.
on("stranger", (words) => {
  yard.stranger = true;
  attr(document.body, "data-link", "stranger");
  $("lost").hidden = true;
  text($("stranger-text"), words);
});

// What another phone has put on record shows here too.
on("recorded", () => loadProofs().catch(() => {}));

function drawLost() {
  if (!lostAt) return;
  const seconds = Math.round((Date.now() - (yard.heard || lostAt)) / 1000);
  text($("lost-text"), `Last heard ${seconds} s ago. The lights keep what they show. Full white ends by itself. What was saved is safe. Trying again.`);
}
setInterval(drawLost, 1000);
$("retry").onclick = () => listen();

// Getting in

async function enter() {
  const token = location.hash.slice(1);
  if (!token) return;
  history.replaceState(null, "", location.pathname);
  await post("/api/session", { token });
}

async function begin() {
  let refused = "";
  try {
    await enter();
  } catch (e) {
    refused = e.message; // of no matter to a phone that is in already
  }
  try {
    yard.plan = await get("/api/plan");
  } catch (e) {
    if (e.status === 401) return tell("stranger", refused || e.message);
    tell("say", e.message);
    setTimeout(begin, 3000);
    return;
  }
  text($("plan-name"), yard.plan.name || "Yard page");
  document.title = (yard.plan.name || "Yard") + ", yard page";
  await loadProofs().catch((e) => tell("say", e.message));
  on("reloaded", () => refresh().then(() => {
    if (!stringNamed(yard.view)) view(yard.plan.strings[0].name);
    tell("say", "The plan has changed. This is the new one.");
  }, (e) => tell("say", e.message)));
  const last = kept("string", "");
  tell("plan");
  view((stringNamed(last) || yard.plan.strings[0]).name);
}

startTag();
startBench();
startProve();
startFault();
startStrings();
startByHand();
startFind();
startGauges();
startBurning();
startControllers();
startPhones();
startMeter();
$("hands").onclick = () => {
  let open;
  return act(async () => { open = (await import("./handsfree.js")).openHandsFree; }).then(() => open?.());
};
startHold();
startDark();
startUnsent();
// A link that is opened where the page already is changes the address alone.
addEventListener("hashchange", () => yard.stranger && location.reload());
goto("prove");
begin();
