// The picture: a string drawn as lamps on a line, row under row, from the slots
// that were last sent. It knows nothing of patterns.

const perRow = (n) => (n <= 12 ? n : n <= 240 ? 20 : n <= 1000 ? 50 : 100);

// screen returns a table from slot values to a screen's. Light adds up linearly,
// screens do not (IEC 61966-2-1); and an eye outdoors opens for a dim string, so
// a low level is lifted, by less than it was lowered.
function screen(level) {
  const gain = 1 / Math.max(0.05, level) ** 0.6;
  return new Uint8Array(256).map((_, v) => {
    const x = Math.min(1, (v / 255) * gain);
    return Math.round(255 * (x <= 0.0031308 ? 12.92 * x : 1.055 * x ** (1 / 2.4) - 0.055));
  });
}

export class Picture {
  constructor(canvas) {
    this.canvas = canvas;
    canvas.line = this; // for whoever looks at the page from outside
    this.paint = canvas.getContext("2d", { alpha: false });
    this.slots = new Uint8Array(0);
    this.pixels = 0;
    this.order = "RGB";
    this.due = false;
    this.level = 1;
    this.table = screen(1);
    new ResizeObserver(() => this.draw()).observe(canvas);
  }

  // string says which string is drawn.
  string(pixels, order) {
    if (pixels === this.pixels && order === this.order) return;
    this.pixels = pixels;
    this.order = order;
    this.slots = new Uint8Array(pixels * order.length);
    this.draw();
  }

  // exposure says at what level, 0 to 1, the slots were sent.
  exposure(level) {
    if (level === this.level) return;
    this.level = level;
    this.table = screen(level);
    this.draw();
  }

  show(slots) {
    this.slots = slots;
    this.draw();
  }

  draw() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.drawNow();
    });
  }

  // colour returns what pixel i gives off, for a screen.
  colour(i) {
    const c = this.order.length;
    const sum = [0, 0, 0];
    for (let k = 0; k < c; k++) {
      const v = this.slots[i * c + k] || 0;
      const at = "RGB".indexOf(this.order[k]);
      if (at >= 0) sum[at] += v;
      else for (let j = 0; j < 3; j++) sum[j] += v; // a white LED
    }
    return sum.map((v) => this.table[Math.min(255, v)]);
  }

  drawNow() {
    const { canvas, paint: p, pixels: n } = this;
    const width = canvas.clientWidth;
    if (!width) return;
    const row = perRow(n || 20);
    const rows = Math.max(1, Math.ceil(n / row));
    const left = 30, right = 10;
    const pitch = (width - left - right) / row;
    const room = (parseFloat(getComputedStyle(canvas).getPropertyValue("--room")) || 150) - 10; // the picture shall push nothing off the screen
    const tall = Math.max(6, Math.min(36, pitch * 1.25 + 12, room / rows));
    const r = Math.max(1.6, Math.min(9, pitch * 0.3, tall * 0.3));
    const height = Math.round(rows * tall + 10);
    const scale = Math.min(2, window.devicePixelRatio || 1);
    if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
      canvas.width = Math.round(width * scale);
      canvas.height = Math.round(height * scale);
      canvas.style.height = height + "px";
    }
    p.setTransform(scale, 0, 0, scale, 0, 0);
    p.globalCompositeOperation = "source-over";
    p.fillStyle = "#04080a";
    p.fillRect(0, 0, width, height);
    p.font = "600 12px system-ui, sans-serif";
    p.textBaseline = "middle";
    p.textAlign = "right";
    const sag = Math.min(7, tall * 0.22);
    const place = (i) => {
      const t = ((i % row) + 0.5) / row;
      return [left + t * row * pitch, 8 + Math.floor(i / row) * tall + sag * 4 * t * (1 - t) + r];
    };
    for (let k = 0; k < rows; k++) {
      const y = 8 + k * tall + r, end = Math.min(row, n - k * row) / row;
      p.strokeStyle = "#33464d";
      p.lineWidth = 1.5;
      p.beginPath();
      for (let t = 0; t <= end + 1e-6; t += 0.05) {
        const x = left + t * row * pitch, yy = y + sag * 4 * t * (1 - t);
        t === 0 ? p.moveTo(x, yy) : p.lineTo(x, yy);
      }
      p.stroke();
      p.fillStyle = "#a8bcc2";
      p.fillText(String(k * row + 1), left - 6, y + 1);
    }
    p.fillStyle = "#26363c";
    p.beginPath();
    for (let i = 0; i < n; i++) {
      if (this.colour(i).some((v) => v > 40)) continue;
      const [x, y] = place(i);
      p.moveTo(x + r * 0.75, y);
      p.arc(x, y, r * 0.75, 0, 7);
    }
    p.fill();
    p.globalCompositeOperation = "lighter";
    for (let i = 0; i < n; i++) {
      const [red, green, blue] = this.colour(i);
      if (!(red | green | blue)) continue;
      const [x, y] = place(i);
      const dot = (size, share) => {
        p.fillStyle = `rgb(${red * share} ${green * share} ${blue * share})`;
        p.beginPath();
        p.arc(x, y, size, 0, 7);
        p.fill();
      };
      dot(r * 2.1, 0.14);
      dot(r * 1.5, 0.2);
      dot(r, 1);
    }
    p.globalCompositeOperation = "source-over";
  }
}
