// Pictures follow the window's width: tells the studio which width suits, and changes those drawn for another.

const WIDTHS = [[500, "phone"], [720, "small"], [1000, "tablet"], [Infinity, "desktop"]];

/** The name of the width this window wants. */
export function screenNow() {
  return WIDTHS.find(([limit]) => window.innerWidth < limit)[1];
}

function remember(name) {
  document.cookie = `screen=${name}; path=/; max-age=31536000; samesite=lax`;
}

async function redraw(picture, name) {
  const answer = await fetch(picture.dataset.excerpt, { headers: { "X-Requested-With": "fetch" } });
  if (!answer.ok) return;
  const held = document.createElement("template");
  held.innerHTML = await answer.text();
  const fresh = held.content.firstElementChild;
  if (fresh && screenNow() === name) {
    picture.replaceWith(fresh);
    fresh.dispatchEvent(new CustomEvent("excerpt:redrawn", { bubbles: true }));
  }
}

function fit() {
  const name = screenNow();
  remember(name);
  for (const picture of document.querySelectorAll("[data-excerpt]")) {
    if (picture.dataset.screen !== name) redraw(picture, name);
  }
  // A movement's pages are picked on, so they are fetched again as a whole, with what was picked.
  const bars = document.querySelector(".movement-bars[data-screen]");
  if (bars && bars.dataset.screen !== name && document.cookie.includes(`screen=${name}`)) {
    bars.dataset.screen = name;
    const address = new URL(window.location.href);
    const picked = document.getElementById("bars")?.value;
    if (picked) address.searchParams.set("bars", picked);
    window.location.replace(address);
  }
}

let waiting = 0;
window.addEventListener("resize", () => { window.clearTimeout(waiting); waiting = window.setTimeout(fit, 250); });
fit();
