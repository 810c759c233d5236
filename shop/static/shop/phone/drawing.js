// Draws what was entered into the page that the shop sent.

import * as store from "./store.js";
import { W, before, checks, copy, entryOf, isOut, leftOf, locks, named, number, openChecks, sheet, steps, valueOf } from "./copy.js";
import { SEEN_TO } from "./as_left.js";
import { askRemedy, drawLeft, leftInput } from "./asking.js";
import { drawMinutes, tapsOf } from "./clocked.js";
import { numberOf } from "./figures.js";
import { clock, say } from "./saying.js";
import { overlaid } from "./overlay.js";
import { mark } from "./scale.js";
import { label } from "./parts.js";
import { drawUses, hasRow } from "./uses.js";
import { drawRefused } from "./refusing.js";

/** As many decimals as a value has. */
const PLACES = 4;

/** An answer as its button says it: what is kept and sent stays in the language of the sheet. */
function choiceOf(step, kept) {
  const buttons = [...step.querySelectorAll("button[name=choice]")];
  return buttons.find((each) => each.value === kept)?.textContent ?? kept;
}

/** When it was entered: what the shop told, by the shop's own clock. A copy may be older than a day. */
const whenOf = ({ instant, at }) => (instant ? clock(instant, Date.now() + copy.behind) : at);

/** "1 photo, kept here", "2 photos, sent": of an entry, by its id. */
function photosSaid(event) {
  const here = copy.photosHere.get(event) ?? 0;
  const sent = (copy.snapshot.photos?.[event] ?? 0) + (copy.photosLeft.get(event) ?? 0);
  const counted = (n) => say(n === 1 ? W.photo : W.photos, { n });
  return [here && `${counted(here)} (${W.kept_here})`, sent && `${counted(sent)} (${W.photo_sent})`].filter(Boolean);
}

function saidOf(step, entry) {
  const said = [];
  if (entry.answer === "na") said.push(`${W.not_applicable}: ${entry.note}`);
  if (entry.answer === "value") {
    const withUnit = ({ value, unit }) => `${value} ${unit === step.dataset.unit ? step.dataset.unitSaid : unit}`.trim();
    const left = leftOf(step, entry);
    const read = valueOf(step, entry);
    const found = withUnit(read);
    const text = left ? say(W.found_and_left, { found, left: withUnit(left) }) : found;
    said.push(step.dataset.section === "zero" && numberOf(read.value) !== 0 ? `${text}: ${W.must_read_zero}` : text);
  }
  if (entry.answer === "choice") said.push(choiceOf(step, entry.choice));
  const opensWork = SEEN_TO.includes(entry.remedy);
  if (entry.remedy) {
    const label = document.getElementById("out-of-limit").content.querySelector(`[value="${entry.remedy}"]`)?.parentElement.textContent.trim() ?? "";
    said.push(opensWork && entry.finding_text ? `${label}: ${entry.finding_text}` : label);
  }
  const notes = [entry.answer !== "na" && entry.note, !opensWork && entry.finding_text].filter(Boolean);
  if (notes.length) said.push(notes.join("; "));
  said.push(`${whenOf(entry)} ${entry.by}`);
  if (entry.isKept) said.push(W.kept_here);
  return [...said, ...photosSaid(entry.event)].join(", ");
}

function drawRivals(step, entry) {
  const rivals = entry?.rivals ?? [];
  step.querySelector(".rivals")?.remove();
  if (!rivals.length) return;
  const box = document.createElement("div");
  box.className = "rivals";
  step.querySelector("form").after(box);
  const asked = document.createElement("p");
  asked.textContent = W.two_answers;
  box.append(asked);
  const system = step.dataset.system ?? "us"; // what is no measured value reads the same in both
  const given = [{ event: entry.event, words: saidOf(step, entry) }, ...rivals.map((each) => ({ event: each.event, words: `${each.texts[system]}, ${whenOf(each)} ${each.by}` }))];
  for (const { event, words } of given) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button wide";
    button.textContent = words;
    button.addEventListener("click", () => {
      document.dispatchEvent(new CustomEvent("picked", { detail: { event, shown: step.dataset.title } }));
    });
    box.append(button);
  }
}

