// The technician's copy: each entry is kept in the browser, drawn, and sent when there is signal.

import "./answers.js";
import * as sending from "./sending.js";
import * as store from "./store.js";
import { bar } from "./bar.js";
import { carry } from "./carry.js";
import { W, copy, sheet } from "./copy.js";
import { say } from "./saying.js";
import { drawable } from "./drawn.js";
import { draw, typing } from "./drawing.js";
import { add, answer, enter, found, sign, used } from "./entering.js";
import { opening, show } from "./parts.js";

/** A form whose entry is what stands in it. */
const asTyped = (kind, ...names) => (form, button) => {
  const data = new FormData(form, button);
  const fields = Object.fromEntries(names.map((name) => [name, String(data.get(name) ?? "").trim()]));
  if (form.dataset.line) fields.line = Number(form.dataset.line);
  form.closest("details")?.removeAttribute("open");
  return enter(kind, fields, fields.text ?? fields.does ?? "");
};

const acts = {
  answer,
  add,
  sign,
  clock: asTyped("clock", "does"),
  next: asTyped("next", "text"),
  wait: () => enter("wait", { missing: "", parts: [] }, W.goes_on),
  take: () => enter("take", {}, W.taken),
  used: () => Promise.all([...sheet.querySelectorAll("[data-row]")].map(used)),
};
sheet.addEventListener("submit", (event) => {
  const act = acts[event.target.dataset.kind];
  if (!act) return;
  event.preventDefault();
  act(event.target, event.submitter);
});
sheet.addEventListener("input", ({ target }) => {
  if (!(target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement) || ["radio", "checkbox"].includes(target.type)) return;
  target.dataset.isTyped = "yes";
  const step = target.closest("[data-step][data-section]");
  if (target.name === "value" && step) typing(step);
});
sheet.addEventListener("change", ({ target }) => {
  const row = target.closest("[data-row]");
  if (row) used(row);
  if (target.type === "file") target.previousElementSibling.textContent = say(target.files.length === 1 ? W.photo : W.photos, { n: target.files.length });
});
document.getElementById("found-keep").addEventListener("click", found);
drawable(document.getElementById("drawn"), sheet.querySelector("[name=drawn]"), document.getElementById("drawn-clear"));

document.addEventListener("picked", ({ detail: { event, shown } }) => enter("pick", { event }, shown));

document.body.classList.add("has-script");
document.getElementById("thumb").hidden = false;
copy.snapshot = await store.learn(copy.snapshot);
await draw();
show(location.hash.slice(1) || opening(), location.hash !== "");
bar(W);
sending.start();
carry().then((sheets) => {
  if (sheets) document.body.dataset.carried = sheets;
});
