// The mark of the value that is typed, on a scale that the shop drew (shop/drawing/state.py).

const SVG = "http://www.w3.org/2000/svg";

function part(name, attributes, text = "") {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.textContent = text;
  return element;
}

/** Of its texts, as the shop draws them, and about how wide they run. */
const TEXT = 16;
const wide = (words) => 0.6 * TEXT * words.length;

/** @param value a number, or null where nothing is typed */
export function mark(drawing, value, { isOut, word }) {
  const group = drawing.querySelector("g.now");
  if (!group) return;
  group.replaceChildren();
  if (value === null) return;
  const { start, end, left, length, top, thick } = Object.fromEntries(
    Object.entries(group.dataset).map(([key, text]) => [key, Number(text)]),
  );
  const share = Math.min(1, Math.max(0, (value - start) / (end - start)));
  const x = left + share * length;
  const colour = isOut ? "oxide" : "ink";
  group.append(
    part("path", { d: `M${x} ${top}V${top + thick}`, class: `d-none s-${colour}`, "stroke-width": 4 }),
    part("path", { d: `M${x - 9} ${top - 12}H${x + 9}L${x} ${top}Z`, class: `d-${colour}` }),
  );
  const isRight = x > left + length / 2;
  const words = `${word} ${value}`;
  if (wide(words) > length / 2) return;
  const text = part("text", { x: isRight ? x - 13 : x + 13, y: top - 7, class: `d-${colour} t-bold`, "font-size": TEXT }, words);
  if (isRight) text.setAttribute("text-anchor", "end");
  group.append(text);
  // The figure of a limit gives way to what is read now.
  const [from, to] = isRight ? [x - 13 - wide(words), x + 9] : [x - 9, x + 13 + wide(words)];
  for (const limit of drawing.querySelectorAll("text.limit")) {
    const middle = Number(limit.getAttribute("x"));
    const half = wide(limit.textContent) / 2;
    limit.setAttribute("visibility", middle + half > from && middle - half < to ? "hidden" : "visible");
  }
}