/** What each step was last drawn from, its day too: most draw nothing new. */
const drawn = new Map();

/** isSpent: it was done, and is to be done again. */
function drawStep(step, isSpent) {
  const entry = entryOf(step);
  const from = `${isSpent} ${entry && whenOf(entry)} ${JSON.stringify(entry)} ${entry && photosSaid(entry.event)}`;
  if (drawn.get(step) === from) return;
  drawn.set(step, from);
  const said = step.querySelector(".said");
  if (said) said.textContent = entry ? saidOf(step, entry) + (isSpent ? `, ${W.do_again}` : "") : "";
  if (step.dataset.section === "caution") {
    step.querySelector(".read").hidden = !entry;
    step.querySelector("form").hidden = Boolean(entry);
    return;
  }
  step.dataset.state = isSpent ? "" : (entry?.answer ?? ""); // its tick holds no more
  const tick = step.querySelector(".check-row");
  if (tick) {
    const isTicked = entry?.answer === "done" && !isSpent;
    tick.value = isTicked ? "cleared" : "done";
    tick.setAttribute("aria-pressed", String(isTicked));
    if (!isTicked) step.querySelector(".take-back")?.remove();
  }
  for (const choice of step.querySelectorAll("button[name=choice]")) {
    const isChosen = entry?.choice === choice.value;
    choice.classList.toggle("chosen", isChosen);
    choice.setAttribute("aria-pressed", String(isChosen));
  }
  const input = step.querySelector("input[name=value]");
  if (input) {
    if (entry?.answer === "value" && !input.dataset.isTyped) {
      const { value, unit } = valueOf(step, entry);
      input.value = unit === step.dataset.unit ? value : "";
    }
    drawEnter(step, isSpent ? undefined : entry);
    typing(step);
  }
  const aside = step.querySelector(".not-applicable");
  if (aside) aside.hidden = entry?.answer === "na" || step.querySelector(".why") !== null;
  drawRivals(step, entry);
}

/** What a value stands by is put right only where something is wrong with it; else it is just changed, quietly. */
function drawEnter(step, entry) {
  const isWrong = Boolean(entry) && ((entry.out && !isRightAsLeft(step, entry)) || (entry.rivals ?? []).length > 0 || (step.dataset.section === "zero" && readAs(step) !== 0));
  const button = step.querySelector(".enter");
  button.firstChild.textContent = entry ? (isWrong ? W.correct_it : W.change) : W.enter;
  button.classList.toggle("plain", Boolean(entry) && !isWrong);
}

/** What a step's answer says it reads now, as a number: as left where it was read again. */
function readAs(step) {
  const entry = entryOf(step);
  return entry?.answer === "value" ? numberOf((leftOf(step, entry) ?? valueOf(step, entry)).value) : null;
}

/** The value as left of an answer, as it is typed on this page; "" where there is none, or in another unit. */
function leftHere(step, entry) {
  const left = entry?.answer === "value" ? leftOf(step, entry) : null;
  return left?.unit === step.dataset.unit ? left.value : "";
}

/** Whether a value that is kept here, and was out of limit as found, is so no more. */
const isRightAsLeft = (step, entry) => leftHere(step, entry) !== "" && !isOut(step, leftHere(step, entry));

/** A gauge that must read zero and does not is a hazard, as soon as it is typed. */
function drawNotZero(step, value) {
  const tag = step.querySelector(".not-zero");
  if (!tag) return;
  tag.hidden = !value;
  step.querySelector(".measure").classList.toggle("wrong", !tag.hidden);
}

/** How far side A is from side B, once both stand here: beside the value of B. */
function drawApart(step) {
  const other = document.getElementById(`step-${step.dataset.against}`);
  const line = step.querySelector(".apart");
  const isShown = (each, entry) => entry?.answer === "value" && valueOf(each, entry).unit === step.dataset.unit;
  const isSaid = [other, step].every((each) => isShown(each, entryOf(each)));
  const [a, b] = isSaid ? [readAs(other), readAs(step)] : [];
  line.hidden = !isSaid;
  if (!isSaid) return;
  const apart = Number((a - b).toFixed(PLACES));
  const figure = Math.abs(apart).toLocaleString("en-US", { maximumFractionDigits: PLACES });
  line.textContent = say(apart ? (apart > 0 ? W.a_above : W.a_below) : W.a_and_b, { difference: `${figure} ${step.dataset.apart}` });
}

