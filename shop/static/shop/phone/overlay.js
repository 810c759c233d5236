// The sheet as it stands: what the shop last said of it, and over that what this phone still keeps.

import { SEEN_TO } from "./as_left.js";
import { clock } from "./saying.js";

/**
 * @param snapshot what the shop said (steps, parts, readings, found …)
 * @param entries those of this sheet that are kept here, in the order made; refused ones are left out
 */
export function overlaid(snapshot, entries) {
  const now = structuredClone(snapshot);
  now.own ??= {}; // what a phone has kept since before it was told
  now.added = [];
  now.notes = {};
  now.isTaken = false;
  now.isSigned = false;
  for (const entry of entries) {
    const { fields } = entry;
    const by = { by: entry.name, who: entry.person, at: clock(entry.at), made: entry.at, turn: entry.order, isKept: true, event: entry.event_id };
    if (entry.kind === "answer") {
      const own = now.own[fields.step];
      if (own) own[entry.person] = { ...fields, ...by };
      if (own && fields.answer === "cleared") delete own[entry.person];
      if (fields.answer === "cleared") delete now.steps[fields.step];
      else now.steps[fields.step] = { ...fields, ...by, out: Boolean(fields.remedy), rivals: [] };
      if (fields.finding_text && SEEN_TO.includes(fields.remedy)) now.found.push({ text: fields.finding_text, step: fields.step, grave: fields.is_grave || fields.remedy === "stop", ...by });
    } else if (entry.kind === "pick") {
      for (const step of Object.values(now.steps)) {
        const rival = (step.rivals ?? []).find((each) => each.event === fields.event);
        if (rival || step.event === fields.event) Object.assign(step, rival, { rivals: [], isKept: true });
      }
    } else if (entry.kind === "used" && fields.part) {
      for (const each of now.added) if (each.part === fields.part && !each.off) each.isUsed = true;
    } else if (entry.kind === "used") {
      now.parts[fields.row] = { ...now.parts[fields.row], used: fields.used, ...by };
    } else if (entry.kind === "take_off") {
      const added = now.added.find((each) => each.event === fields.event);
      if (added) added.off = by;
      if (fields.row) now.parts[fields.row] = { ...now.parts[fields.row], off: by };
    } else if (entry.kind === "take") {
      now.isTaken = true;
    } else if (entry.kind === "add") {
      now.added.push({ ...fields, ...by });
    } else if (entry.kind === "reading") {
      now.readings[fields.counter] = { ...fields, text: fields.value, ...by };
    } else if (entry.kind === "found") {
      now.found.push({ text: fields.text, line: fields.line, grave: fields.is_grave, ...by });
    } else if (entry.kind === "clock") {
      now.clock = fields.does;
    } else if (entry.kind === "next") {
      now.notes[fields.line] = fields.text;
    } else if (entry.kind === "wait") {
      const isOver = !fields.missing && !fields.parts.length;
      now.wait = { text: entry.shown, isOver, ...by };
      if (!isOver) now.clock = "stop";
    } else if (entry.kind === "hand_over") {
      now.word = { text: fields.words, whom: fields.whom, ...by };
      now.clock = "stop";
    } else if (entry.kind === "sign") {
      now.isSigned = true;
    }
  }
  return now;
}
