// The yard: how the network does, drawn over the last minutes; controllers;
// phones; the meter.

import { $, attr, h, keep, kept, text } from "./dom.js";
import { get, on, post, show, tell, yard } from "./yard.js";
import { act } from "./prove.js";

const span = 5 * 60 * 1000; // of the strip, milliseconds

// gauges: what is drawn, its value in words, and whether that is well.
const gauges = [
  { name: "Rate", of: (s) => s.rate_hz, top: (s) => s.wanted_hz * 1.1, say: (s) => s.rate_hz.toFixed(1) + " /s", under: (s) => "of " + s.wanted_hz, well: (s) => s.rate_hz >= s.wanted_hz * 0.99, fine: (s) => s.rate_hz >= s.wanted_hz - 1.5 },
  { name: "Lateness", of: (s) => s.late_p99_ms, top: (s) => 1000 / s.wanted_hz, say: (s) => s.late_p99_ms.toFixed(1) + " ms", under: () => "99 % within", well: (s) => s.late_p99_ms < 1000 / s.wanted_hz },
  { name: "Loss", of: (s) => s.lost_percent, top: () => 1, say: (s) => s.lost_percent.toFixed(2) + " %", under: () => "at the listener", well: (s) => s.lost_percent < 0.1 },
  { name: "Answering", of: (s) => s.controllers_answering, top: (s) => s.controllers_asked || 1, say: (s) => s.controllers_answering + " of " + s.controllers_asked, under: () => "controllers", well: (s) => s.controllers_answering === s.controllers_asked },
  { name: "Conflicts", of: (s) => s.conflicts, top: () => 3, say: (s) => String(s.conflicts), under: () => "universes", well: (s) => s.conflicts === 0 },
];

export function startHealth() {
  $("strip").append(...gauges.map((g) => {
    g.canvas = h("canvas", { role: "img", "aria-label": g.name + " over the last five minutes" });
    g.value = h("span", {});
    g.note = h("small", {});
    g.row = h("div", { class: "gauge" }, h("span", { class: "name" }, g.name), g.canvas, h("span", { class: "value" }, g.value, g.note));
    return g.row;
  }));
  on("state", draw);
  on("link", draw);
  on("plan", drawControllers);
  on("link", (up) => up && get("/api/health").then((b) => { yard.samples = b.samples; draw(); }, () => {}));
  $("pulse").onclick = () => tell("goto", "yard");
  $("another").onclick = () => act(another);
  const looked = (seen) => act(async () => {
    await post("/api/looks", { seen });
    tell("say", `"${seen}" is kept.`);
  });
  $("looked-well").onclick = () => looked("all well");
  $("looked-ill").onclick = () => looked("something is wrong").then(() => tell("goto", "find"));
  for (const [id, otherwise] of [["meter-percent", "3"], ["meter-amps", "0.1"]]) {
    $(id).value = kept(id, otherwise);
    $(id).onchange = () => keep(id, $(id).value);
  }
}

// now is the newest sample, with the rate of the last ten: a frame that falls
// into the next second is none lost.
function now() {
  const last = yard.samples.slice(-10);
  return last.length ? { ...last.at(-1), rate_hz: last.reduce((sum, s) => sum + s.rate_hz, 0) / last.length } : null;
}

function draw() {
  const last = now();
  const well = last && gauges.every((g) => g.of(last) == null || g.well(last));
  attr($("pulse"), "data-well", !last || well ? "yes" : "no");
  text($("pulse-text"), !yard.linked ? "not linked" : last ? last.rate_hz.toFixed(1) + " /s" : "linked");
  if (!yard.state) return;
  $("programme").hidden = !yard.state.programme;
  text($("programme-text"), yard.state.programme || "");
  const n = yard.state.phones;
  text($("phones"), n === 1 ? "This page alone is open." : `${n} pages are open; all see the same.`);
  text($("version"), "yardproof " + yard.state.version);
  $("another").hidden = yard.plan?.local ?? true;
  if (!$("yard").offsetParent) return;
  for (const g of gauges) drawGauge(g, last);
}

