// The tag of the string under test, and what stands beside it: the picture, what
// it should look like, who else sends to it.

import { $, attr, text } from "./dom.js";
import { meterWords } from "./meter.js";
import { Picture } from "./picture.js";
import { bytes } from "./view.js";
import { competing, ends, on, proofOf, remaining, stage, yard } from "./yard.js";

let picture;

export function startTag() {
  picture = new Picture($("picture"));
  on("frame", (f) => f.string === yard.view && picture.show(bytes(f.slots)));
}

export function drawTag(s, mine) {
  const now = yard.state.showing, proof = proofOf(s.name, stage());
  text($("tag-number"), String(s.number));
  text($("tag-name"), s.name);
  text($("tag-where"), [s.label, s.controller, s.port && "port " + s.port].filter(Boolean).join(" · "));
  text($("tag-what"), `${s.pixels}\u00a0px\u00a0${s.order} · from\u00a0${s.universe}/${s.channel}`);
  text($("tag-flow"), s.flow === "backward" ? "Flow backward: pixel 1 is at the far end, away from the data" : "");
  const faults = s.faults || [];
  text($("tag-fault"), faults.length > 1 ? `${faults[0]} ${faults.length - 1} more under Yard.` : faults[0] || "");
  text($("tag-stamp"), proof ? `${stage()}: ${proof.verdict}` : "");
  attr($("tag-stamp"), "data-verdict", proof?.verdict);
  picture.string(s.pixels, s.order);
  picture.exposure(now.level_now_percent / 100);
  drawCompeting(s);
  text($("burning"), yard.state.programme && remaining(stage()).length ? `A burn-in runs: ${yard.state.programme}. A step here interrupts it.` : "");

  const v = yard.state.viewed?.string === s.name ? yard.state.viewed : null;
  if (v) {
    text($("looks"), v.looks);
    text($("watch"), v.watch);
    text($("meter"), meterWords(v));
    attr($("picture"), "aria-label", "The string as it was last sent. " + v.looks);
  }
  const where = now.strings.length === 1 ? now.strings[0] : now.strings.length === yard.plan.strings.length ? "all strings" : now.strings.length + " strings";
  text($("now"), `${yard.linked ? "Sent now" : "Last heard"}: ${now.pattern === "dark" ? "dark, everywhere" : `${now.pattern} on ${where === s.name ? "this string" : where}${ends()}`}`);
  attr($("now"), "data-other", mine ? null : "yes");
}

const who = {
  same_cid: "a copy of this program, with the same CID: strings may flicker",
  theirs: "above ours: they win",
  tie: "the same as ours: either may win",
  ours: "below ours: we win",
};

// competitor says who else sends, and where.
export const competitor = (c) => `Universe ${c.universe}: "${c.name || "no name"}" at ${c.address} sends too, priority ${c.priority}, ${c.same_cid ? who.same_cid : who[c.precedence]}.`;

function drawCompeting(s) {
  const them = competing(s), box = $("competing"), began = box.hidden && them.length;
  box.hidden = !them.length;
  if (began && document.activeElement.tagName !== "INPUT") box.scrollIntoView({ block: "nearest" });
  text($("competing-text"), them.length ? them.map(competitor).join(" ") + " Stop that sender first." : "");
}
