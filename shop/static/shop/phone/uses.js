// What is said of the parts used, as the shop says it on arrival: a figure that is none, more than lies in the tray, and
// a check that says that something was replaced where no part is noted for it.

import { W, checks, copy, entryOf, named, sheet } from "./copy.js";
import { isQuantity, numberOf } from "./figures.js";
import { isCode, meant } from "./known.js";
import { say } from "./saying.js";

const asWritten = (text) => text.trim().toLowerCase();

/** Why a quantity as typed is none; nothing where it is one, or where only the shop can tell: in packs, in steps. */
export function quantityWrong(typed, { comeWhole = false } = {}) {
  const wrong = isQuantity(typed);
  if (wrong !== true) return wrong === null ? W.below_zero : say(W.no_quantity, { typed: wrong.slice(0, 40) });
  return comeWhole && !Number.isInteger(numberOf(typed) ?? 0) ? say(W.come_whole, { units: numberOf(typed) }) : "";
}

/** How much of a part lies in the tray, with what was taken there without signal; null where only the shop can tell. */
function inTray(known) {
  const isIt = (each) => isCode(each.part) || asWritten(meant(each.part)) === asWritten(known.number);
  const added = copy.state.added.filter((each) => !each.off && isIt(each));
  if (added.some((each) => isCode(each.part) || numberOf(each.quantity) === null)) return null; // whose code, what pack?
  if (copy.state.isTaken && known.promised === undefined) return null; // told by the shop before it told that
  const there = Number(known.taken) + (copy.state.isTaken ? Number(known.promised) : 0);
  return added.reduce((sum, each) => sum + numberOf(each.quantity), there);
}

/** "2 pieces", "0.75 gal": as `in_words` says it. */
function inWords(value, { one, many, places }) {
  const figure = value.toLocaleString("en-US", { minimumFractionDigits: Number(places), maximumFractionDigits: Number(places) });
  return `${figure} ${value === 1 ? one : many}`.trim();
}

/** That more of a part is noted as used than lies in the tray; nothing where it does, or where only the shop can tell. */
export function moreThanThere(row) {
  const known = copy.state.parts[row.dataset.row];
  const used = numberOf(String(known?.used ?? ""));
  const there = used === null ? null : inTray(known);
  if (there === null || used - there < 1e-9) return "";
  return say(W.used_more, { part: known.name, used: inWords(used, row.dataset), taken: inWords(there, row.dataset) });
}

/** Whether what was added here is a part that the sheet has a row of: that says how much was used, all together. */
export const hasRow = (added) => Object.values(copy.state.parts).some((known) => asWritten(known.number) === asWritten(meant(added.part)));

/** What lies in the tray and nobody said how much of it was used, as the shop asks: the words, and where to say it. */
export function unsaidUse() {
  const isUnsaid = (known) => known && !known.off && (known.used ?? "") === "" && (inTray(known) ?? Number(known.taken)) > 0;
  const rows = [...sheet.querySelectorAll("[data-row]")].filter((row) => isUnsaid(copy.state.parts[row.dataset.row]));
  const extra = copy.state.added.filter((each) => !each.off && !each.isUsed && !hasRow(each));
  const parts = [...rows.map((row) => copy.state.parts[row.dataset.row].name), ...extra.map((each) => each.part)];
  return parts.length ? { words: say(W.used_not_said, { parts: parts.join(", ") }), missing: rows[0] ?? document.getElementById("added") } : null;
}

const isUsed = (key) => {
  const used = copy.state.parts[key]?.used;
  return Boolean(used) && numberOf(String(used)) !== 0;
};

/** What is asked before the signature: checks that say that a part was replaced, and none is noted for their line. */
export function replacedWithout() {
  if (copy.state.added.some((each) => !each.off)) return ""; // it has no row here yet
  const says = (step, entry) => entry.remedy === "replaced" || (entry.answer === "choice" && (step.dataset.replaced ?? "").split("|").includes(entry.choice));
  const bare = checks.filter((step) => {
    const entry = entryOf(step);
    return entry && says(step, entry) && !(step.dataset.parts ?? "").split(" ").some(isUsed);
  });
  return bare.length ? say(W.no_part_used, { named: named(bare) }) : "";
}

/** Beside each part, that more was used than there is. */
export function drawUses() {
  for (const row of sheet.querySelectorAll("[data-row]")) {
    const line = row.querySelector(".too-much");
    line.textContent = moreThanThere(row);
    line.hidden = !line.textContent;
  }
}
