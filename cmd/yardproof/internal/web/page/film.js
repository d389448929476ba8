// A film of the yard: the phone's own camera takes it, this page plays it and hands it
// over frame by frame, and the laptop reads it. The film itself never leaves the phone.

import { $, h, keep, kept, shape, text } from "./dom.js";
import { take } from "./frames.js";
import "./night.js";
import { dark, get, post, show } from "./yard.js";

let film = ""; // the laptop's name of it
let beside = ""; // the one from another side, which it is joined with
let read = null; // what it shows, or what is on record of one string
let side = 0; // whose picture is shown
let tapped = null; // the light that was
let halt = () => {};

const say = (words) => text($("say"), words);
const after = (ms) => new Promise((go) => setTimeout(go, ms));
const count = (n, one) => `${n} ${one}${n === 1 ? "" : "s"}`;

// tried says what went wrong.
const tried = (fn) => async (e) => {
  try {
    await fn(e);
  } catch (err) {
    say(err.message);
  }
};

async function hand(file, also) {
  const video = $("video");
  if (!video.requestVideoFrameCallback) throw new Error("This browser cannot take frames out of a film. Use another, or read the film on the laptop: yardproof film FILE PLAN.");
  if (!also) await cancel();
  const name = (await post("/api/film", also ? { also } : {})).id;
  remember(name, also);
  $("result").hidden = true;
  $("going").hidden = false;
  $("done").value = 0;
  say("The film is handed over. Leave this page open.");
  const source = URL.createObjectURL(file);
  try {
    video.src = source;
    await take(video, new Promise((go) => { halt = go; }), async (at, blob) => {
      const answer = await fetch("/api/film/frames?film=" + name, { method: "POST", headers: { "Content-Type": "image/jpeg", "Shown-At": at.toFixed(4) }, body: blob });
      if (!answer.ok) throw new Error((await answer.json()).detail);
      if (video.duration > 0) $("done").value = at / video.duration / 2;
    });
    if (film === name) await follow(name, await post("/api/film/read", { film: name }));
  } catch (e) {
    if (film !== name) return;
    await cancel();
    throw e;
  } finally {
    URL.revokeObjectURL(source);
    if (film === name) $("going").hidden = true;
  }
}

// follow waits until the laptop has read a film.
async function follow(name, told) {
  if (told.is === "reading") say("The laptop reads the film.");
  while (told.is === "reading" && film === name) {
    await after(500);
    told = await get("/api/film?film=" + name);
    if (told.of) $("done").value = 0.5 + told.done / told.of / 2;
  }
  if (film !== name) return;
  if (told.is === "failed") throw new Error(told.problem);
  remember(name, "");
  result(told);
}

// remember has the film outlive this page, which a phone may close.
function remember(name, also) {
  [film, beside] = [name, also];
  keep("film", name);
  keep("film-beside", also);
}

// again goes on with the film that this page had when it was closed.
async function again() {
  const name = kept("film", "");
  if (!name) return;
  [film, beside] = [name, kept("film-beside", "")];
  const ask = () => get("/api/film?film=" + name);
  try {
    const was = await ask();
    if (was.is === "coming") {
      await after(2000);
      if (film !== name) return;
      if ((await ask()).frames > was.frames) {
        [film, beside] = ["", ""];
        return say("Another page on this phone is handing over a film.");
      }
      await cancel();
      if (film) result(await get("/api/film?film=" + film));
      return say("The page was closed before the whole film was handed over. Nothing of that film is kept. Choose it again.");
    }
    $("going").hidden = was.is !== "reading";
    await follow(name, was);
  } catch (e) {
    if (film !== name) return;
    if (e.status !== 0) await cancel();
    throw e;
  } finally {
    if (film === name) $("going").hidden = true;
  }
}

// cancel ends a film; what another side showed stays.
async function cancel() {
  if (!film) return;
  const name = film;
  remember(beside, "");
  halt();
  $("video").pause();
  $("going").hidden = true;
  $("result").hidden = !film;
  await post("/api/film/cancel", { film: name }).catch(() => {}); // it is gone already
}

const marks = { good: "good", wrong: "fault", part: "none" };

