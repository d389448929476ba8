// The phones that have the page open, and a link for another.

import { $, h, text } from "./dom.js";
import { act } from "./act.js";
import { on, post, yard } from "./yard.js";

export function startPhones() {
  $("another").onclick = () => act(another);
  on("state", () => {
    const n = yard.state?.phones;
    text($("phones"), n === 1 ? "Only this page is open." : `${n} pages are open; all see the same.`);
    $("another").hidden = yard.plan?.local ?? true;
  });
}

async function another() {
  const { link, qr, minutes } = await post("/api/links", {});
  const c = h("canvas", { class: "qr", role: "img", "aria-label": "QR code of the link", width: qr.length, height: qr.length });
  const p = c.getContext("2d");
  p.fillStyle = "#fff";
  p.fillRect(0, 0, qr.length, qr.length);
  p.fillStyle = "#000";
  qr.forEach((row, y) => [...row].forEach((bit, x) => bit === "1" && p.fillRect(x, y, 1, 1)));
  $("another-link").hidden = false;
  $("another-link").replaceChildren(c, h("p", { class: "link" }, link), h("p", { class: "fine" }, `Good once, for ${minutes} minutes.`));
}
