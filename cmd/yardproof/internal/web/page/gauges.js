// How the network does, drawn over the last minutes, and who else sends.

import { $, attr, h, text } from "./dom.js";
import { competitor } from "./tag.js";
import { get, on, tell, yard } from "./yard.js";

const span = 5 * 60 * 1000; // of the strip, milliseconds

// gauges: what is drawn, its value in words, and whether that is well.
const gauges = [
  { name: "Rate", of: (s) => s.rate_hz, top: (s) => s.wanted_hz * 1.1, say: (s) => s.rate_hz.toFixed(1) + " /s", under: (s) => "of " + s.wanted_hz, well: (s) => s.rate_hz >= s.wanted_hz * 0.99, fine: (s) => s.rate_hz >= s.wanted_hz - 1.5 },
  { name: "Lateness", of: (s) => s.late_p99_ms, top: (s) => 1000 / s.wanted_hz, say: (s) => s.late_p99_ms.toFixed(1) + " ms", under: () => "99 % within", well: (s) => s.late_p99_ms < 1000 / s.wanted_hz },
  { name: "Loss", of: (s) => s.lost_percent, top: () => 1, say: (s) => s.lost_percent.toFixed(2) + " %", under: () => "at the listener", well: (s) => s.lost_percent < 0.1 },
  { name: "Answering", of: (s) => s.controllers_answering, top: (s) => s.controllers_asked || 1, say: (s) => s.controllers_answering + " of " + s.controllers_asked, under: () => "controllers", well: (s) => s.controllers_answering === s.controllers_asked },
  { name: "Conflicts", of: (s) => s.conflicts, top: () => 3, say: (s) => String(s.conflicts), under: () => "universes", well: (s) => s.conflicts === 0 },
];

export function startGauges() {
  $("strip").append(...gauges.map((g) => {
    g.canvas = h("canvas", { role: "img", "aria-label": g.name + " over the last five minutes" });
    g.value = h("span", {});
    g.note = h("small", {});
    g.row = h("div", { class: "gauge" }, h("span", { class: "name" }, g.name), g.canvas, h("span", { class: "value" }, g.value, g.note));
    return g.row;
  }));
  on("state", draw);
  on("link", draw);
  on("link", (up) => up && get("/api/health").then((b) => { yard.samples = b.samples; draw(); }, () => {}));
  $("pulse").onclick = () => tell("goto", "yard");
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
  drawCompetitors();
  text($("version"), "yardproof " + yard.state.version);
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

// Other sources, with what to do.
function drawCompetitors() {
  const them = yard.state.competing || [];
  $("competitors").hidden = !them.length;
  $("competitors").replaceChildren(...(them.length ? [
    h("p", {}, h("b", {}, "Somebody else sends to our universes:")),
    h("ul", {}, them.slice(0, 40).map((c) => h("li", {}, competitor(c)))),
    h("p", {}, "Stop that sender, or give it other universes. Until then a string may show its picture, not ours, and dark may not be dark."),
  ] : []));
}
