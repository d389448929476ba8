// Frames of a film. It is played, and what is shown is taken; where this phone shows too
// few frames as it plays, the film is gone through step by step instead.

const pace = 1 / 10; // seconds of film between the frames that are taken: with more, or with finer ones, a film takes more than 30 MB and is read no better
const sparse = 1 / 8; // seconds between two shown ones: fewer cannot be read
const ahead = 6; // frames that wait to be handed over; with more the film waits
const widest = 1920;
const quality = 0.75; // of the JPEGs
const shortest = 15.3, longest = 90; // seconds that the laptop reads
const patience = 1000; // milliseconds until a step shows something
const nothing = 3; // seconds of film: with no frame in them it is over

const after = (ms) => new Promise((go) => setTimeout(go, ms));
const happens = (what, event) => new Promise((go) => what.addEventListener(event, go, { once: true }));

// painter makes JPEGs of what a video shows now: beside the page, where this phone can,
// so that the page stays quick.
function painter(video) {
  const scale = Math.min(1, widest / Math.max(video.videoWidth, video.videoHeight));
  const width = Math.round(video.videoWidth * scale), height = Math.round(video.videoHeight * scale);
  if (!window.OffscreenCanvas) {
    const canvas = document.createElement("canvas"), drawn = canvas.getContext("2d", { alpha: false });
    canvas.width = width;
    canvas.height = height;
    return { end() {}, paint() {
      drawn.drawImage(video, 0, 0, width, height);
      return new Promise((made) => canvas.toBlob(made, "image/jpeg", quality));
    } };
  }
  const worker = new Worker("/jpeg.js"), waiting = [];
  worker.onmessage = ({ data }) => waiting.shift()(data);
  return { end: () => worker.terminate(), async paint() {
    const frame = await createImageBitmap(video);
    const made = new Promise((go) => waiting.push(go));
    worker.postMessage({ frame, width, height, quality }, [frame]);
    return made;
  } };
}

// take calls each with the time and the JPEG of every frame to be handed over, one after
// the other. It resolves when the film is over or halted does.
export async function take(video, halted, each) {
  const broken = new Promise((_, no) => {
    video.onerror = () => no(new Error("This phone cannot play the film. Choose another, or read it on the laptop: yardproof film FILE PLAN."));
  });
  broken.catch(() => {}); // nobody may wait for it any more
  let over = false, paint, failed, waiting = 0, last = -1, due = 0;
  halted.then(() => { over = true; });
  const first = (...these) => Promise.race([broken, halted, ...these]);
  const next = () => new Promise((go) => video.requestVideoFrameCallback((_, { mediaTime }) => go(mediaTime)));
  let chain = Promise.resolve();
  const hand = (at) => {
    last = at;
    due = Math.max(due + pace, at + pace / 2);
    paint ??= painter(video);
    const picture = paint.paint();
    waiting++;
    chain = chain.then(() => picture).then((blob) => {
      if (!blob) throw new Error("This browser cannot make pictures of the film. Use another, or read it on the laptop: yardproof film FILE PLAN.");
      return over || each(at, blob);
    }).catch((e) => { failed ??= e; }).then(() => { waiting--; });
  };
  const room = async () => {
    if (waiting <= ahead || video.ended) return;
    video.pause();
    await first(chain);
  };

  try {
    await first(happens(video, "loadedmetadata"));
    if (over) return;
    if (!video.videoWidth) throw new Error("There is no picture in it: it is no film. Choose another.");
    if (video.duration < shortest) throw new Error("The film is too short: film for 20 seconds, at least 16.");
    if (video.duration > longest && video.duration < Infinity) throw new Error("The film is too long: at most 90 seconds are read. Film for 20.");
    let playing = true, shown = 0;
    const ended = happens(video, "ended");
    while (playing && !over && !failed) {
      if (video.paused && !video.ended) await first(video.play().catch((e) => video.error ? broken : Promise.reject(e)));
      const at = await first(next(), ended);
      if (over || typeof at !== "number") break;
      if (at - shown > sparse) playing = false;
      else if (at >= due) hand(at);
      shown = at;
      await room();
    }
    video.pause();
    for (let to = Math.max(0, last + pace); !playing && !over && !failed && !(to >= video.duration) && to < last + nothing; to += pace) {
      if (document.hidden) await first(happens(document, "visibilitychange"));
      const shown = next(), there = happens(video, "seeked");
      video.currentTime = to;
      await first(there);
      const at = await first(shown, after(patience));
      if (!over && at > last) {
        hand(at);
        to = at;
      } else to -= pace / 2; // it shows nothing new, or late: a little further
      await room();
    }
    await first(chain);
    if (failed) throw failed;
  } finally {
    over = true;
    paint?.end();
  }
}
