// Says at all times what of what was entered is still here, is being sent, has arrived, or was refused.

import * as store from "./store.js";
import { clock, say } from "./saying.js";
import { flush, isOutOfReach, state } from "./sending.js";

export function bar(W) {
  const strip = document.getElementById("sending");
  const list = document.getElementById("refused");
  const one = document.getElementById("refused-one");
  const what = document.getElementById("sending-what");
  const more = document.getElementById("sending-more");
  const note = document.getElementById("sending-note");

  /** Whether there was no signal since this page was opened. */
  let wasOut = false;

  function words() {
    const isOut = isOutOfReach();
    const back = wasOut && !isOut ? W.signal_back : "";
    wasOut ||= isOut;
    const kept = say(state.kept === 1 ? W.entry_kept : W.entries_kept, { n: state.kept });
    if (state.sending && !state.isSilent) return ["sending", say(W.sending, { n: state.sending, all: state.of }), "", back];
    if (state.kept) return ["kept", isOut ? W.no_signal : "", kept, W.sent_once];
    const none = state.sentAt ? say(W.sent, { at: clock(state.sentAt) }) : W.nothing_kept;
    return isOut ? ["kept", W.no_signal, none, ""] : ["sent", none, "", back];
  }

  async function draw() {
    const [kind, first, second, third] = words();
    const shown = state.refused.length ? "refused" : kind;
    for (const icon of strip.querySelectorAll("[data-when]")) icon.hidden = icon.dataset.when !== shown;
    what.textContent = state.refused.length ? say(W.refused, { n: state.refused.length }) : first;
    more.textContent = state.refused.length && first ? first : second;
    // By plain http a browser is not even asked to keep it.
    const lasting = isSecureContext && (await store.fact("lasting")) !== false ? "" : W.not_lasting;
    note.textContent = [third, isSecureContext ? "" : W.plain_http, state.kept ? lasting : ""].filter(Boolean).join(" ");
    strip.hidden = false;
    list.hidden = !state.refused.length;
    list.replaceChildren(
      ...state.refused.map((entry) => {
        const line = one.content.cloneNode(true);
        line.querySelector("strong").textContent = `${entry.shown}, ${clock(entry.at)} ${entry.name}`;
        line.querySelector(".errors").textContent = entry.words;
        line.querySelector("button").addEventListener("click", async () => {
          await store.drop(entry.order);
          await flush();
        });
        return line;
      }),
    );
  }
  document.addEventListener("outbox", draw);
  draw();
}
