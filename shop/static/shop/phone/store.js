// What was entered on this phone and has not arrived yet, in the browser's own database. An entry is
// written here before anything else happens, so that a closed browser or a dead battery loses nothing.

const NAME = "strokebook";
const VERSION = 1;
let opened = null;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, VERSION);
    asked.onupgradeneeded = () => {
      const db = asked.result;
      db.createObjectStore("entries", { keyPath: "order", autoIncrement: true }).createIndex("event_id", "event_id", { unique: true });
      db.createObjectStore("photos", { keyPath: "photo_id" });
      db.createObjectStore("sheets", { keyPath: "number" });
      db.createObjectStore("facts", { keyPath: "name" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  return opened;
}

/** Run `act(store)` in one transaction; resolves with what its request gave, once it is on disk.
 * What the shop said can be asked for again, so it does not wait for the disk. */
async function within(name, mode, act) {
  const db = await open();
  return new Promise((resolve, reject) => {
    const transaction = db.transaction(name, mode, { durability: name === "sheets" ? "relaxed" : "strict" });
    const request = act(transaction.objectStore(name));
    transaction.oncomplete = () => resolve(request?.result);
    transaction.onerror = () => reject(transaction.error);
    transaction.onabort = () => reject(transaction.error);
  });
}

/** A random id; `crypto.randomUUID` is missing where the page came by plain http. */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

export const keep = (entry) => within("entries", "readwrite", (store) => store.add(entry));
export const change = (...entries) => within("entries", "readwrite", (store) => { for (const each of entries) store.put(each); });
export const drop = (order) => within("entries", "readwrite", (store) => store.delete(order));
/** All entries in the order in which they were made. */
export const kept = () => within("entries", "readonly", (store) => store.getAll());

export const keepPhoto = (photo) => within("photos", "readwrite", (store) => store.put(photo));
export const dropPhoto = (id) => within("photos", "readwrite", (store) => store.delete(id));
export const photos = () => within("photos", "readonly", (store) => store.getAll());

/** What the shop last said of a sheet; an older word does not replace a newer one. */
export async function learn(snapshot) {
  const known = await sheet(snapshot.number);
  if (known && known.as_of > snapshot.as_of) return known;
  await within("sheets", "readwrite", (store) => store.put(snapshot));
  return snapshot;
}
export const sheet = (number) => within("sheets", "readonly", (store) => store.get(number));

export async function fact(name) {
  return (await within("facts", "readonly", (store) => store.get(name)))?.value;
}
export const remember = (name, value) => within("facts", "readwrite", (store) => store.put({ name, value }));

/** How far this phone's clock was behind the shop's when they last spoke. [ms] A page cannot say it: it may lie here for days. */
export const behind = async () => (await fact("behind")) ?? 0;
/** The shop says what time it is. */
export const setClock = (now) => remember("behind", Date.parse(now) - Date.now());

export const forget = (name) => within("facts", "readwrite", (store) => store.delete(name));

let isAsked = false;
/** Ask the browser once not to clear what is kept here when space runs out. */
export async function lasting() {
  if (isAsked || !navigator.storage?.persist) return;
  isAsked = true;
  await remember("lasting", await navigator.storage.persist());
}

/** Which browser this is, for the order of its entries. */
export async function phone() {
  let id = await fact("phone");
  if (!id) await remember("phone", (id = newId()));
  return id;
}