/** While a value is typed: its mark on the scale, and the question where it is out of limit. */
export function typing(step) {
  const input = step.querySelector("input[name=value]");
  const entry = entryOf(step);
  if (step.dataset.section === "check") typingCheck(step, input, entry);
  else drawNotZero(step, input.dataset.isTyped ? numberOf(input.value) : readAs(step));
}

function typingCheck(step, input, entry) {
  const box = leftInput(step);
  const kept = leftHere(step, entry);
  const left = box?.dataset.isTyped ? box.value.trim() : kept;
  const now = left || input.value;
  const isHeld = step.dataset.isAsked === "yes";
  const out = isOut(step, now) || isHeld;
  const drawing = step.querySelector("svg.scale");
  if (drawing) mark(drawing, numberOf(now), { isOut: out, word: W.now });
  step.querySelector(".measure").classList.toggle("wrong", out);
  const isTyped = Boolean(input.dataset.isTyped || box?.dataset.isTyped);
  const isAsked = (out || isOut(step, input.value)) && (isTyped || !entry?.remedy);
  askRemedy(step, isAsked);
  drawLeft(step, { kept, isWanted: isAsked || step.dataset.readsAgain === "yes", isMeasured: input.value.trim() !== "" });
}

/** How far a part of the sheet is, and what is counted, as shop/views/work/tabs.py says it. */
const countSaid = (what, n, all) => (n === all ? W.done : say(W[`of_${what}`], { n, all }));

function drawLocks({ never, of, spent }) {
  const open = openChecks();
  const isLocked = never.length > 0;
  const again = [...spent].filter((step) => before.includes(step)).length;
  const next = ["caution", "lockout", "zero"].find((section) => never.some((step) => step.dataset.section === section));
  const ofNext = before.filter((step) => step.dataset.section === next);
  document.getElementById("count-before").textContent = next ? countSaid(next, ofNext.filter((step) => !never.includes(step)).length, ofNext.length) : again ? say(W.again, { n: again }) : W.done;
  const counted = document.getElementById("count-checks");
  if (counted) counted.textContent = countSaid("check", checks.length - open.length, checks.length);
  for (const check of checks) check.classList.toggle("is-locked", of.get(check).length > 0);
  for (const note of sheet.querySelectorAll(".when-locked")) {
    note.hidden = !isLocked || (note.closest("#sign") !== null && open.length === checks.length);
    note.querySelector(".missing").textContent = named(never);
    const link = note.querySelector("a");
    if (link && isLocked) link.href = `#${never[0].id}`;
  }
  for (const note of sheet.querySelectorAll(".when-open")) note.hidden = isLocked || again > 0;
  const titles = [...new Set(open.map((step) => step.closest("[data-line]").dataset.title))];
  const question = document.getElementById("open-checks");
  question.hidden = !open.length;
  document.getElementById("open-count").textContent = say(open.length === 1 ? W.check_open : W.checks_open, { n: open.length });
  document.getElementById("open-of").textContent = say(W.open_of, { titles: titles.join(", ") });
}

/** off: who took it off, kept here; nothing where that has arrived. */
const offSaid = (off) => (off ? say(W.off_here, off) : W.is_off);

/** A part that was added on this page, and the way to take it off again. */
function addedLine(each) {
  const isOff = Boolean(each.off) || copy.hasArrived.off.some(({ event }) => event === each.event);
  const said = say(each.isKept ? W.added_here : W.added, { ...each, place: each.place || W.its_place });
  const text = each.isUsed ? `${said}. ${W.all_used}.` : said;
  const line = item(isOff ? `${text}. ${offSaid(each.off)}` : text);
  if (isOff) return line;
  const { event, part, quantity } = each;
  if (!each.isUsed && !hasRow(each)) line.append(" ", lineButton(W.all_used, part, "all-used", { part, quantity }));
  line.append(" ", lineButton(W.take_off, part, "take-off", { event, part }));
  return line;
}

