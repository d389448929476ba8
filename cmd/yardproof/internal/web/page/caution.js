// The caution before white.

import { $, text } from "./dom.js";
import { yard } from "./yard.js";

let allowed = false; // asked once in a session of the page

const whenDataStops = {
  holds: "This controller holds its last picture. If the laptop stops, white stays lit. Know where its switch is.",
  dark: "This controller goes dark when its data stops.",
  "own-pattern": "This controller shows a pattern of its own when its data stops.",
  unknown: "Nobody knows yet what this controller does when its data stops. It may hold white. Pull its cable first and look: Yard, Controllers.",
};

// whiteAllowed asks, before the first full white, whether all is ready for it.
// It stays for so many seconds; 0: until somebody ends it.
export function whiteAllowed(string, seconds) {
  const controller = yard.plan.controllers.find((c) => c.name === string?.controller);
  text($("caution-ends"), seconds ? `and ends by itself after ${seconds} s` : "and goes on until you choose something else");
  text($("caution-loss"), whenDataStops[controller?.seen || controller?.on_loss] || whenDataStops.unknown);
  if (allowed) return true;
  const sheet = $("caution");
  return new Promise((answer) => {
    const end = (yes) => {
      allowed = yes;
      sheet.onclose = null;
      sheet.close();
      answer(yes);
    };
    $("caution-yes").onclick = () => end(true);
    $("caution-no").onclick = () => end(false);
    sheet.onclose = () => answer(false); // Escape
    sheet.showModal();
    sheet.scrollTop = 0; // its words come before its buttons
  });
}
