// Sound of a start: single samples by an audio worklet, without the browser's own filters, as a WAV file.
const MOST_SECONDS = 60;

export async function record() {
  const stream = await navigator.mediaDevices.getUserMedia({
    audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
  });
  const context = new AudioContext();
  await context.audioWorklet.addModule(new URL("sound-tap.js", import.meta.url));
  const tap = new AudioWorkletNode(context, "tap", { numberOfOutputs: 0 });
  const pieces = [];
  let samples = 0, ended;
  const over = new Promise(resolve => { ended = resolve; });
  tap.port.onmessage = ({ data }) => {
    if (samples < MOST_SECONDS * context.sampleRate) { pieces.push(data); samples += data.length; } else ended();
  };
  context.createMediaStreamSource(stream).connect(tap);
  return {
    over,
    stop: async () => {
      for (const track of stream.getTracks()) track.stop();
      await context.close();
      return new File([wav(pieces, samples, context.sampleRate)], "start.wav", { type: "audio/wav" });
    },
  };
}

// 16 bits, one channel: RIFF WAVE, PCM.
export function wav(pieces, samples, rate) {
  const view = new DataView(new ArrayBuffer(44 + 2 * samples));
  const text = (at, letters) => [...letters].forEach((letter, n) => view.setUint8(at + n, letter.charCodeAt(0)));
  text(0, "RIFF"); view.setUint32(4, 36 + 2 * samples, true); text(8, "WAVEfmt ");
  view.setUint32(16, 16, true); view.setUint16(20, 1, true); view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 2 * rate, true); view.setUint16(32, 2, true);
  view.setUint16(34, 16, true); text(36, "data"); view.setUint32(40, 2 * samples, true);
  let at = 44;
  for (const piece of pieces) {
    for (const value of piece) {
      view.setInt16(at, Math.max(-32768, Math.min(32767, Math.round(value * 32767))), true);
      at += 2;
    }
  }
  return view.buffer;
}
