// Says beside what was entered why it is not taken, for as long as that holds.

import { W } from "./copy.js";

/** By place, for what ends when something else is done: what still keeps it. */
const holding = new Map();

/** For a form of another page's making, which has no line for it yet. */
function errorLine(place) {
  const line = document.createElement("p");
  line.className = "errors row-error";
  line.setAttribute("role", "alert");
  line.append(document.createElement("span"));
  place.append(line);
  return line;
}

/** missing: the step that is to be done first, to be gone to from here. */
function write(place, { words, missing = null }) {
  const line = place.querySelector(".row-error") ?? errorLine(place);
  const said = line.querySelector("span");
  // What is said already is not read aloud again, and its link keeps the focus.
  if (!line.hidden && said.textContent === words && line.querySelector("a")?.hash === (missing ? `#${missing.id}` : undefined)) return line;
  line.hidden = false;
  said.textContent = words;
  line.querySelector("a")?.remove();
  if (missing) {
    const link = document.createElement("a");
    link.href = `#${missing.id}`;
    link.textContent = W.go_there;
    line.append(" ", link);
  }
  return line;
}

/** still: asked whenever the page is drawn, gives what then keeps it, as words and missing; nothing when it is cured. */
export function refuse(place, words, { missing = null, still = null } = {}) {
  if (still) holding.set(place, still);
  else holding.delete(place);
  write(place, { words, missing }).scrollIntoView({ block: "nearest" });
}

export function forgive(place) {
  holding.delete(place);
  const line = place.querySelector(".row-error");
  if (line) line.hidden = true;
}

/** What was refused and would not be any more is not said any longer. */
export function drawRefused() {
  for (const [place, still] of holding) {
    const wrong = still();
    if (wrong) write(place, wrong);
    else forgive(place);
  }
}
