// The technician's copy: each entry is kept in the browser, drawn, and sent when there is signal.

import "./answers.js";
import "./stepper.js";
import * as sending from "./sending.js";
import * as store from "./store.js";
import { bar } from "./bar.js";
import { camera } from "./camera.js";
import { carry } from "./carry.js";
import { drawMinutes } from "./clocked.js";
import { W, copy, sheet } from "./copy.js";
import { say } from "./saying.js";
import { drawable } from "./drawn.js";
import { draw, typing } from "./drawing.js";
import { add, allUsed, answer, byName, enter, forgetMeant, found, handOver, isMeant, noParts, notKept, scanned, sign, takeOff, unfoldNotKept, used, waitFor } from "./entering.js";
import { opening, show } from "./parts.js";
import { drawRefused } from "./refusing.js";
import { forgetTyped, keepTyped, placeOf, putBackTyped } from "./typed.js";

/** A form whose entry is what stands in it. */
const asTyped = (kind, ...names) => async (form, button) => {
  const data = new FormData(form, button);
  const fields = Object.fromEntries(names.map((name) => [name, String(data.get(name) ?? "").trim()]));
  if (form.dataset.line) fields.line = Number(form.dataset.line);
  for (const input of form.querySelectorAll("[data-is-typed]")) delete input.dataset.isTyped;
  form.closest("details")?.removeAttribute("open");
  await enter(kind, fields, fields.text ?? fields.does ?? "");
  await forgetTyped(form);
};

const acts = {
  answer,
  add: (form) => add(form),
  sign,
  clock: asTyped("clock", "does"),
  next: asTyped("next", "text"),
  wait: (form) => (form.elements.missing ? waitFor(form) : enter("wait", { missing: "", parts: [] }, W.goes_on)),
  hand_over: handOver,
  take: () => enter("take", {}, W.taken),
  take_off: (form, button) => takeOff({ row: button.closest("[data-row]").dataset.row, part: button.closest("[data-row]").querySelector("strong").textContent }),
  used: () => Promise.all([...sheet.querySelectorAll("[data-row]")].map(used)),
};
sheet.addEventListener("submit", (event) => {
  const act = acts[event.target.dataset.kind];
  if (!act) return;
  event.preventDefault();
  act(event.target, event.submitter);
});
sheet.addEventListener("input", ({ target }) => {
  const place = placeOf(target);
  if (["radio", "checkbox", "file"].includes(target.type)) {
    if (place) keepTyped(place);
    return;
  }
  target.dataset.isTyped = "yes";
  const step = target.closest("[data-step][data-section]");
  if (["value", "left_value"].includes(target.name) && step) typing(step);
  if (["part", "place"].includes(target.name)) forgetMeant(target.name);
  if (place) keepTyped(place);
  if (target.id === "labour") drawMinutes();
});
sheet.addEventListener("change", ({ target }) => {
  const row = target.closest("[data-row]");
  if (row) used(row);
  if (target.name === "leave_undone") drawRefused();
  if (target.type === "file") target.previousElementSibling.textContent = say(target.files.length === 1 ? W.photo : W.photos, { n: target.files.length });
});
for (const button of sheet.querySelectorAll(".as-planned")) {
  button.addEventListener("click", () => {
    const row = button.closest("[data-row]");
    row.querySelector("input").value = button.value;
    used(row);
  });
}
for (const question of sheet.querySelectorAll("[data-unknown]")) question.querySelector("button").addEventListener("click", () => isMeant(question));
document.addEventListener("all-used", ({ detail }) => allUsed(detail));
document.addEventListener("take-off", ({ detail }) => takeOff(detail));
document.getElementById("found-keep").addEventListener("click", found);
byName.querySelector("button").addEventListener("click", () => sign(byName.closest("form"), null, { isByName: true }));
for (const question of [noParts, notKept]) {
  question.querySelector("button").addEventListener("click", (event) => {
    event.preventDefault();
    question.dataset.meant = question.querySelector("p").textContent;
    sign(question.closest("form"));
  });
}
notKept.querySelector("a").addEventListener("click", unfoldNotKept);
// Its place stays: taken away, the page would jump under the finger that draws.
document.getElementById("drawn").addEventListener("pointerdown", () => byName.classList.add("answered"));
drawable(document.getElementById("drawn"), sheet.querySelector("[name=drawn]"), document.getElementById("drawn-clear"));

camera(document.getElementById("scan"), { start: W.scan, stop: W.stop_scan, blocked: W.camera_blocked, broken: W.camera_broken }, scanned);

document.addEventListener("picked", ({ detail: { event, shown } }) => enter("pick", { event }, shown));

document.body.classList.add("has-script");
document.getElementById("thumb").hidden = false;
// Where the work is by the page itself, so that it can begin; what is kept here may lead elsewhere.
show(location.hash.slice(1) || opening(), location.hash !== "");
copy.snapshot = await store.learn(copy.snapshot);
await draw();
await putBackTyped();
drawMinutes(); // they may have been typed
show(location.hash.slice(1) || opening(), location.hash !== "");
setInterval(drawMinutes, 20_000); // while a clock runs
bar(W);
sending.start();
carry({ open: [location.pathname] }).then((carried) => {
  if (carried) document.body.dataset.carried = carried.sheets;
  draw(); // it may have learnt that this phone's clock is wrong
});
