// What comes before a check, and before a step of lockout or of the way back: the rules of shop/isolation/locks.py, whose
// table of cases both pass. The shop decides; this says the same where there is no signal.

const IN_ORDER = ["prepare", "shut_down", "isolate", "lock", "release", "verify"];

/** Whether something happened after a step was entered. Moments are { at [ms], turn }, turn tells those of one instant apart. */
export function isLater(moment, step) {
  if (!moment || step.at === null) return false;
  return moment.at > step.at || (moment.at === step.at && (moment.turn ?? 0) > (step.turn ?? 0));
}

const isBack = (step, locked) => step.isDone && step.at !== null && !isLater(locked, step);

/** Whether something ran since a step was done, or a shift went by. */
const isOld = (step, { started, at, holds }) => step.at !== null && (isLater(started, step) || at - step.at > holds);

/** Whether something that comes before a proof was done after it; of the locks, that of whoever entered it. */
function isOutdone(step, listed) {
  if (step.phase === "lock") return false;
  const earlier = listed.filter((each) => IN_ORDER.includes(each.phase) && !["lock", "verify"].includes(each.phase));
  return isLater(step.locked, step) || earlier.some((each) => each.at !== null && isLater(each, step));
}

function isSpent(step, wanted, listed, now) {
  if (!(wanted.opens.length || wanted.isStill || (wanted.forElectrician && !wanted.isRun))) return false;
  const isProof = step.forElectrician || step.proves.some((each) => wanted.opens.includes(each));
  if (!isProof && (!["lock", "verify"].includes(step.phase) || step.proves.length)) return false;
  return isOutdone(step, listed) || isOld(step, now);
}

/**
 * The steps that must be done, or done again, before a check is entered.
 * @param steps { isCaution, phase, proves, forElectrician, isDone, at [ms or null], locked }, as they stand for one person:
 *   locked, when whoever entered it put on his own lock last
 * @param wanted { opens, isRun, isAfterReturn, forElectrician, isStill }
 * @param now { started, locked, at [ms], holds [ms] }: the last start, the last lock of anybody; at null: what was never done
 */
export function stillBefore(steps, wanted, now) {
  return steps.filter((step) => {
    if (step.phase === "return") return wanted.isAfterReturn && !isBack(step, now.locked);
    if (wanted.isRun && !step.isCaution) return false;
    if (step.forElectrician && !wanted.forElectrician) return false;
    return !step.isDone || (now.at !== null && isSpent(step, wanted, steps, now));
  });
}

/** The steps that come before one of them, in their order: nothing before a caution, or one without a phase. */
export function firstBefore(steps, wanted, now) {
  if (wanted.phase === "return") {
    const earlier = steps.slice(0, steps.indexOf(wanted)).filter((step) => step.phase === "return");
    return earlier.filter((step) => !isBack(step, now.locked));
  }
  if (wanted.isCaution || !IN_ORDER.includes(wanted.phase)) return [];
  const earlier = IN_ORDER.slice(0, IN_ORDER.indexOf(wanted.phase));
  return steps.filter((step) => {
    if (!step.isCaution && !earlier.includes(step.phase)) return false;
    if (step.forElectrician && !wanted.forElectrician) return false;
    return !step.isDone || (step.phase === "lock" && isOld(step, now));
  });
}
