// Takes the day along: the pages of its sheets and rounds and their pictures, before the phone leaves the shop's signal.

import * as store from "./store.js";

const EVERY_MS = 10 * 60_000;
const DAY_MS = 24 * 60 * 60_000;
export const PAGES = "pages";
export const LANGUAGE = "language";

/** Pages that stood open here within a day: whoever joins another's sheet has it on the phone, too. */
async function openedWith(open) {
  const since = Date.now() - DAY_MS;
  const before = Object.entries((await store.fact("opened")) ?? {}).filter(([, at]) => at > since);
  const opened = Object.fromEntries([...before, ...open.map((address) => [address, Date.now()])]);
  await store.remember("opened", opened);
  return Object.keys(opened);
}

async function areAllHere(addresses) {
  const pages = await caches.open(PAGES);
  return (await Promise.all(addresses.map((address) => pages.match(address)))).every(Boolean);
}

/** Take them along: at most every ten minutes, unless asked or one of the pages that are open or listed here is
 * new. Resolves with how many sheets and rounds are here, or null where the browser keeps no pages (plain http)
 * or the shop is silent. */
export async function carry({ isAsked = false, open = [], listed = [] } = {}) {
  if (!("serviceWorker" in navigator) || !("caches" in window)) return null;
  if (!(await navigator.serviceWorker.getRegistration())) {
    try {
      await navigator.serviceWorker.register("/sw.js");
    } catch {
      return null; // no signal yet
    }
  }
  const last = (await store.fact("carried")) ?? { at: 0 };
  const isFresh = Date.now() - last.at < EVERY_MS && last.language === document.documentElement.lang;
  if (!isAsked && isFresh && (await areAllHere([...open, ...listed]))) return last;
  try {
    const answer = await fetch("/phone/pack/");
    if (!answer.ok || answer.redirected) return null;
    const pack = await answer.json();
    const who = await store.fact("person");
    // What another person had on this phone goes; what they entered stays until it is sent.
    if (who !== undefined && who !== pack.person) {
      await caches.delete(PAGES);
      await store.forget("opened");
    }
    await store.remember("person", pack.person);
    await store.remember(LANGUAGE, pack.language);
    await store.setClock(pack.now);
    const pages = await caches.open(PAGES);
    const wanted = new Set([...pack.pages, ...pack.files, ...(await openedWith(open))]);
    for (const address of wanted) {
      if (pack.files.includes(address) && (await pages.match(address))) continue;
      const page = await fetch(address);
      if (page.ok && !page.redirected) await pages.put(address, page);
      else if (page.redirected && !pack.pages.includes(address)) wanted.delete(address); // signed or voided meanwhile
    }
    for (const request of await pages.keys()) {
      if (!wanted.has(new URL(request.url).pathname)) await pages.delete(request);
    }
    const here = [...wanted];
    const [sheets, rounds] = ["/sheets/", "/rigs/"].map((begin) => here.filter((address) => address.startsWith(begin)).length);
    const carried = { at: Date.now(), sheets, rounds, language: document.documentElement.lang };
    await store.remember("carried", carried);
    document.dispatchEvent(new CustomEvent("carried", { detail: carried }));
    return carried;
  } catch {
    return null; // no signal: what is here stays
  }
}
