// Found work of a rig, reported on the page of its round: kept in the browser and sent once when there is signal. It is
// no part of the round, and is taken whether or not that is walked.

import * as sending from "./sending.js";
import * as store from "./store.js";
import { hour, say } from "./saying.js";

/** A line of what is kept here; mustNotLeave: the words for what holds the rig, where it does. */
export function line(words, mustNotLeave = "") {
  const item = document.createElement("li");
  item.className = "pad written";
  item.textContent = words;
  if (mustNotLeave) item.append(Object.assign(document.createElement("strong"), { textContent: ` (${mustNotLeave})` }));
  return item;
}

/** rig: its number. me: who reports, with the pen. W: the words of the page. */
export async function reporting({ rig, me, W }) {
  const place = document.getElementById("report");
  if (!place) return; // a page that was taken along before it had the fold
  const text = document.getElementById("found-text");
  const grave = document.getElementById("found-grave");
  const photos = place.querySelector("input[type=file]");
  const error = place.querySelector(".row-error");
  const list = document.getElementById("found-here");
  /** What is typed and not reported yet, of this person. */
  const typedName = `found-${rig}-${me.person}`;
  /** What left this phone while the page was open, and waits for a manager. */
  const waiting = [];

  const isOurs = ({ rig: of, kind }) => of === rig && kind === "found";
  const graveSaid = (fields) => (fields.is_grave ? W.must_not_leave : "");
  const counted = (n) => say(n === 1 ? W.photo : W.photos, { n });
  const rememberTyped = () => (text.value.trim() ? store.remember(typedName, { text: text.value, isGrave: grave.checked }) : store.forget(typedName));
  const namePhotos = () => { photos.previousElementSibling.textContent = photos.files.length ? counted(photos.files.length) : W.add_photo; };

  function refuse(words) {
    place.open = true;
    error.hidden = false;
    error.querySelector("span").textContent = words;
    error.scrollIntoView({ block: "nearest" });
  }

  /** What is still here: found work with its photos, and photos whose found work has left. */
  async function draw() {
    const kept = (await store.kept()).filter((entry) => isOurs(entry) && entry.state !== "refused");
    const here = (await store.photos()).filter((photo) => photo.rig === rig);
    const lines = kept.map(({ event_id, fields, at, name }) => {
      const n = here.filter((photo) => photo.event_id === event_id).length;
      return line([fields.text, `${hour(at)} ${name}`, ...(n ? [counted(n)] : []), W.kept_here].join(", "), graveSaid(fields));
    });
    const left = here.filter((photo) => !kept.some((entry) => entry.event_id === photo.event_id)).length;
    if (left) lines.push(line(`${counted(left)}, ${W.kept_here}`));
    lines.push(...waiting.map(({ fields, why }) => line(`${fields.text}. ${W.waits}: ${why}`, graveSaid(fields))));
    list.hidden = !lines.length;
    list.replaceChildren(...lines);
  }

  async function keep() {
    const fields = { text: text.value.trim(), is_grave: grave.checked };
    if (!fields.text) {
      refuse(W.say_found);
      return;
    }
    const event_id = store.newId();
    await store.keep({ event_id, rig, kind: "found", fields, shown: fields.text, ...me, at: new Date().toISOString() });
    for (const blob of photos.files) await store.keepPhoto({ photo_id: store.newId(), event_id, rig, pen: me.pen, blob });
    for (const field of [text, photos]) field.value = "";
    grave.checked = false;
    error.hidden = true;
    place.open = false;
    namePhotos();
    await rememberTyped();
    store.lasting();
    await draw();
    sending.flush();
  }

  const button = document.getElementById("found-keep");
  button.addEventListener("click", async () => {
    button.disabled = true; // a finger that slips reports once
    await keep().finally(() => { button.disabled = false; });
  });
  place.addEventListener("input", rememberTyped);
  photos.addEventListener("change", namePhotos);
  // On the round it needs no signal.
  document.querySelector(".bar .report")?.addEventListener("click", (event) => {
    event.preventDefault();
    place.open = true;
    text.scrollIntoView({ block: "center" });
    text.focus({ preventScroll: true });
  });
  document.addEventListener("outcome", ({ detail: { entry, outcome, isLive } }) => {
    if (!isOurs(entry)) return;
    if (outcome.state === "waiting") waiting.push({ fields: entry.fields, why: outcome.words });
    if (outcome.state !== "refused" || !isLive) return;
    text.value = entry.fields.text;
    grave.checked = entry.fields.is_grave;
    rememberTyped();
    refuse(outcome.words);
  });
  document.addEventListener("photo-refused", ({ detail: { photo, words } }) => {
    if (photo.rig === rig) refuse(say(W.photo_refused, { words }));
  });
  document.addEventListener("outbox", draw);

  const typed = await store.fact(typedName);
  if (typed) {
    text.value = typed.text;
    grave.checked = typed.isGrave;
    place.open = true;
  }
  await draw();
}
