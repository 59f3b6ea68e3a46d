// Readings of the bench wait here while the network is away, and are sent once and in order.
"use strict";

window.benchWaiting = (() => {
  const LONG = 8000; // ms after which an answer is no longer waited for

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

  // ---- What waits. `isAway` is true while the network is, or says "signed-out"; `note` is what
  // cannot go on before it is back.

  const now = { isAway: false, note: "" };
  let isSending = false;

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

  const send = async (reading) => {
    const token = document.querySelector("[name=csrfmiddlewaretoken]");
    const body = new URLSearchParams(reading.fields);
    if (token) body.set("csrfmiddlewaretoken", token.value);
    let came;
    try {
      came = await ask(known().send, {
        method: "POST", body, headers: { "Idempotency-Key": reading.key },
      });
      now.isAway = false;
    } catch {
      now.isAway = true;
      return { waits: true };
    }
    const { answer, text } = came;
    const page = read(text);
    const bench = page.getElementById("bench");
    if (answer.status >= 500) return { waits: true };
    if (!bench && (answer.ok || answer.status === 409)) {
      // Signed out meanwhile, or the first try still runs.
      now.isAway = answer.ok ? "signed-out" : now.isAway;
      return { waits: true };
    }
    if (answer.ok && bench) return { page, address: answer.url };
    const words = [...page.querySelectorAll("#bench .wrong p")].map((one) => one.textContent);
    const refused = words.at(-1) || `The studio refused it (${answer.status}).`;
    return { refused, page, address: location.href };
  };

  const tell = () => {
    const told = document.getElementById("waiting");
    if (!told || !known()) return;
    const waits = kept("readings"), refused = kept("refused");
    const shown = waits.filter((one) => !one.isHere || now.isAway);
    if (!now.isAway) now.note = "";
    // Said once, not at every try.
    const says = JSON.stringify([shown.length, now, refused.map((one) => one.key)]);
    if (told.dataset.says === says) { mark(); return; }
    told.dataset.says = says;
    told.replaceChildren();
    if (shown.length) {
      const many = `${shown.length} reading${shown.length === 1 ? " waits" : "s wait"}`;
      told.append(made("p", now.isAway === "signed-out" ? `${many}: sign in again to send ${shown.length === 1 ? "it" : "them"}.`
        : `${many} for the network.`));
      if (now.isAway === "signed-out") told.append(made("a", "Sign in", { className: "button", href: location.href }));
    }
    if (refused.length) {
      const list = made("ul");
      for (const one of refused) {
        const item = made("li", `Not taken: ${one.name}, ${one.written}. ${one.why}`);
        const carried = new URLSearchParams([["line", one.position], ...one.fields.filter(([name, value]) => value && /^(amount|lot)/.test(name))]);
        const drop = made("button", "Let it go", { type: "button", className: "quiet" });
        drop.addEventListener("click", () => {
          keep("refused", kept("refused").filter((other) => other.key !== one.key));
          tell();
        });
        item.append(made("br"), made("a", "Open the line", { className: "button quiet", href: `${known().open}?${carried}` }), drop);
        list.append(item);
      }
      told.append(list);
    }
    if (now.note) told.append(made("p", now.note));
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

  return { known, kept, keep, newKey, made, ask, read, now, flush, tell };
})();
