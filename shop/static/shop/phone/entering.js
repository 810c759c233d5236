// Takes what is entered into the browser's own database, having looked at it as the shop would.

import * as sending from "./sending.js";
import * as store from "./store.js";
import { askLeft, askWhy, leftInput } from "./asking.js";
import { SEEN_TO, lacksOf } from "./as_left.js";
import { W, copy, firstOf, isCheck, isOut, isReturn, isTooFine, lacking, me, named, number, openChecks, openReturns, sheet } from "./copy.js";
import { drawMinutes } from "./clocked.js";
import { notNumbers, numberOf, plainOf, readFaces } from "./figures.js";
import { isKnown, meant } from "./known.js";
import { reported } from "./parts.js";
import { asks } from "./plausible.js";
import { forgive, refuse } from "./refusing.js";
import { say } from "./saying.js";
import { draw, typing } from "./drawing.js";
import { quantityWrong, replacedWithout, unsaidUse } from "./uses.js";
import { forgetAllTyped, forgetTyped, unkept } from "./typed.js";

/** Keep an entry, draw it, send it. Resolves with its id once it is safe on this phone. */
export async function enter(kind, fields, shown = "") {
  const entry = { event_id: store.newId(), number, kind, fields, shown, ...me, at: new Date().toISOString() };
  await store.keep(entry);
  store.lasting();
  await draw();
  sending.flush();
  return entry.event_id;
}

/** As many whole digits as the shop keeps of a value. */
const TOO_LARGE = 1e8;

/** Out of limit here, or found to be so by the shop, which asked. */
const mayBeOut = (step, text) => isOut(step, text) || step.dataset.isAsked === "yes";

/** Whether an answer says that something was done; a gauge that does not read zero is never held back. */
function saysDone(step, fields) {
  if (!["done", "value", "choice"].includes(fields.answer)) return false;
  return step.dataset.section !== "zero" || numberOf(fields.value) === 0;
}

/** What comes before a step of lockout or of the way back: the first of it, to be gone to. */
function keptInOrder(step, fields) {
  const { steps, isAgain } = saysDone(step, fields) ? firstOf(step) : { steps: [] };
  if (!steps.length) return null;
  return { words: say(isAgain ? W.again_first : W.comes_first, { named: named(steps.slice(0, 1)) }), missing: steps[0] };
}

/** What is to be done before a step takes such an answer: the words of it, and where to go first. */
function keptBack(step, fields) {
  if (!isCheck(step)) return keptInOrder(step, fields);
  const before = lacking(step, saysDone(step, fields) && fields.choice !== W.carry_forward);
  if (!before.length) return null;
  const first = before.filter((each) => !isReturn(each));
  return { words: say(saidOf(first), { named: named(first.length ? first : before) }), missing: before[0] };
}

/** first: what comes before a check, beside the way back. */
function saidOf(first) {
  if (!first.length) return W.locks_off;
  if (first.some((each) => lacking().includes(each))) return W.locked;
  return first.some((each) => each.dataset.proves) ? W.look_again : W.again_first;
}

function answerWrong(step, fields) {
  if ("electrician" in step.dataset && !W.is_electrician) return W.electrician;
  if (fields.answer === "na" && !fields.note) return W.say_why;
  if (fields.answer !== "value") return "";
  if (!fields.value) return W.enter_value;
  const wrong = valueWrong(step, fields.value) || (fields.left_value && valueWrong(step, fields.left_value));
  if (wrong || step.dataset.section !== "check") return wrong;
  const lacks = lacksOf({
    isOut: mayBeOut(step, fields.value),
    leftIsOut: fields.left_value ? isOut(step, fields.left_value) : null,
    remedy: fields.remedy,
    hasText: fields.finding_text !== "",
  });
  return lacks && W[lacks];
}

/** What is wrong with a value as it was typed; "" where nothing is. */
function valueWrong(step, text) {
  const value = numberOf(text);
  if (value === null && !("isCode" in step.dataset)) return W.a_number;
  if (Math.abs(value) >= TOO_LARGE) return W.too_large;
  return isTooFine(step, text) ? say(W.most_decimals, { n: step.dataset.places }) : "";
}

/** A tick of lockout or of the way back is taken back by a second tap, beside it: a glove that slips takes none back. */
function askBack(step, row) {
  const asked = step.querySelector(".take-back");
  if (asked) {
    asked.remove();
    return;
  }
  const button = document.createElement("button");
  button.className = "button wide take-back";
  button.name = "answer";
  button.value = "cleared";
  button.textContent = W.take_back;
  row.after(button);
}

