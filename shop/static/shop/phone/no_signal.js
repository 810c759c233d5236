// The sheets that were taken along, and how much waits here to be sent.

import * as store from "./store.js";
import { PAGES } from "./carry.js";

const list = document.getElementById("carried");
const keys = "caches" in window ? await (await caches.open(PAGES)).keys() : [];
const waiting = await store.kept();
for (const path of keys.map((request) => new URL(request.url).pathname)) {
  const number = Number(/^\/sheets\/(\d+)\/work\/$/.exec(path)?.[1]);
  if (!number) continue;
  const title = new DOMParser().parseFromString(await (await caches.match(path)).text(), "text/html").title;
  const line = document.createElement("li");
  const link = document.createElement("a");
  link.className = "check-row";
  link.href = path;
  const kept = waiting.filter((entry) => entry.number === number).length;
  link.textContent = title.split(" · ")[0] + (kept ? `: ${kept} kept here` : "");
  line.append(link);
  list.append(line);
}
document.getElementById("none-carried").hidden = list.children.length > 0;
