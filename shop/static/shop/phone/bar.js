// Says at all times what of what was entered is still here, is being sent, has arrived, or was refused.

import * as store from "./store.js";
import { say } from "./saying.js";
import { flush, state } from "./sending.js";

export function bar(W) {
  const strip = document.getElementById("sending");
  const list = document.getElementById("refused");
  const one = document.getElementById("refused-one");
  const what = document.getElementById("sending-what");
  const more = document.getElementById("sending-more");
  const note = document.getElementById("sending-note");

  function words() {
    const kept = say(state.kept === 1 ? W.entry_kept : W.entries_kept, { n: state.kept });
    if (state.sending && !state.isSilent) return ["sending", say(W.sending, { n: state.sending, all: state.of }), "", ""];
    if (state.kept) return ["kept", state.isSilent ? W.no_signal : "", kept, W.sent_once];
    if (state.sentAt) return ["sent", say(W.sent, { at: new Date(state.sentAt).toTimeString().slice(0, 5) }), "", state.isSilent ? W.no_signal : ""];
    return ["sent", state.isSilent ? W.no_signal : W.nothing_kept, "", ""];
  }

  async function draw() {
    const [kind, first, second, third] = words();
    const shown = state.refused.length ? "refused" : kind;
    for (const icon of strip.querySelectorAll("[data-when]")) icon.hidden = icon.dataset.when !== shown;
    what.textContent = state.refused.length ? say(W.refused, { n: state.refused.length }) : first;
    more.textContent = state.refused.length && first ? first : second;
    const lasting = (await store.fact("lasting")) === false ? W.not_lasting : "";
    note.textContent = [third, isSecureContext ? "" : W.plain_http, state.kept ? lasting : ""].filter(Boolean).join(" ");
    strip.hidden = false;
    list.hidden = !state.refused.length;
    list.replaceChildren(
      ...state.refused.map((entry) => {
        const line = one.content.cloneNode(true);
        line.querySelector("strong").textContent = `${entry.shown}, ${new Date(entry.at).toTimeString().slice(0, 5)} ${entry.name}`;
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
