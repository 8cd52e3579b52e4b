"use strict";
const ranked = document.getElementById("ranked");
if (ranked) {
  const heads = [...ranked.tHead.rows[0].cells], body = ranked.tBodies[0], rows = [...body.rows];
  const valueOf = (row, at) => row.cells[at].dataset.value === undefined ? NaN : Number(row.cells[at].dataset.value);
  const compare = (a, b, at) => heads[at].classList.contains("number")
    ? valueOf(a, at) - valueOf(b, at) : a.cells[at].textContent.localeCompare(b.cells[at].textContent);
  heads.forEach((head, at) => head.firstElementChild.addEventListener("click", () => {
    const sign = head.getAttribute("aria-sort") === "ascending" ? -1 : 1;
    heads.forEach((other) => other.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", sign > 0 ? "ascending" : "descending");
    const unknown = (row) => heads[at].classList.contains("number") && Number.isNaN(valueOf(row, at));
    body.append(...[...rows].sort((a, b) => unknown(a) - unknown(b) || (unknown(a) ? 0 : sign * compare(a, b, at))));
  }));
  const form = document.querySelector("form.controls"), told = form.querySelector("output");
  heads.forEach((head, at) => {
    if (!head.classList.contains("number") || rows[0].cells[at].querySelector("svg")) return;
    form.elements.column.append(new Option(head.innerText.trim().replace(/\s+/g, " "), at, at === 3, at === 3));
  });
  const shownValue = (row, at) => parseFloat(row.cells[at].textContent);
  const filter = () => {
    const words = form.elements.words.value.trim().toLowerCase(), at = Number(form.elements.column.value);
    const bound = form.elements.bound.value === "" ? NaN : Number(form.elements.bound.value);
    const least = form.elements.side.value === "least";
    for (const row of rows) {
      const value = shownValue(row, at);
      const kept = Number.isNaN(bound) || (least ? value >= bound : value <= bound);
      row.hidden = !(kept && row.cells[1].textContent.toLowerCase().includes(words));
    }
    told.textContent = `${rows.filter((row) => !row.hidden).length} of ${rows.length} shapes shown`;
  };
  form.addEventListener("input", filter);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("reset", () => setTimeout(filter));
  filter();
}
const more = () => document.querySelectorAll(".scroller").forEach((table) => {
  const goesOn = table.scrollWidth > table.clientWidth + 1 && table.scrollLeft + table.clientWidth < table.scrollWidth - 1;
  table.previousElementSibling.classList.toggle("on", goesOn);
  table.previousElementSibling.classList.toggle("off", !goesOn);
});
addEventListener("resize", more);
document.querySelectorAll(".scroller").forEach((table) => table.addEventListener("scroll", more));
document.querySelectorAll("details").forEach((fold) => fold.addEventListener("toggle", more));
more();
document.querySelectorAll(".controls").forEach((part) => { part.hidden = false; });
const folds = [...document.querySelectorAll("details")];
document.querySelectorAll("[data-open]").forEach((button) => button.addEventListener("click", () => {
  folds.forEach((fold) => { fold.open = button.dataset.open === "yes"; });
}));
const reveal = () => {
  const found = location.hash && document.getElementById(location.hash.slice(1));
  if (found && found.tagName === "DETAILS") { found.open = true; found.scrollIntoView(); }
};
addEventListener("hashchange", reveal);
reveal();
const paper = matchMedia("print");
let closed = [];
const unfold = (printed) => {
  if (printed) { closed.push(...folds.filter((fold) => !fold.open)); closed.forEach((fold) => { fold.open = true; }); }
  else { closed.forEach((fold) => { fold.open = false; }); closed = []; }
};
// Before the sheets are counted: what unfolds later pushes the end off the last of them.
addEventListener("beforeprint", () => unfold(true));
addEventListener("afterprint", () => unfold(false));
paper.addEventListener("change", () => unfold(paper.matches));
if (paper.matches) unfold(true);
