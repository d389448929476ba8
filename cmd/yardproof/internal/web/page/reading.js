// Readings of the meter: dark and white as a pair, for each feed.

import { $, h, kept } from "./dom.js";
import { yard } from "./yard.js";

let shown = "";

// showReadings opens the sheet of readings for a string; null closes it.
export function showReadings(s) {
  const card = $("reading");
  card.hidden = !s;
  if (!s || shown === s.name) {
    if (!s) shown = "";
    return;
  }
  shown = s.name;
  card.replaceChildren(
    h("p", {}, h("b", {}, "With a meter: "), "amps at each feed, dark and white, the clamp unmoved. Without one, go on."),
    ...s.feeds.map((f) => h("div", { class: "twofold" },
      h("label", { class: "field" }, `Feed ${f.at}, dark, A`, field(f.at, "dark")),
      h("label", { class: "field" }, `Feed ${f.at}, white, A`, field(f.at, "white")),
    )),
    h("p", { id: "judged", class: "fine" }),
  );
}

const field = (feed, whilst) => h("input", { inputMode: "decimal", autocomplete: "off", "data-feed": feed, "data-while": whilst });

// number reads what cold fingers typed: a comma is a point.
export function number(s) {
  const v = s.trim().replace(",", ".");
  return v === "" || !Number.isFinite(+v) ? null : +v;
}

// readings returns what was typed, as the API wants it.
export function readings() {
  if (!shown || shown !== yard.view) return [];
  return [...$("reading").querySelectorAll("input")].flatMap((i) => {
    const value = number(i.value);
    return value == null ? [] : [{ feed: i.dataset.feed, quantity: "amps", at: "supply", value, while: i.dataset.while }];
  });
}

export const meter = () => ({ percent: number(kept("meter-percent", "3")) ?? 3, amps: number(kept("meter-amps", "0.1")) ?? 0.1 });
