// A photo as it is kept: scaled, upright, drawn anew (so that nothing the camera noted goes with it), and named by
// the hash of its bytes. Decoding and scaling are done by the browser beside the page.
const LONGEST = 1600, QUALITY = 0.85;

export async function taken(file) {
  const whole = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST / Math.max(whole.width, whole.height));
  const [width, height] = [whole.width, whole.height].map(side => Math.max(1, Math.round(side * scale)));
  const small = scale < 1
    ? await createImageBitmap(whole, { resizeWidth: width, resizeHeight: height, resizeQuality: "high" })
    : whole;
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [width, height];
  canvas.getContext("bitmaprenderer").transferFromImageBitmap(small);
  whole.close();
  const blob = await new Promise(resolve => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  if (!blob) throw new Error("no photo");
  return { hash: await sha256(await blob.arrayBuffer()), blob, width, height };
}

export async function sha256(data) {
  const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", data));
  return [...digest].map(byte => byte.toString(16).padStart(2, "0")).join("");
}
