// The bench: readings wait while the network is away, and are sent once and in order. Everything
// also works without a script, as long as there is a network.
"use strict";

(() => {
  const LONG = 8000; // ms after which an answer is no longer waited for
  const AGAIN = 4000; // ms between two tries

  const known = () => {
    const block = document.getElementById("bench-lines");
    return block ? JSON.parse(block.textContent) : null;
  };
  const place = (what) => {
    const bench = known();
    return bench ? `bench:${what}:${bench.person}:${bench.batch}` : "";
  };
  const kept = (what) => {
    try { return JSON.parse(localStorage.getItem(place(what))) || []; } catch { return []; }
  };
  const keep = (what, value) => {
    if (value.length) localStorage.setItem(place(what), JSON.stringify(value));
    else localStorage.removeItem(place(what));
  };
  const newKey = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  };
  const made = (name, text = "", values = {}) => {
    const element = Object.assign(document.createElement(name), values);
    element.textContent = text;
    return element;
  };

  // ---- Asking

  const ask = async (address, options = {}) => {
    const control = new AbortController();
    const late = setTimeout(() => control.abort(), LONG);
    try {
      const answer = await fetch(address, { ...options, credentials: "same-origin", signal: control.signal });
      return { answer, text: await answer.text() };
    } finally {
      clearTimeout(late);
    }
  };
  const read = (text) => new DOMParser().parseFromString(text, "text/html");

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

  // ---- What waits

  let isSending = false;
  let isAway = false;
  let note = ""; // what cannot go on before the network is back

  // Gives the last answer once nothing waits any more, else nothing.
  const flush = async () => {
    if (isSending || !known()) return null;
    isSending = true;
    let last = null;
    try {
      for (let queue = kept("readings"); queue.length; queue = kept("readings")) {
        const outcome = await send(queue[0]);
        if (outcome.waits) break;
        const others = kept("readings").filter((one) => one.key !== queue[0].key);
        keep("readings", others);
        if (!outcome.refused) {
          keep("refused", kept("refused").filter((one) => one.position !== queue[0].position));
        } else if (!queue[0].isHere || others.length) {
          keep("refused", [...kept("refused"), { ...queue[0], why: outcome.refused }]);
          continue;
        }
        last = outcome;
      }
    } finally {
      isSending = false;
    }
    tell();
    return kept("readings").length ? null : last;
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
      isAway = true;
      tell();
    }
  };

  const send = async (reading) => {
    const token = document.querySelector("[name=csrfmiddlewaretoken]");
    const body = new URLSearchParams(reading.fields);
    if (token) body.set("csrfmiddlewaretoken", token.value);
    let came;
    try {
      came = await ask(known().send, {
        method: "POST", body, headers: { "Idempotency-Key": reading.key },
      });
      isAway = false;
    } catch {
      isAway = true;
      return { waits: true };
    }
    const { answer, text } = came;
    const page = read(text);
    const bench = page.getElementById("bench");
    if (answer.status >= 500) return { waits: true };
    if (!bench && (answer.ok || answer.status === 409)) {
      // Signed out meanwhile, or the first try still runs.
      isAway = answer.ok ? "signed-out" : isAway;
      return { waits: true };
    }
    if (answer.ok && bench) return { page, address: answer.url };
    const words = [...page.querySelectorAll("#bench .wrong p")].map((one) => one.textContent);
    const refused = words.at(-1) || `The studio refused it (${answer.status}).`;
    return { refused, page, address: location.href };
  };

  // What stands around the fields is brought up to date; what somebody is writing stays.
  const refresh = (page) => {
    for (const old of document.querySelectorAll("#bench .standing, #bench .lines, #bench .row")) {
      const fresh = page.querySelector(old.id ? `#${old.id}` : `#bench .${old.classList[0]}`);
      const field = old.querySelector("[data-reading]");
      if (!fresh || (field && (field.value.trim() || field === document.activeElement))) continue;
      old.replaceWith(document.adoptNode(fresh));
      if (window.htmx) window.htmx.process(fresh);
    }
    const block = document.getElementById("bench-lines"), newer = page.getElementById("bench-lines");
    if (block && newer) block.textContent = newer.textContent;
    begin();
  };

  const tell = () => {
    const told = document.getElementById("waiting");
    if (!told || !known()) return;
    const waits = kept("readings"), refused = kept("refused");
    const shown = waits.filter((one) => !one.isHere || isAway);
    told.replaceChildren();
    if (!isAway) note = "";
    if (shown.length) {
      const many = `${shown.length} reading${shown.length === 1 ? " waits" : "s wait"}`;
      told.append(made("p", isAway === "signed-out" ? `${many}: sign in again to send ${shown.length === 1 ? "it" : "them"}.`
        : `${many} for the network.`));
      if (isAway === "signed-out") told.append(made("a", "Sign in", { className: "button", href: location.href }));
    }
    if (refused.length) {
      const list = made("ul");
      for (const one of refused) {
        const item = made("li", `Not taken: ${one.name}, ${one.written}. ${one.why}`);
        const address = `${known().open}?line=${one.position}&typed=${encodeURIComponent(one.written)}`;
        const drop = made("button", "Let it go", { type: "button", className: "quiet" });
        drop.addEventListener("click", () => {
          keep("refused", kept("refused").filter((other) => other.key !== one.key));
          tell();
        });
        item.append(made("br"), made("a", "Open the line", { className: "button quiet", href: address }), drop);
        list.append(item);
      }
      told.append(list);
    }
    if (note) told.append(made("p", note));
    mark();
  };

  // A line whose reading waits says so.
  const mark = () => {
    const card = document.getElementById("card");
    const waits = document.querySelector("#bench [data-waits]");
    const many = kept("readings").filter((one) => !one.isHere).length;
    if (waits) Object.assign(waits, { hidden: !many, textContent: `${many} waiting` });
    for (const link of document.querySelectorAll("#bench [data-line]")) {
      if (card && !card.hidden && link.dataset.line === card.dataset.position) link.setAttribute("aria-current", "step");
      else link.removeAttribute("aria-current");
    }
    for (const one of kept("readings")) {
      if (one.isHere) continue;
      const state = document.querySelector(`#bench [data-line="${one.position}"] .state`);
      const row = document.querySelector(`#line-${one.position} .judgement`);
      if (state) Object.assign(state, { className: "state waits", textContent: "waits" });
      if (row && !row.textContent) row.textContent = `${one.written} waits`;
    }
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
    card.querySelector("[data-fill=lots]").replaceChildren(...line.lots.map((lot) =>
      made("li", `from ${lot.code}${line.lots.length > 1 ? ` ${lot.amount}` : ""}`)));
    for (const part of card.querySelectorAll("[data-weighed], [data-lye], [data-fats], .summary, .field .wrong")) part.remove();
    if (line.lye) card.querySelector("[data-fill=lots]").after(made("p", known().short, { className: "in-short" }));
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
    note = open[0] && open[0].locked ? "The lye step opens when the network is back: its cautions are confirmed first." : "";
    if (next) fill(next);
    else {
      document.getElementById("card").hidden = true;
      note = note || "That was the last line.";
    }
    tell();
  };

  // ---- Sending what is typed

  document.addEventListener("submit", (event) => {
    const form = event.target.closest("[data-weigh]");
    if (!form || !known()) return;
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
    form.querySelector(".judgement").textContent = "";
    flush().then((last) => settle(last, form, reading));
  }, true);

  const settle = (last, form, reading) => {
    const isList = !document.getElementById("card");
    if (last && (last.refused || !isList || last.page.querySelector("[data-complete]"))) {
      if (isList && last.refused) refresh(last.page);
      else show(last.page, last.address);
      return;
    }
    if (last) refresh(last.page);
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
      isAway = true;
      const line = link.dataset.line && known().lines.find((one) => String(one.position) === link.dataset.line);
      if (line && !line.locked && document.getElementById("card")) fill(line);
      else note = "That opens when the network is back.";
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
