// Words of the page with figures put into their braces, and the time as the shop's own clock shows it.

export const say = (text, values = {}) => Object.entries(values).reduce((said, [key, value]) => said.replace(`{${key}}`, value), text);

/** The shop's; undefined is the phone's own. */
export const zone = document.documentElement.dataset.zone || undefined;

const hours = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone });
const days = new Intl.DateTimeFormat(document.documentElement.lang, { day: "numeric", month: "short", year: "numeric", timeZone: zone });

/** "06:40" in the shop's zone, like the times that the shop says: a phone from elsewhere shows no other hour. */
export const hour = (instant) => hours.format(new Date(instant));

function dayOf(instant) {
  const { day, month, year } = Object.fromEntries(days.formatToParts(new Date(instant)).map(({ type, value }) => [type, value]));
  return { day: `${day} ${month.slice(0, 3)}`, year }; // "sept" is "sep" where the shop says it
}

/** "06:40", of another day "26 Nov 06:40": as `words.clock` says it. now: by the clock that `instant` is of. */
export function clock(instant, now = Date.now()) {
  const [that, today] = [dayOf(instant), dayOf(now)];
  const year = that.year === today.year ? "" : ` ${that.year}`;
  return that.day + year === today.day ? hour(instant) : `${that.day}${year} ${hour(instant)}`;
}
