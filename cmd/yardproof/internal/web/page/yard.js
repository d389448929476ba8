// What the page knows of the yard, and how it asks for something.

import { kept } from "./dom.js";

export const yard = {
  plan: null,    // strings, controllers, patterns
  state: null,   // as the laptop told it last
  proofs: new Map(), // string name -> stage -> the latest proof
  samples: [],
  view: "",      // the string under test
  linked: false,
  heard: 0,      // when something was heard last
  stranger: false, // this phone is not let in
  took: 0,       // when the state came, by this phone's own clock
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
  const before = yard.state?.record_version;
  yard.state = state;
  yard.took = performance.now();
  if (before != null && before !== state.record_version) tell("recorded");
  if (state.health) {
    const last = yard.samples.at(-1);
    if (!last || last.time < state.health.time) yard.samples.push(state.health);
    if (yard.samples.length > 400) yard.samples.splice(0, 100);
  }
  tell("state", state);
}

// shownFor is how long the picture has been on the wire, in milliseconds: the
// laptop's two times tell its age when the state was made.
export const shownFor = () => Date.parse(yard.state.time) - Date.parse(yard.state.showing.since) + performance.now() - yard.took;

// ends says when what is shown ends by itself; "" when it does not.
export function ends() {
  const at = yard.state.showing.falls_back;
  return at ? `, ends in ${Math.max(0, Math.round((Date.parse(at) - Date.parse(yard.state.time)) / 1000))} s` : "";
}

export const query = () => (yard.view ? "?string=" + encodeURIComponent(yard.view) : "");

export async function show(what) {
  take(await post("/api/show" + query(), what));
}

export async function dark() {
  take(await post("/api/dark" + query(), {}, 3000));
}

export const stringNamed = (name) => yard.plan?.strings.find((s) => s.name === name);

let known = 0, loading = Promise.resolve();

// loadProofs asks for what was recorded since the last time, or for all; one call after another.
export const loadProofs = (all) => (loading = loading.catch(() => {}).then(() => load(all)));

async function load(all) {
  if (all) known = 0;
  for (let more = true; more; ) {
    const a = await get("/api/proofs?after=" + known);
    if (!a.after) yard.proofs = new Map();
    for (const s of a.strings) {
      yard.proofs.delete(s.name);
      Object.assign(stringNamed(s.name) || {}, s);
    }
    for (const p of a.proofs) noteProof(p);
    for (const c of a.controllers) Object.assign(yard.plan.controllers.find((k) => k.name === c.name) || {}, c);
    [known, more] = [a.record_version, a.more];
  }
  tell("plan");
  tell("proofs");
}

export function noteProof(p) {
  if (!yard.proofs.has(p.string)) yard.proofs.set(p.string, new Map());
  yard.proofs.get(p.string).set(p.stage, p);
}

export const proofOf = (name, stage) => yard.proofs.get(name)?.get(stage);

export const stage = () => (yard.plan?.bench ? "bench" : kept("stage", "hung"));

export const remaining = (at) => yard.plan.strings.filter((s) => proofOf(s.name, at)?.verdict !== "good");

// competing are the other sources on the universes of a string.
export const competing = (s) => (yard.state?.competing || []).filter((c) => c.universe >= s.universe && c.universe <= s.last_universe);

// refresh asks for the plan and the proofs anew.
export async function refresh() {
  yard.plan = await get("/api/plan");
  await loadProofs(true);
}
