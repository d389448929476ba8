// Readings of a proof: dark and white as a pair, for each feed.

import { $, h } from "./dom.js";
import { act } from "./act.js";
import { told } from "./answer.js";
import { meterText, number } from "./meter.js";
import { post, show, tell, yard } from "./yard.js";

let shown = "";

// showReadings opens the sheet of readings for a string; null closes it. The
// sheet asks for white by lightWhite.
export function showReadings(s, lightWhite) {
  const card = $("reading");
  card.hidden = !s;
  if (!s || shown === s.name) return; // what was typed stays, for a look at another step
  shown = s.name;
  card.replaceChildren(
    h("p", {}, h("b", {}, "With a meter: "), "amps at each feed, dark and white. Do not move the clamp between. Without a meter, go on."),
    h("div", { class: "pair" },
      h("button", { type: "button", onclick: () => act(() => show({ pattern: "dark" })) }, "Dark, to read"),
      h("button", { type: "button", onclick: () => act(lightWhite) }, "White, to read")),
    ...s.feeds.map((f) => h("div", { class: "twofold" },
      h("label", { class: "field" }, `Feed ${f}, dark, A`, field(f, "dark")),
      h("label", { class: "field" }, `Feed ${f}, white, A`, field(f, "white")),
    )),
    h("button", { type: "button", onclick: () => check(s) }, "Check the amps"),
    h("div", { id: "judged" }),
  );
}

// check asks what the readings say, feed by feed.
async function check(s) {
  const all = readings(), place = $("judged");
  try {
    const answers = [];
    for (const f of s.feeds) {
      const at = (whilst) => all.find((r) => r.feed === f && r.while === whilst)?.value ?? null;
      if (at("white") == null) continue;
      answers.push(told(await post("/api/diagnose", { string: s.name, feed: f, amps: at("white"), dark_amps: at("dark"), meter: meterText() })));
    }
    place.replaceChildren(...(answers.length ? answers : [h("p", {}, "Type the amps at white first.")]));
  } catch (e) {
    tell("say", e.message);
  }
}

const field = (feed, whilst) => h("input", { inputMode: "decimal", autocomplete: "off", "data-feed": feed, "data-while": whilst });

// readings returns what was typed, as the API wants it.
export function readings() {
  if (!shown || shown !== yard.view) return [];
  return [...$("reading").querySelectorAll("input")].flatMap((i) => {
    const value = number(i.value);
    return value == null ? [] : [{ feed: i.dataset.feed, quantity: "amps", at: "supply", value, while: i.dataset.while }];
  });
}
