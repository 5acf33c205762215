// Chooses the time zone of this browser in a form that nobody has filled in yet.
for (const place of document.querySelectorAll("[data-timezone]")) {
  const list = document.getElementById(place.dataset.timezone);
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (list && [...list.options].some((option) => option.value === zone)) list.value = zone;
}
