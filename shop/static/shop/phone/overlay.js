// The sheet as it stands: what the shop last said of it, and over that what this phone still keeps.

const clock = (instant) => new Date(instant).toTimeString().slice(0, 5);

/**
 * @param snapshot what the shop said (steps, parts, readings, found …)
 * @param entries those of this sheet that are kept here, in the order made; refused ones are left out
 */
export function overlaid(snapshot, entries) {
  const now = structuredClone(snapshot);
  now.added = [];
  now.notes = {};
  now.isTaken = false;
  now.isSigned = false;
  for (const entry of entries) {
    const { fields } = entry;
    const by = { by: entry.name, who: entry.person, at: clock(entry.at), made: entry.at, isKept: true, event: entry.event_id };
    if (entry.kind === "answer") {
      if (fields.answer === "cleared") delete now.steps[fields.step];
      else now.steps[fields.step] = { ...fields, ...by, out: Boolean(fields.remedy), rivals: [] };
      if (fields.finding_text) now.found.push({ text: fields.finding_text, grave: fields.is_grave || fields.remedy === "stop", ...by });
    } else if (entry.kind === "pick") {
      for (const step of Object.values(now.steps)) {
        const rival = (step.rivals ?? []).find((each) => each.event === fields.event);
        if (rival || step.event === fields.event) Object.assign(step, rival, { rivals: [], isKept: true });
      }
    } else if (entry.kind === "used") {
      now.parts[fields.row] = { ...now.parts[fields.row], used: fields.used, ...by };
    } else if (entry.kind === "take") {
      now.isTaken = true;
    } else if (entry.kind === "add") {
      now.added.push({ ...fields, ...by });
    } else if (entry.kind === "reading") {
      now.readings[fields.counter] = { ...fields, text: fields.value, ...by };
    } else if (entry.kind === "found") {
      now.found.push({ text: fields.text, grave: fields.is_grave, ...by });
    } else if (entry.kind === "clock") {
      now.clock = fields.does;
    } else if (entry.kind === "next") {
      now.notes[fields.line] = fields.text;
    } else if (entry.kind === "sign") {
      now.isSigned = true;
    }
  }
  return now;
}
