// The technician's copy in hand: its page, its words, what the shop said of it, how it stands.

import { numberOf } from "./figures.js";
import { firstBefore, isLater, stillBefore } from "./locks.js";
import { say } from "./saying.js";

const read = (id) => JSON.parse(document.getElementById(id).textContent);

export const sheet = document.getElementById("sheet");
export const W = read("words");
export const number = Number(sheet.dataset.number);
export const me = { pen: sheet.dataset.pen, name: sheet.dataset.name, person: Number(sheet.dataset.person) };
export const steps = [...sheet.querySelectorAll("[data-step][data-section]")];
/**
 * What the shop said last; with what is kept here over it (`overlaid`); what of the parts and the own clock has arrived
 * since; how far this phone's clock is behind the shop's [ms]; by entry, how many photos wait here, and how many left
 * since the shop spoke.
 */
export const copy = { snapshot: read("snapshot"), state: read("snapshot"), hasArrived: { clock: "", take: false, added: [], off: [] }, taps: new Map(), behind: 0, photosHere: new Map(), photosLeft: new Map(), spent: new Set() };

/** "18/16/13" as its three numbers; null for anything else, counts too: the shop turns those into a code. */
function codeOf(text) {
  const found = /^\s*(\d+)\s*\/\s*(\d+)\s*\/\s*(\d+)\s*$/.exec(text);
  return found ? found.slice(1).map(Number) : null;
}

/** How many decimals a number was typed with. */
const placesOf = (text) => (text.trim().split(".")[1] ?? "").replace(/0+$/, "").length;
/** Whether a number was typed finer than the shop keeps it in the unit of its box. */
export const isTooFine = (step, text) => !("isCode" in step.dataset) && placesOf(text) > Number(step.dataset.places);

/**
 * The value of an answer and its unit: as the shop says it in the units of this page; kept here, as it was
 * typed, which may have been in those of somebody else.
 */
export function valueOf(step, entry) {
  const { unit, system } = step.dataset;
  if (entry.values) return { value: entry.values[system], unit };
  return { value: entry.value ?? "", unit: entry.unit || unit };
}

/** The same of the value as left; null where it was not read again. */
export function leftOf(step, entry) {
  const { unit, system } = step.dataset;
  const value = entry.left_values ? entry.left_values[system] : entry.left_value;
  return value ? { value, unit: entry.left_values ? unit : entry.unit || unit } : null;
}

/** Whether what stands in the box is past a limit of its step; on it, it is not. */
export function isOut(step, text) {
  const { low, high } = step.dataset;
  if ("isCode" in step.dataset) {
    const [code, most] = [codeOf(text), codeOf(high ?? "")];
    return code !== null && most !== null && code.some((each, place) => each > most[place]);
  }
  const value = numberOf(text);
  return value !== null && ((low !== undefined && value < numberOf(low)) || (high !== undefined && value > numberOf(high)));
}

export const isBefore = (step) => ["caution", "lockout", "zero"].includes(step.dataset.section);
export const isCheck = (step) => step.dataset.section === "check";
export const before = steps.filter(isBefore);
export const checks = steps.filter(isCheck);
const returns = steps.filter((step) => step.dataset.section === "return");
const runs = steps.filter((step) => "isRun" in step.dataset);
/** The steps around the checks, in the order in which they are done. */
const around = [...["caution", "lockout", "zero"].flatMap((section) => before.filter((step) => step.dataset.section === section)), ...returns];

/** The answer of a step as it stands for this person: each reads the cautions and puts on a lock himself. */
export function entryOf(step) {
  const entry = copy.state.steps[step.dataset.step];
  const own = copy.state.own[step.dataset.step];
  return !own || entry?.who === me.person ? entry : own[me.person];
}

/** By person, the last instant that the shop told of what they entered; worked out once for each telling. */
const told = { of: null, last: new Map() };
function lastTold(person) {
  if (told.of !== copy.snapshot) {
    const entries = [copy.snapshot.steps, ...Object.values(copy.snapshot.own ?? {})].flatMap(Object.values);
    told.of = copy.snapshot;
    told.last = new Map();
    for (const { who, instant } of entries) told.last.set(who, Math.max(told.last.get(who) ?? -Infinity, Date.parse(instant)));
  }
  return told.last.get(person) ?? -Infinity;
}

/** When something was entered. What is still here came after all of this person's that has arrived: the shop takes the
 * way there for an error of this phone's clock, and never lets one entry come before an earlier one. */
function momentOf(entry) {
  if (entry.instant) return { at: Date.parse(entry.instant), turn: 0 };
  return { at: Math.max(Date.parse(entry.made) + copy.behind, lastTold(entry.who)), turn: entry.turn };
}

