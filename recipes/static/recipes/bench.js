// The bench: the card and the list go on without a reload, and without the network for a while.
// Everything also works without a script, as long as there is a network.
"use strict";

(() => {
  const AGAIN = 4000; // ms between two tries
  const { known, kept, keep, newKey, made, ask, read, now, flush, tell } = window.benchWaiting;

  // The answer takes the place of the page; what waits stays told in its one place.
  const show = (answered, address, { push = true } = {}) => {
    const main = document.getElementById("main");
    const fresh = answered.getElementById("main");
    const told = document.getElementById("waiting");
    if (!main || !fresh) { location.assign(address); return; }
    main.replaceChildren(...document.adoptNode(fresh).childNodes);
    const empty = document.getElementById("waiting");
    if (empty && told) empty.replaceWith(told);
    document.title = answered.title;
    if (push && address !== location.href) history.pushState({ bench: true }, "", address);
    if (window.htmx) window.htmx.process(main);
    const standing = main.querySelector(".standing"), said = main.querySelector(".messages");
    if (standing && said) standing.append(said); // what was weighed last stays in sight
    begin();
    const first = main.querySelector("[aria-invalid=true]") || main.querySelector("[data-reading]");
    if (first && !main.querySelector("form.ready")) first.focus({ preventScroll: true });
    inSight(document.getElementById("card") || main);
  };

  // What to weigh stands below the line that stays in sight.
  const inSight = (part) => {
    const standing = document.querySelector("#bench .standing");
    const above = standing ? standing.offsetHeight + 8 : 0;
    window.scrollTo({ top: part.getBoundingClientRect().top + window.scrollY - above });
  };

  // What waited is sent by itself: the card under somebody's hands stays, the rest is asked anew.
  const background = async () => {
    const before = known() ? kept("readings").length : 0;
    if (!before) return;
    await flush();
    if (kept("readings").length >= before) return;
    const card = document.getElementById("card");
    const query = card ? `?line=${card.dataset.position}` : "?view=list";
    const address = card && card.hidden ? known().open : `${known().open}${query}`;
    try {
      const { answer, text } = await ask(address);
      if (card && card.hidden) show(read(text), answer.url);
      else refresh(read(text));
    } catch {
      now.isAway = true;
      tell();
    }
  };

  // What stands around the fields is brought up to date; what somebody is writing stays.
  const refresh = (page, position) => {
    for (const old of document.querySelectorAll("#bench .standing, #bench .lines, #bench .row")) {
      const fresh = page.querySelector(old.id ? `#${old.id}` : `#bench .${old.classList[0]}`);
      const field = old.querySelector("[data-reading]");
      const isOurs = old.dataset.position === String(position);
      if (!fresh || (!isOurs && field && (field.value.trim() || field === document.activeElement))) continue;
      old.replaceWith(document.adoptNode(fresh));
      if (window.htmx) window.htmx.process(fresh);
    }
    const block = document.getElementById("bench-lines"), newer = page.getElementById("bench-lines");
    if (block && newer) block.textContent = newer.textContent;
    begin();
  };

  // ---- The card without the network

  const fill = (line) => {
    const card = document.getElementById("card");
    const form = card && card.querySelector("[data-weigh]");
    if (!form) return;
    for (const name of ["heading", "name", "target", "other"]) {
      card.querySelector(`[data-fill=${name}]`).textContent = line[name];
    }
    card.querySelector("[data-fill=portion]").textContent = line.portion ? `into ${line.portion}` : "";
    card.querySelector("[data-fill=tolerance]").textContent = line.tolerance ? `± ${line.tolerance}` : "exactly";
    card.querySelector("[data-fill=scale]").textContent = line.scale;
    card.querySelector("[data-fill=lots]").replaceChildren(...line.lots.map((lot) => {
      const item = made("li", "from ");
      item.append(made("strong", lot.code), line.lots.length > 1 ? ` ${lot.amount}` : "");
      return item;
    }));
    for (const part of card.querySelectorAll("[data-weighed], [data-lye], [data-fats], .summary, .field .wrong")) part.remove();
    for (const part of card.querySelectorAll(".faulty")) part.classList.remove("faulty");
    for (const part of card.querySelectorAll("[aria-invalid]")) part.removeAttribute("aria-invalid");
    if (line.lye) {
      const short = made("p", known().short, { className: "in-short" });
      short.dataset.lye = "";
      card.querySelector(".about").after(short);
    }
    for (const open of card.querySelectorAll("details")) open.open = false;
    Object.assign(card, { className: "card", hidden: false });
    card.dataset.position = line.position;
    form.reset();
    form.elements.position.value = line.position;
    form.elements.amount.value = "";
    form.querySelector(".judgement").textContent = "";
    for (const field of form.querySelectorAll("select")) {
      const none = field.options[0];
      field.replaceChildren(none, ...line.others.map(([code, words]) => new Option(words, code)));
    }
    document.dispatchEvent(new Event("bench-shown"));
    form.elements.amount.focus({ preventScroll: true });
    inSight(card);
  };

  const onward = (position) => {
    const bench = known(), waiting = new Set(kept("readings").map((one) => one.position));
    const at = bench.lines.findIndex((line) => line.position === position);
    const turned = [...bench.lines.slice(at + 1), ...bench.lines.slice(0, at + 1)];
    const open = turned.filter((line) => !line.done && !waiting.has(line.position));
    const next = open.find((line) => !line.locked);
    now.note = open[0] && open[0].locked ? "The lye step opens when the network is back: its cautions are confirmed first." : "";
    if (next) fill(next);
    else {
      document.getElementById("card").hidden = true;
      now.note = now.note || "That was the last line.";
    }
    tell();
  };

  // ---- Sending what is typed

  document.addEventListener("submit", (event) => {
    const form = event.target.closest("[data-weigh]");
    if (!form || !known()) return;
    if (form.dataset.busy) { event.preventDefault(); event.stopImmediatePropagation(); return; }
    const fields = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken" && name !== "once");
    const leftOut = Boolean(event.submitter && event.submitter.name);
    if (leftOut) fields.push([event.submitter.name, event.submitter.value]);
    const position = Number(form.elements.position.value);
    const field = form.elements.amount;
    const reading = {
      key: newKey(), position, fields, isHere: true,
      name: known().lines.find((one) => one.position === position).name,
      written: leftOut ? "left out" : field.value.trim(),
    };
    try { keep("readings", [...kept("readings"), reading]); } catch { return; } // sent without a script
    event.preventDefault();
    event.stopImmediatePropagation();
    field.value = ""; // what stays in the field would look like the next reading
    form.querySelector(".judgement").textContent = `Keeping ${reading.written}…`;
    form.dataset.busy = "yes";
    flush().then((last) => {
      delete form.dataset.busy;
      form.querySelector(".judgement").textContent = "";
      settle(last, reading);
    });
  }, true);

  const settle = (last, reading) => {
    const isList = !document.getElementById("card");
    if (last && (last.refused || !isList || last.page.querySelector("[data-complete]"))) {
      if (isList && last.refused) refresh(last.page, reading.position);
      else show(last.page, last.address);
      return;
    }
    if (last) refresh(last.page, reading.position);
    else {
      keep("readings", kept("readings").map((one) => ({ ...one, isHere: false })));
      tell();
      if (!isList) onward(reading.position);
    }
    if (isList) beside(reading.position);
  };

  // In the list the next empty field follows.
  const beside = (position) => {
    const rows = [...document.querySelectorAll("#bench .row")];
    const at = rows.findIndex((row) => row.dataset.position === String(position));
    const fields = rows.slice(at + 1).map((row) => row.querySelector("[data-reading]"));
    const next = fields.find((field) => field && !field.value);
    if (next) next.focus();
  };

  // A link to a line changes the card even while the network is away.
  document.addEventListener("click", (event) => {
    const link = event.target.closest("#bench a[data-line], #bench .views a");
    if (!link || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    ask(link.href).then(({ answer, text }) => show(read(text), answer.url), () => {
      now.isAway = true;
      const line = link.dataset.line && known().lines.find((one) => String(one.position) === link.dataset.line);
      if (line && !line.locked && document.getElementById("card")) fill(line);
      else now.note = "That opens when the network is back.";
      tell();
    });
  });
  window.addEventListener("popstate", () => location.reload());

  // A judgement is of what stands in the field, never of what stood there before.
  document.addEventListener("input", (event) => {
    const form = event.target.matches("[data-reading]") && event.target.closest("form");
    if (form) form.querySelector(".judgement").textContent = "";
  });

  const begin = () => {
    document.dispatchEvent(new Event("bench-shown"));
    tell();
  };

  window.addEventListener("online", () => background());
  setInterval(() => { if (known() && kept("readings").length) background(); }, AGAIN);
  if (known()) keep("readings", kept("readings").map((one) => ({ ...one, isHere: false })));
  begin();
  background();
})();
