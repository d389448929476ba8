// What the page knows of the yard, and how it asks for something.

export const yard = {
  plan: null,    // strings, controllers, patterns
  state: null,   // as the laptop told it last
  proofs: new Map(), // string name -> stage -> the latest proof
  samples: [],
  view: "",      // the string under test
  linked: false,
  heard: 0,      // when something was heard last
};

const listeners = new Map();

export function on(what, fn) {
  listeners.set(what, [...(listeners.get(what) || []), fn]);
}

export function tell(what, value) {
  for (const fn of listeners.get(what) || []) fn(value);
}

export class Refused extends Error {
  constructor(status, detail) {
    super(detail);
    this.status = status;
  }
}

async function ask(path, options, limit = 6000) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), limit);
  let answer;
  try {
    answer = await fetch(path, { ...options, signal: stop.signal });
  } catch {
    throw new Refused(0, "The laptop did not answer.");
  } finally {
    clearTimeout(timer);
  }
  if (answer.status === 204) return null;
  const kind = answer.headers.get("Content-Type") || "";
  const body = kind.includes("json") ? await answer.json() : {};
  if (!answer.ok) throw new Refused(answer.status, body.detail || "The laptop answered " + answer.status + ".");
  return body;
}

export const get = (path) => ask(path);
export const post = (path, body, limit) =>
  ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }, limit);

// take makes a state that came back what the page shows.
export function take(state) {
  if (yard.state && yard.state.plan_version !== state.plan_version) tell("reloaded");
  yard.state = state;
  if (state.health) {
    const last = yard.samples.at(-1);
    if (!last || last.time < state.health.time) yard.samples.push(state.health);
    if (yard.samples.length > 400) yard.samples.splice(0, 100);
  }
  tell("state", state);
}

const query = () => (yard.view ? "?string=" + encodeURIComponent(yard.view) : "");

export async function show(what) {
  take(await post("/api/show" + query(), what));
}

export async function dark() {
  take(await post("/api/dark" + query(), {}, 3000));
}

export const stringNamed = (name) => yard.plan?.strings.find((s) => s.name === name);

export async function loadProofs() {
  const { proofs } = await get("/api/proofs");
  yard.proofs = new Map();
  for (const p of proofs) noteProof(p);
  tell("proofs");
}

export function noteProof(p) {
  if (!yard.proofs.has(p.string)) yard.proofs.set(p.string, new Map());
  yard.proofs.get(p.string).set(p.stage, p);
}

export const proofOf = (name, stage) => yard.proofs.get(name)?.get(stage);

// The event stream. The browser retries by itself after a lost connection, but
// not after an answer that was none; so the page watches it.
let source = null, wait = 0, timer = 0;

export function listen() {
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
  get("/api/state").catch((e) => e.status === 401 && tell("say", e.message));
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
