// How long the work took, in the signature: what the clocks of all who worked on it say until now, those of this phone
// too, for as long as nobody typed it.

import { W, copy, me, number } from "./copy.js";
import { zone } from "./saying.js";
import { minutesOf } from "./worktime.js";

const box = document.getElementById("labour");
const from = document.getElementById("labour-from");

/** What an entry that is kept here says of its author's time: who hands over or waits for parts stops. */
function tapOf({ kind, fields, number: sheet, at }) {
  const does = kind === "clock" ? fields.does : "stop";
  return { sheet, starts: does === "start", at: Date.parse(at) + copy.behind, isSure: false };
}

const isTap = ({ kind, fields }) => ["clock", "hand_over"].includes(kind) || (kind === "wait" && (fields.missing !== "" || fields.parts.length > 0));

/** @param kept all entries that are on this phone, of any sheet */
export function tapsOf(kept) {
  const taps = new Map();
  const put = (person, tap) => taps.set(person, [...(taps.get(person) ?? []), tap]);
  for (const { person, at, ...tap } of copy.snapshot.taps ?? []) put(person, { ...tap, at: Date.parse(at) });
  for (const entry of kept) if (entry.state !== "refused" && isTap(entry)) put(entry.person, tapOf(entry));
  return taps;
}

/** Show the minutes that the clocks say; none ran: what the shop proposed stands. */
export function drawMinutes() {
  from.hidden = Boolean(box.dataset.isTyped);
  if (from.hidden || copy.state.isSigned) return;
  const closed = Object.fromEntries(Object.entries(copy.snapshot.closed ?? {}).map(([sheet, at]) => [sheet, Date.parse(at)]));
  const given = { sheet: number, now: Date.now() + copy.behind, zone, closed };
  const worked = [...copy.taps].map(([person, taps]) => [person, minutesOf(taps, given)]).filter(([, minutes]) => minutes);
  if (!worked.length) return;
  box.value = worked.reduce((sum, [, minutes]) => sum + minutes, 0);
  from.textContent = worked.every(([person]) => person === me.person) ? W.from_your_clock : W.from_the_clocks;
}
