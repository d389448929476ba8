// Hands free: the next string every few seconds, round and round.

import { $, choice, clock, text } from "./dom.js";
import { act, give, orKept } from "./act.js";
import { Picture } from "./picture.js";
import { bytes, view } from "./view.js";
import { on, remaining, show, stage, stringNamed, tell, yard } from "./yard.js";

const longest = 30 * 60 * 1000; // ms, until it ends by itself

const free = { timer: 0, pattern: "number", pace: 5, aloud: false, running: false, lock: null, until: 0 };
let picture;

// openHandsFree begins the round; it is loaded when somebody asks for it first.
export function openHandsFree() {
  if (!picture) prepare();
  return start();
}

function prepare() {
  const canvas = document.createElement("canvas");
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "The string as it was last sent");
  $("free-window").prepend(canvas);
  picture = new Picture(canvas);
  on("frame", (f) => f.string === yard.view && picture.show(bytes(f.slots)));
  on("state", draw);
  $("free-stop").onclick = () => $("free").close();
  $("free").onclose = stop;
  $("free-mark").onclick = () => act(mark);
  on("dark", pause);
}

function settings() {
  choice($("free-patterns"), [["number", "number"], ["ends", "ends"], ["walk", "walk"], ["one-slot", "one-slot"]], free.pattern, (v) => { free.pattern = v; settings(); light(); });
  choice($("free-aloud"), [[false, "Silent"], [true, "Say it"]], free.aloud, (v) => { free.aloud = v; settings(); say(); });
  choice($("free-pace"), [[5, "5 s"], [10, "10 s"], [20, "20 s"]], free.pace, (v) => { free.pace = v; settings(); again(); });
}

function start() {
  free.running = true;
  free.until = Date.now() + longest;
  text($("free-ends"), `Ends dark by itself at ${clock(free.until)}.`);
  text($("free-marked"), "");
  settings();
  $("free").showModal();
  draw();
  awake(canvasOf()); // a browser may take its time over it: the light does not wait
  light();
  again();
}

const canvasOf = () => $("free-window").querySelector("canvas");

function again() {
  clearInterval(free.timer);
  if (free.running) free.timer = setInterval(step, free.pace * 1000);
}

function pause() {
  clearInterval(free.timer);
  free.timer = 0;
}

function stop() {
  free.running = false;
  pause();
  window.speechSynthesis?.cancel();
  free.lock?.release?.().catch(() => {});
  free.lock = null;
  const v = $("free-video");
  v.pause();
  v.srcObject = null;
}

function step() {
  if (Date.now() >= free.until) return end();
  const left = remaining(stage());
  const round = left.length ? left : yard.plan.strings;
  const here = stringNamed(yard.view)?.number ?? 0;
  view((round.find((s) => s.number > here) || round[0]).name);
  light();
}

async function end() {
  $("free").close();
  await act(() => show({ pattern: "dark" }));
  tell("say", `Hands free has ended after ${longest / 60000} minutes. All is dark.`);
}

// say speaks the string's number and name, by the phone's own voice.
function say() {
  const s = stringNamed(yard.view);
  if (!window.speechSynthesis) return;
  speechSynthesis.cancel();
  if (free.aloud && s) speechSynthesis.speak(new SpeechSynthesisUtterance(`${s.number}. ${s.name.replaceAll("-", " ")}`));
}

async function light() {
  say();
  try {
    await show({ pattern: free.pattern, strings: [yard.view], level_percent: free.pattern === "ends" ? 20 : 30 });
  } catch (e) {
    tell("say", e.message);
  }
}

async function mark() {
  const name = yard.view, during = free.pattern;
  try {
    const line = await give(name, stage(), { verdict: "fault", seen: "marked hands free", note: "during " + during });
    text($("free-marked"), orKept(line, `Fault of ${name} saved.`));
  } catch (e) {
    text($("free-marked"), e.message);
  }
}

// awake keeps the screen on. A wake lock needs a secure context, which plain
// HTTP from another machine is not; there the picture itself is played as a
// video, which phones do not fall asleep over while it is large and moving.
async function awake(canvas) {
  text($("free-awake"), "");
  const v = $("free-video");
  v.hidden = true;
  canvas.hidden = false;
  try {
    free.lock = await navigator.wakeLock.request("screen");
    return;
  } catch { /* none here */ }
  try {
    v.srcObject = canvas.captureStream(5);
    v.hidden = false;
    await v.play();
    text($("free-awake"), "The screen is kept on by playing the picture as a video. If it still dims, set the phone's own screen time to ten minutes.");
  } catch {
    v.hidden = true;
    text($("free-awake"), "This browser cannot keep the screen on. Set the phone's own screen time to ten minutes.");
  }
}

function draw() {
  if (!$("free").open) return;
  const s = stringNamed(yard.view);
  if (!s) return;
  text($("free-number"), String(s.number));
  text($("free-name"), s.name + (s.label ? " · " + s.label : ""));
  picture.string(s.pixels, s.order);
  picture.exposure(yard.state.showing.level_now_percent / 100);
  if (yard.state.viewed?.string === s.name) text($("free-looks"), yard.state.viewed.looks);
}
