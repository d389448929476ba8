// Which string is under test.

import { keep } from "./dom.js";
import { listen } from "./stream.js";
import { stringNamed, tell, yard } from "./yard.js";

// view chooses the string under test, without lighting it.
export function view(name) {
  if (name === yard.view) return;
  yard.view = name;
  keep("string", name);
  listen();
  tell("view", stringNamed(name));
}

// bytes reads the slots of a frame.
export function bytes(base64) {
  const raw = atob(base64), b = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) b[i] = raw.charCodeAt(i);
  return b;
}
