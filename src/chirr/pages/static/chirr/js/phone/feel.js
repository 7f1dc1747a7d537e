// What a gloved hand feels and hears: a short buzz and a tone for "written", a long low one for "not written".
// @ts-check

/** @type {AudioContext | null} */
let audio = null;

/** @param {string} name */
const on = (name) => document.documentElement.dataset[name] !== "off";

/** @param {number} hertz @param {number} seconds */
function tone(hertz, seconds) {
  try {
    audio ??= new AudioContext();
    audio.resume();
    const [voice, loudness] = [audio.createOscillator(), audio.createGain()];
    voice.frequency.value = hertz;
    loudness.gain.setValueAtTime(0.25, audio.currentTime);
    loudness.gain.exponentialRampToValueAtTime(0.001, audio.currentTime + seconds);
    voice.connect(loudness).connect(audio.destination);
    voice.start();
    voice.stop(audio.currentTime + seconds);
  } catch {
    // a phone without sound still buzzes and shows
  }
}

export function written() {
  if (on("buzz")) navigator.vibrate?.(35);
  if (on("sound")) tone(1320, 0.09);
}

export function takenBack() {
  if (on("buzz")) navigator.vibrate?.([20, 60, 20]);
  if (on("sound")) tone(660, 0.12);
}

export function notWritten() {
  if (on("buzz")) navigator.vibrate?.([120, 80, 120]);
  if (on("sound")) tone(220, 0.35);
}
