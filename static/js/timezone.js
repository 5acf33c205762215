// Chooses the time zone of this browser in a form that nobody has filled in yet, and puts it on top of the list.
// Browsers tell some zones by obsolete names: the list of new ones stands in the page.
for (const place of document.querySelectorAll("[data-timezone]")) {
  const list = document.getElementById(place.dataset.timezone);
  const renamed = JSON.parse(document.getElementById("renamed-zones")?.textContent ?? "{}");
  const told = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const guess = list && [...list.options].find((option) => option.value === (renamed[told] ?? told));
  if (!guess) continue;
  list.prepend(guess);
  list.value = guess.value;
}
