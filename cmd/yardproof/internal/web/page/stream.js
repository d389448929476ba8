// The event stream. The browser retries by itself after a lost connection, but
// not after an answer that was none; so the page watches it.

import { get, on, query, take, tell, yard } from "./yard.js";

let source = null, wait = 0, timer = 0;

export function listen() {
  if (yard.stranger) return;
  clearTimeout(timer);
  source?.close();
  source = new EventSource("/api/events" + query());
  const mine = source;
  const heard = () => {
    yard.heard = Date.now();
    wait = 0;
    if (!yard.linked) {
      yard.linked = true;
      tell("link", true);
    }
  };
  mine.addEventListener("state", (e) => { heard(); take(JSON.parse(e.data)); });
  mine.addEventListener("frame", (e) => { heard(); tell("frame", JSON.parse(e.data)); });
  mine.onerror = () => {
    if (mine !== source) return;
    mine.close();
    lose();
    again();
  };
}

function lose() {
  if (!yard.linked && yard.heard) return;
  yard.linked = false;
  tell("link", false);
}

function again() {
  wait = Math.min(5000, wait ? wait * 2 : 500);
  clearTimeout(timer);
  timer = setTimeout(listen, wait);
  get("/api/state").catch((e) => e.status === 401 && tell("stranger", e.message));
}

// A stream that says nothing for six seconds is dead, whatever the browser thinks.
setInterval(() => {
  if (yard.linked && Date.now() - yard.heard > 6000) {
    lose();
    listen();
  }
}, 1000);
addEventListener("online", () => source && listen());
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && source && Date.now() - yard.heard > 3000) listen();
});
on("stranger", () => { clearTimeout(timer); source?.close(); });