/** A button of a line: what it does, and to what. */
function lineButton(words, part, kind, detail) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button";
  button.textContent = words;
  button.setAttribute("aria-label", `${words}: ${part}`);
  button.addEventListener("click", () => document.dispatchEvent(new CustomEvent(kind, { detail })));
  return button;
}

function drawParts() {
  const extra = copy.state.added.filter((each) => !each.off);
  const counted = { n: extra.filter((each) => each.isUsed).length, all: extra.length };
  for (const row of sheet.querySelectorAll("[data-row]")) {
    const known = copy.state.parts[row.dataset.row];
    if (!known) continue;
    const input = row.querySelector("input");
    if (document.activeElement !== input && !input.dataset.isTyped && known.used !== null && known.used !== undefined) input.value = known.used;
    const isOff = Boolean(known.off) || copy.hasArrived.off.some((each) => each.row === Number(row.dataset.row));
    for (const part of row.querySelectorAll(".field, .take-off")) part.hidden = isOff;
    const asPlanned = row.querySelector(".as-planned");
    // Where none of it is to be had, none was used.
    const isThere = Number(known.taken) + Number(known.promised ?? 0) > 0;
    if (asPlanned) asPlanned.hidden = (known.used ?? "") !== "" || !isThere;
    if (!isOff) counted.all += 1;
    if (!isOff && (known.used ?? "") !== "") counted.n += 1;
    row.querySelector(".said").textContent = isOff ? offSaid(known.off) : known.isKept ? say(W.used_here, { used: known.used, at: known.at, by: known.by }) : "";
  }
  document.getElementById("count-parts").textContent = counted.all ? countSaid("parts", counted.n, counted.all) : W.no_parts;
  drawUses();
  const taken = document.getElementById("taken-here");
  taken.hidden = !copy.state.isTaken && !copy.hasArrived.take;
  taken.textContent = copy.state.isTaken ? W.taken_here : W.taken;
  const form = sheet.querySelector("form[data-kind=take]");
  if (form) form.hidden = !taken.hidden;
  const added = document.getElementById("added-here");
  const lines = [...copy.hasArrived.added, ...copy.state.added].map(addedLine);
  added.hidden = !lines.length;
  added.replaceChildren(...lines);
}

/** What the sheet waits for as kept here, in place of what the shop said of it. */
function drawWait() {
  const { wait } = copy.state;
  const isKept = Boolean(wait?.isKept);
  const here = document.getElementById("wait-here");
  here.hidden = !isKept;
  here.textContent = isKept ? say(wait.isOver ? W.goes_on_here : W.waits_here, wait) : "";
  if (isKept) document.getElementById("waiting-now").hidden = wait.isOver;
  const told = document.getElementById("waits");
  if (told) told.hidden = isKept;
  for (const form of sheet.querySelectorAll("form[data-kind=wait]")) (form.closest("details") ?? form).hidden = isKept;
  const goesOn = document.getElementById("goes-on");
  if (goesOn) goesOn.hidden = !isKept || wait.isOver;
}

const clockButton = sheet.querySelector("form[data-kind=clock] button");
/** What it did when the shop sent the page. */
const clockSent = clockButton?.value;

function drawAround() {
  if (clockButton) {
    const last = copy.state.clock ?? copy.hasArrived.clock;
    clockButton.value = last ? (last === "start" ? "stop" : "start") : clockSent;
    clockButton.textContent = clockButton.value === "stop" ? W.stop_time : W.start_time;
  }
  drawWait();
  const { word } = copy.state;
  const over = document.getElementById("over-here");
  over.hidden = !word?.isKept;
  over.textContent = word?.isKept ? say(word.whom ? W.handed_here : W.handed_any_here, word) : "";
  for (const [line, text] of Object.entries(copy.state.notes)) {
    const form = sheet.querySelector(`form[data-kind=next][data-line="${line}"]`);
    form.closest("details").querySelector("summary").textContent = say(W.note_here, { text });
  }
}

