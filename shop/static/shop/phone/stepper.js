// Minus and plus beside a measured value; without a script the value is typed.

import { plainOf } from "./figures.js";

document.addEventListener("click", ({ target }) => {
  const button = target instanceof Element ? target.closest("button[data-step]") : null;
  if (!button) return;
  const input = document.getElementById(button.dataset.for);
  if (!(input instanceof HTMLInputElement)) return;
  const { step, from, least } = button.dataset;
  const now = plainOf(input.value.trim() || from);
  if (now === null) return; // what is no number stays as it was typed, until it is entered and refused
  const decimals = Math.max(...[step, now].map((each) => (each.split(".")[1] || "").length));
  const next = Number(now) + Number(step);
  const isPast = least !== undefined && next < Number(least) && Number(now) >= Number(least);
  input.value = (isPast ? Number(least) : next).toFixed(decimals);
  input.dispatchEvent(new Event("input", { bubbles: true }));
  input.dispatchEvent(new Event("change", { bubbles: true }));
});
