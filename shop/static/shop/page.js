/* Small helps only: every page works without this file. */
"use strict";

// A box for the whole list follows and leads the boxes of its table.
document.addEventListener("change", (event) => {
  const box = event.target;
  if (!(box instanceof HTMLInputElement) || !box.dataset.picks) return;
  for (const other of document.querySelectorAll(`input[type="checkbox"][name="${box.dataset.picks}"]`)) {
    if (!other.disabled) other.checked = box.checked;
  }
});

// What is chosen leads on to what comes next, so that a phone opens its keyboard with its dictation.
document.addEventListener("change", (event) => {
  const next = event.target instanceof HTMLInputElement && document.getElementById(event.target.dataset.then || "");
  if (next && !next.value) next.focus();
});

// An address to copy: a tap on its field takes the whole, the button copies it where there is a way.
document.addEventListener("focusin", (event) => {
  if (event.target instanceof HTMLInputElement && "selects" in event.target.dataset) event.target.select();
});
document.addEventListener("DOMContentLoaded", () => {
  for (const button of document.querySelectorAll("button[data-copies]")) button.hidden = false;
});
document.addEventListener("click", async (event) => {
  const button = event.target instanceof Element ? event.target.closest("button[data-copies]") : null;
  const field = button && document.getElementById(button.dataset.copies);
  if (!(field instanceof HTMLInputElement)) return;
  field.select();
  let copied = false;
  try {
    await navigator.clipboard.writeText(field.value);
    copied = true;
  } catch {
    // On plain http there is no clipboard to write to; the old way copies what is selected.
    copied = document.execCommand("copy");
  }
  const said = document.getElementById(`${button.dataset.copies}_copied`);
  if (said) said.textContent = copied ? "Copied." : "Not copied. Copy the marked text by hand.";
});

// A scanner ends each code with Enter. In a field that takes a part or a place this leads to the next
// empty field of the form; the form is sent only once there is none.
document.addEventListener("keydown", (event) => {
  const field = event.target;
  if (event.key !== "Enter" || !(field instanceof HTMLInputElement) || !("scans" in field.dataset)) return;
  if (!field.form || !field.value.trim()) return;
  const typed = [...field.form.elements].filter(
    (each) => each instanceof HTMLInputElement && each.type === "text" && each.offsetParent,
  );
  const next = typed.slice(typed.indexOf(field) + 1).find((each) => !each.value.trim());
  if (!next) return;
  event.preventDefault();
  next.focus();
});

// Somebody signed in anew in another tab: the forms of this page learn it, so that what was typed
// can be sent once more.
document.addEventListener("htmx:afterSwap", () => {
  const fresh = document.querySelector("[data-fresh-token]")?.dataset.freshToken;
  if (!fresh) return;
  for (const field of document.querySelectorAll('input[name="csrfmiddlewaretoken"]')) field.value = fresh;
  document.body.setAttribute("hx-headers", JSON.stringify({ "X-CSRFToken": fresh }));
});

// What was refused is where the person looks next.
document.addEventListener("DOMContentLoaded", () => {
  const wrong = document.querySelector(".field.wrong input, .field.wrong select, .field.wrong textarea");
  if (wrong instanceof HTMLElement) wrong.focus();
});

// The open "More" and the person's own list close when attention goes elsewhere.
document.addEventListener("click", (event) => {
  for (const open of document.querySelectorAll(".bar details[open]")) {
    if (!(event.target instanceof Node) || !open.contains(event.target)) open.removeAttribute("open");
  }
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const open of document.querySelectorAll(".bar details[open]")) {
    open.removeAttribute("open");
    open.querySelector("summary")?.focus();
  }
});

// What is sent without signal would end on the browser's own error page, and what was typed be gone. A browser knows
// its networks only, and the shop may run on this very computer: so the shop is asked before that is said.
let isInReach = false;
document.addEventListener("submit", async (event) => {
  const { target: form, submitter } = event;
  if (navigator.onLine || isInReach || event.defaultPrevented) return;
  event.preventDefault();
  const asked = fetch("/no-signal/", { method: "HEAD", signal: AbortSignal.timeout(4000) });
  if (await asked.then(() => true, () => false)) {
    isInReach = true;
    form.requestSubmit(submitter);
    isInReach = false;
    return;
  }
  form.querySelector(".not-sent")?.remove();
  const line = Object.assign(document.createElement("p"), { className: "errors not-sent", textContent: document.body.dataset.notSent });
  line.setAttribute("role", "alert");
  if (form.contains(submitter)) submitter.after(line);
  else form.append(line);
  line.scrollIntoView({ block: "center" });
});

// Who signs out leaves no page of the shop on a phone that others use; what was entered stays until it is sent.
document.addEventListener("submit", (event) => {
  if ("caches" in window && !event.defaultPrevented && event.target.action?.endsWith("/sign-out/")) caches.delete("pages");
});
