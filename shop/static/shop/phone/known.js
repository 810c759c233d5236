// The parts that this sheet can meet and the places that it may take from: they came with the page, for where there is no
// shop to ask.

const options = [...document.getElementById("part-numbers").options];
const asWritten = (text) => text.trim().toLowerCase();
const places = new Set([...document.getElementById("place-codes").options].map((option) => asWritten(option.value)));
const numbers = new Set(options.map((option) => asWritten(option.value)));
const codes = new Set(options.flatMap((option) => option.dataset.codes?.split("\n") ?? []));

/** Whether it is a maker's code of one of these parts, and not its number. */
export const isCode = (typed) => !numbers.has(asWritten(meant(typed))) && codes.has(meant(typed));

/** A code as it was read; of an address on our own label, what it names. */
export function meant(code) {
  const named = /\/go\/[\w-]+\/([^/?#]+)\/?$/.exec(code.trim());
  return named ? decodeURIComponent(named[1]) : code.trim();
}

/** By the field that it was typed into, whether it is a number in any case, a maker's code or our own label of a part that
 * came with the page; the code or the label of a place. No place at all is where the part lies. */
export const isKnown = {
  part: (typed) => numbers.has(asWritten(meant(typed))) || codes.has(meant(typed)),
  place: (typed) => !typed || places.has(asWritten(meant(typed))),
};
