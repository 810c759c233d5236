// The camera as a scanner, where the browser reads codes itself. Elsewhere the button stays hidden.

const EVERY_MS = 200;
const WANTED = ["qr_code", "code_128", "code_39", "ean_13", "ean_8", "upc_a", "upc_e", "data_matrix"];

const form = document.getElementById("find");
const field = form.querySelector("input[name=q]");
const button = document.getElementById("scan");
const view = document.getElementById("scan-view");
const said = document.getElementById("scan-said");
let stream = null;

async function formats() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return [];
  const known = await BarcodeDetector.getSupportedFormats();
  return WANTED.filter((each) => known.includes(each));
}

function stop() {
  stream?.getTracks().forEach((track) => track.stop());
  stream = null;
  view.hidden = true;
  button.textContent = "Scan with the camera";
}

async function look(detector) {
  if (!stream) return;
  const codes = view.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA ? await detector.detect(view) : [];
  if (!stream) return;
  if (codes.length) {
    field.value = codes[0].rawValue;
    stop();
    form.requestSubmit();
    return;
  }
  setTimeout(() => look(detector).catch(failed), EVERY_MS);
}

function failed(problem) {
  stop();
  said.textContent =
    problem.name === "NotAllowedError"
      ? "The browser was not allowed to use the camera. Type the code instead."
      : "The camera does not work here. Type the code instead.";
}

async function start(known) {
  said.textContent = "";
  stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  view.srcObject = stream;
  view.hidden = false;
  button.textContent = "Stop the camera";
  await view.play();
  await look(new BarcodeDetector({ formats: known }));
}

// What a scanner types goes into the field without a tap first.
field.focus();
field.select();
formats()
  .then((known) => {
    if (!known.length) return;
    button.hidden = false;
    button.addEventListener("click", () => (stream ? stop() : start(known).catch(failed)));
  })
  .catch(() => {
    button.hidden = true;
  });
window.addEventListener("pagehide", stop);
