// Minutes at work from taps on start and stop: the rules of shop/worktime.py, whose table of cases both pass. The shop
// decides; this says the same where there is no signal.

const HOUR_MS = 3_600_000;
const LONGEST_OVER_MIDNIGHT_MS = 6 * HOUR_MS;
const LONGEST_MS = 14 * HOUR_MS;

/**
 * What one person worked on a sheet until now. [min]
 * @param taps {sheet, starts, at [ms], isSure}, in the order in which they came to be known
 * @param closed by sheet, when it was signed or struck [ms]; zone: of the shop
 */
export function minutesOf(taps, { sheet, now, zone, closed = {} }) {
  const day = new Intl.DateTimeFormat("en-CA", { timeZone: zone });
  const isTooLong = (start, end) => end - start > LONGEST_MS || (end - start > LONGEST_OVER_MIDNIGHT_MS && day.format(start) !== day.format(end));
  const done = [];
  let runs = null;
  const ends = (at, isSure = false) => {
    done.push({ ...runs, end: at, isSure });
    runs = null;
  };
  const counted = taps.filter((tap) => !(tap.sheet in closed) || tap.at < closed[tap.sheet]);
  // A sure stop goes before whatever else was tapped at its instant: it answers about that.
  for (const tap of counted.sort((one, other) => one.at - other.at || other.isSure - one.isSure)) {
    if (runs && closed[runs.sheet] <= tap.at) ends(closed[runs.sheet]);
    if (!tap.starts) {
      if (runs?.sheet === tap.sheet) ends(tap.at, tap.isSure);
      continue;
    }
    if (runs?.sheet === tap.sheet && !isTooLong(runs.start, tap.at)) continue;
    if (runs) ends(tap.at);
    runs = { sheet: tap.sheet, start: tap.at };
  }
  if (runs) ends(closed[runs.sheet] ?? now);
  const own = done.filter((each) => each.sheet === sheet && (each.isSure || !isTooLong(each.start, each.end)));
  const seconds = own.reduce((sum, each) => sum + Math.max(0, each.end - each.start), 0) / 1000;
  return seconds > 0 ? Math.max(1, Math.floor((seconds + 30) / 60)) : 0;
}
