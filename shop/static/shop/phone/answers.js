// What the shop says of what was sent: a refusal goes back to where it was typed.

import * as sending from "./sending.js";
import { askLeft } from "./asking.js";
import { W, copy, isCheck, number, sheet, steps } from "./copy.js";
import { draw, typing } from "./drawing.js";
import { refuse } from "./refusing.js";
import { say } from "./saying.js";
import { keepTyped } from "./typed.js";

let isOld = false;
let isRefused = false;

/** Where on the page an entry belongs, for the words of a refusal. */
function placeOf({ kind, fields }) {
  if (kind === "answer") return document.getElementById(`step-${fields.step}`);
  if (kind === "used" && fields.part) return document.getElementById("added");
  if (kind === "used") return sheet.querySelector(`[data-row="${fields.row}"]`);
  if (kind === "take_off") return sheet.querySelector(fields.row ? `[data-row="${fields.row}"]` : "form[data-kind=add]");
  if (kind === "add" || kind === "take") return sheet.querySelector(`form[data-kind=${kind}]`);
  if (kind === "reading") return document.getElementById(`counter-${fields.counter}`);
  if (kind === "found") return document.getElementById("report");
  if (kind === "next") return sheet.querySelector(`form[data-kind=next][data-line="${fields.line}"]`);
  if (["clock", "hand_over", "wait"].includes(kind)) return sheet.querySelector(`form[data-kind=${kind}]`);
  return document.getElementById("signing");
}

/** A refused entry stays where it was typed, to be put right. */
function putBack({ kind, fields }, words, field) {
  const place = placeOf({ kind, fields });
  if (!place) return;
  if (kind === "add") {
    for (const [name, value] of Object.entries(fields)) {
      const input = place.elements[name];
      if (input && value) input.value = value;
    }
    place.closest("details").open = true;
    // Only a manager's page has it.
    const why = place.querySelector(".why-expired");
    if (why && field === "expired_reason") why.hidden = false;
  }
  if (kind === "sign") place.hidden = false; // closed while it was on its way
  if (kind === "hand_over" || kind === "wait") place.closest("details")?.setAttribute("open", "");
  // A question: the same once more is its answer.
  if (field === "sure") place.dataset.sure = "yes";
  if (kind === "found") {
    document.getElementById("found-text").value = fields.text;
    place.open = true;
  }
  const input = place.querySelector("input[name=value], input[name^=used-]");
  const typed = fields.value || fields.used;
  if (input && typed && (!fields.unit || fields.unit === place.dataset.unit)) {
    input.value = typed;
    input.dataset.isTyped = "yes";
    if (fields.left_value && isCheck(place)) {
      const left = askLeft(place);
      left.value = fields.left_value;
      left.dataset.isTyped = "yes";
    }
  }
  if (kind === "reading") {
    const sure = place.querySelector(`[name=c${fields.counter}-sure]`);
    if (sure) sure.value = fields.value;
    place.querySelector("details")?.setAttribute("open", "");
    faceError(place, words);
    return;
  }
  if (kind === "answer" && words === W.say_remedy) place.dataset.isAsked = "yes";
  if (kind === "answer" && input) {
    typing(place);
    const found = place.querySelector("[name=finding_text]");
    if (found && fields.finding_text) {
      found.value = fields.finding_text;
      found.dataset.isTyped = "yes";
    }
    keepTyped(place);
  }
  refuse(place, words);
}

function faceError(face, words) {
  face.querySelector(".from-shop")?.remove();
  const line = document.createElement("p");
  line.className = "errors from-shop";
  line.setAttribute("role", "alert");
  line.textContent = words;
  face.querySelector(".field").append(line);
}

/** What the page says of an entry that is no longer here, until the shop draws it anew. */
function arrives({ kind, fields, event_id }) {
  const here = copy.hasArrived;
  if (kind === "clock") here.clock = fields.does;
  if (kind === "wait" || kind === "hand_over") here.clock = "stop";
  if (kind === "take") here.take = true;
  if (kind === "add") here.added.push({ ...fields, event: event_id });
  if (kind === "used") for (const each of here.added) each.isUsed ||= each.part === fields.part;
  if (kind === "take_off") here.off.push(fields);
}

document.addEventListener("outcome", async ({ detail: { entry, outcome, isLive } }) => {
  if (entry.number !== number) return;
  if (entry.kind === "reading" && outcome.state !== "refused") placeOf(entry)?.querySelector(".from-shop")?.remove();
  // Nothing was typed for a clock: where the sheet is closed, its own page says so.
  isRefused ||= outcome.state === "refused" && isLive && entry.kind !== "clock";
  if (outcome.state === "refused" && isLive) putBack(entry, outcome.words, outcome.field);
  // The shop draws anew where parts lie; when all has been sent, so that nothing waits meanwhile.
  // What is typed elsewhere on the page keeps it from being drawn anew: then this says what arrived.
  if (outcome.state !== "taken") return;
  arrives(entry);
  if (["add", "take", "take_off", "clock", "wait", "next", "hand_over"].includes(entry.kind)) isOld = true;
});
document.addEventListener("photo-sent", ({ detail: { photo } }) => {
  copy.photosLeft.set(photo.event_id, (copy.photosLeft.get(photo.event_id) ?? 0) + 1);
  draw();
});
document.addEventListener("photo-refused", ({ detail: { photo, words } }) => {
  if (photo.number !== number) return;
  const answered = steps.find((step) => copy.state.steps[step.dataset.step]?.event === photo.event_id);
  refuse(answered ?? document.getElementById("report"), say(W.photo_refused, { words }));
  draw();
});
document.addEventListener("snapshot", ({ detail }) => {
  if (detail.number !== number) return;
  copy.snapshot = detail;
  copy.photosLeft.clear();
  draw();
});
document.addEventListener("outbox", () => {
  const waits = sending.state.kept + sending.state.sending;
  if (!waits && !isRefused && !["drafted", "handed_out", "under_way"].includes(copy.snapshot.state)) location.assign(sheet.dataset.signed);
  else if (!waits && isOld && !sheet.querySelector("[data-is-typed]")) location.reload();
  else draw();
});
