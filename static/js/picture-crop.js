// Straighten and crop: the picture turns and its edges move as they will be cut. Each number has a slider beside it,
// and each edge a handle on the picture; whichever is used, the numbers are what is sent.

const form = document.querySelector("[data-crop-form]");
const frame = form.querySelector("[data-crop]");
const image = frame.querySelector("img");
const words = form.querySelector("[data-crop-words]");
const fields = Object.fromEntries(["angle", "left", "right", "top", "bottom"].map((name) => [name, form.elements[name]]));
const EDGES = ["left", "right", "top", "bottom"];
const LEAST = 2; // percent between two edges

const box = document.createElement("div");
box.className = "crop-box";
box.setAttribute("aria-hidden", "true");
const handles = {};
for (const edge of EDGES) {
  const handle = document.createElement("span");
  handle.className = `crop-handle crop-${edge}`;
  handles[edge] = handle;
  box.append(handle);
}
frame.append(box);

const sliders = {};
for (const [name, field] of Object.entries(fields)) {
  const slider = document.createElement("input");
  slider.type = "range";
  slider.min = field.min;
  slider.max = field.max;
  slider.step = field.step;
  slider.setAttribute("aria-label", `${field.labels[0].textContent}, slider`);
  slider.addEventListener("input", () => { set(name, Number(slider.value)); });
  field.addEventListener("input", show);
  field.addEventListener("change", () => { set(name, value(name)); });
  field.closest("[data-edge-row]").append(slider);
  sliders[name] = slider;
}

const value = (name) => {
  const found = Number.parseFloat(String(fields[name].value).replace(",", "."));
  return Number.isFinite(found) ? found : { right: 100, bottom: 100 }[name] ?? 0;
};

/** Write one number, kept within its limits and apart from the edge opposite. */
function set(name, wanted) {
  let found = Math.min(Number(fields[name].max), Math.max(Number(fields[name].min), wanted));
  if (name === "left") found = Math.min(found, value("right") - LEAST);
  if (name === "right") found = Math.max(found, value("left") + LEAST);
  if (name === "top") found = Math.min(found, value("bottom") - LEAST);
  if (name === "bottom") found = Math.max(found, value("top") + LEAST);
  fields[name].value = String(Math.round(found * 10) / 10);
  show();
}

function show() {
  image.style.transform = `rotate(${value("angle")}deg)`;
  box.style.left = `${value("left")}%`;
  box.style.top = `${value("top")}%`;
  box.style.width = `${value("right") - value("left")}%`;
  box.style.height = `${value("bottom") - value("top")}%`;
  for (const name of Object.keys(fields)) sliders[name].value = String(value(name));
  const wide = Math.round(Number(frame.dataset.width) * (value("right") - value("left")) / 100);
  const tall = Math.round(Number(frame.dataset.height) * (value("bottom") - value("top")) / 100);
  const dots = Math.round(wide / (180 / 25.4));
  words.textContent = `What is left has ${wide} × ${tall} points: ${dots} to the inch over the width of a sheet${dots < 150 ? ", which looks blurred; 150 or more is sharp" : ""}.`;
}

/** A handle follows the finger along its own direction. */
for (const edge of EDGES) {
  const handle = handles[edge];
  handle.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    handle.setPointerCapture(event.pointerId);
  });
  handle.addEventListener("pointermove", (event) => {
    if (!handle.hasPointerCapture(event.pointerId)) return;
    const whole = frame.getBoundingClientRect();
    const across = 100 * (event.clientX - whole.left) / whole.width;
    const down = 100 * (event.clientY - whole.top) / whole.height;
    set(edge, edge === "left" || edge === "right" ? across : down);
  });
}

fields.angle.addEventListener("focus", () => frame.classList.add("straightening"));
sliders.angle.addEventListener("focus", () => frame.classList.add("straightening"));
for (const field of [fields.angle, sliders.angle]) field.addEventListener("blur", () => frame.classList.remove("straightening"));

form.querySelector("[data-level]")?.addEventListener("click", (event) => {
  event.preventDefault();
  set("angle", Number(event.currentTarget.dataset.level));
});

document.documentElement.classList.add("scripted");
show();
