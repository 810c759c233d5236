// Find by the camera: what it reads is looked up at once.

import { camera } from "./phone/camera.js";

const form = document.getElementById("find");
const field = form.querySelector("input[name=q]");

// What a scanner types goes into the field without a tap first.
field.focus();
field.select();
camera(
  document.getElementById("scan"),
  {
    start: "Scan with the camera",
    stop: "Stop the camera",
    blocked: "The browser was not allowed to use the camera. Type the code instead.",
    broken: "The camera does not work here. Type the code instead.",
  },
  (code) => {
    field.value = code;
    form.requestSubmit();
  },
);
