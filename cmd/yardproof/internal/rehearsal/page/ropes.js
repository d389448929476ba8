// The yard drawn: each string a rope of lamps between posts, row under row. It knows
// of colours and places, and nothing of patterns.

const rowTall = 40, labelTall = 20, gap = 26, edge = 14;

export class Ropes {
  constructor(canvas, strings, tapped) {
    this.canvas = canvas;
    this.strings = strings;
    this.colours = new Uint8Array(0);
    this.frames = 0; // drawn so far
    this.probe = null; // where the meters are
    canvas.ropes = this; // for whoever looks at the page from outside
    this.paint = canvas.getContext("2d", { alpha: false });
    new ResizeObserver(() => this.lay()).observe(canvas);
    canvas.addEventListener("click", (e) => {
      const box = canvas.getBoundingClientRect();
      const hit = this.at(e.clientX - box.left, e.clientY - box.top);
      if (hit) tapped(hit);
    });
    this.lay();
  }

  // lay gives every pixel its place: as many columns as there is room for, and in
  // each the strings one under the other.
  lay() {
    const width = this.canvas.clientWidth;
    if (!width) return;
    const columns = Math.max(1, Math.floor(width / 560));
    const wide = (width - edge * (columns + 1)) / columns;
    const row = wide < 430 ? 30 : 60;
    this.pitch = wide / row;
    const tall = (s) => labelTall + Math.ceil(s.pixels / row) * rowTall;
    const total = this.strings.reduce((sum, s) => sum + tall(s), 0);
    let x = edge, y = 6, most = 0, first = 0;
    this.places = []; // of every pixel: x, y
    this.labels = [];
    this.feeds = [];
    this.posts = [];
    this.first = []; // of every string: its first pixel among all
    for (const s of this.strings) {
      if (y > 6 && y + tall(s) / 2 > total / columns && x + wide + edge < width) {
        x += wide + edge;
        y = 6;
      }
      this.labels.push([[s.label, s.name, s.controller && `at ${s.controller}`].filter(Boolean).join("  "), x, y + 12]);
      y += labelTall;
      this.first.push(first);
      first += s.pixels;
      for (let i = 0; i < s.pixels; i++) {
        const t = ((i % row) + 0.5) / row, line = Math.floor(i / row);
        this.places.push([x + t * wide, y + line * rowTall + 8 + 4 * 10 * t * (1 - t)]);
      }
      for (let line = 0; line * row < s.pixels; line++) {
        const end = Math.min(row, s.pixels - line * row) / row;
        this.posts.push([x, y + line * rowTall + 8, wide, end]);
      }
      s.feeds.forEach((f, k) => {
        const [px, py] = this.places[this.first.at(-1) + Math.min(Math.max(f.pixel * s.copies, 1), s.pixels) - 1];
        this.feeds.push([f.pixel ? px : px - this.pitch * 0.9, py + 13, s.name, k + 1]);
      });
      y += Math.ceil(s.pixels / row) * rowTall;
      most = Math.max(most, y);
    }
    this.tall = most + gap / 2;
    this.scale = Math.min(2, window.devicePixelRatio || 1);
    this.canvas.width = Math.round(width * this.scale);
    this.canvas.height = Math.round(this.tall * this.scale);
    this.canvas.style.height = this.tall + "px";
    this.paint.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    this.wide = width;
    this.size = Math.max(1.6, Math.min(5, this.pitch * 0.3));
    this.back = this.still();
    this.draw();
  }

  // at is the feed or the pixel under a point.
  at(x, y) {
    let best = null, least = 18;
    for (const [fx, fy, string, feed] of this.feeds) {
      const d = Math.hypot(x - fx, y - fy);
      if (d < Math.min(least, 11)) [best, least] = [{ string, feed }, d];
    }
    if (best) return best;
    this.strings.forEach((s, n) => {
      for (let i = 0; i < s.pixels; i++) {
        const [px, py] = this.places[this.first[n] + i];
        const d = Math.hypot(x - px, y - py);
        if (d < least) [best, least] = [{ string: s.name, pixel: Math.floor(i / s.copies) + 1 }, d];
      }
    });
    return best;
  }

  // measured marks where the meters are.
  measured(string, pixel, feed) {
    const n = this.strings.findIndex((s) => s.name === string);
    if (feed) {
      const f = this.feeds.find((f) => f[2] === string && f[3] === feed);
      this.probe = f && [f[0], f[1]];
    } else this.probe = this.places[this.first[n] + pixel * this.strings[n].copies - 1];
  }

  show(colours) {
    this.colours = colours;
    this.frames++;
    this.draw();
  }

  // still draws what does not change from frame to frame, once.
  still() {
    const back = document.createElement("canvas"), p = back.getContext("2d", { alpha: false });
    [back.width, back.height] = [this.canvas.width, this.canvas.height];
    p.setTransform(this.scale, 0, 0, this.scale, 0, 0);
    p.fillStyle = "#04080a";
    p.fillRect(0, 0, this.wide, this.tall);
    p.lineWidth = 1.5;
    p.strokeStyle = "#33464d";
    p.beginPath();
    for (const [x, y, wide, end] of this.posts) {
      for (let i = 0; i <= 24; i++) {
        const t = (i / 24) * end;
        p[i ? "lineTo" : "moveTo"](x + t * wide, y + 40 * t * (1 - t));
      }
    }
    p.stroke();
    p.font = "600 13px system-ui, sans-serif";
    p.fillStyle = "#a8bcc2";
    for (const [words, x, y] of this.labels) p.fillText(words, x, y);
    for (const [x, y] of this.feeds) { // a fuse: a tube with its caps
      p.fillStyle = "#d6c08c";
      p.fillRect(x - 6, y - 3, 12, 6);
      p.fillStyle = "#24303a";
      p.fillRect(x - 3, y - 2, 6, 4);
    }
    this.lamps(p, this.places, this.size * 0.75, "#26363c");
    return back;
  }

  // lamps draws all that have one colour in one stroke of the brush.
  lamps(p, places, size, style) {
    p.fillStyle = style;
    p.beginPath();
    for (const [x, y] of places) {
      p.moveTo(x + size, y);
      p.arc(x, y, size, 0, 7);
    }
    p.fill();
  }

  draw() {
    const p = this.paint, c = this.colours;
    if (!this.places) return;
    p.globalCompositeOperation = "source-over";
    p.drawImage(this.back, 0, 0, this.wide, this.tall);
    const lit = new Map(); // colour -> the places that have it
    for (let i = 0; i < this.places.length; i++) {
      const colour = (c[3 * i] << 16) | (c[3 * i + 1] << 8) | c[3 * i + 2];
      if (!colour) continue;
      if (!lit.has(colour)) lit.set(colour, []);
      lit.get(colour).push(this.places[i]);
    }
    p.globalCompositeOperation = "lighter";
    for (const [colour, places] of lit) {
      const style = `${colour >> 16} ${(colour >> 8) & 255} ${colour & 255}`;
      this.lamps(p, places, this.size * 2, `rgb(${style} / .22)`);
      this.lamps(p, places, this.size, `rgb(${style})`);
    }
    p.globalCompositeOperation = "source-over";
    if (this.probe) {
      p.strokeStyle = "#ffb84d";
      p.lineWidth = 2.5;
      p.beginPath();
      p.arc(this.probe[0], this.probe[1], 9, 0, 7);
      p.stroke();
    }
  }
}
