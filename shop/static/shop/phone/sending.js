// Sends what is kept, in the order in which it was made, until it has arrived. An entry has an id of its
// own: sent twice it counts once, so an answer that got lost is asked for again without harm.

import * as store from "./store.js";

const AT_ONCE = 50;
/** A refusal comes back in the language of the page. */
const spoken = { "Accept-Language": document.documentElement.lang };
const PATIENCE_MS = 20_000;
/** A shop that is silent is asked again soon, then less and less often. */
const SOON_MS = 1_000;
const AGAIN_MS = 15_000;
/** An entry sent within this is "live": somebody is looking, so a refusal goes back to them. */
const LIVE_MS = 15_000;

export const state = { kept: 0, sending: 0, of: 0, sentAt: null, refused: [], isSilent: false };
/** Whether the shop cannot be asked now: the browser says so, or it did not answer. */
export const isOutOfReach = () => !navigator.onLine || state.isSilent;

let running = null;
let again = false;
let wait = SOON_MS;
let timer = 0;

function say() {
  document.dispatchEvent(new CustomEvent("outbox"));
}

async function count() {
  const all = await store.kept();
  state.refused = all.filter((entry) => entry.state === "refused");
  state.kept = all.length - state.refused.length;
  state.sentAt = (await store.fact("sentAt")) ?? null;
  return all;
}

/** Where an entry or a photo is sent: to its sheet, or to the rig that it is of. */
const placeOf = ({ rig, number }) => (rig ? `/rigs/${rig}` : `/sheets/${number}`);
const addressOf = (entry) => `${placeOf(entry)}/entries/`;

/** Send some entries to one address. Resolves with the answer, and which entries somebody waits for. */
async function post(address, entries) {
  const isLive = (entry) => !entry.tried && Date.now() - Date.parse(entry.at) < LIVE_MS;
  const live = new Set(entries.filter(isLive).map((entry) => entry.event_id));
  await store.change(...entries.map((entry) => ({ ...entry, tried: true })));
  const answer = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json", ...spoken },
    body: JSON.stringify({
      phone: await store.phone(),
      now: new Date().toISOString(),
      entries: entries.map((entry) => ({
        ...entry.fields,
        event_id: entry.event_id,
        kind: entry.kind,
        pen: entry.pen,
        at: entry.at,
        live: live.has(entry.event_id),
      })),
    }),
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
  if (!answer.ok) throw new Error(`The shop answered ${answer.status}.`);
  const said = await answer.json();
  await store.setClock(said.now);
  return { ...said, live };
}

/** What waits behind the entries that could not be sent was told to lie here too: its refusal comes late, not to a field. */
async function lie() {
  const untried = (await store.kept()).filter((entry) => !entry.tried);
  await store.change(...untried.map((entry) => ({ ...entry, tried: true })));
}

async function settle(entries, { outcomes, sheet, live }) {
  if (!entries.some((entry) => outcomes[entry.event_id])) throw new Error("The shop did not say what it took.");
  for (const entry of entries) {
    const outcome = outcomes[entry.event_id];
    if (!outcome) continue;
    const isLive = live.has(entry.event_id);
    if (outcome.state === "refused" && !isLive) {
      await store.change({ ...entry, tried: true, state: "refused", words: outcome.words });
    } else {
      await store.drop(entry.order);
    }
    document.dispatchEvent(new CustomEvent("outcome", { detail: { entry, outcome, isLive } }));
  }
  await store.remember("sentAt", Date.now());
  if (sheet) document.dispatchEvent(new CustomEvent("snapshot", { detail: await store.learn(sheet) }));
}

async function sendPhotos() {
  const waiting = new Set((await store.kept()).map((entry) => entry.event_id));
  for (const photo of await store.photos()) {
    if (waiting.has(photo.event_id)) continue; // its found work has not arrived yet
    const form = new FormData();
    for (const name of ["pen", "photo_id", "event_id"]) form.append(name, photo[name]);
    form.append("photo", photo.blob, "photo.jpg");
    const answer = await fetch(`${placeOf(photo)}/photos/`, { method: "POST", headers: spoken, body: form, signal: AbortSignal.timeout(4 * PATIENCE_MS) });
    // 4xx: no photo, too large, not ours. Sending it again would change nothing; the words are shown.
    if (answer.ok) {
      await store.dropPhoto(photo.photo_id);
      document.dispatchEvent(new CustomEvent("photo-sent", { detail: { photo } }));
    } else if (answer.status >= 400 && answer.status < 500) {
      await store.dropPhoto(photo.photo_id);
      document.dispatchEvent(new CustomEvent("photo-refused", { detail: { photo, words: await answer.text() } }));
    } else throw new Error(`The shop answered ${answer.status}.`);
  }
}

async function round() {
  for (;;) {
    const left = (await count()).filter((entry) => entry.state !== "refused");
    if (!left.length) break;
    const address = addressOf(left[0]);
    const end = left.findIndex((entry) => addressOf(entry) !== address);
    const batch = left.slice(0, Math.min(end < 0 ? left.length : end, AT_ONCE));
    Object.assign(state, { sending: batch.length, of: left.length });
    say();
    await settle(batch, await post(address, batch));
  }
  await sendPhotos();
}

/** Send all there is; resolves when it has arrived or the shop is silent. Never throws. */
export function flush() {
  if (running) {
    again = true;
    return running;
  }
  running = round()
    .then(() => { state.isSilent = false; })
    // No signal, a failing server, an answer too late: it is kept, and tried again.
    .catch(async () => {
      state.isSilent = true;
      await lie();
    })
    .then(async () => {
      state.sending = 0;
      await count();
      running = null;
      say();
      clearTimeout(timer);
      if (!state.isSilent) wait = SOON_MS;
      else if (state.kept) {
        timer = setTimeout(flush, wait);
        wait = Math.min(2 * wait, AGAIN_MS);
      }
      if (!again) return undefined;
      again = false;
      return flush();
    });
  return running;
}

/** Whether the entry has left this phone, for good or for a decision of the manager's. */
export async function arrived(eventId) {
  return !(await store.kept()).some((entry) => entry.event_id === eventId);
}

/** Something has changed, or somebody looks: however long the shop was silent, it is asked soon again. */
function anew() {
  wait = SOON_MS;
  flush();
}

/** Begin: now, when the browser says that it is online, when the page comes back, and every so often. */
export function start() {
  addEventListener("online", anew);
  addEventListener("offline", say);
  addEventListener("pageshow", anew);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) anew(); });
  setInterval(flush, AGAIN_MS);
  return flush();
}
