// What a measured value asks for before it is kept, as shop/as_left.py decides it: one table tests both.

const READ_AGAIN = ["put_right", "replaced"];
/** What leaves a value as it is, to be seen to: it opens found work. */
export const SEEN_TO = ["found_work", "stop"];

/**
 * The name of the words that say what is missing; "" where nothing is.
 *
 * @param given isOut: past a limit as found; leftIsOut: as left, null where it was not read again; remedy: what was done
 *     about it; hasText: whether what was found is said
 */
export function lacksOf({ isOut, leftIsOut, remedy, hasText }) {
  if (!isOut && !leftIsOut) return "";
  if (READ_AGAIN.includes(remedy)) return leftIsOut === null ? "say_left" : leftIsOut ? "still_out" : "";
  if (SEEN_TO.includes(remedy)) return hasText ? "" : "say_found";
  return "say_remedy";
}
