// The technician's day: takes the sheets along, and sends what is still on the phone.

import * as sending from "./sending.js";
import { bar } from "./bar.js";
import { carry } from "./carry.js";

const W = JSON.parse(document.getElementById("words").textContent);
const line = document.getElementById("carried");
const button = document.getElementById("carry");

function said(sheets) {
  line.textContent = sheets === null ? W.not_carried : W[sheets === 1 ? "carried_one" : "carried"].replace("{n}", sheets);
}

document.getElementById("on-phone").hidden = false;
button.addEventListener("click", async () => {
  button.disabled = true;
  said(await carry({ isAsked: true }));
  button.disabled = false;
});
bar(W);
sending.start();
carry().then(said);
