// Readings of a proof: dark and white as a pair, for each feed.

import { $, h, text } from "./dom.js";
import { act } from "./act.js";
import { told } from "./answer.js";
import { meterText, number } from "./meter.js";
import { ends, post, show, tell, yard } from "./yard.js";

let shown = "";

// showReadings opens the sheet of readings for a string; null closes it. The
// sheet asks for white by lightWhite, and says when it has ended.
export function showReadings(s, lightWhite, ended) {
  const card = $("reading");
  card.hidden = !s;
  if (!s) return;
  if (shown !== s.name) build(card, s, lightWhite); // what was typed stays, for a look at another step
  text($("white-left"), ended || (ends() && "White is lit" + ends() + "."));
}

function build(card, s, lightWhite) {
  shown = s.name;
  card.replaceChildren(
    h("p", {}, h("b", {}, "With a meter: "), "amps at each feed, dark and white. Do not move the clamp between. Under white also the volts. Without a meter, go on."),
    h("div", { class: "pair" },
      h("button", { type: "button", onclick: () => act(() => show({ pattern: "dark" })) }, "Dark, to read"),
      h("button", { type: "button", onclick: () => act(lightWhite) }, "White, to read")),
    h("p", { id: "white-left" }),
    ...s.feeds.map((f) => h("div", { class: "twofold" },
      h("label", { class: "field" }, `Feed ${f}, dark, A`, field(f, "dark")),
      h("label", { class: "field" }, `Feed ${f}, white, A`, field(f, "white")),
    )),
    h("div", { class: "twofold" },
      h("label", { class: "field" }, "Supply, white, V", volts("supply")),
      h("label", { class: "field" }, "Last pixel, white, V", volts(`pixel ${s.pixels}`)),
    ),
    h("button", { type: "button", onclick: () => check(s) }, "Check the amps"),
    h("div", { id: "judged" }),
  );
}

// answers asks what the amps say, feed by feed; where white was not read there is none.
async function answers(s) {
  const all = readings(), told = [];
  for (const feed of s.feeds) {
    const at = (whilst) => all.find((r) => r.quantity === "amps" && r.feed === feed && r.while === whilst)?.value ?? null;
    if (at("white") == null) continue;
    told.push({ feed, out: await post("/api/diagnose", { string: s.name, feed, amps: at("white"), dark_amps: at("dark"), meter: meterText() }) });
  }
  return told;
}

async function check(s) {
  try {
    const all = await answers(s);
    $("judged").replaceChildren(...(all.length ? all.map((a) => told(a.out)) : [h("p", {}, "Type the amps at white first.")]));
  } catch (e) {
    tell("say", e.message);
  }
}

// offFeeds names the feeds whose amps are not what they should be. Where the laptop does
// not answer, or cannot know, there is none: the proof is kept all the same.
export async function offFeeds(s) {
  try {
    return (await answers(s)).filter((a) => a.out.answer.wrong).map((a) => a.feed);
  } catch {
    return [];
  }
}

// forgetWhite empties what was read under white, for other light.
export function forgetWhite() {
  for (const i of $("reading").querySelectorAll("[data-while=white]")) i.value = "";
  $("judged")?.replaceChildren();
}

function retyped() {
  $("judged").replaceChildren();
  tell("retyped");
}

const typed = (data) => h("input", { inputMode: "decimal", autocomplete: "off", oninput: retyped, ...data });
const field = (feed, whilst) => typed({ "data-feed": feed, "data-while": whilst });
const volts = (at) => typed({ "data-at": at, "data-while": "white" });

// readings returns what was typed, as the API wants it.
export function readings() {
  if (!shown || shown !== yard.view) return [];
  return [...$("reading").querySelectorAll("input")].flatMap((i) => {
    const value = number(i.value);
    const { feed, at, while: whilst } = i.dataset;
    return value == null ? [] : [at ? { quantity: "volts", at, value, while: whilst } : { feed, quantity: "amps", at: "supply", value, while: whilst }];
  });
}
