// Shows one part of the sheet at a time, with Back and Next at the thumb.

import { W, copy, entryOf, isBefore, lacking, openChecks, sheet } from "./copy.js";
import { say } from "./saying.js";

const parts = [...sheet.querySelectorAll("section.part")];
const thumb = document.getElementById("thumb");
const labelled = [document.createElement("span"), document.createElement("span")];
thumb.querySelector("a:last-child").replaceChildren(labelled[0], " ", labelled[1]);

/** How many steps of a part are still to be answered by this person, or to be done again. */
function openIn(part) {
  const missing = new Set([...lacking(), ...copy.spent]);
  const isOpen = (step) => (isBefore(step) ? missing.has(step) : !step.closest("[hidden]:not(.part)") && !entryOf(step));
  return [...part.querySelectorAll("[data-step][data-section]")].filter(isOpen).length;
}

/** "Next" says where to, and what is left open here. */
export function label() {
  const place = parts.findIndex((part) => !part.hidden);
  const following = parts[place + 1];
  const open = following ? openIn(parts[place]) : 0;
  // The words change and their places stay: a press whose place was taken away before the hand let go is no click.
  const [to, here] = labelled;
  to.textContent = following ? following.dataset.nextLabel : W.sign;
  here.textContent = open ? say(W.open_here, { n: open }) : "";
}

export function show(id, isMoved = true) {
  const target = document.getElementById(id);
  const here = target?.closest("section.part") ?? parts[0];
  const place = parts.indexOf(here);
  for (const part of parts) part.hidden = part !== here;
  if (!here.contains(backToWork)) {
    stood = null;
    backToWork.hidden = true;
  }
  document.body.dataset.part = here.dataset.tab;
  for (const tab of document.querySelectorAll("#work-tabs [data-tab]")) {
    if (tab.dataset.tab === here.dataset.tab) tab.setAttribute("aria-current", "page");
    else tab.removeAttribute("aria-current");
  }
  const [back, next] = thumb.querySelectorAll("a");
  back.href = place ? `#${parts[place - 1].id}` : sheet.dataset.signed;
  const following = parts[place + 1];
  next.href = following ? `#${following.id}` : "#sign";
  label();
  next.dataset.signs = following ? "" : "yes";
  if (!isMoved) return;
  if (target && target !== here) target.scrollIntoView({ block: "center" });
  else {
    scrollTo(0, 0);
    here.querySelector("h2")?.focus({ preventScroll: true });
  }
}

export function opening() {
  if (sheet.querySelector(".row-error:not([hidden]), .form-errors, .field.wrong")) {
    return sheet.querySelector(".row-error:not([hidden]), .form-errors, .field.wrong").closest("section.part").id;
  }
  if (lacking().length) return "cautions";
  const [open] = openChecks();
  return open ? open.closest("section.part").id : "sign";
}

thumb.addEventListener("click", (event) => {
  if (event.target.closest("a")?.dataset.signs !== "yes") return;
  event.preventDefault();
  const form = document.getElementById("sign-form");
  const name = form.querySelector("[name=signature]");
  // Nobody signs what he has not seen: the first tap leads to the name and the box to draw in.
  if (name.getBoundingClientRect().bottom > thumb.getBoundingClientRect().top) name.scrollIntoView({ block: "center" });
  else form.requestSubmit();
});
/** Where somebody stood who went to report found work, and the link that leads back there once it is reported. */
let stood = null;
const backToWork = document.getElementById("back-to-work");
export function reported() {
  backToWork.hidden = !stood;
}
backToWork.addEventListener("click", (event) => {
  event.preventDefault();
  const { part, top } = stood;
  history.pushState(null, "", `#${part.id}`);
  show(part.id);
  scrollTo(0, top);
});
// Found work is reported on the sheet itself, which needs no signal; what is signed takes no more.
document.querySelector(".bar .report")?.addEventListener("click", (event) => {
  if (copy.state.isSigned) return;
  event.preventDefault();
  const report = document.getElementById("report");
  const part = parts.find((each) => !each.hidden);
  if (!part.contains(report)) stood = { part, top: scrollY };
  const { line } = part.dataset;
  const asked = document.getElementById("found-line");
  // Found where the work is, unless somebody said otherwise before.
  if (asked instanceof HTMLSelectElement && !asked.dataset.isTyped) {
    asked.value = asked.querySelector(`[data-lines~="${line}"]`)?.value ?? "";
  }
  report.open = true;
  location.hash = report.id;
  show(report.id);
  document.getElementById("found-text").focus();
});
addEventListener("hashchange", () => show(location.hash.slice(1)));
