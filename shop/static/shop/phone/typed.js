// What is typed, chosen or picked on this sheet and not entered yet, kept on this phone for who typed it: a page that is
// closed loses nothing, and nothing of it is sent. Of photos only how many there were: a browser gives no file back.

import * as store from "./store.js";
import { askLeft, askWhy } from "./asking.js";
import { W, listed, me, number, sheet } from "./copy.js";
import { typing } from "./drawing.js";
import { say } from "./saying.js";

const NAME = `typed ${number} ${me.person}`;
/** What is entered as one: a step, a counter, a form that unfolds, found work, the minutes of the signature. */
const PLACES = "[data-step][data-section], .faces > li, form[data-kind=next], form[data-kind=wait], form[data-kind=hand_over], form[data-kind=add], #report, #minutes";
let kept = {};

export const placeOf = (field) => field.closest(PLACES);
const keyOf = (place) => place.dataset.step || place.id || `${place.dataset.kind} ${place.dataset.line ?? ""}`.trim();
const fieldsOf = (place) => [...place.querySelectorAll("input:not([type=hidden]), textarea, select")];
const isPicked = (field) => ["radio", "checkbox"].includes(field.type);
const nameOf = (field) => field.name || field.id;

/** Whether somebody put something there. */
const isChanged = (field) => (isPicked(field) ? field.checked && !field.defaultChecked : Boolean(field.dataset.isTyped) && field.value.trim() !== "");

function write() {
  return Object.keys(kept).length ? store.remember(NAME, kept) : store.forget(NAME);
}

/** What stands in its fields now. */
export function keepTyped(place) {
  const fields = fieldsOf(place);
  const said = fields.filter(isChanged).map((field) => [nameOf(field), field.value.trim()]);
  const photos = fields.reduce((sum, field) => sum + (field.files?.length ?? 0), 0);
  if (said.length || photos) kept[keyOf(place)] = { said, photos, unit: place.dataset.unit };
  else delete kept[keyOf(place)];
  return write();
}

/** It is entered. */
export function forgetTyped(place) {
  for (const note of place.querySelectorAll(".typed-here")) note.remove();
  if (!(keyOf(place) in kept)) return undefined;
  delete kept[keyOf(place)];
  return write();
}

/** The sheet is signed: nothing more is entered on it. */
export function forgetAllTyped() {
  kept = {};
  return write();
}

/** What a place is called where it is asked about. */
function nameOfPlace(place) {
  if (place.dataset.title) return place.dataset.title;
  const { kind } = place.dataset;
  if (kind === "next") return say(W.typed_next, { line: place.closest("[data-title]").dataset.title });
  return kind ? W[`typed_${kind}`] : place.matches("li") ? place.querySelector("label strong").textContent : W.typed_found;
}

/**
 * What a signature would lose: the words that ask about it, and the id of where to go, of the first of it; null where
 * nothing is. What is hidden here, typed in another unit, is not asked about; the minutes are signed with.
 */
export function unkept() {
  const isLost = (place) => place.id !== "minutes" && keyOf(place) in kept && kept[keyOf(place)].unit === place.dataset.unit;
  const places = [...sheet.querySelectorAll(PLACES)].filter(isLost);
  if (!places.length) return null;
  const fields = fieldsOf(places[0]);
  const first = fields.find(isChanged) ?? fields[0];
  return { words: say(W.typed_unkept, { named: listed(places.map(nameOfPlace)) }), first: first.closest("[id]").id };
}

function put(place, said) {
  for (const field of fieldsOf(place)) {
    for (const [name, value] of said) {
      if (name !== nameOf(field) || field.type === "file") continue;
      if (isPicked(field)) field.checked ||= field.value === value;
      else if (!field.dataset.isTyped) {
        field.value = value;
        field.dataset.isTyped = "yes";
      }
    }
  }
}

function tell(place, words) {
  const note = document.createElement("p");
  note.className = "typed-here";
  note.textContent = words;
  const box = place.querySelector(".stepper");
  if (box) box.after(note);
  else (place.querySelector(".field") ?? place.firstElementChild).before(note);
}

/** Put back what was typed before the page was closed; what was meant in another unit is not. */
export async function putBackTyped() {
  kept = (await store.fact(NAME)) ?? {};
  for (const place of sheet.querySelectorAll(PLACES)) {
    const found = kept[keyOf(place)];
    if (!found?.said || found.unit !== place.dataset.unit) continue;
    const { said, photos } = found;
    const isSaid = (field) => said.some(([name]) => name === field);
    if (place.dataset.step && isSaid("note")) askWhy(place);
    if (isSaid("left_value")) askLeft(place);
    put(place, said);
    if (place.dataset.step && (isSaid("value") || isSaid("left_value"))) typing(place);
    put(place, said); // what was asked only now has fields of its own
    if (said.length) tell(place, W.typed_here);
    if (photos) tell(place, say(photos === 1 ? W.pick_again : W.pick_all_again, { n: photos }));
    const fold = place.matches("details") ? place : place.closest("details") ?? place.querySelector("details.happened");
    if (fold && (!place.matches("li") || said.length > 1)) fold.open = true;
  }
}
