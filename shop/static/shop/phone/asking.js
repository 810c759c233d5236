// What few steps ever ask: copied into its place beside a step, where it is asked.

/** A copy of what few steps ask, for one of them: why it does not apply, what was done about a value. */
export function asked(name, step) {
  const copied = document.getElementById(name).content.cloneNode(true);
  for (const label of copied.querySelectorAll("label[for]")) {
    const input = copied.getElementById(label.htmlFor);
    input.id = label.htmlFor = `${input.id}-${step.dataset.step}`;
  }
  return copied.firstElementChild;
}

/** Ask why a step does not apply, in its place. */
export function askWhy(step) {
  if (step.querySelector(".why")) return;
  step.querySelector(".not-applicable").hidden = true;
  step.append(asked("why", step));
}

const boxOf = (step) => step.querySelector(".as-left");

/** The input of the value as left; undefined where its box is not there. */
export const leftInput = (step) => boxOf(step)?.querySelector("input");

/** Puts the box for the value as left there, and gives its input. */
export function askLeft(step) {
  if (!boxOf(step)) {
    const box = asked("as-left", step);
    const input = box.querySelector("input");
    input.nextElementSibling.textContent = step.dataset.unitSaid;
    if ("isCode" in step.dataset) input.removeAttribute("inputmode");
    step.querySelector(".enter").before(box);
  }
  return leftInput(step);
}

/** Asks what was done about a value, or asks no more. */
export function askRemedy(step, isAsked) {
  if (isAsked && !step.querySelector(".out-of-limit")) {
    (boxOf(step) ?? step.querySelector(".enter")).before(asked("out-of-limit", step));
  }
  const question = step.querySelector(".out-of-limit");
  if (question) question.hidden = !isAsked;
}

/**
 * Draws what stands as left. Its box is there while something stands in it or it is asked for, and goes again.
 *
 * @param kept as left by the answer in force, as it is typed; "" where it was not read again
 * @param isWanted whether the box is asked for
 * @param isMeasured whether there is a value that may be left otherwise
 */
export function drawLeft(step, { kept, isWanted, isMeasured }) {
  const again = step.querySelector(".read-again");
  if (!again) return; // a gauge at zero
  if (kept || isWanted) askLeft(step);
  const input = leftInput(step);
  if (input && !input.dataset.isTyped) {
    input.value = kept;
    if (!kept && !isWanted) boxOf(step).remove();
  }
  again.hidden = !isMeasured || Boolean(boxOf(step));
}
