// Figures as people type them, and what was typed into the faces of a rig.

/** A comma stands between thousands only: 60,5 and 0,047 are none. The shop has the same (equipment/values.py). */
const NUMBER = /^(?:[+-]?(?:[0-9]{1,24}|[1-9][0-9]{0,2}([, \u00a0\u202f])[0-9]{3}(?:\1[0-9]{3}){0,6})(?:\.[0-9]{0,24})?|[+-]?\.[0-9]{1,24})$/;

/** "1,234.5", "−20", "57" as they are sent: 1234.5, -20, 57; null for anything else. */
export function plainOf(text) {
  const written = text.trim().replace("−", "-");
  return NUMBER.test(written) ? written.replace(/[,\s]/g, "") : null;
}

export function numberOf(text) {
  const plain = plainOf(text);
  return plain === null ? null : Number(plain);
}

/** Of stock, which is never typed with blanks between thousands; the shop has the same (inventory/quantities.py). */
const QUANTITY = /^(?:-?(?:[0-9]{1,20}|[1-9][0-9]{0,2}(?:,[0-9]{3}){1,6})(?:\.[0-9]{0,20})?|-?\.[0-9]{1,20})$/;
const AMOUNT = String.raw`(-?[0-9][0-9,]*(?:\.[0-9]*)?|-?\.[0-9]+)(?:\s*(\p{L}[\p{L}\p{N}_-]*))?`;
const AMOUNTS = new RegExp(AMOUNT, "gu");
const IN_PACKS = new RegExp(`^${AMOUNT}(?:\\s+${AMOUNT})*$`, "u");

/**
 * Whether a text is a quantity, "3" or "2 pails 1.5 gal", as far as can be told without the part's packs: true; null where
 * it is below zero; else what of it is no number.
 */
export function isQuantity(text) {
  const typed = text.trim();
  const amounts = IN_PACKS.test(typed) ? [...typed.matchAll(AMOUNTS)].map((found) => found.slice(1)) : [[typed, ""]];
  if (amounts.slice(0, -1).some(([, word]) => !word)) return typed;
  for (const [number] of amounts) {
    if (!QUANTITY.test(number)) return number;
    if (Number(number.replaceAll(",", "")) < 0) return null;
  }
  return true;
}

/** Of a reading, the names of the fields that hold something else than a number. */
export const notNumbers = (fields) => ["value", "before_reset", "face_start"].filter((name) => fields[name] && numberOf(fields[name]) === null);

/** What was typed into each face under `root` that was read: its place, its name, the fields of a reading. */
export function readFaces(root) {
  return [...root.querySelectorAll(".faces > li[id^=counter-]")].flatMap((face) => {
    const counter = face.id.replace("counter-", "");
    const value = (name) => face.querySelector(`[name=c${counter}-${name}]:checked, input:not([type=radio])[name=c${counter}-${name}]`)?.value.trim() ?? "";
    const fields = { counter: Number(counter), value: value("value"), step: value("step"), before_reset: value("before_reset"), face_start: value("face_start"), sure: value("sure") };
    return fields.value ? [{ face, fields, name: face.querySelector("label strong").textContent }] : [];
  });
}
