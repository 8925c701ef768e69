"use strict";
// The pages work without this.  With it forms answer as one types, news come by themselves, files
// are dropped, and a drawing is clicked on.
//
// data-part: an element with an id that is taken from the page as the server makes it now, one with
// fields in it only when its data-same has changed;
// data-live on a form: its page is asked for again when it changes; data-events: until the element
// has none any more, its parts follow what the server has to tell; data-then: the page to go to;
// data-later: an address whose part of the same id, which takes a moment, replaces the element.
(() => {
  const PAUSE = 120; // ms without a key before the server is asked
  const PATIENCE = 500; // ms more before what takes a moment is asked for
  const TAB = String(Math.random()); // of two questions of one page the later counts
  const root = document.documentElement;
  root.classList.add("scripted");

  // ---- parts

  let asked = 0;

  async function refresh(address) {
    const mine = ++asked;
    let answer;
    try {
      answer = await fetch(address, { headers: { "X-Part": "1" }, redirect: "error" });
    } catch {
      if (mine === asked) gone();
      return;
    }
    const text = await answer.text();
    if (mine !== asked) return; // a later one is on its way
    document.getElementById("gone").hidden = true;
    const page = new DOMParser().parseFromString(text, "text/html");
    for (const old of document.querySelectorAll("[data-part]")) {
      const now = page.getElementById(old.id);
      if (now && "same" in old.dataset && (now.dataset.same === old.dataset.same || old.contains(document.activeElement))) continue;
      if (!now || now.isEqualNode(old) || old.contains(document.activeElement) && old.matches("form")) continue;
      const focus = old.contains(document.activeElement) ? document.activeElement.id : "";
      const height = old.offsetHeight;
      old.replaceWith(now);
      if (!now.hasChildNodes() && now.matches("figure")) now.style.minHeight = `${height}px`; // what is below stays there
      if (focus) document.getElementById(focus)?.focus();
    }
    for (const field of document.querySelectorAll(".field")) {
      const wrong = Boolean(field.querySelector(".fault"));
      field.classList.toggle("wrong", wrong);
      field.querySelector("input[type=text]")?.setAttribute("aria-invalid", wrong);
    }
    document.dispatchEvent(new Event("parts"));
    begin();
  }

  let waiting, leave; // the element that waits for its answer, and what ends that

  function askLater() {
    const wanted = document.querySelector("[data-later]");
    if (wanted === waiting) return;
    leave?.();
    waiting = wanted;
    if (!wanted) return;
    const stop = new AbortController();
    const timer = setTimeout(() => answer(wanted, stop.signal), PATIENCE);
    leave = () => { clearTimeout(timer); stop.abort(); };
  }

  async function answer(element, signal) {
    try {
      const found = await fetch(element.dataset.later, { headers: { "X-Tab": TAB }, signal });
      const page = new DOMParser().parseFromString(await found.text(), "text/html");
      const now = page.getElementById(element.id);
      if (now && element.isConnected) element.replaceWith(now);
    } catch {
      if (!signal.aborted) gone();
    }
  }

  function gone() {
    document.getElementById("gone").hidden = false;
  }

  // ---- forms

  function addressOf(form) {
    const given = [...new FormData(form)].filter(([, value]) => typeof value === "string" && value.trim());
    const query = new URLSearchParams(given).toString();
    return form.getAttribute("action") + (query ? `?${query}` : "");
  }

  let timer;
  document.addEventListener("input", ({ target }) => {
    const form = target.closest("form[data-live]");
    if (!form) return;
    clearTimeout(timer);
    timer = setTimeout(() => {
      const address = addressOf(form);
      history.replaceState(null, "", address);
      refresh(address);
    }, PAUSE);
  });

  // a slider and the field that it is the twin of: what is moved in one is written in the other
  document.addEventListener("input", ({ target }) => {
    const field = target.dataset.twin && document.getElementById(target.dataset.twin);
    if (field) {
      field.value = target.value;
    } else if (target.id) {
      for (const slider of document.querySelectorAll(`[data-twin="${CSS.escape(target.id)}"]`)) slider.value = target.value;
    }
  });

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if ((event.submitter?.getAttribute("formmethod") ?? form.method) === "get") { // what is empty need not be in the address
      event.preventDefault();
      location.assign(addressOf(form));
      return;
    }
    // not twice by a double click
    setTimeout(() => { for (const button of form.querySelectorAll("button")) button.disabled = true; });
  });
  addEventListener("pageshow", () => {
    for (const button of document.querySelectorAll("form[method=post] button")) button.disabled = false;
  });

  // ---- news

  let news;

  function begin() {
    askLater();
    const then = document.querySelector("[data-then]");
    if (then) {
      location.replace(then.dataset.then);
      return;
    }
    const wanted = document.querySelector("[data-events]");
    if (!wanted) {
      news?.close();
      news = undefined;
    } else if (!news) {
      news = new EventSource(wanted.dataset.events);
      news.onmessage = () => refresh(location.href);
      news.onerror = () => { if (news && news.readyState !== EventSource.OPEN) refresh(location.href); };
    }
  }
  addEventListener("pagehide", () => news?.close());

  // ---- files dropped on a form with a file field

  document.addEventListener("dragover", (event) => {
    if (document.querySelector("form input[type=file]")) event.preventDefault();
  });
  document.addEventListener("drop", (event) => {
    const field = (event.target.closest("form") ?? document).querySelector("input[type=file]");
    if (!field || !event.dataTransfer.files.length) return;
    event.preventDefault();
    field.files = event.dataTransfer.files;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  });
  document.addEventListener("change", ({ target }) => {
    if (target.matches("input[type=file][data-send]") && target.files.length) sendEach(target);
  });

  // with data-each several files are sent one by one, each to the page that the one before led to;
  // what is refused, and the last, is sent as without this: the page that comes is what is to be seen
  async function sendEach(field) {
    const { form } = field;
    const files = [...field.files];
    while (field.matches("[data-each]") && files.length > 1) {
      const body = new FormData();
      body.append(field.name, files[0]);
      const sent = await fetch(form.action, { method: "POST", body, headers: { "X-Part": "1" } }).catch(() => undefined);
      if (!sent?.ok) break;
      files.shift();
      const action = new URL(form.action);
      action.search = new URL(sent.url).search;
      form.action = action;
    }
    if (field.matches("[data-each]")) {
      const last = new DataTransfer();
      last.items.add(files[0]);
      field.files = last.files;
    }
    form.requestSubmit();
  }

  // ---- clicks on a drawing with data-pick: its place in mm, as a line of the field it names

  document.addEventListener("click", (event) => {
    const figure = event.target.closest("[data-pick]");
    const drawing = figure?.querySelector("svg");
    const field = figure && document.getElementById(figure.dataset.pick);
    if (!drawing || !field) return;
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(drawing.getScreenCTM().inverse());
    const line = `${at.x.toFixed(1)}/${(-at.y).toFixed(1)}`;
    field.value = field.value.trim() ? `${field.value.trim()}\n${line}` : line;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });

  // ---- rows that grow: what is typed into the last one is followed by an empty one; a block that
  // was copied from a spreadsheet fills rows and columns from its cell on

  function grow(rows) {
    const row = rows.lastElementChild.cloneNode(true);
    const number = rows.querySelectorAll("[data-number]").length + 1;
    for (const one of [row, ...row.querySelectorAll("*")]) {
      for (const { name, value } of [...one.attributes]) {
        one.setAttribute(name, value.replaceAll(new RegExp(`-${number - 1}(?=-|\\s|$)`, "g"), `-${number}`));
      }
      one.classList.remove("wrong");
      if (one.matches("input")) one.value = "";
      if (one.matches("[data-part]")) one.replaceChildren();
      if (one.matches("[data-number]")) one.textContent = number;
      if (one.matches(".of")) one.textContent = one.textContent.replace(/\d+$/, number);
    }
    rows.append(row);
    return row;
  }

  document.addEventListener("input", ({ target }) => {
    const rows = target.closest("[data-grow]");
    if (rows?.lastElementChild.contains(target)) grow(rows);
  });
  document.addEventListener("click", ({ target }) => {
    const rows = document.getElementById(target.closest("[data-more]")?.dataset.more);
    if (rows) grow(rows).querySelector("input").focus();
  });
  document.addEventListener("paste", (event) => {
    const rows = event.target.closest?.("[data-grow]");
    const block = event.clipboardData.getData("text").replace(/\r?\n$/, "").split(/\r?\n/).map((line) => line.split("\t"));
    if (!rows || block.length === 1 && block[0].length === 1) return;
    event.preventDefault();
    const fieldsOf = (row) => [...row.querySelectorAll("input")];
    let row = event.target.closest("[data-grow] > *");
    const first = fieldsOf(row).indexOf(event.target);
    for (const cells of block) {
      const fields = fieldsOf(row).slice(first);
      cells.slice(0, fields.length).forEach((cell, place) => { fields[place].value = cell.trim(); });
      row = row.nextElementSibling ?? grow(rows);
    }
    event.target.dispatchEvent(new Event("input", { bubbles: true }));
  });
  for (const button of document.querySelectorAll("[data-more]")) button.hidden = false;

  begin();
})();
