// Small helpers for building the page. Text goes in as text, never as markup.

export const $ = (id) => document.getElementById(id);

// h makes an element. Properties that begin with "on" are listeners, "data-"
// and "aria-" ones and a few others are attributes; null leaves one out.
export function h(tag, props, ...children) {
  const el = document.createElement(tag);
  for (const [key, value] of Object.entries(props || {})) {
    if (value == null || value === false) continue;
    if (key.startsWith("on")) el.addEventListener(key.slice(2), value);
    else if (key === "class") el.className = value;
    else if (key in el && !key.includes("-")) el[key] = value;
    else el.setAttribute(key, value === true ? "" : value);
  }
  el.append(...children.flat().filter((c) => c != null && c !== false));
  return el;
}

// text changes an element's text only when it differs, so that a screen reader
// is not told the same again.
export function text(el, s) {
  if (el.textContent !== s) el.textContent = s;
}

export function attr(el, name, value) {
  if (value == null) el.removeAttribute(name);
  else if (el.getAttribute(name) !== String(value)) el.setAttribute(name, value);
}

// choice fills a fieldset with buttons of which one is pressed.
export function choice(fieldset, options, chosen, pick) {
  fieldset.dataset.n = options.length;
  fieldset.replaceChildren(
    ...[...fieldset.children].filter((c) => c.tagName === "LEGEND"),
    ...options.map(([value, label]) =>
      h("button", { type: "button", "aria-pressed": String(value === chosen), onclick: () => pick(value) }, label)),
  );
}

const shapes = {
  good: ["cone", "M12 3 22 21H2z"],
  fault: ["can", "M5 4h14v16H5z"],
  none: ["hollow", "M12 4a8 8 0 1 0 0 16 8 8 0 0 0 0-16z"],
};

// shape draws a verdict: a cone, a can or an empty ring.
export function shape(verdict) {
  const [cls, d] = shapes[verdict] || shapes.none;
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  const path = document.createElementNS(ns, "path");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  path.setAttribute("class", cls);
  path.setAttribute("d", d);
  svg.append(path);
  return svg;
}

export const clock = (t) => new Date(t).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

// kept is a setting that this phone remembers.
export function kept(key, otherwise) {
  try {
    return localStorage.getItem("yardproof." + key) ?? otherwise;
  } catch {
    return otherwise;
  }
}

export function keep(key, value) {
  try {
    localStorage.setItem("yardproof." + key, value);
  } catch { /* a phone that forgets is no harm */ }
}
