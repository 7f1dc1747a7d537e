// Reading a code of the farm with the camera, where the browser has a reader of its own; elsewhere the button stays away.
const part = document.querySelector("[data-scan]");

async function ready() {
  if (!part || !("BarcodeDetector" in globalThis) || !navigator.mediaDevices?.getUserMedia) return false;
  return (await BarcodeDetector.getSupportedFormats()).includes("qr_code");
}

// The path that a code of this farm leads to: only /at/KIND/NAME counts, whatever host it was printed for.
export function pathOf(text) {
  try {
    const address = new URL(text);
    return /^https?:$/.test(address.protocol) && /^\/at\/[a-z]+\/.+/i.test(address.pathname) ? address.pathname : null;
  } catch {
    return null;
  }
}

async function scan() {
  const [panel, video, words] = ["div", "video", "p"].map((name) => part.querySelector(name));
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    panel.hidden = false;
    words.textContent = part.dataset.saysNo;
    return;
  }
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  panel.hidden = false;
  video.srcObject = stream;
  await video.play();
  const end = () => { stream.getTracks().forEach((track) => track.stop()); video.srcObject = null; };
  part.querySelector("[data-scan-stop]").addEventListener("click", end, { once: true });
  while (video.srcObject) {
    const found = await detector.detect(video).catch(() => []);
    const path = found.map((code) => pathOf(code.rawValue)).find(Boolean);
    if (path) {
      end();
      location.assign(path);
      return;
    }
    words.textContent = found.length ? part.dataset.saysNone : "";
    await new Promise((next) => { setTimeout(next, 120); });
  }
}

if (await ready()) {
  part.hidden = false;
  part.querySelector("[data-scan-start]").addEventListener("click", scan);
  part.querySelector("[data-scan-stop]").addEventListener("click", () => { part.querySelector("div").hidden = true; });
}
