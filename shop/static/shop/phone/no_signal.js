// The sheets and rounds that were taken along, and how much waits here to be sent.

import * as store from "./store.js";
import { LANGUAGE, PAGES } from "./carry.js";
import { say } from "./saying.js";

/** Of whose sheets are here: the page is kept in every language. Where nobody has said, all of them show. */
const language = await store.fact(LANGUAGE);
if (language) for (const each of document.querySelectorAll("main [lang]")) each.hidden = each.lang !== language;

const list = document.getElementById("carried");
const keys = "caches" in window ? await (await caches.open(PAGES)).keys() : [];
const waiting = await store.kept();
for (const path of keys.map((request) => new URL(request.url).pathname)) {
  const [, kind, number] = /^\/(sheets|rigs)\/(\d+)\/(?:work|round)\/$/.exec(path) ?? [];
  if (!kind) continue;
  const [titled] = /<title>[^<]*<\/title>/.exec(await (await caches.match(path)).text());
  const { title } = new DOMParser().parseFromString(titled, "text/html");
  const line = document.createElement("li");
  const link = document.createElement("a");
  link.className = "check-row";
  link.href = path;
  const kept = waiting.filter((entry) => String(kind === "rigs" ? entry.rig : entry.number) === number);
  const isSigned = kept.some((entry) => entry.kind === "sign" && entry.state !== "refused");
  const words = list.getAttribute(`data-${isSigned ? "signed" : "kept"}-${language ?? "en"}`);
  link.textContent = title.split(" · ")[0] + (kept.length ? `: ${say(words, { n: kept.length })}` : "");
  line.append(link);
  list.append(line);
}
document.getElementById("none-carried").hidden = list.children.length > 0;
