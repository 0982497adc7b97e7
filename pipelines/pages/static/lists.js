"use strict";
/* Counts ages to today; narrows and sorts the lists of a page, and keeps how in the address. Without it all rows are there. */
(() => {
  const DAY = 86400000, UP = "up", DOWN = "down";
  const age = (since) => Math.floor((Date.now() - Date.parse(since)) / DAY);
  for (const mark of document.querySelectorAll("[data-since]")) {
    const days = age(mark.dataset.since);
    if (days >= 0) mark.textContent = days < 1 ? "less than a day" : days === 1 ? "1 day" : days + " days";
  }
  const bar = document.querySelector("[data-narrow]"), lists = [...document.querySelectorAll("table[data-list]")];
  if (!bar || !lists.length) return;
  const rowsOf = (list) => [...list.tBodies[0].rows], every = lists.flatMap(rowsOf);
  const said = (row, name) => (row.dataset[name] || "").split("\n").filter(Boolean);
  const waits = (row) => { const mark = row.querySelector("[data-since]"); return mark ? age(mark.dataset.since) : -1; };
  const fits = {
    came: (row, word) => row.dataset.came >= word,
    waiting: (row, word) => waits(row) >= Number(word),
    words: (row, word) => word.toLowerCase().split(/\s+/).every((one) => row.textContent.toLowerCase().includes(one)),
  };
  const fields = {};
  let sort = "", order = UP, begun = false;

  const field = (name, words, element) => {
    const label = document.createElement("label");
    label.append(words + " ", element);
    element.addEventListener(element.tagName === "INPUT" ? "input" : "change", () => { narrow(); keep(); });
    fields[name] = element;
    bar.append(label);
  };
  const choice = (name, words, options) => {
    const element = document.createElement("select");
    element.append(new Option("all", ""), ...options.map(([word, text]) => new Option(text, word)));
    field(name, words, element);
  };
  const visits = bar.dataset.visits.split("\n");
  const place = (word) => (visits.includes(word) ? visits.indexOf(word) : visits.length);
  for (const [name, words] of [["site", "Site"], ["visit", "Visit"], ["subject", "Subject"], ["check", "Reason"], ["came", "Came since"]]) {
    const found = [...new Set(every.flatMap((row) => said(row, name)))];
    found.sort((a, b) => (name === "visit" && place(a) - place(b)) || a.localeCompare(b, "en", { numeric: true }));
    if (name === "came") found.reverse();
    if (found.length) choice(name, words, found.map((word) => [word, word]));
  }
  const weeks = [1, 2, 4, 8].map((n) => [String(7 * n), n === 1 ? "a week or more" : n + " weeks or more"]);
  const within = bar.dataset.within;
  choice("waiting", "Waiting for", within ? [[within, "longer than the " + within + " days asked for"], ...weeks] : weeks);
  const text = document.createElement("input");
  text.type = "search";
  field("words", "Words", text);
  const told = document.createElement("output");
  told.setAttribute("role", "status");
  bar.append(told);
  bar.hidden = false;

  function narrow() {
    const set = Object.entries(fields).filter(([, element]) => element.value.trim());
    let shown = 0;
    for (const row of every) {
      row.hidden = !set.every(([name, { value }]) => (fits[name] ? fits[name](row, value.trim()) : said(row, name).includes(value)));
      shown += !row.hidden;
    }
    const beyond = Number(bar.dataset.beyond);
    told.textContent = set.length ? shown + " of " + every.length + " rows" + (beyond ? " on this page; " + beyond + " more are in worklist.csv" : "") : "";
    for (const list of lists) {
      const some = rowsOf(list).some((row) => !row.hidden), fold = list.closest("details");
      list.parentElement.hidden = !some;
      if (fold && set.length) fold.open = some;
    }
  }

  function sorted() {
    for (const list of lists) {
      const heads = [...list.tHead.rows[0].cells], at = heads.findIndex((head) => head.dataset.key === sort);
      for (const head of heads) head.removeAttribute("aria-sort");
      if (at < 0) continue;
      heads[at].setAttribute("aria-sort", order === UP ? "ascending" : "descending");
      const key = (row) => row.cells[at].dataset.sort || row.cells[at].textContent.trim();
      const rows = rowsOf(list).sort((a, b) => key(a).localeCompare(key(b), "en", { numeric: true }) * (order === UP ? 1 : -1));
      list.tBodies[0].append(...rows);
    }
  }

  /* The address: what is narrowed, how it is sorted, and at which heading (at) a link led to. */
  const wanted = () => new URLSearchParams(location.hash.includes("=") ? location.hash.slice(1) : "");
  function keep(at = location.hash.includes("=") ? wanted().get("at") : location.hash.slice(1)) {
    const kept = Object.entries(fields).filter(([, element]) => element.value).map(([name, element]) => [name, element.value]);
    if (sort) kept.push(["sort", sort], ["order", order]);
    if (at && (kept.length || location.hash.includes("="))) kept.push(["at", at]);
    const hash = new URLSearchParams(kept).toString();
    if (hash || location.hash.includes("=")) history.replaceState(null, "", "#" + hash);
  }
  function follow() {
    const hash = location.hash.slice(1);
    if (begun && hash && !hash.includes("=")) return keep(); // a link within the page: what is narrowed stays
    begun = true;
    const given = wanted();
    for (const [name, element] of Object.entries(fields)) {
      const word = given.get(name) || "";
      if (word && element.options && ![...element.options].some((one) => one.value === word)) element.append(new Option(word + " (none)", word));
      element.value = word;
    }
    sort = given.get("sort") || "";
    order = given.get("order") === DOWN ? DOWN : UP;
    narrow();
    sorted();
    if (given.get("at")) document.getElementById(given.get("at"))?.scrollIntoView();
  }

  for (const list of lists)
    for (const head of list.tHead.rows[0].cells) {
      if (!head.dataset.key) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        order = sort === head.dataset.key && order === UP ? DOWN : UP;
        sort = head.dataset.key;
        sorted();
        keep();
      });
    }
  addEventListener("hashchange", follow);
  follow();
})();
