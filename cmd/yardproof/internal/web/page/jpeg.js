// Makes JPEGs of frames, one after the other, beside the page.

let chain = Promise.resolve();
onmessage = ({ data: { frame, width, height, quality } }) => {
  chain = chain.then(async () => {
    const canvas = new OffscreenCanvas(width, height);
    canvas.getContext("2d", { alpha: false }).drawImage(frame, 0, 0, width, height);
    frame.close();
    postMessage(await canvas.convertToBlob({ type: "image/jpeg", quality }));
  }).catch(() => postMessage(null));
};
