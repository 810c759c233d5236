// The technician's day: takes its sheets and rounds along, and sends what is still on the phone.

import * as sending from "./sending.js";
import * as store from "./store.js";
import { bar } from "./bar.js";
import { carry } from "./carry.js";
import { say } from "./saying.js";

const W = JSON.parse(document.getElementById("words").textContent);
const line = document.getElementById("carried");
const button = document.getElementById("carry");

function said(carried) {
  const { sheets, rounds } = carried ?? {};
  line.textContent = carried === null ? W.not_carried : [
    say(sheets === 1 ? W.carried_one : W.carried, { n: sheets }),
    rounds ? say(rounds === 1 ? W.round_carried : W.rounds_carried, { n: rounds }) : "",
  ].join(" ").trim();
}

/** What was signed here and has not arrived is signed, whatever the page was told last. */
async function drawSigned() {
  const kept = (await store.kept()).filter((entry) => entry.kind === "sign" && entry.state !== "refused");
  const numbers = new Set(kept.map((entry) => String(entry.number)));
  for (const signed of document.querySelectorAll("[data-signed-here]")) {
    const isSigned = numbers.has(signed.dataset.signedHere);
    signed.hidden = !isSigned;
    signed.parentElement.querySelector(":scope > .punches").hidden = isSigned;
  }
}

document.getElementById("on-phone").hidden = false;
button.addEventListener("click", async () => {
  button.disabled = true;
  said(await carry({ isAsked: true }));
  button.disabled = false;
});
bar(W);
let hasArrived = false;
document.addEventListener("outcome", ({ detail: { entry } }) => { hasArrived ||= entry.kind === "sign"; });
document.addEventListener("outbox", () => {
  // The shop says what became of it; once all is sent, so that nothing waits meanwhile.
  if (hasArrived && !sending.state.kept && !sending.state.sending) location.reload();
  else drawSigned();
});
drawSigned();
sending.start();
carry({ listed: [...document.querySelectorAll("main a.whole[href$='/work/']")].map((link) => link.pathname) }).then(said);
