// A signature drawn with a finger, as path data of whole numbers on a field of 1000 × 300.

const MOST = 8000; // characters that the shop keeps

export function drawable(field, input, clear) {
  const ink = field.querySelector(".drawn-ink");
  let data = "";
  let last = null;

  function put(event, command) {
    const box = field.getBoundingClientRect();
    const x = Math.round(((event.clientX - box.left) / box.width) * 1000);
    const y = Math.round(((event.clientY - box.top) / box.height) * 300);
    if (last && command === "L" && Math.hypot(x - last[0], y - last[1]) < 5) return;
    const next = `${data}${data ? " " : ""}${command} ${Math.min(1000, Math.max(0, x))} ${Math.min(300, Math.max(0, y))}`;
    if (next.length > MOST) return;
    data = next;
    last = [x, y];
    ink.setAttribute("d", data);
    input.value = data;
  }
  field.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    field.setPointerCapture(event.pointerId);
    put(event, "M");
  });
  field.addEventListener("pointermove", (event) => {
    if (field.hasPointerCapture(event.pointerId)) put(event, "L");
  });
  clear.addEventListener("click", () => {
    data = "";
    last = null;
    ink.setAttribute("d", "");
    input.value = "";
  });
}