export async function answer(form, button) {
  const step = form.closest("[data-step][data-section]");
  if (button?.classList.contains("check-row") && button.value === "cleared" && !isCheck(step)) {
    askBack(step, button);
    return;
  }
  if (button?.classList.contains("not-applicable")) {
    askWhy(step);
    step.querySelector("[name=note]").focus();
    return;
  }
  if (button?.classList.contains("read-again")) {
    step.dataset.readsAgain = "yes";
    askLeft(step).focus();
    button.hidden = true;
    return;
  }
  const data = new FormData(form, button);
  const text = (name) => String(data.get(name) ?? "").trim();
  const measured = (name) => ("isCode" in step.dataset ? text(name) : (plainOf(text(name)) ?? text(name)));
  const fields = {
    step: Number(step.dataset.step),
    answer: text("answer"),
    value: measured("value"),
    left_value: text("answer") === "value" ? measured("left_value") : "",
    unit: text("unit"),
    choice: text("choice"),
    note: text("note"),
    remedy: "",
    finding_text: "",
    is_grave: false,
    seen: copy.state.steps[step.dataset.step]?.event ?? "",
  };
  if (step.dataset.section === "check" && (mayBeOut(step, fields.value) || isOut(step, fields.left_value))) {
    Object.assign(fields, { remedy: text("remedy"), is_grave: data.has("is_grave") });
  }
  // What was typed is kept as a note where it opens no found work; not the words of an earlier answer.
  const words = step.querySelector("[name=finding_text]");
  if (SEEN_TO.includes(fields.remedy) || words?.dataset.isTyped) fields.finding_text = text("finding_text");
  const back = keptBack(step, fields);
  const wrong = back?.words ?? answerWrong(step, fields);
  if (wrong) {
    typing_of(step);
    refuse(step, wrong, back ? { missing: back.missing, still: () => keptBack(step, fields) } : {});
    return;
  }
  forgive(step);
  delete step.dataset.isAsked;
  delete step.dataset.readsAgain;
  for (const input of step.querySelectorAll("[data-is-typed]")) delete input.dataset.isTyped;
  step.querySelector(".why")?.remove();
  const id = await enter("answer", fields, step.dataset.title);
  await forgetTyped(step);
  await keepPhotos(step, id);
}

function typing_of(step) {
  const input = step.querySelector("input[name=value]");
  if (!input) return;
  input.dataset.isTyped = "yes";
  const left = leftInput(step);
  if (left?.value.trim()) left.dataset.isTyped = "yes";
  typing(step);
}

async function keepPhotos(place, eventId) {
  const input = place.querySelector("input[type=file]");
  for (const file of input?.files ?? []) {
    await store.keepPhoto({ photo_id: store.newId(), event_id: eventId, number, pen: me.pen, blob: file });
  }
  if (input) {
    if (input.files.length) await draw();
    input.value = "";
    input.previousElementSibling.textContent = W.add_photo;
  }
  sending.flush();
}

/** Resolves with whether what stands beside a part can be kept. */
export async function used(row) {
  const input = row.querySelector("input");
  if (input.closest(".field").hidden) return true; // taken off
  const value = input.value.trim();
  const wrong = value && quantityWrong(value, { comeWhole: "comeWhole" in row.dataset });
  if (wrong) {
    refuse(row, wrong);
    return false;
  }
  delete input.dataset.isTyped;
  forgive(row);
  if (!value || value === String(copy.state.parts[row.dataset.row]?.used ?? "")) return true;
  await enter("used", { row: Number(row.dataset.row), used: value }, row.querySelector("strong").textContent);
  return true;
}

/** Shown where the number or the place is none that came with the page, and there is no shop to ask. */
const questions = [...sheet.querySelectorAll("[data-unknown]")];
/** What is not known here and is to be kept as it was typed. */
const meantAsTyped = new Set();

/** What was typed there is another: it is asked about anew. */
export function forgetMeant(field) {
  meantAsTyped.delete(field);
  for (const each of questions) if (each.dataset.unknown === field) each.hidden = true;
}

/** The question's own button was pressed. */
export function isMeant(question) {
  meantAsTyped.add(question.dataset.unknown);
  return add(question.closest("form"));
}