function item(text, isGrave = false) {
  const line = document.createElement("li");
  line.className = "written";
  line.textContent = text;
  if (isGrave) {
    const strong = document.createElement("strong");
    strong.textContent = ` (${W.must_not_leave})`;
    line.append(strong);
  }
  return line;
}

/** What became of the readings, beside the button that keeps them. */
function drawReadingsSaid() {
  const line = document.getElementById("readings-said");
  const all = Object.values(copy.state.readings);
  if (!line || !all.length) return;
  const n = all.filter((each) => each.isKept).length;
  const words = n ? say(n === 1 ? W.reading_kept : W.readings_kept, { n }) : say(all.length === 1 ? W.reading_sent : W.readings_sent, { n: all.length });
  if (line.textContent !== words) line.textContent = words; // said anew, it would be read aloud again
}

/** Which component something was found on: as the shop said it, or by the line that it was found at. */
function ofFound({ of, line, step }) {
  if (of !== undefined) return of;
  const at = line || document.getElementById(`step-${step}`)?.closest("[data-line]")?.dataset.line;
  return document.querySelector(`#found-line[data-lines~="${at}"], #found-line [data-lines~="${at}"]`)?.dataset.of ?? "";
}

/** "GUN-2: trigger sticks". */
const foundSaid = (each) => [[ofFound(each), each.text].filter(Boolean).join(": "), ...(each.isKept ? [W.kept_here] : []), ...photosSaid(each.event)].join(", ");

function drawSign() {
  const found = document.getElementById("found-here");
  found.hidden = !copy.state.found.length;
  document.getElementById("none-found").hidden = Boolean(copy.state.found.length);
  found.replaceChildren(...copy.state.found.map((each) => item(foundSaid(each), each.grave)));
  const held = document.querySelector(".hold:not(#held-here)")?.textContent ?? "";
  const grave = copy.state.found.filter((each) => each.grave && !held.includes(each.text));
  const here = document.getElementById("held-here");
  here.hidden = !grave.length;
  here.querySelector("ul").replaceChildren(...grave.map((each) => item(each.text)));
  for (const [counter, reading] of Object.entries(copy.state.readings)) {
    const face = document.getElementById(`counter-${counter}`);
    const input = face?.querySelector(`[name=c${counter}-value]`);
    if (input && !input.dataset.isTyped) input.value = reading.value;
  }
  drawReadingsSaid();
  document.getElementById("signed-here").hidden = !copy.state.isSigned;
  for (const closed of sheet.querySelectorAll("#signing, form[data-kind=clock]")) closed.hidden = copy.state.isSigned;
  // What was signed stays as it is: nothing on the page can be changed any more.
  for (const part of sheet.querySelectorAll("section.part")) part.inert = copy.state.isSigned;
  document.body.classList.toggle("is-signed", copy.state.isSigned);
}

export async function draw() {
  const [kept, behind, photos] = await Promise.all([store.kept(), store.behind(), store.photos()]);
  const mine = kept.filter((entry) => entry.number === number && entry.state !== "refused");
  copy.behind = behind;
  copy.photosHere = new Map();
  for (const { event_id } of photos) copy.photosHere.set(event_id, (copy.photosHere.get(event_id) ?? 0) + 1);
  copy.taps = tapsOf(kept);
  copy.state = overlaid(copy.snapshot, mine);
  const locked = locks();
  copy.spent = locked.spent;
  for (const step of steps) drawStep(step, locked.spent.has(step));
  for (const step of checks) if (step.dataset.against) drawApart(step);
  const isBegun = mine.length > 0 || copy.snapshot.state === "under_way";
  const { isSigned } = copy.state;
  document.getElementById("punched").hidden = isBegun || isSigned;
  document.getElementById("punched-now").hidden = !isBegun || isSigned;
  document.getElementById("punched-signed").hidden = !isSigned;
  drawLocks(locked);
  drawParts();
  drawAround();
  drawSign();
  drawRefused();
  drawMinutes();
  label();
}
