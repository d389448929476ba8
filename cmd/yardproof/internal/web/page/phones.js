// The phones that were let in: a link for one more, and the way to let out one that
// was lost: two taps, since it may be somebody's who stands on a ladder.

import { $, h, text } from "./dom.js";
import { act } from "./act.js";
import { get, on, post, tell, yard } from "./yard.js";

const surely = 5000; // ms for the second tap
const every = 10000; // ms between two looks at who is in
let sure = "", timer = 0, asked = 0;

const clock = (t) => new Date(t).toLocaleString("en-GB", { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });

export function startPhones() {
  on("goto", (name) => { if (name === "yard") asked = 0; });
  on("state", () => {
    const n = yard.state?.phones;
    text($("phones"), n === 1 ? "Only this page is open." : `${n} pages are open; all see the same.`);
    $("phone-name-field").hidden = $("another").hidden = yard.plan?.local ?? true;
    if (!$("yard").offsetParent || Date.now() - asked < every) return;
    asked = Date.now();
    get("/api/phones").then(draw, () => {});
  });
  $("another").onclick = () => act(another);
}

function draw({ phones }) {
  $("phone-list").replaceChildren(...phones.map((p) => {
    const out = h("button", { type: "button", onclick: () => act(() => letOut(p, out)) }, sure === p.name ? "Surely? Tap again" : "Let out");
    return h("li", { class: "phone" },
      h("span", { class: "who" }, h("b", {}, p.name + (p.this ? " (this one)" : "")), h("small", {}, `since ${clock(p.since)}, last seen ${clock(p.last_seen)}`)),
      out);
  }));
}

async function letOut(p, button) {
  clearTimeout(timer);
  if (sure !== p.name) {
    sure = p.name;
    text(button, "Surely? Tap again");
    timer = setTimeout(() => { sure = ""; text(button, "Let out"); }, surely);
    return;
  }
  sure = "";
  draw(await post("/api/phones/revoke", { name: p.name }));
  tell("say", `${p.name} is let out.`);
}

async function another() {
  const { link, qr, minutes } = await post("/api/links", { name: $("phone-name").value.trim() });
  $("phone-name").value = "";
  const c = h("canvas", { class: "qr", role: "img", "aria-label": "QR code of the link", width: qr.length, height: qr.length });
  const p = c.getContext("2d");
  p.fillStyle = "#fff";
  p.fillRect(0, 0, qr.length, qr.length);
  p.fillStyle = "#000";
  qr.forEach((row, y) => [...row].forEach((bit, x) => bit === "1" && p.fillRect(x, y, 1, 1)));
  $("another-link").hidden = false;
  $("another-link").replaceChildren(c, h("p", { class: "link" }, link), h("p", { class: "fine" }, `Good once, for ${minutes} minutes.`));
}
