// Takes what is entered into the browser's own database, having looked at it as the shop would.

import * as sending from "./sending.js";
import * as store from "./store.js";
import { W, copy, isCheck, isOut, lacking, me, named, number, numberOf, openChecks, openReturns, sheet } from "./copy.js";
import { say } from "./saying.js";
import { draw, typing } from "./drawing.js";

/** Keep an entry, draw it, send it. Resolves with its id once it is safe on this phone. */
export async function enter(kind, fields, shown = "") {
  const entry = { event_id: store.newId(), number, kind, fields, shown, ...me, at: new Date().toISOString() };
  await store.keep(entry);
  lasting();
  await draw();
  sending.flush();
  return entry.event_id;
}

let isAsked = false;
/** Ask the browser once not to clear what is kept here when space runs out. */
async function lasting() {
  if (isAsked || !navigator.storage?.persist) return;
  isAsked = true;
  await store.remember("lasting", await navigator.storage.persist());
}

/** For a form of another page's making, which has no line for it yet. */
function errorLine(place) {
  const line = document.createElement("p");
  line.className = "errors row-error";
  line.setAttribute("role", "alert");
  line.append(document.createElement("span"));
  place.append(line);
  return line;
}

export function refuse(place, words) {
  const line = place.querySelector(".row-error") ?? errorLine(place);
  line.hidden = false;
  line.querySelector("span").textContent = words;
  line.scrollIntoView({ block: "nearest" });
}

function forgive(place) {
  const line = place.querySelector(".row-error");
  if (line) line.hidden = true;
}

/** Out of limit here, or found to be so by the shop, which asked. */
const mayBeOut = (step, text) => isOut(step, text) || step.dataset.isAsked === "yes";

function answerWrong(step, fields) {
  const opensIt = ["done", "value", "choice"].includes(fields.answer) && fields.choice !== W.carry_forward;
  const before = isCheck(step) ? lacking(step, opensIt) : [];
  if (before.length) return say(before.some((each) => lacking().includes(each)) ? W.locked : W.look_again, { named: named(before) });
  if ("electrician" in step.dataset && !W.is_electrician) return W.electrician;
  if (fields.answer === "na" && !fields.note) return W.say_why;
  if (fields.answer !== "value") return "";
  const value = numberOf(fields.value);
  if (value === null && !("isCode" in step.dataset && fields.value)) return W.enter_value;
  if (step.dataset.section !== "check" || !mayBeOut(step, fields.value)) return "";
  if (!fields.remedy) return W.say_remedy;
  return ["found_work", "stop"].includes(fields.remedy) && !fields.finding_text ? W.say_found : "";
}

export async function answer(form, button) {
  const step = form.closest("[data-step][data-section]");
  const data = new FormData(form, button);
  const text = (name) => String(data.get(name) ?? "").trim();
  const fields = {
    step: Number(step.dataset.step),
    answer: text("answer"),
    value: text("value").replaceAll(",", "").replace("−", "-"),
    choice: text("choice"),
    note: text("note"),
    remedy: "",
    finding_text: "",
    is_grave: false,
    seen: copy.state.steps[step.dataset.step]?.event ?? "",
  };
  if (step.dataset.section === "check" && mayBeOut(step, fields.value)) {
    Object.assign(fields, { remedy: text("remedy"), finding_text: text("finding_text"), is_grave: data.has("is_grave") });
  }
  const wrong = answerWrong(step, fields);
  if (wrong) {
    typing_of(step);
    refuse(step, wrong);
    return;
  }
  forgive(step);
  delete step.dataset.isAsked;
  for (const input of step.querySelectorAll("[data-is-typed]")) delete input.dataset.isTyped;
  step.querySelector(".not-applicable")?.removeAttribute("open");
  const id = await enter("answer", fields, step.dataset.title);
  await keepPhotos(step, id);
}

function typing_of(step) {
  const input = step.querySelector("input[name=value]");
  if (!input) return;
  input.dataset.isTyped = "yes";
  typing(step);
}

async function keepPhotos(place, eventId) {
  const input = place.querySelector("input[type=file]");
  for (const file of input?.files ?? []) {
    await store.keepPhoto({ photo_id: store.newId(), event_id: eventId, number, pen: me.pen, blob: file });
  }
  if (input) input.value = "";
  sending.flush();
}

