// The batch drawn: what each string drew at white, and the median as it grew.

const most = 60; // strings that are drawn: an hour's

export function drawBatch(canvas, batch, typed) {
  const css = getComputedStyle(canvas), width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width) return;
  const scale = Math.min(2, window.devicePixelRatio || 1), p = canvas.getContext("2d");
  canvas.width = width * scale;
  canvas.height = height * scale;
  p.setTransform(scale, 0, 0, scale, 0, 0);
  const read = batch.strings.filter((s) => s.amps), seen = read.slice(-most), from = read.length - seen.length;
  const all = [...seen.map((s) => s.amps), ...(typed ? [typed] : []), ...(batch.high ? [batch.low, batch.high] : [])];
  canvas.setAttribute("aria-label", `Amps at white of ${read.length} ${read.length === 1 ? "string" : "strings"}. ${batch.says}`);
  if (!all.length) return;
  const low = Math.min(...all), high = Math.max(...all), room = Math.max((high - low) * 0.15, 0.05);
  const left = 44, y = (v) => height - 4 - ((v - low + room) / (high - low + 2 * room)) * (height - 8);
  const x = (i) => left + ((i + 0.5) / Math.max(12, seen.length + 1)) * (width - left - 6);
  const colour = (name) => css.getPropertyValue(name).trim();
  if (batch.high) {
    p.fillStyle = colour("--rope");
    p.fillRect(left, y(batch.high), width - left, y(batch.low) - y(batch.high));
  }
  p.fillStyle = colour("--fog");
  p.font = "600 12px system-ui, sans-serif";
  p.textBaseline = "middle";
  const written = [];
  for (const v of [batch.median, low, high].filter(Boolean)) {
    const at = Math.min(height - 7, Math.max(7, y(v)));
    if (written.some((w) => Math.abs(w - at) < 14)) continue;
    written.push(at);
    p.fillText(v.toFixed(2), 2, at);
  }
  p.strokeStyle = colour("--lantern");
  p.lineWidth = 2;
  p.beginPath();
  const good = read.slice(0, from).filter((s) => s.verdict === "good").map((s) => s.amps);
  let begun = false;
  seen.forEach((s, i) => { // the median as it grew
    if (s.verdict === "good") good.push(s.amps);
    if (!good.length) return;
    const m = median(good);
    begun ? p.lineTo(x(i), y(m)) : p.moveTo(x(i), y(m));
    begun = true;
  });
  p.stroke();
  seen.forEach((s, i) => mark(p, x(i), y(s.amps), s.stands_apart, colour(s.verdict === "good" ? "--cone-bright" : "--can-bright")));
  if (typed) {
    p.strokeStyle = colour("--sail");
    p.beginPath();
    p.arc(x(seen.length), y(typed), 6, 0, 7);
    p.stroke();
  }
}

// mark draws a string: a dot, or where it stands apart an empty square around it.
function mark(p, x, y, apart, colour) {
  p.fillStyle = p.strokeStyle = colour;
  p.beginPath();
  p.arc(x, y, 3, 0, 7);
  p.fill();
  if (apart) p.strokeRect(x - 6, y - 6, 12, 12);
}

function median(values) {
  const v = values.toSorted((a, b) => a - b), n = v.length;
  return (v[(n - 1) >> 1] + v[n >> 1]) / 2;
}
