// A form in which two or three boxes must be ticked: says how many are missing.

for (const form of document.querySelectorAll("form[data-choose]")) {
  const [least, most] = form.dataset.choose.split("-").map(Number);
  const boxes = [...form.querySelectorAll("input[type=checkbox]")];
  const button = form.querySelector("[data-choose-button]");
  const note = form.querySelector("[data-choose-note]");
  if (!button) continue;
  const count = () => {
    const ticked = boxes.filter((box) => box.checked).length;
    button.disabled = ticked < least || ticked > most;
    note.textContent = ticked > most ? `At most ${most}.` : ticked < least ? `Tick the ones to compare (${least} or ${most}).` : "";
  };
  form.addEventListener("change", count);
  count();
}
