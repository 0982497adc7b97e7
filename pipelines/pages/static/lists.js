"use strict";
/* Narrows and sorts the lists of this page, and counts ages to today. Without it everything is there, unsorted by hand. */
(() => {
  const lists = [...document.querySelectorAll("table[data-list]")];
  for (const mark of document.querySelectorAll("[data-since]")) {
    const days = Math.floor((Date.now() - Date.parse(mark.dataset.since)) / 86400000);
    if (days >= 0) mark.textContent = days < 1 ? "less than a day" : days === 1 ? "1 day" : days + " days";
  }
  const bar = document.querySelector("[data-narrow]");
  if (!bar || !lists.length) return;
  const rowsOf = (list) => [...list.tBodies[0].rows];
  const fields = {};
  const field = (name, words, element) => {
    const label = document.createElement("label");
    label.append(words + " ", element);
    element.addEventListener(element.tagName === "INPUT" ? "input" : "change", narrow);
    fields[name] = element;
    bar.append(label);
  };
  const every = lists.flatMap(rowsOf);
  for (const [name, words] of [["site", "Site"], ["visit", "Visit"], ["check", "Reason"], ["came", "Came since"]]) {
    const found = [...new Set(every.map((row) => row.dataset[name]).filter(Boolean))].sort();
    if (name === "came") found.reverse();
    if (found.length < 2) continue;
    const choice = document.createElement("select");
    choice.append(new Option("all", ""), ...found.map((word) => new Option(word, word)));
    field(name, words, choice);
  }
  const text = document.createElement("input");
  text.type = "search";
  field("words", "Words", text);
  const said = document.createElement("output");
  said.setAttribute("role", "status");
  bar.append(said);
  bar.hidden = false;
  const wanted = new URLSearchParams(location.hash.includes("=") ? location.hash.slice(1) : "");
  for (const [name, element] of Object.entries(fields)) if (wanted.has(name)) element.value = wanted.get(name);

  function narrow() {
    const words = fields.words.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    for (const row of every) {
      const has = row.textContent.toLowerCase();
      const fits = Object.entries(fields).every(([name, element]) =>
        name === "words" ? words.every((word) => has.includes(word)) : !element.value ||
        (name === "came" ? row.dataset.came >= element.value : row.dataset[name] === element.value));
      row.hidden = !fits;
      shown += fits;
    }
    const set = Object.entries(fields).filter(([, element]) => element.value);
    said.textContent = set.length ? shown + " of " + every.length + " rows" : "";
    for (const list of lists) {
      const some = rowsOf(list).some((row) => !row.hidden), fold = list.closest("details");
      list.parentElement.hidden = !some;
      if (fold && set.length) fold.open = some;
    }
    const hash = new URLSearchParams(set.map(([name, element]) => [name, element.value])).toString();
    if (hash || location.hash.includes("=")) history.replaceState(null, "", "#" + hash);
  }

  for (const list of lists) {
    [...list.tHead.rows[0].cells].forEach((head, place) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        const up = head.getAttribute("aria-sort") !== "ascending";
        for (const other of list.tHead.rows[0].cells) other.removeAttribute("aria-sort");
        head.setAttribute("aria-sort", up ? "ascending" : "descending");
        const key = (row) => row.cells[place].dataset.sort || row.cells[place].textContent.trim();
        const sorted = rowsOf(list).sort((a, b) => key(a).localeCompare(key(b), "en", { numeric: true }) * (up ? 1 : -1));
        list.tBodies[0].append(...sorted);
      });
    });
  }
  narrow();
})();