export async function add(form) {
  const data = new FormData(form);
  const fields = Object.fromEntries(["part", "place", "quantity", "sure", "expired_reason"].map((name) => [name, String(data.get(name) ?? "").trim()]));
  if (!fields.part || !fields.quantity) {
    refuse(form, W.say_part);
    return;
  }
  forgive(form);
  const amount = form.elements.quantity.closest(".field");
  const wrong = quantityWrong(fields.quantity);
  if (wrong) {
    refuse(amount, wrong);
    return;
  }
  forgive(amount);
  const isAsked = (field) => !meantAsTyped.has(field) && !isKnown[field](fields[field]) && sending.isOutOfReach();
  const asked = questions.find((each) => isAsked(each.dataset.unknown));
  for (const each of questions) each.hidden = each !== asked;
  if (asked) {
    asked.querySelector("button").focus();
    return;
  }
  meantAsTyped.clear();
  fields.sure ||= form.dataset.sure ?? "";
  delete form.dataset.sure;
  await enter("add", fields, `${fields.quantity} × ${fields.part}`);
  form.reset();
  for (const input of form.querySelectorAll("[data-is-typed]")) delete input.dataset.isTyped;
  await forgetTyped(form);
  const why = form.querySelector(".why-expired");
  if (why) why.hidden = true;
}

/** What was added here has no row yet: by its number. */
export function allUsed({ part, quantity }) {
  forgive(document.getElementById("added"));
  return enter("used", { row: 0, part, used: quantity }, part);
}

/** Take off what was added by mistake: by the entry that added it, or by its row once the shop has one. */
export const takeOff = ({ row = 0, event = "", part }) => enter("take_off", { row: Number(row), event, part }, say(W.off, { part }));

/** A code that the camera read goes where the part, then the place is asked for; of our own label, what it names. */
export function scanned(code) {
  const form = document.getElementById("scan").closest("form");
  const asked = [...form.querySelectorAll("[data-scans]")];
  const field = asked.find((each) => !each.value.trim()) ?? asked[0];
  field.value = meant(code);
  field.dispatchEvent(new Event("input", { bubbles: true }));
  (asked[asked.indexOf(field) + 1] ?? form.querySelector("[name=quantity]")).focus();
}

function readingsTyped() {
  return readFaces(sheet).filter(({ fields }) => {
    const known = copy.state.readings[fields.counter];
    return !known || String(known.value) !== fields.value || (known.step || "continued") !== (fields.step || "continued");
  });
}

/** Resolves with whether each reading that was typed is kept. */
async function keepReadings() {
  const typed = readingsTyped();
  const wrong = typed.filter(({ fields }) => notNumbers(fields).length);
  for (const { face } of typed) for (const field of face.querySelectorAll(".field")) forgive(field);
  for (const { face, fields } of wrong) {
    for (const name of notNumbers(fields)) refuse(face.querySelector(`[name=c${fields.counter}-${name}]`).closest(".field"), W.a_number);
  }
  if (wrong.length) return false;
  const doubted = typed.filter(({ face, fields }) => asks(face, fields));
  if (doubted.length) {
    doubted[0].face.scrollIntoView({ block: "nearest" });
    return false;
  }
  for (const { face, fields, name } of typed) {
    await enter("reading", fields, name);
    await forgetTyped(face);
  }
  for (const input of sheet.querySelectorAll(".faces [data-is-typed]")) delete input.dataset.isTyped;
  // With signal a wrong reading is said before the signature; without, it is looked at when it arrives.
  await Promise.race([sending.flush(), new Promise((resolve) => setTimeout(resolve, 4000))]);
  return true;
}

/** What is open and not said to be left undone: the words of it, and where to go first. */
function leftOpen(form) {
  if (form.elements.leave_undone.checked) return null;
  const back = openReturns();
  if (back.length) return { words: say(W.open_returns, { named: named(back) }), missing: back[0] };
  return openChecks().length ? { words: W.open_left } : null;
}

/** What is still to be said before the signature, as `leftOpen`: of the checks, then of the parts in the tray. */
const unfinished = (form) => leftOpen(form) ?? unsaidUse();

/** Asks beside the box that nothing was drawn into. */
export const byName = document.getElementById("by-name");

/** Asks about what was replaced without a part; `meant`: that it is so. */
export const noParts = document.getElementById("no-parts");

/** Asks about what is typed and not kept, which the signature would lose; `meant`: that it may. */
export const notKept = document.getElementById("not-kept");

