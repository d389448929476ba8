// The steps of a proof, and what can be seen wrong at each.

// The level of each, per cent: sight needs little; a run of colours is counted
// best without glare (common practice, no source).
const proof = [
  { pattern: "number", word: "Number", level: 30, seen: ["nothing lights", "another string answers", "another number"] },
  { pattern: "dark", word: "Dark", level: 0, seen: ["pixels stay lit", "the tail stays lit", "all stays lit"] },
  { pattern: "one-slot", word: "One slot", level: 30, seen: ["colours in another order", "one pixel dark", "one pixel of another colour"] },
  { pattern: "colour-order", word: "Order", level: 25, seen: ["colours in another order", "no two neighbours alike", "runs doubled", "it runs backwards"] },
  { pattern: "ends", word: "Ends", level: 20, seen: ["dark after a pixel", "dark past the red", "no red end", "first pixel not green"] },
  { pattern: "full-white", word: "White", level: 100, seen: ["yellow or red far end", "sparkles when bright", "a step in brightness", "amps too low", "amps too high"] },
];

// On the bench nothing may light when a string has been hung on; then each colour of
// each pixel, the count, and white for the meter.
const bench = [
  { ...proof[1], word: "Hang" },
  { ...proof[2], seen: ["nothing lights", ...proof[2].seen] },
  { ...proof[4] },
  { ...proof[5], word: "White" },
];

export let steps = proof, white = proof.length - 1;

export function stepsOfBench() {
  steps = bench;
  white = bench.length - 1;
}

const always = ["flickers", "dies after minutes", "fails when wet"];

// seenAt are the words for what can be wrong at a step, or at any.
export const seenAt = (k) => [...new Set([...(steps[k]?.seen || steps.flatMap((s) => s.seen)), ...always])];

// fits reports whether a step says something of a string: a run of LEDs without
// addresses has no ends, and a short string shows no whole set of colour-order's runs.
export function fits(k, s) {
  if (steps[k].pattern === "ends") return s.chip !== "none";
  if (steps[k].pattern === "colour-order") return s.pixels >= (s.order.length === 4 ? 17 : 11);
  return true;
}

export const after = (k, s) => steps.findIndex((_, j) => j > k && fits(j, s));

// White for a meter stays as long as it may, seconds: a clamp at each feed, and volts at
// both ends, take their time with cold fingers. Who only looks has 15 s.
export const longest = 60;

export const stages = [["bench", "Bench"], ["hung", "Hung"], ["opening", "Opening"]];
