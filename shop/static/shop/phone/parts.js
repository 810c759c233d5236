// Shows one part of the sheet at a time, with Back and Next at the thumb.

import { W, lacking, openChecks, sheet } from "./copy.js";

const parts = [...sheet.querySelectorAll("section.part")];
const thumb = document.getElementById("thumb");

export function show(id, isMoved = true) {
  const target = document.getElementById(id);
  const here = target?.closest("section.part") ?? parts[0];
  const place = parts.indexOf(here);
  for (const part of parts) part.hidden = part !== here;
  for (const tab of document.querySelectorAll("#work-tabs [data-tab]")) {
    if (tab.dataset.tab === here.dataset.tab) tab.setAttribute("aria-current", "page");
    else tab.removeAttribute("aria-current");
  }
  const [back, next] = thumb.querySelectorAll("a");
  back.href = place ? `#${parts[place - 1].id}` : sheet.dataset.signed;
  const following = parts[place + 1];
  next.href = following ? `#${following.id}` : "#sign";
  next.textContent = following ? following.dataset.nextLabel : W.sign;
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
  document.getElementById("sign-form").requestSubmit();
});
addEventListener("hashchange", () => show(location.hash.slice(1)));