export async function used(row) {
  const input = row.querySelector("input");
  const value = input.value.trim();
  delete input.dataset.isTyped;
  if (!value || value === String(copy.state.parts[row.dataset.row]?.used ?? "")) return;
  forgive(row);
  await enter("used", { row: Number(row.dataset.row), used: value }, row.querySelector("strong").textContent);
}

export async function add(form) {
  const data = new FormData(form);
  const fields = Object.fromEntries(["part", "place", "quantity", "sure"].map((name) => [name, String(data.get(name) ?? "").trim()]));
  if (!fields.part || !fields.quantity) {
    refuse(form, W.say_part);
    return;
  }
  forgive(form);
  fields.sure ||= form.dataset.sure ?? "";
  delete form.dataset.sure;
  await enter("add", fields, `${fields.quantity} × ${fields.part}`);
  form.reset();
}

function readingsTyped() {
  return [...sheet.querySelectorAll(".faces > li")].flatMap((face) => {
    const counter = face.id.replace("counter-", "");
    const value = (name) => face.querySelector(`[name=c${counter}-${name}]:checked, input:not([type=radio])[name=c${counter}-${name}]`)?.value.trim() ?? "";
    const fields = { counter: Number(counter), value: value("value"), step: value("step"), before_reset: value("before_reset"), face_start: value("face_start"), sure: value("sure") };
    const known = copy.state.readings[counter];
    if (!fields.value || (known && String(known.value) === fields.value && (known.step || "continued") === (fields.step || "continued"))) return [];
    return [{ fields, name: face.querySelector("label strong").textContent }];
  });
}

export async function keepReadings() {
  const ids = [];
  for (const { fields, name } of readingsTyped()) ids.push(await enter("reading", fields, name));
  for (const input of sheet.querySelectorAll(".faces [data-is-typed]")) delete input.dataset.isTyped;
  // With signal a wrong reading is said before the signature; without, it is looked at when it arrives.
  await Promise.race([sending.flush(), new Promise((resolve) => setTimeout(resolve, 4000))]);
  return ids;
}

let isSigning = false;
/** A finger that slips signs once. */
export async function sign(form, button) {
  if (isSigning) return;
  isSigning = true;
  try {
    await signOnce(form, button);
  } finally {
    isSigning = false;
  }
}

async function signOnce(form, button) {
  if (copy.state.isSigned) return;
  await Promise.all([...sheet.querySelectorAll("[data-row]")].map(used));
  const refusedBefore = sheet.querySelectorAll(".faces .row-error:not([hidden]), .faces .errors:not(.row-error)").length;
  await keepReadings();
  if (button?.value === "keep") return;
  if (sheet.querySelectorAll(".faces .errors.from-shop").length > 0 || refusedBefore > 0) return;
  const data = new FormData(form);
  const text = (name) => String(data.get(name) ?? "").trim();
  const minutes = text("labour_minutes");
  const open = openChecks();
  const back = openReturns();
  const wrong = (back.length && !data.has("leave_undone") && say(W.open_returns, { named: named(back) }))
    || (open.length && !data.has("leave_undone") && W.open_left)
    || ((!/^\d+$/.test(minutes) || Number(minutes) > 60 * 24 * 7) && W.say_minutes)
    || (!text("signature") && W.say_name);
  const place = form.querySelector("#signing");
  if (wrong) {
    refuse(place, wrong);
    return;
  }
  forgive(place);
  await enter("sign", { signature: text("signature"), drawn: text("drawn"), labour_minutes: minutes, leave_undone: data.has("leave_undone"), sure: place.dataset.sure ?? "" }, W.signature);
  delete place.dataset.sure;
}

export async function found() {
  const place = document.getElementById("report");
  const text = document.getElementById("found-text").value.trim();
  if (!text) {
    refuse(place, W.say_found);
    return;
  }
  forgive(place);
  const id = await enter("found", { text, is_grave: document.getElementById("found-grave").checked, line: "" }, text);
  await keepPhotos(place, id);
  document.getElementById("found-text").value = "";
  document.getElementById("found-grave").checked = false;
  place.removeAttribute("open");
}
