// Possible fingerings of what is picked on the marking page: the link takes the bars of the selection along.

const first = document.getElementById("mark-first");
const last = document.getElementById("mark-last");

/** The printed number of the bar a note lies in, from its words: "bar 12, second note, …". */
function bar(list) {
  const words = list.selectedOptions[0]?.textContent ?? "";
  return list.value ? (words.match(/^\S+ ([^\s,]+),/)?.[1] ?? "") : "";
}

for (const link of document.querySelectorAll("[data-bars-picked]")) {
  link.addEventListener("click", () => {
    const address = new URL(link.href);
    const [from, to] = [bar(first), bar(last)];
    address.searchParams.delete("bars");
    if (from && to && to !== from) address.searchParams.set("bars", `${from}–${to}`);
    link.href = address.href;
  });
}