function result(told) {
  read = told;
  const wrong = told.strings.filter((s) => s.is === "wrong").length;
  say(wrong ? `${count(wrong, "string")} to look at.` : "Nothing wrong was seen.");
  text($("result-title"), told.sides.length > 1 ? "What the films show" : "What the film shows");
  $("lines").replaceChildren(...told.strings.map((s) => h("li", { "data-is": s.is },
    h("p", {}, shape(marks[s.is]), h("b", {}, s.name), ` ${s.seen} of ${count(s.pixels, "pixel")} seen.`),
    s.findings.map((f) => h("p", {}, h("b", {}, f.says), " " + f.do)),
    s.says.map((line) => h("p", {}, line)))));
  for (const b of [$("hung"), $("opening")]) b.disabled = told.lines > 0;
  $("fresh").hidden = $("result").hidden = false;
  picture(told.sides.length - 1, (i) => `/api/film/still/${i}?film=${film}`);
}

// picture shows one side, and lets another be chosen.
function picture(i, from) {
  side = i;
  $("still").src = from(i);
  $("still").style.maxWidth = `calc(90vh * ${read.sides[i].width / read.sides[i].height})`; // upright ones fit too
  $("spot").hidden = $("there").hidden = true;
  text($("which"), "Tap a light in the picture.");
  $("sides").hidden = $("best").hidden = read.sides.length < 2;
  $("sides").replaceChildren(...read.sides.map((_, k) => h("button", { type: "button", "aria-pressed": String(k === i), onclick: () => picture(k, from) }, "Side " + (k + 1))));
}

// places shows where the pixels of a string are, by the films on record.
async function places(name) {
  const of = encodeURIComponent(name);
  read = await get("/api/places?string=" + of);
  const there = read.pixels.filter((p) => p.x || p.y);
  if (!there.length) throw new Error(`No film on record shows ${name}.`);
  text($("title"), `Where the pixels of ${name} are`);
  text($("result-title"), read.sides.length > 1 ? "In the films on record" : "In the film on record");
  $("how").hidden = true;
  const shows = (i) => there.filter((p) => (p.film || 0) === i).length;
  const best = read.sides.reduce((most, _, i) => (shows(i) > shows(most) ? i : most), 0);
  say(`${there.length} of ${count(read.pixels.length, "pixel")} seen: ${read.sides[best].called}.`);
  $("fresh").hidden = true;
  $("result").hidden = false;
  picture(best, (i) => `/api/places/${i}?string=${of}`);
}

const verdicts = {
  good: "good", "not-seen": "not seen: dark, or hidden from here", stuck: "stuck on",
  "colour-missing": "a colour is missing", "colour-order": "its colours come in another order", "other-address": "it shows another address",
};

// nearest tells of the light that was tapped.
function nearest(e) {
  const r = $("still").getBoundingClientRect(), scale = read.sides[side].width / r.width;
  const x = (e.clientX - r.x) * scale, y = (e.clientY - r.y) * scale;
  let best = null, least = (40 * scale) ** 2;
  for (const p of read.pixels) {
    const d = (p.x - x) ** 2 + (p.y - y) ** 2;
    if ((p.x || p.y) && (p.film || 0) === side && d < least) [best, least] = [p, d];
  }
  tapped = best;
  $("spot").hidden = $("there").hidden = !best;
  if (!best) return text($("which"), "There is no light near that place.");
  Object.assign($("spot").style, { left: best.x / scale + "px", top: best.y / scale + "px" });
  text($("which"), `${best.string}, pixel ${best.pixel}: ${verdicts[best.verdict]}${best.detail ? ` (${best.detail})` : ""}.`);
}

for (const id of ["shoot", "choose", "also"]) {
  $(id).onchange = tried(async () => {
    const file = $(id).files[0];
    if (!file) return;
    try {
      await hand(file, id === "also" ? film : "");
    } finally {
      $(id).value = ""; // the same film may be chosen again
    }
  });
}
$("still").onclick = nearest;
$("there").onclick = tried(async () => {
  const { string, pixel } = tapped;
  await show({ pattern: "half", strings: [string], level_percent: 30, pixel });
  say(`White on ${string} is pixel ${pixel}. Before it blue, after it amber.`);
});
$("cancel").onclick = tried(async () => {
  await cancel();
  say("Stopped. Nothing of that film is kept.");
});
$("blink").onclick = tried(async () => {
  await show({ pattern: "code", level_percent: 10 });
  say("The addresses blink. Film 20 seconds.");
});
$("dark").onclick = tried(async () => {
  await dark();
  say("Everything is dark, and held. Lift the hold on the yard page.");
});
for (const stage of ["hung", "opening"]) {
  $(stage).onclick = tried(async () => {
    const told = await post("/api/film/proofs", { film, stage, picture: $("keep").checked });
    for (const b of [$("hung"), $("opening")]) b.disabled = true;
    say(`${count(told.lines, "line")} on record.`);
  });
}
tried(location.hash ? () => places(decodeURIComponent(location.hash.slice(1))) : again)();
