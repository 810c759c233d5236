// Draws what was entered into the page that the shop sent.

import * as store from "./store.js";
import { W, copy, entryOf, isBefore, isCheck, isOut, lacking, named, number, numberOf, openChecks, sheet, steps } from "./copy.js";
import { say } from "./saying.js";
import { overlaid } from "./overlay.js";
import { mark } from "./scale.js";

function saidOf(step, entry) {
  const said = [];
  if (entry.answer === "na") said.push(`${W.not_applicable}: ${entry.note}`);
  if (entry.answer === "value") said.push(`${entry.value} ${step.dataset.unit}`.trim() + (step.dataset.section === "zero" && Number(entry.value) !== 0 ? `: ${W.must_read_zero}` : ""));
  if (entry.answer === "choice") said.push(entry.choice);
  if (entry.remedy) {
    const label = step.querySelector(`[name=remedy][value="${entry.remedy}"]`)?.parentElement.textContent.trim() ?? "";
    said.push(entry.finding_text ? `${label}: ${entry.finding_text}` : label);
  }
  said.push(`${entry.at} ${entry.by}`);
  if (entry.isKept) said.push(W.kept_here);
  return said.join(", ");
}

function drawRivals(step, entry) {
  const box = step.querySelector(".rivals");
  if (!box) return;
  const rivals = entry?.rivals ?? [];
  box.hidden = !rivals.length;
  box.replaceChildren();
  if (!rivals.length) return;
  const asked = document.createElement("p");
  asked.textContent = W.two_answers;
  box.append(asked);
  const given = [{ event: entry.event, words: saidOf(step, entry) }, ...rivals.map((each) => ({ event: each.event, words: `${each.text}, ${each.at} ${each.by}` }))];
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

function drawStep(step) {
  const entry = entryOf(step);
  const said = step.querySelector(".said");
  if (said) said.textContent = entry ? saidOf(step, entry) : "";
  if (step.dataset.section === "caution") {
    step.querySelector(".read").hidden = !entry;
    step.querySelector("form").hidden = Boolean(entry);
    return;
  }
  step.dataset.state = entry?.answer ?? "";
  const tick = step.querySelector(".check-row");
  if (tick) {
    tick.value = entry?.answer === "done" ? "cleared" : "done";
    tick.setAttribute("aria-pressed", String(entry?.answer === "done"));
  }
  for (const choice of step.querySelectorAll("button[name=choice]")) {
    const isChosen = entry?.choice === choice.value;
    choice.classList.toggle("chosen", isChosen);
    choice.setAttribute("aria-pressed", String(isChosen));
  }
  const input = step.querySelector("input[name=value]");
  if (input) {
    if (entry?.answer === "value" && !input.dataset.isTyped) input.value = entry.value;
    step.querySelector(".enter").firstChild.textContent = entry ? W.correct_it : W.enter;
    typing(step);
  }
  const aside = step.querySelector(".not-applicable");
  if (aside) aside.hidden = entry?.answer === "na";
  drawRivals(step, entry);
}

/** While a value is typed: its mark on the scale, and the question where it is out of limit. */
export function typing(step) {
  const input = step.querySelector("input[name=value]");
  const value = numberOf(input.value);
  const out = step.dataset.section === "check" && (isOut(step, input.value) || step.dataset.isAsked === "yes");
  const drawing = step.querySelector("svg.scale");
  if (drawing) mark(drawing, value, { isOut: out, word: W.now });
  step.querySelector(".measure").classList.toggle("wrong", out);
  const question = step.querySelector(".out-of-limit");
  if (question) question.hidden = !out || (!input.dataset.isTyped && Boolean(entryOf(step)?.remedy));
}

function drawLocks() {
  const never = lacking();
  const before = steps.filter(isBefore);
  const checks = steps.filter(isCheck);
  const open = openChecks();
  const isLocked = never.length > 0;
  document.getElementById("count-before").textContent = isLocked ? say(W.of, { n: before.length - never.length, all: before.length }) : W.done;
  const counted = document.getElementById("count-checks");
  if (counted) counted.textContent = say(W.of, { n: checks.length - open.length, all: checks.length });
  for (const check of checks) check.classList.toggle("is-locked", lacking(check).length > 0);
  for (const note of sheet.querySelectorAll(".when-locked")) {
    note.hidden = !isLocked || (note.closest("#sign") !== null && open.length === checks.length);
    note.querySelector(".missing").textContent = named(never);
  }
  for (const note of sheet.querySelectorAll(".when-open")) note.hidden = isLocked;
  const returns = document.getElementById("returns");
  if (returns) returns.hidden = !steps.some((step) => step.dataset.section === "lockout" && entryOf(step)?.answer === "done");
  const titles = [...new Set(open.map((step) => step.closest("section").dataset.title))];
  const question = document.getElementById("open-checks");
  question.hidden = !open.length;
  document.getElementById("open-count").textContent = say(open.length === 1 ? W.check_open : W.checks_open, { n: open.length });
  document.getElementById("open-of").textContent = say(W.open_of, { titles: titles.join(", ") });
}

function drawParts() {
  for (const row of sheet.querySelectorAll("[data-row]")) {
    const known = copy.state.parts[row.dataset.row];
    if (!known) continue;
    const input = row.querySelector("input");
    if (document.activeElement !== input && !input.dataset.isTyped && known.used !== null && known.used !== undefined) input.value = known.used;
    row.querySelector(".said").textContent = known.isKept ? say(W.used_here, { used: known.used, at: known.at, by: known.by }) : "";
  }
  const taken = document.getElementById("taken-here");
  taken.hidden = !copy.state.isTaken;
  taken.textContent = W.taken_here;
  const form = sheet.querySelector("form[data-kind=take]");
  if (form) form.hidden = copy.state.isTaken;
  const added = document.getElementById("added-here");
  added.hidden = !copy.state.added.length;
  added.replaceChildren(...copy.state.added.map((each) => item(say(W.added_here, each))));
}

function drawAround() {
  const button = sheet.querySelector("form[data-kind=clock] button");
  if (button && copy.state.clock) {
    button.value = copy.state.clock === "start" ? "stop" : "start";
    button.textContent = copy.state.clock === "start" ? W.stop_time : W.start_time;
  }
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

function drawSign() {
  const found = document.getElementById("found-here");
  found.hidden = !copy.state.found.length;
  document.getElementById("none-found").hidden = Boolean(copy.state.found.length);
  found.replaceChildren(...copy.state.found.map((each) => item(each.isKept ? `${each.text}, ${W.kept_here}` : each.text, each.grave)));
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
  document.getElementById("signed-here").hidden = !copy.state.isSigned;
  // What was signed stays as it is: nothing on the page can be changed any more.
  for (const part of sheet.querySelectorAll("section.part")) part.inert = copy.state.isSigned;
  document.body.classList.toggle("is-signed", copy.state.isSigned);
}

export async function draw() {
  const mine = (await store.kept()).filter((entry) => entry.number === number && entry.state !== "refused");
  copy.state = overlaid(copy.snapshot, mine);
  for (const step of steps) drawStep(step);
  const isBegun = mine.length > 0 || copy.snapshot.state === "under_way";
  document.getElementById("punched").hidden = isBegun;
  document.getElementById("punched-now").hidden = !isBegun;
  drawLocks();
  drawParts();
  drawAround();
  drawSign();
}
