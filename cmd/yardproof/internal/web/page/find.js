// Finding out what is wrong: what was seen goes in, what to do comes out. The
// laptop thinks; this only asks.

import { $, attr, choice, h, text } from "./dom.js";
import { act } from "./act.js";
import { told } from "./answer.js";
import { meterText, number } from "./meter.js";
import { view } from "./view.js";
import { get, on, post, show, stringNamed, tell, yard } from "./yard.js";

// The fault that was saved last: only its own string is asked about with it.
let fault = null;

const faultOf = (s) => (fault?.string === s.name ? fault : null);

// folds by what was seen; the others open the table of symptoms.
const foldFor = {
  "nothing lights": "nothing", "another string answers": "swap", "another number": "swap",
  "colours in another order": "order", "dark after a pixel": "break", "amps too low": "read", "amps too high": "read", "a step in brightness": "joint",
};

export function startFind() {
  $("finders").append(
    fold("nothing", "Nothing lights", nothing),
    fold("order", "The colours are wrong", order),
    fold("break", "Dark from a pixel on", breakage),
    fold("swap", "Another string answers", swapped),
    fold("share", "Several strings are dark", shared),
    fold("read", "A reading is off", readings),
    fold("joint", "A bad joint, from the ground", joint),
    fold("weigh", "Every cause, look by look", weigh),
    fold("symptoms", "Something else", symptoms),
  );
  on("view", () => openOnly(null));
  on("plan", () => { // read anew with every change of the record: what is being asked stays
    if (drawn !== JSON.stringify([yard.view, stringNamed(yard.view)])) redraw();
  });
  on("fault", (f) => {
    fault = f;
    if (f.string !== yard.view) view(f.string);
    openOnly(f.seen.map((w) => foldFor[w]).find(Boolean) || (f.last_lit > 0 ? "break" : f.last_lit === 0 ? "nothing" : "symptoms"));
  });
}

// openOnly opens one fold and forgets what stood in the others, which may be of
// another string.
function openOnly(id) {
  for (const el of $("finders").children) {
    el.open = el.id === "find-" + id;
    el.lastChild.replaceChildren();
  }
  redraw();
}

const folds = [];
let drawn = ""; // the string that the folds were drawn for

function fold(id, title, build) {
  const body = h("div", {});
  const el = h("details", { class: "fold", id: "find-" + id }, h("summary", {}, title), body);
  const draw = () => yard.plan && stringNamed(yard.view) && build(body, stringNamed(yard.view));
  // The event comes late: what was drawn meanwhile, and may be in use, stays.
  el.addEventListener("toggle", () => el.open ? body.firstChild || draw() : body.replaceChildren());
  folds.push(() => el.open && draw());
  return el;
}

function redraw() {
  const s = stringNamed(yard.view);
  drawn = JSON.stringify([yard.view, s]);
  if (s) text($("find-string"), `For ${s.number} ${s.name}. Choose another under Strings.`);
  folds.forEach((f) => f());
}

// ask puts the answer where the old one was.
const answered = async (place, question) => place.replaceChildren(told(await post("/api/diagnose", question)));
const ask = (place, question) => act(() => answered(place, question));

// flowWords says where counting begins, when that is not where one would look.
const flowWords = (s) => (s.flow === "backward" ? [h("p", {}, "Flow is backward in the plan: pixel 1 is the far end of the data line, and the data comes in at pixel " + s.pixels + ".")] : []);

// Nothing lights: the port, the supply, the first pixel.

function nothing(body, s) {
  const answer = h("div", {});
  body.replaceChildren(
    h("button", { type: "button", onclick: () => act(() => show({ pattern: "number", strings: [s.name], level_percent: 30 })) }, "Light its number"),
    answer);
  answered(answer, { string: s.name, last_lit: 0, tail: "dark" }).catch((e) => tell("say", e.message));
}

// Colours: one slot after the other, by tap.