/** Unfold what its link leads to. */
export function unfoldNotKept() {
  const first = document.getElementById(notKept.querySelector("a").hash.slice(1));
  for (let fold = first.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
}

/** Put a question about the signature where it is seen. */
function ask(question) {
  question.hidden = false;
  question.classList.remove("answered");
  question.scrollIntoView({ block: "center" });
  question.focus({ preventScroll: true }); // not its button: the key that led here would press that too
}

let isSigning = false;
/** A finger that slips signs once. isByName: the name is meant to stand alone. */
export async function sign(form, button, { isByName = false } = {}) {
  if (isSigning) return;
  isSigning = true;
  try {
    await signOnce(form, button, isByName);
  } finally {
    isSigning = false;
  }
}

async function signOnce(form, button, isByName) {
  if (copy.state.isSigned) return;
  const rows = [...sheet.querySelectorAll("[data-row]")];
  const isSound = await Promise.all(rows.map(used));
  const refusedBefore = sheet.querySelectorAll(".faces .errors:not(.row-error)").length;
  const isAnyNew = readingsTyped().length > 0;
  if (!(await keepReadings())) return;
  if (button?.value === "keep") {
    if (!isAnyNew) document.getElementById("readings-said").textContent = W.no_reading;
    return;
  }
  if (isSound.includes(false)) {
    location.hash = rows[isSound.indexOf(false)].id;
    return;
  }
  if (sheet.querySelectorAll(".faces .errors.from-shop").length > 0 || refusedBefore > 0) return;
  drawMinutes();
  const data = new FormData(form);
  const text = (name) => String(data.get(name) ?? "").trim();
  const minutes = text("labour_minutes");
  const open = unfinished(form);
  const wrong = open?.words
    || ((!/^\d+$/.test(minutes) || Number(minutes) > 60 * 24 * 7) && W.say_minutes)
    || (!text("signature") && W.say_name);
  const place = form.querySelector("#signing");
  byName.hidden = true;
  if (wrong) {
    refuse(place, wrong, open ? { missing: open.missing, still: () => unfinished(form) } : {});
    return;
  }
  forgive(place);
  const lost = unkept();
  notKept.hidden = true;
  noParts.hidden = true;
  if (lost && notKept.dataset.meant !== lost.words) {
    notKept.querySelector("p").textContent = lost.words;
    notKept.querySelector("a").href = `#${lost.first}`;
    ask(notKept);
    return;
  }
  const bare = replacedWithout();
  if (bare && noParts.dataset.meant !== bare) {
    noParts.querySelector("p").textContent = bare;
    ask(noParts);
    return;
  }
  const drawn = text("drawn").includes("L") ? text("drawn") : ""; // a touch alone draws no line
  if (!drawn && !isByName) {
    ask(byName);
    return;
  }
  await enter("sign", { signature: text("signature"), drawn, labour_minutes: minutes, leave_undone: data.has("leave_undone"), sure: place.dataset.sure ?? "", no_parts: Boolean(bare) }, W.signature);
  delete place.dataset.sure;
  await forgetAllTyped();
}

export async function found() {
  const place = document.getElementById("report");
  const text = document.getElementById("found-text").value.trim();
  if (!text) {
    refuse(place, W.say_found);
    return;
  }
  forgive(place);
  const line = document.getElementById("found-line")?.value ?? "";
  const id = await enter("found", { text, is_grave: document.getElementById("found-grave").checked, line }, text);
  await forgetTyped(place);
  await keepPhotos(place, id);
  document.getElementById("found-text").value = "";
  document.getElementById("found-grave").checked = false;
  for (const input of place.querySelectorAll("[data-is-typed]")) delete input.dataset.isTyped;
  place.removeAttribute("open");
  reported();
}

/** Keep what stands in a form that unfolds, and fold it; what was typed stays there until the shop has it. */
async function enterFolded(form, kind, fields, shown, wrong) {
  if (wrong) {
    refuse(form, wrong);
    return;
  }
  forgive(form);
  for (const input of form.querySelectorAll("[data-is-typed]")) delete input.dataset.isTyped;
  form.closest("details").removeAttribute("open");
  await enter(kind, fields, shown);
  await forgetTyped(form);
}

export function waitFor(form) {
  const missing = form.elements.missing.value.trim();
  const picked = [...form.querySelectorAll("[name=parts]:checked")];
  const named = picked.map((box) => box.closest("label").textContent.trim());
  const fields = { missing, parts: picked.map((box) => Number(box.value)) };
  return enterFolded(form, "wait", fields, [...named, missing].filter(Boolean).join("; "), missing || picked.length ? "" : W.say_missing);
}

export function handOver(form) {
  const { words, to } = form.elements;
  const fields = { words: words.value.trim(), to: to.value, whom: to.value ? to.selectedOptions[0].textContent : "" };
  return enterFolded(form, "hand_over", fields, fields.words, fields.words ? "" : W.say_word);
}
