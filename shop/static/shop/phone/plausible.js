// Asks about a reading that is possible and not to be expected, by what the page was told when it came: the shop may
// be out of reach. It asks as equipment/services/expecting.py does, and the same reading once more is the answer.

import { W, copy } from "./copy.js";
import { numberOf } from "./figures.js";
import { clock, hour, say } from "./saying.js";

const foreseen = JSON.parse(document.getElementById("foreseen").textContent);

/** What a counter has counted since its last reading, as equipment/counters.py reckons it; null where that is not said. */
function countedIn({ last, rollover }, { step, value, before_reset, face_start }) {
  const [shown, seen, start] = [value, before_reset, face_start].map(numberOf);
  const unseen = before_reset ? seen - Number(last) : 0;
  if (step === "reset") return unseen + shown;
  if (step === "rollover") return rollover === null ? null : Number(rollover) - Number(last) + shown;
  if (step === "replaced") return face_start ? unseen + shown - start : null;
  return shown - Number(last);
}

const figure = (number) => number.toLocaleString("en-US", { maximumFractionDigits: 3 });

/** "today 06:40", "24 Nov 06:40", as `words.moment` says it. */
function momentOf(instant, now) {
  const said = clock(instant, now);
  return said === hour(instant) ? say(W.today, { time: said }) : said;
}

/** What is asked about a reading that was typed, in the shop's words; empty where nothing is. */
export function doubt(fields, now = Date.now() + copy.behind) {
  const told = foreseen[fields.counter];
  const counted = told ? countedIn(told, fields) : null;
  if (counted === null || fields.sure === fields.value) return "";
  const isContinued = (fields.step || "continued") === "continued";
  const value = numberOf(fields.value);
  if (told.rollover !== null && value >= Number(told.rollover)) return say(W.starts_again, { rollover: figure(Number(told.rollover)), value: figure(value) });
  if (isContinued && counted < 0) return say(W.went_down, { previous: told.said });
  const [, low, high] = told.ahead.find(([until]) => now <= Date.parse(until)) ?? [null, told.ahead.at(-1)?.[1] ?? told.last, null];
  const since = say(W.since, { day: momentOf(told.at, now) });
  const said = { counted: `${figure(counted)} ${told.unit}`, since };
  if (high !== null && counted > Number(high) - Number(told.last)) return say(W.more_than_usual, said);
  return isContinued && value < Number(low) ? say(W.less_than_usual, said) : "";
}

/** What each reading was when it was asked about. */
const asked = new Map();
const keyOf = ({ value, step, before_reset, face_start }) => [value, step || "continued", before_reset, face_start].join();

/** Ask beside its face, once. Gives whether it is to be looked at again; what was kept as it was is meant. */
export function asks(face, fields) {
  const words = doubt(fields);
  const isMeant = words && asked.get(face) === keyOf(fields);
  face.querySelector(".from-here")?.remove();
  if (isMeant) fields.sure = fields.value;
  if (!words || isMeant) {
    asked.delete(face);
    return false;
  }
  asked.set(face, keyOf(fields));
  const line = document.createElement("p");
  line.className = "question from-here"; // not an error: it does not block the signature
  line.setAttribute("role", "alert");
  line.textContent = `${words} ${W.keep_again}`;
  face.querySelector(".field").append(line);
  face.querySelector("details").open = true;
  return true;
}
