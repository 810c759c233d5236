// The camera as a scanner, where the browser reads codes itself. Elsewhere its button stays hidden.

const EVERY_MS = 200;
const WANTED = ["qr_code", "code_128", "code_39", "ean_13", "ean_8", "upc_a", "upc_e", "data_matrix"];

async function formats() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return [];
  const known = await BarcodeDetector.getSupportedFormats();
  return WANTED.filter((each) => known.includes(each));
}

/**
 * @param box holds a button, a `role=status` line and a video
 * @param words start, stop, blocked, broken: what the button says, and why there is no picture
 * @param found gets the text of the first code that is seen; the camera is off by then
 */
export async function camera(box, words, found) {
  const button = box.querySelector("button");
  const said = box.querySelector("[role=status]");
  const view = box.querySelector("video");
  let stream = null;

  function stop() {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    view.hidden = true;
    button.textContent = words.start;
  }

  function failed(problem) {
    stop();
    said.textContent = problem.name === "NotAllowedError" ? words.blocked : words.broken;
  }

  async function look(detector) {
    if (!stream) return;
    const codes = view.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA ? await detector.detect(view) : [];
    if (!stream) return;
    if (codes.length) {
      stop();
      found(codes[0].rawValue);
      return;
    }
    setTimeout(() => look(detector).catch(failed), EVERY_MS);
  }

  async function start(known) {
    said.textContent = "";
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    view.srcObject = stream;
    view.hidden = false;
    button.textContent = words.stop;
    await view.play();
    await look(new BarcodeDetector({ formats: known }));
  }

  // A browser that cannot even say what it reads has no reader.
  const known = await formats().catch(() => []);
  if (!known.length) return;
  box.hidden = false;
  button.addEventListener("click", () => (stream ? stop() : start(known).catch(failed)));
  addEventListener("pagehide", stop);
}
