// An answer of the laptop to what was seen or read.

import { h } from "./dom.js";

const list = (title, items, tag) => (items?.length ? [h("p", {}, h("b", {}, title)), h(tag, {}, items.map((i) => h("li", {}, i)))] : []);

export function told(out) {
  const a = out.answer;
  return h("div", { class: "told", role: "status" },
    h("p", {}, h("b", {}, a.finding)),
    ...list("Most likely causes first", a.causes, "ul"),
    ...list("What to do", a.next, "ol"),
    ...(a.plan_lines?.length ? [h("p", {}, h("b", {}, "In the plan")), ...a.plan_lines.map((l) => h("p", { class: "link" }, l))] : []),
    h("p", { class: "fine" }, a.basis + (a.caution ? ". " + a.caution : "")));
}