const lastOf = (entries) => entries.map(momentOf).reduce((one, other) => (isLater(one, other) ? one : other), null);
const wordsIn = (text) => (text ?? "").split(" ").filter(Boolean);

/** When a person put on his own lock last; of everybody, without one. */
function lockedLast(person = null) {
  const own = before.filter((step) => step.dataset.phase === "lock").map((step) => copy.state.own[step.dataset.step] ?? {});
  const locks = own.flatMap((each) => (person === null ? Object.values(each) : [each[person]])).filter((entry) => entry?.answer === "done");
  return lastOf(locks);
}

function isDone(step, entry) {
  if (!entry) return false;
  if (step.dataset.section === "zero") return numberOf(valueOf(step, entry).value) === 0;
  if (step.dataset.section === "return") return entry.answer === "done";
  return entry.answer !== "na" || step.querySelector(".not-applicable") !== null;
}

/** How the steps around the checks stand for this person, as locks.js takes them; step: which it is. */
function standing() {
  return around.map((step) => {
    const entry = entryOf(step);
    return {
      step,
      isCaution: step.dataset.section === "caution",
      phase: step.dataset.section === "return" ? "return" : (step.dataset.phase ?? ""),
      proves: wordsIn(step.dataset.proves),
      forElectrician: "electrician" in step.dataset,
      isDone: isDone(step, entry),
      ...(entry ? momentOf(entry) : { at: null }),
      locked: entry ? lockedLast(entry.who) : null,
    };
  });
}

/** When something ran last, and a lock was put on; what time it is by the shop's clock. */
function moments() {
  const run = runs.map(entryOf).filter((entry) => !["", "na"].includes(entry?.answer ?? ""));
  return {
    started: lastOf(run),
    locked: lockedLast(),
    at: Date.now() + copy.behind,
    holds: 1000 * Number(sheet.dataset.proofHoldsS),
  };
}

const stepsOf = (found) => found.map((each) => each.step);
const isLockedOut = () => steps.some((step) => step.dataset.section === "lockout" && entryOf(step)?.answer === "done");

/**
 * What this person must do, or do again, before a check; without a check, what was never done.
 * `opensIt`: false for an answer by which nothing is opened, such as not applicable.
 */
export function lacking(check = null, opensIt = true) {
  const of = check?.dataset ?? {};
  const wanted = {
    opens: opensIt ? wordsIn(of.opens) : [],
    isRun: "isRun" in of,
    isAfterReturn: opensIt && (of.back === "work" || (of.back === "locks" && isLockedOut())),
    forElectrician: "electrician" in of,
    // An answer that is put right is no work done anew.
    isStill: opensIt && "isStill" in of && !entryOf(check),
  };
  const now = moments();
  return stepsOf(stillBefore(standing(), wanted, opensIt && check ? now : { ...now, at: null }));
}

/** What comes before a step of lockout or of the way back; whether that was done once, and does not hold any more. */
export function firstOf(step) {
  const listed = standing();
  const first = firstBefore(listed, listed.find((each) => each.step === step), moments());
  return { steps: stepsOf(first), isAgain: first[0]?.isDone ?? false };
}

/**
 * What keeps the checks locked, asked once for all that want the same: what was never done, what each check lacks, and
 * what was done and must be done again before an open one, since the rig ran or a shift went by.
 */
export function locks() {
  const never = lacking();
  const known = new Map();
  const of = new Map();
  const spent = new Set();
  for (const check of checks) {
    const { opens, back } = check.dataset;
    const wants = [opens, back, ...["isRun", "isStill", "electrician"].map((each) => each in check.dataset), Boolean(entryOf(check))].join();
    if (!known.has(wants)) known.set(wants, lacking(check));
    of.set(check, known.get(wants));
    if (entryOf(check)) continue;
    for (const step of known.get(wants)) if (isDone(step, entryOf(step))) spent.add(step);
  }
  for (const step of openReturns()) if (entryOf(step)) spent.add(step);
  return { never, of, spent };
}

export const openChecks = () => checks.filter((step) => !entryOf(step));
/** What brings the rig back to service, once something was locked out. */
export function openReturns() {
  if (!isLockedOut()) return [];
  const locked = lockedLast();
  return returns.filter((step) => {
    const entry = entryOf(step);
    return !entry || (entry.answer === "done" && isLater(locked, momentOf(entry)));
  });
}
/** Whether a check waits for nothing but the way back. */
export const isReturn = (step) => returns.includes(step);

/** The first three names, and how many more. */
export function listed(names) {
  const first = names.slice(0, 3).join(", ");
  return names.length > 3 ? say(W.and_more, { named: first, n: names.length - 3 }) : first;
}

/** The same of steps. */
export const named = (some) => listed(some.map((step) => step.dataset.title));
