// The meter: what is typed, what it may err by, what it should read.

import { $, keep, kept } from "./dom.js";

// number reads what cold fingers typed: a comma is a point.
export function number(s) {
  const v = s.trim().replace(",", ".");
  return v === "" || !Number.isFinite(+v) ? null : +v;
}

// meterText is the meter's error as the laptop reads it; "", the plan's, where none was
// typed here.
export const meterText = () => (kept("meter-percent", "") + kept("meter-amps", "") && `${number(kept("meter-percent", "3")) ?? 3}% + ${number(kept("meter-amps", "0.1")) ?? 0.1} A`);

// meterWords says what the meter should read now.
export function meterWords(viewed) {
  if (viewed.swings) return "The meter swings with this one.";
  if (!viewed.meter) return "";
  return "Meter: " + viewed.meter.map((f, k) => `${f.lit.toFixed(2)} A at ${f.feed} (${k ? "" : "normal: "}${f.least.toFixed(2)} to ${f.most.toFixed(2)})`).join(", ");
}

export function startMeter() {
  for (const id of ["meter-percent", "meter-amps"]) {
    $(id).value = kept(id, "");
    $(id).onchange = () => keep(id, $(id).value);
  }
}
