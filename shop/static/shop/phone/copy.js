// The technician's copy in hand: its page, its words, what the shop said of it, how it stands.

import { say } from "./saying.js";

const read = (id) => JSON.parse(document.getElementById(id).textContent);

export const sheet = document.getElementById("sheet");
export const W = read("words");
export const number = Number(sheet.dataset.number);
export const me = { pen: sheet.dataset.pen, name: sheet.dataset.name, person: Number(sheet.dataset.person) };
export const steps = [...sheet.querySelectorAll("[data-step][data-section]")];
/** What the shop said last, and with what is kept here over it (`overlaid`). */
export const copy = { snapshot: read("snapshot"), state: read("snapshot") };

/** "1,234.5", "−20", "57" as a number; null for anything else. */
export function numberOf(text) {
  const plain = text.trim().replaceAll(",", "").replace("−", "-");
  return /^-?(\d+\.?\d*|\.\d+)$/.test(plain) && Math.abs(Number(plain)) < 1e8 ? Number(plain) : null;
}

/** "18/16/13" as its three numbers; null for anything else, counts too: the shop turns those into a code. */
function codeOf(text) {
  const found = /^\s*(\d+)\s*\/\s*(\d+)\s*\/\s*(\d+)\s*$/.exec(text);
  return found ? found.slice(1).map(Number) : null;
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

/** Cautions that this person had read when the page came, and locks of his own that he had put on. */
const mine = new Set(sheet.dataset.mine.split(" ").filter(Boolean));
/** How far this phone's clock was behind the shop's when the page came. [ms] */
const behind = Date.parse(sheet.dataset.now) - performance.timeOrigin;

/** The answer of a step as it stands for this person: each reads the cautions and puts on a lock himself. */
export function entryOf(step) {
  const entry = copy.state.steps[step.dataset.step];
  const isEachPersons = step.dataset.section === "caution" || step.dataset.phase === "lock";
  return !isEachPersons || entry?.who === me.person || mine.has(step.dataset.step) ? entry : undefined;
}

const instantOf = (entry) => (entry.instant ? Date.parse(entry.instant) : Date.parse(entry.made) + behind);

function isDone(step) {
  const entry = entryOf(step);
  return Boolean(entry) && (step.dataset.section !== "zero" || numberOf(String(entry.value ?? "")) === 0);
}

/** Whether what a step proved must be proved again before a check: as shop/isolation.py decides it. */
function isSpent(step, wanted, started) {
  if (!(wanted.opens.length || (wanted.forElectrician && !wanted.isRun))) return false;
  const proves = (step.dataset.proves ?? "").split(" ").filter(Boolean);
  const isProof = "electrician" in step.dataset || proves.some((each) => wanted.opens.includes(each));
  if (!isProof && (!["lock", "verify"].includes(step.dataset.phase) || proves.length)) return false;
  const at = instantOf(entryOf(step));
  return started > at || (isProof && Date.now() + behind - at > 1000 * Number(sheet.dataset.proofHoldsS));
}

/**
 * What this person must do, or do again, before a check; without a check, what was never done.
 * `opensIt`: false for an answer by which nothing is opened, such as not applicable.
 */
export function lacking(check = null, opensIt = true) {
  const wanted = {
    opens: (check?.dataset.opens ?? "").split(" ").filter(Boolean),
    isRun: check !== null && "isRun" in check.dataset,
    forElectrician: check !== null && "electrician" in check.dataset,
  };
  const runs = steps.filter((step) => "isRun" in step.dataset && !["", "na"].includes(entryOf(step)?.answer ?? ""));
  const started = Math.max(0, ...runs.map((step) => instantOf(entryOf(step))));
  return steps.filter((step) => {
    if (!isBefore(step) || (wanted.isRun && step.dataset.section !== "caution")) return false;
    if ("electrician" in step.dataset && !wanted.forElectrician) return false;
    return !isDone(step) || (opensIt && isSpent(step, wanted, started));
  });
}

export const openChecks = () => steps.filter((step) => isCheck(step) && !entryOf(step));
/** What brings the rig back to service, once something was locked out. */
export function openReturns() {
  const isOut = steps.some((step) => step.dataset.section === "lockout" && entryOf(step)?.answer === "done");
  return isOut ? steps.filter((step) => step.dataset.section === "return" && !entryOf(step)) : [];
}

/** The first three by name, and how many more. */
export function named(some) {
  const first = some.slice(0, 3).map((step) => step.dataset.title).join(", ");
  return some.length > 3 ? say(W.and_more, { named: first, n: some.length - 3 }) : first;
}
