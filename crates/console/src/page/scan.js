// The code on a label, by the camera, where the browser reads codes by itself. Elsewhere the number is typed, or a reader types it.

import { by } from "./dom.js";

export const canScan = () => "BarcodeDetector" in window && Boolean(navigator.mediaDevices?.getUserMedia);

const HAVE_CURRENT_DATA = 2; // HTML standard, media elements.

/** Shows the camera until a code is in view or the person closes it; gives its text, or null. */
export async function scan(say) {
  let stream;
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch {
    say("The browser gives no camera: type the number.");
    return null;
  }
  const [dialog, video] = [by("scan-dialog"), by("scan-video")];
  const detector = new window.BarcodeDetector({ formats: ["qr_code"] });
  video.srcObject = stream;
  dialog.showModal();
  try {
    video.play().catch(() => {});
    while (dialog.open) {
      // Until the camera gives its first picture there is nothing to look at.
      const [code] = video.readyState >= HAVE_CURRENT_DATA ? await detector.detect(video) : [];
      if (code?.rawValue) return code.rawValue.trim();
      await new Promise((done) => setTimeout(done, 100));
    }
    return null;
  } catch {
    say("The camera shows nothing that can be read: type the number.");
    return null;
  } finally {
    for (const track of stream.getTracks()) track.stop();
    video.srcObject = null;
    if (dialog.open) dialog.close();
  }
}