function order(body, s) {
  const seen = Array(s.order.length).fill("");
  const answer = h("div", {});
  const colours = [["red", "Red"], ["green", "Green"], ["blue", "Blue"], ["white", "White"], ["none", "None"], ["two", "Two at once"]];
  let portSet = s.port_order || "";
  const rows = seen.map((_, k) => {
    const set = h("fieldset", { class: "choice" }, h("legend", {}, `Slot ${k + 1} is`));
    const draw = () => choice(set, colours, seen[k], (v) => { seen[k] = v; draw(); finish(); });
    draw();
    return h("div", {}, h("button", { type: "button", onclick: () => act(() => show({ pattern: "one-slot", strings: [s.name], slot: k + 1, level_percent: 25 })) }, `Light slot ${k + 1}`), set);
  });
  const ports = h("fieldset", { class: "choice" }, h("legend", {}, "The port is set to"));
  const drawPorts = () => choice(ports, [["", "Not known"], ...["RGB", "RBG", "GRB", "GBR", "BRG", "BGR"].map((o) => [o, o])], portSet, (v) => { portSet = v; drawPorts(); finish(); });
  drawPorts();
  const finish = () => seen.every(Boolean) && ask(answer, { string: s.name, seen: seen.join(","), port_set: portSet });
  body.replaceChildren(h("p", {}, `On ${s.name}: light each slot, and tap the colour that the pixels show.`), ...rows, s.order.length === 3 ? ports : "", answer);
}

// A break: by the last lit pixel, or by halves.

function breakage(body, s) {
  const answer = h("div", {});
  let tail = "dark", search = { good: 0, dark: 0 }, next = 0;
  const input = h("input", { inputMode: "numeric", autocomplete: "off", value: faultOf(s)?.last_lit ?? "" });
  const tails = h("fieldset", { class: "choice" }, h("legend", {}, "After it the pixels are"));
  const drawTails = () => choice(tails, [["dark", "Dark"], ["frozen", "Frozen"], ["sparkle", "Sparkling"], ["colours", "Wrong colours"]], tail, (v) => { tail = v; drawTails(); });
  drawTails();
  const where = h("p", { class: "looks" });
  const light = (p) => show({ pattern: "half", strings: [s.name], pixel: p, level_percent: 25 });
  const step = (question) => act(async () => {
    const out = await post("/api/diagnose", { string: s.name, half: search, ...question });
    search = out.search;
    next = out.next_pixel || 0;
    if (next) {
      await light(next);
      text(where, `Pixel ${next} is lit white, blue below it, amber above. ${out.steps} more ${out.steps === 1 ? "look" : "looks"} at most.`);
    } else {
      answer.replaceChildren(told(out));
      text(where, "");
    }
    for (const b of lookAt) b.hidden = !next;
    moves.hidden = !next;
  });
  const lookAt = [
    h("button", { type: "button", hidden: true, onclick: () => step({ pixel: next, lit: true }) }, "White is seen"),
    h("button", { type: "button", hidden: true, onclick: () => step({ pixel: next, lit: false }) }, "Not seen"),
  ];
  const moves = h("div", { class: "four", hidden: true }, [-10, -1, 1, 10].map((d) => h("button", {
    type: "button", onclick: () => act(async () => { next = Math.max(1, Math.min(s.pixels, next + d)); await light(next); text(where, `Pixel ${next} is lit white.`); }),
  }, (d > 0 ? "+" : "−") + Math.abs(d))));
  body.replaceChildren(
    ...flowWords(s),
    h("button", { type: "button", onclick: () => { search = { good: 0, dark: 0 }; answer.replaceChildren(); step({}); } }, "Narrow down the break"),
    where, h("div", { class: "pair" }, lookAt), moves,
    h("label", { class: "field" }, "Or: the last good pixel", input), tails,
    h("button", { type: "button", onclick: () => number(input.value) == null ? tell("say", "Type the last good pixel first; 0 when none lights.") : ask(answer, { string: s.name, last_lit: number(input.value), tail }) }, "Show likely causes"),
    answer);
}

// Strings that answer for others.

function swapped(body, s) {
  const answer = h("div", {}), pairs = {};
  const list = h("ul", {});
  const lit = select("Asked to light", s.name), saw = select("The one that was seen");
  const add = () => {
    pairs[lit.value()] = saw.value();
    list.replaceChildren(...Object.entries(pairs).map(([a, b]) => h("li", {}, `${a} was asked, ${b} was seen`)));
    ask(answer, { answered: pairs });
  };
  body.replaceChildren(
    h("button", { type: "button", onclick: () => act(() => show({ pattern: "number", level_percent: 30 })) }, "Every string blinks its number"),
    lit.el, saw.el, h("button", { type: "button", onclick: add }, "Add this pair"), list, answer);
}

