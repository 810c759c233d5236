/* Keying in a paper sheet: Enter leads to the next row, a value out of limit asks in place. The page
   works without this file: Enter then sends it, and what is missing comes back marked. */
import { numberOf } from "./phone/figures.js";

document.addEventListener("DOMContentLoaded", () => {
  const form = document.querySelector("form[data-keyed]");
  if (!form) return;
  const shown = (field) => field.checkVisibility({ visibilityProperty: true });
  const isLeft = (field) => field.name.startsWith("left_value-");
  const rowOf = (field) => field.closest(".key-row, .field");
  const stops = () =>
    [...form.elements].filter(
      (each) => each.matches("input:not([type=hidden]), select, textarea, button") && shown(each),
    );

  // Enter: the first box of the next row; within what a row asks, the next box.
  form.addEventListener("keydown", (event) => {
    const field = event.target;
    if (event.key !== "Enter" || !field.matches("input, select")) return;
    event.preventDefault();
    event.stopPropagation(); // a scanned part leads on just so
    const all = stops();
    const rest = all.slice(all.indexOf(field) + 1);
    const row = rowOf(field);
    const asked = row && row.querySelector("[data-asks]:not([hidden])");
    const inRow = (each) => row !== null && rowOf(each) === row;
    const next =
      (asked && rest.find((each) => inRow(each) && (asked.contains(each) || isLeft(each)))) ??
      rest.find((each) => !inRow(each));
    if (next) next.focus();
  });

  form.addEventListener("input", (event) => {
    const field = event.target;
    if (!("low" in field.dataset || "high" in field.dataset)) return;
    const asks = rowOf(field)?.querySelector("[data-asks]");
    if (!asks) return;
    const both = rowOf(field).querySelectorAll("[data-low], [data-high]");
    asks.hidden = ![...both].some(isOut);
  });

  function isOut({ value, dataset }) {
    const number = numberOf(value) ?? NaN;
    return ("low" in dataset && number < Number(dataset.low)) || ("high" in dataset && number > Number(dataset.high));
  }

  const wrong = form.querySelector(".key-row.wrong input:not([type=hidden]), .key-row.wrong select");
  if (wrong instanceof HTMLElement) wrong.focus();
});
