// A film of the yard: the phone's own camera takes it, this page plays it and hands it
// over frame by frame, and the laptop reads it. The film itself never leaves the phone.

import { $, h, shape, text } from "./dom.js";
import "./night.js";
import { dark, get, post, show } from "./yard.js";

const pace = 1 / 15; // seconds of film between the frames that are handed over
const ahead = 6; // frames that wait to be handed over; with more the film waits
const widest = 1920;

let film = ""; // the laptop's name of it
let read = null; // what it shows

const say = (words) => text($("say"), words);
const count = (n, one) => `${n} ${one}${n === 1 ? "" : "s"}`;

// tried says what went wrong.
const tried = (fn) => async (e) => {
  try {
    await fn(e);
  } catch (err) {
    say(err.message);
  }
};

// frames plays a film and calls take with the canvas and the time of each frame that
// is to be handed over. It resolves when the film is over.
function frames(video, take) {
  return new Promise((over, broken) => {
    const name = film;
    const canvas = document.createElement("canvas"), drawn = canvas.getContext("2d", { alpha: false });
    let next = 0, waiting = 0, chain = Promise.resolve(), ended = false;
    const stop = (err) => {
      ended = true;
      video.pause();
      broken(err);
    };
    const each = (_, { mediaTime }) => {
      if (ended || film !== name) return;
      video.requestVideoFrameCallback(each);
      if (mediaTime < next) return;
      next = Math.max(next + pace, mediaTime + pace / 2);
      const scale = Math.min(1, widest / Math.max(video.videoWidth, video.videoHeight));
      canvas.width = Math.round(video.videoWidth * scale);
      canvas.height = Math.round(video.videoHeight * scale);
      drawn.drawImage(video, 0, 0, canvas.width, canvas.height);
      const picture = new Promise((made) => canvas.toBlob(made, "image/jpeg", 0.85));
      if (++waiting > ahead) video.pause();
      chain = chain.then(() => picture).then((blob) => !ended && take(mediaTime, blob)).then(() => {
        if (--waiting < ahead / 2 && video.paused && !video.ended && !ended) video.play().catch(stop);
      });
      chain.catch(stop);
    };
    video.requestVideoFrameCallback(each);
    video.onended = () => chain.then(over, stop);
    video.onerror = () => stop(new Error("This phone cannot play the film. Choose another, or read it on the laptop: yardproof film FILE PLAN."));
    video.play().catch((e) => video.error || stop(e));
  });
}

async function hand(file) {
  const video = $("video");
  if (!video.requestVideoFrameCallback) throw new Error("This browser cannot take frames out of a film. Use another, or read the film on the laptop: yardproof film FILE PLAN.");
  await cancel();
  film = (await post("/api/film", {})).id;
  const name = film;
  $("result").hidden = true;
  $("going").hidden = false;
  $("done").value = 0;
  say("The film is handed over. Leave this page open.");
  const source = URL.createObjectURL(file);
  try {
    video.src = source;
    await frames(video, async (at, blob) => {
      const answer = await fetch("/api/film/frames?film=" + name, { method: "POST", headers: { "Content-Type": "image/jpeg", "Shown-At": at.toFixed(4) }, body: blob });
      if (!answer.ok) throw new Error((await answer.json()).detail);
      if (video.duration > 0) $("done").value = at / video.duration / 2;
    });
    let told = await post("/api/film/read", { film: name });
    say("The laptop reads the film.");
    while (told.is === "reading" && film === name) {
      await new Promise((go) => setTimeout(go, 500));
      told = await get("/api/film?film=" + name);
      if (told.of) $("done").value = 0.5 + told.done / told.of / 2;
    }
    if (film !== name) return;
    if (told.is === "failed") throw new Error(told.problem);
    result(told);
  } catch (e) {
    if (film === name) throw e;
  } finally {
    URL.revokeObjectURL(source);
    if (film === name) $("going").hidden = true;
  }
}

async function cancel() {
  if (!film) return;
  const name = film;
  film = "";
  $("video").pause();
  $("going").hidden = true;
  await post("/api/film/cancel", { film: name }).catch(() => {}); // it is gone already
}

const marks = { good: "good", wrong: "fault", part: "none" };

function result(told) {
  read = told;
  const wrong = told.strings.filter((s) => s.is === "wrong").length;
  say(wrong ? `${count(wrong, "string")} to look at.` : "Nothing wrong was seen.");
  $("still").src = "/api/film/still?film=" + film;
  $("spot").hidden = true;
  text($("which"), "Tap a light in the picture.");
  $("lines").replaceChildren(...told.strings.map((s) => h("li", { "data-is": s.is },
    h("p", {}, shape(marks[s.is]), h("b", {}, s.name), ` ${s.seen} of ${count(s.pixels, "pixel")} seen.`),
    s.findings.map((f) => h("p", {}, h("b", {}, f.says), " " + f.do)),
    s.says.map((line) => h("p", {}, line)))));
  for (const b of [$("hung"), $("opening")]) b.disabled = false;
  $("result").hidden = false;
}

const verdicts = {
  good: "good", "not-seen": "not seen: dark, or hidden from here", stuck: "stuck on",
  "colour-missing": "a colour is missing", "colour-order": "its colours come in another order", "other-address": "it shows another address",
};

// nearest tells of the light that was tapped.
function nearest(e) {
  const r = $("still").getBoundingClientRect(), scale = read.seen.width / r.width;
  const x = (e.clientX - r.x) * scale, y = (e.clientY - r.y) * scale;
  let best = null, least = (40 * scale) ** 2;
  for (const p of read.pixels) {
    const d = (p.x - x) ** 2 + (p.y - y) ** 2;
    if ((p.x || p.y) && !p.film && d < least) [best, least] = [p, d];
  }
  $("spot").hidden = !best;
  if (!best) return text($("which"), "There is no light near that place.");
  Object.assign($("spot").style, { left: best.x / scale + "px", top: best.y / scale + "px" });
  text($("which"), `${best.string}, pixel ${best.pixel}: ${verdicts[best.verdict]}${best.detail ? ` (${best.detail})` : ""}.`);
}

for (const id of ["shoot", "choose"]) {
  $(id).onchange = tried(async () => {
    const file = $(id).files[0];
    if (!file) return;
    try {
      await hand(file);
    } finally {
      $(id).value = ""; // the same film may be chosen again
    }
  });
}
$("still").onclick = nearest;
$("cancel").onclick = tried(async () => {
  await cancel();
  say("Stopped. Nothing of the film is kept.");
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
    const told = await post("/api/film/proofs", { film, stage });
    for (const b of [$("hung"), $("opening")]) b.disabled = true;
    say(`${count(told.lines, "line")} on record.`);
  });
}
