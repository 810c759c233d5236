// The daily round of a rig: kept in the browser as it is walked, sent once when there is signal.

import * as sending from "./sending.js";
import * as store from "./store.js";
import { bar } from "./bar.js";
import { carry } from "./carry.js";
import { notNumbers, readFaces } from "./figures.js";
import { line, reporting } from "./reporting.js";
import { hour, say } from "./saying.js";

const page = document.getElementById("walk");
const form = document.getElementById("round-form");
const W = JSON.parse(document.getElementById("words").textContent);
const rig = Number(page.dataset.rig);
const me = { pen: page.dataset.pen, name: page.dataset.personName, person: Number(page.dataset.person) };
/** What was ticked and typed and is not yet a whole round; nobody finds another's ticks. */
const BEGUN = `round-${rig}-${me.person}`;
const opened = new Date();
const NIGHT_MS = 4 * 60 * 60_000;

/** The day in the shop's zone, by a clock put right as far as this phone knows. */
const dayAt = (instant) => new Intl.DateTimeFormat("en-CA", { timeZone: document.documentElement.dataset.zone }).format(instant);
const behind = await store.behind();
const today = dayAt(opened.getTime() + behind);
/** Whether the page was taken along on a day before: what the shop said of that day is no news of this one. */
const isOld = today > page.dataset.day;

const named = (day) => new Intl.DateTimeFormat(document.documentElement.lang, { weekday: "short", day: "numeric", month: "short" }).format(new Date(`${day}T12:00`));
const isRound = (entry) => entry.rig === rig && entry.kind === "round";
const mine = async () => (await store.kept()).filter((entry) => isRound(entry) && entry.state !== "refused");

function said({ fields }) {
  const count = (answer) => fields.answers.filter((each) => each.answer === answer).length;
  return { right: count("right"), wrong: count("wrong"), read: fields.readings.length };
}

let wasKept = false;
/** The rounds that are still here; today's is walked once, so that its form goes. */
async function draw() {
  const kept = await mine();
  const isWalked = kept.some((entry) => entry.day === today);
  if (wasKept && !isWalked) return location.assign(location.pathname); // it has left, perhaps from another page
  wasKept = isWalked;
  const list = document.getElementById("kept-here");
  list.hidden = !kept.length;
  list.replaceChildren(...kept.flatMap((entry) => {
    const by = { at: hour(entry.at), name: entry.name, day: named(entry.day) };
    if (entry.day !== today) return [line(say(W.before, by))];
    const notes = entry.fields.answers.filter((each) => each.note).map((each) => line(`${each.text}: ${each.note}`));
    return [line(say(W.walked, { ...by, ...said(entry) })), ...notes, ...entry.fields.readings.map((each) => line(`${each.name}: ${each.value}`))];
  }));
  const isOpen = !isWalked && (isOld || page.dataset.recorded === "no");
  form.hidden = !isOpen;
  for (const button of document.querySelectorAll("button[form=round-form]")) button.hidden = !isOpen;
  for (const part of document.querySelectorAll("[data-of-day]")) part.hidden = isOld || isWalked;
  return undefined;
}

function refuse(place, words) {
  place.querySelector(".from-here")?.remove();
  const wrong = document.createElement("p");
  wrong.className = "errors from-here";
  wrong.setAttribute("role", "alert");
  wrong.textContent = words;
  place.append(wrong);
}

/** Each check with its answer: what nobody tapped is in order. */
function answered() {
  return [...form.querySelectorAll("li.walk")].map((place) => {
    const item = place.id.replace("check-", "");
    const answer = place.querySelector(`[name=i${item}-answer]:checked`)?.value || "right";
    const isWrong = answer === "wrong";
    const note = isWrong ? place.querySelector(`[name=i${item}-note]`).value.trim() : "";
    return { place, item: Number(item), answer, note, is_grave: isWrong && place.querySelector(`[name=i${item}-is_grave]`).checked, text: place.querySelector("legend").textContent };
  });
}

/** What can be seen to be wrong here, beside its field; the first of it, or nothing. */
function wrongOf(answers, faces) {
  for (const old of form.querySelectorAll(".from-here")) old.remove();
  const found = answers.filter((each) => each.answer === "wrong" && !each.note).map(({ place }) => [place.querySelector(".if-not-right .field"), W.say_wrong]);
  for (const { face, fields } of faces) {
    for (const name of notNumbers(fields)) found.push([face.querySelector(`[name=c${fields.counter}-${name}]`).closest(".field"), W.a_number]);
  }
  for (const [place, words] of found) refuse(place, words);
  return found[0]?.[0];
}

let isKeeping = false;
async function keep() {
  const answers = answered();
  const faces = readFaces(form);
  const wrong = wrongOf(answers, faces);
  if (wrong) {
    wrong.querySelector("input")?.focus();
    return;
  }
  const fields = {
    began: opened.toISOString(),
    answers: answers.map(({ place, ...each }) => each),
    readings: faces.map(({ fields: read, name }) => ({ ...read, name })),
  };
  const shown = say(W.shown, { rig: page.dataset.name, day: named(today) });
  await store.keep({ event_id: store.newId(), rig, kind: "round", fields, shown, day: today, ...me, at: new Date().toISOString() });
  await store.remember(BEGUN, null);
  store.lasting();
  await draw();
  scrollTo(0, 0);
  sending.flush();
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (isKeeping) return; // a finger that slips keeps once
  isKeeping = true;
  await keep();
  isKeeping = false;
});

/** What is being ticked survives a closed browser, too. */
form.addEventListener("input", () => {
  const fields = [...new FormData(form)].filter(([name]) => /^[ic]\d+-/.test(name));
  store.remember(BEGUN, { day: today, fields });
});

async function goOn() {
  const begun = await store.fact(BEGUN);
  if (begun?.day !== today || form.querySelector(".errors")) return;
  for (const [name, value] of begun.fields) {
    for (const input of form.querySelectorAll(`[name="${name}"]`)) {
      if (["radio", "checkbox"].includes(input.type)) input.checked = input.value === value;
      else if (input.type !== "hidden") input.value = value;
    }
  }
}

document.addEventListener("outcome", ({ detail: { entry, outcome, isLive } }) => {
  if (!isRound(entry) || entry.day !== today) return;
  wasKept = false;
  if (outcome.state === "refused" && isLive) {
    // Its page says what is wrong beside each field, and asks: the form itself goes there.
    form.elements.request_id.value = store.newId();
    form.elements.day.value = today;
    form.submit();
  } else if (outcome.state === "taken" && isLive) location.assign(page.dataset.rigUrl);
  else location.assign(location.pathname);
});
document.addEventListener("outbox", draw);
/** A page that lay open over a night is opened anew; one over midnight is still of the day on which it began. */
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && Date.now() - opened > NIGHT_MS && dayAt(Date.now() + behind) !== today) location.reload();
});

if (isOld) document.getElementById("round-title").textContent = say(W.title, { day: named(today) });
await goOn();
await draw();
await reporting({ rig, me, W });
document.body.classList.add("has-script");
bar(W);
sending.start();
carry({ open: [location.pathname] }).then((carried) => {
  if (carried) document.body.dataset.carried = carried.rounds;
});