function drawGauge(g, last) {
  const value = last && g.of(last);
  const known = value != null;
  text(g.value, known ? g.say(last) : "–");
  text(g.note, known ? g.under(last) : "not measured");
  attr(g.row, "data-well", known && !g.well(last) ? "no" : "yes");
  const c = g.canvas, w = c.clientWidth, tall = 40, scale = Math.min(2, devicePixelRatio || 1);
  if (!w) return;
  if (c.width !== Math.round(w * scale)) {
    c.width = Math.round(w * scale);
    c.height = tall * scale;
  }
  const p = c.getContext("2d"), style = getComputedStyle(document.documentElement);
  p.setTransform(scale, 0, 0, scale, 0, 0);
  p.clearRect(0, 0, w, tall);
  if (!last) return;
  const end = Date.parse(last.time);
  const x = (s) => w - ((end - Date.parse(s.time)) / span) * w;
  const y = (v, s) => tall - 2 - Math.min(1, v / (g.top(s) || 1)) * (tall - 6);
  p.lineWidth = 2;
  let before = null;
  for (const s of yard.samples) {
    const v = g.of(s);
    if (v == null || x(s) < 0) { before = null; continue; }
    const at = [x(s), y(v, s)];
    p.strokeStyle = style.getPropertyValue((g.fine || g.well)(s) ? "--cone-bright" : "--can-bright");
    if (before) {
      p.beginPath();
      p.moveTo(before[0], before[1]);
      p.lineTo(at[0], at[1]);
      p.stroke();
    }
    before = at;
  }
}

const losses = [["dark", "It went dark"], ["holds", "It held the picture"], ["own-pattern", "A pattern of its own"]];
const lossWords = { unknown: "not known", dark: "goes dark", holds: "holds its picture", "own-pattern": "a pattern of its own" };

// The pull-the-cable check: a dim picture, the cable out, ten seconds, a look.
function drawControllers() {
  $("controllers").replaceChildren(...yard.plan.controllers.map((c) => {
    const count = h("p", { class: "looks", role: "status" });
    const names = yard.plan.strings.filter((s) => s.controller === c.name).map((s) => s.name);
    let timer = 0;
    const pulled = () => {
      let left = 10;
      clearInterval(timer);
      const tick = () => {
        text(count, left > 0 ? `Wait ${left} s` : "Look now, and tap what it does.");
        if (left-- <= 0) clearInterval(timer);
      };
      timer = setInterval(tick, 1000);
      tick();
    };
    const saw = (v, label) => act(async () => {
      await post("/api/looks", { controller: c.name, seen: v, note: "cable pulled" });
      c.seen = v;
      drawControllers();
      tell("say", `${c.name}: "${label.toLowerCase()}" is kept.` + (c.on_loss === v ? "" : ` Write on_loss: ${v} in the plan.`));
    });
    return h("li", {}, h("details", {},
      h("summary", { class: "row two" }, h("span", { class: "no" }, String(c.strings)),
        h("span", { class: "who" }, h("b", {}, c.name), h("small", {}, `${c.address || "multicast"} · when data stops: ${lossWords[c.seen || c.on_loss]}${c.seen ? " (seen)" : ""}`))),
      h("p", {}, "What does it do when its data stops? Light it dimly, pull its network cable, wait ten seconds, look."),
      h("div", { class: "pair" },
        h("button", { type: "button", disabled: !names.length, onclick: () => act(() => show({ pattern: "ruler", strings: names, level_percent: 5 })) }, "Light it dimly"),
        h("button", { type: "button", onclick: pulled }, "The cable is out")),
      count,
      h("div", { class: "choice" }, losses.map(([v, label]) => h("button", { type: "button", onclick: () => saw(v, label) }, label)))));
  }));
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