function select(label, chosen) {
  const el = h("select", {}, yard.plan.strings.map((s) => h("option", { value: s.name, selected: s.name === chosen }, `${s.number} ${s.name}`)));
  return { el: h("label", { class: "field" }, label, el), value: () => el.value };
}

// What failures share.

function shared(body) {
  const answer = h("div", {}), dark = new Set();
  for (const [name, stages] of yard.proofs) if ([...stages.values()].at(-1)?.verdict === "fault") dark.add(name);
  body.replaceChildren(h("p", {}, "Tap the ones that are dark."),
    h("div", { class: "seen" }, yard.plan.strings.slice(0, 200).map((s) => h("button", {
      type: "button", "aria-pressed": String(dark.has(s.name)),
      onclick: (e) => {
        dark.has(s.name) ? dark.delete(s.name) : dark.add(s.name);
        attr(e.currentTarget, "aria-pressed", dark.has(s.name));
      },
    }, `${s.number} ${s.name}`))),
    h("button", { type: "button", onclick: () => ask(answer, { dark: [...dark] }) }, "What do they share?"), answer);
}

// Readings against the ladder.

function readings(body, s) {
  const answer = h("div", {});
  const input = (label) => h("input", { inputMode: "decimal", autocomplete: "off", "aria-label": label });
  const dark = input("dark"), white = input("white"), supply = input("supply"), first = input("first"), end = input("last");
  let feed = s.feeds[0];
  const feeds = h("fieldset", { class: "choice" }, h("legend", {}, "Feed"));
  const drawFeeds = () => choice(feeds, s.feeds.map((f) => [f, f]), feed, (v) => { feed = v; drawFeeds(); });
  drawFeeds();
  const volts = () => [["supply", supply], ["pixel 1", first], ["pixel " + s.pixels, end]].flatMap(([at, i]) => (number(i.value) == null ? [] : [{ at, volts: number(i.value) }]));
  body.replaceChildren(
    h("p", {}, `Compared with what ${s.name} should draw at its last full-white level.`),
    ...(s.feeds.length > 1 ? [feeds] : []), ...flowWords(s),
    h("div", { class: "twofold" }, h("label", { class: "field" }, "Amps, dark", dark), h("label", { class: "field" }, "Amps, white", white)),
    h("button", { type: "button", onclick: () => ask(answer, { string: s.name, feed, amps: number(white.value), dark_amps: number(dark.value), meter: meterText() }) }, "Check the amps"),
    h("div", { class: "three" }, h("label", { class: "field" }, "Supply, V", supply), h("label", { class: "field" }, "Pixel 1, V", first), h("label", { class: "field" }, `Pixel ${s.pixels}, V`, end)),
    h("button", { type: "button", onclick: () => ask(answer, { string: s.name, volts: volts() }) }, "Check the volts"),
    h("button", { type: "button", onclick: () => ask(answer, { batches: true, meter: meterText() }) }, "Compare amps per pixel between strings"),
    answer);
}

// The code of these comes when they are opened.

const joint = (body, s) => act(async () => (await import("./joint.js")).joint(body, s));
const weigh = (body, s) => act(async () => (await import("./weigh.js")).weigh(body, s, faultOf(s)));

// The table of symptoms.

function symptoms(body, s) {
  if (body.children.length) return;
  const list = h("ul", { class: "list" });
  const words = h("input", { type: "search", autocomplete: "off", value: faultOf(s)?.seen.join("; ") || "", oninput: () => load() });
  const load = async () => {
    try {
      const { symptoms: found, basis, caution } = await get("/api/symptoms?words=" + encodeURIComponent(words.value));
      list.replaceChildren(...found.map((row) => h("li", {}, h("details", {},
        h("summary", { class: "row two" }, h("span", { class: "no" }, String(row.number)), h("span", { class: "who" }, h("b", {}, row.symptom))),
        h("div", { class: "told" }, h("p", {}, h("b", {}, "Most likely causes first")), h("ol", {}, row.causes.map((c) => h("li", {}, c))),
          h("p", {}, h("b", {}, "How to tell them apart")), h("ul", {}, row.test.map((t) => h("li", {}, t))),
          h("p", { class: "fine" }, basis + ". " + caution))))));
    } catch (e) {
      tell("say", e.message);
    }
  };
  body.replaceChildren(h("label", { class: "field" }, "In a few words", words), list);
  load();
}
