// Power for the plan: the laptop looks for feeds, tells how far it is line by line, and
// ends when this page goes.

import { $, h, kept, text } from "./dom.js";
import { dark } from "./yard.js";

let search = null; // what ends it

const say = (words) => text($("say"), words);
const money = (v) => v.toFixed(2);
const count = (n, one) => `${n} ${one}${n === 1 ? "" : "s"}`;

// lines reads an answer line by line.
async function* lines(answer) {
  const reader = answer.body.getReader(), words = new TextDecoder();
  let rest = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    const whole = (rest + words.decode(value, { stream: true })).split("\n");
    rest = whole.pop();
    yield* whole.map((line) => JSON.parse(line));
  }
}

async function ask() {
  const level = Number($("level").value.replace(",", ".").replace("%", ""));
  if (!(level > 0 && level <= 100)) throw new Error("Write a level of more than 0 and at most 100 %.");
  search = new AbortController();
  $("ask").disabled = true;
  $("stop").disabled = false;
  $("answer").hidden = true;
  say("The laptop looks. It takes up to half a minute.");
  let told = null;
  try {
    const answer = await fetch("/api/proposal", { method: "POST", signal: search.signal,
      headers: { "Content-Type": "application/json" }, body: JSON.stringify({ level_percent: level, lose_a_feed: $("lose").checked }) });
    if (!answer.ok) throw new Error((await answer.json()).detail);
    for await (told of lines(answer)) if (told.is === "looking" && told.says) say(`The laptop looks: ${told.says}.`);
  } catch (e) {
    if (e.name === "AbortError") return say("Stopped.");
    throw e instanceof TypeError ? new Error("The laptop did not answer.") : e;
  } finally {
    $("ask").disabled = false;
    $("stop").disabled = true;
  }
  if (told?.is === "failed") throw new Error(told.problem);
  if (told?.is !== "done") throw new Error("The answer did not come to its end. Ask again.");
  show(told.proposal);
}

function show(p) {
  const n = p.strings.length;
  say("Done.");
  text($("answer-title"), n ? `${count(n, "string")}: cost ${money(p.cost.proposed)}, today ${money(p.cost.today)}`
    : (p.not_proposed ? "Nothing that holds was found" : "Every string has its volts, fuses and protection"));
  text($("gap"), !n ? "" : p.gap_percent > 0 ? `Time ran out: the cheapest may cost up to ${p.gap_percent.toFixed(1)} % less. The laptop's command line can look longer.` : "Of all that was tried nothing that holds costs less.");
  $("changes").replaceChildren(
    ...(p.supplies || []).map((s) => h("li", {}, h("p", {}, h("b", {}, `New supply ${s.name}: ${s.volts} V, ${s.watts} W`), `, ${s.where}`), h("p", { class: "fine" }, "Its mains is for a licensed person."))),
    ...(p.feeders || []).map((f) => h("li", {}, h("p", {}, h("b", {}, `Feeder ${f.name}: ${f.wire}, ${f.fuse_amps} A fuse`)), h("p", {}, `Why: ${f.because}`))),
    ...p.strings.map((s) => h("li", {},
      h("p", {}, h("b", {}, s.name), ` ${count(s.feeds.length, "feed")}, cost ${money(s.cost.proposed)}, today ${money(s.cost.today)}`),
      s.because.map((why) => h("p", { class: "today" }, `Today: ${why}`)),
      s.feeds.map((f) => h("p", { class: "feed", "data-as": f.change }, h("b", {}, `at ${f.at}`), ` from ${f.from}: ${f.wire}, ${f.metres} m, ${f.fuse_amps} A fuse; ${f.amps.toFixed(2)} A flow (${f.change})`)),
      s.cheaper_refused.map((c) => h("p", { class: "fine" }, `Cheaper by ${money(s.cost.proposed - c.cost)} and refused, ${c.what}: ${c.why}`)))),
    ...(p.not_proposed || []).map((r) => h("li", {}, h("p", {}, h("b", {}, r.name), ` not proposed: ${r.why}`))));
  $("bill").hidden = !p.bill;
  if (p.bill) bill(p.bill);
  $("lines").hidden = !p.patch;
  $("patch").replaceChildren(...p.patch.split("\n").filter((l) => !/^(---|\+\+\+) /.test(l)).map((l) =>
    h(l[0] === "+" ? "ins" : l[0] === "-" ? "del" : "span", {}, l)));
  $("rests").replaceChildren(...[
    p.assumed && `Assumed, with prices of no shop (common practice, no source; write stock: in the plan with yours): ${p.assumed.join("; ")}.`,
    "Costs are of leads, feeders, fuses, connectors and new supplies, in hand or not. Work is not counted.",
    "Volts hold at the worst side of the plan's tolerance. Fuses hold at their share for long.",
    ...p.cautions].filter(Boolean).map((words) => h("li", {}, words)));
  $("answer").hidden = false;
}

function bill(b) {
  $("cuts").replaceChildren(...(b.cuts.length ? b.cuts.map((c) => h("li", {}, `${c.pieces} of ${c.metres} m, ${c.wire}: ${c.for.join(", ")}`)) : [h("li", {}, "No wire.")]));
  const of = (n, it) => (n ? `${n}${it.unit ? " " + it.unit : ""}` : "–");
  $("items").replaceChildren(...b.items.map((it) => h("tr", {},
    h("td", {}, `${it.item}: ${it.what}`), h("td", {}, of(it.quantity, it)), h("td", {}, of(it.spare, it)), h("td", {}, of(it.in_hand, it)), h("td", {}, h("b", {}, of(it.to_buy, it))))));
  text($("costs"), `To buy costs ${money(b.cost)}${b.unpriced ? `, not counting ${count(b.unpriced.length, "item")} without a price in stock` : ""}.`);
}

// tried says what went wrong.
const tried = (fn) => async () => {
  try {
    await fn();
  } catch (e) {
    say(e.message);
  }
};

$("ask").onclick = tried(ask);
$("stop").onclick = () => search?.abort();
$("dark").onclick = tried(async () => {
  await dark();
  say("Everything is dark, and held. Lift the hold on the yard page.");
});
if (kept("night", "no") === "yes") document.documentElement.dataset.look = "night";
