// Comforts of the bench: units to touch, a timer, and a screen that stays on.
"use strict";

(() => {
  const known = () => {
    const block = document.getElementById("bench-lines");
    return block ? JSON.parse(block.textContent) : null;
  };

  // ---- Units to touch, so that digits are enough to type

  const METRIC = ["g", "kg"], US = ["oz", "lb"];

  const units = (form, line) => {
    const holder = form.querySelector("[data-units]");
    const field = form.elements.amount;
    holder.hidden = !line || line.counted;
    field.inputMode = line && line.counted ? "numeric" : "decimal";
    if (holder.hidden || holder.children.length) return;
    const isUs = line.target.endsWith("oz");
    for (const unit of isUs ? [...US, ...METRIC] : [...METRIC, ...US]) {
      const button = Object.assign(document.createElement("button"), { type: "button", textContent: unit });
      button.addEventListener("click", () => {
        const text = field.value.trim().replace(/\s*[a-z]+$/i, "");
        if (text) field.value = `${text} ${unit}${unit === "lb" ? " " : ""}`;
        field.focus();
        field.dispatchEvent(new Event("input", { bubbles: true }));
      });
      holder.append(button);
    }
  };

  // ---- The timer counts up, and goes on counting over a reload

  const place = () => {
    const bench = known();
    return bench ? `bench:timer:${bench.person}:${bench.batch}` : "";
  };
  const clock = () => {
    try { return JSON.parse(localStorage.getItem(place())) || {}; } catch { return {}; }
  };
  const say = (element, text) => { if (element.textContent !== text) element.textContent = text; };
  const two = (number) => String(number).padStart(2, "0");

  const tick = () => {
    const face = document.querySelector("[data-clock]");
    if (!face || !known()) return;
    const { since, before = 0 } = clock();
    const seconds = Math.floor((before + (since ? Date.now() - since : 0)) / 1000);
    const hours = Math.floor(seconds / 3600), minutes = Math.floor(seconds / 60) % 60;
    say(face, `${hours ? `${hours}:${two(minutes)}` : minutes}:${two(seconds % 60)}`);
    say(document.querySelector("[data-timer-go]"), since ? "Stop" : before ? "Go on" : "Start");
  };

  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-timer-go]")) {
      const { since, before = 0 } = clock();
      const now = since ? { before: before + Date.now() - since } : { before, since: Date.now() };
      localStorage.setItem(place(), JSON.stringify(now));
      tick();
    } else if (event.target.closest("[data-timer-reset]")) {
      localStorage.removeItem(place());
      tick();
    }
  });

  // ---- The screen stays on, where the browser can

  const stayAwake = () => {
    if (document.visibilityState !== "visible" || !navigator.wakeLock) return;
    navigator.wakeLock.request("screen").catch(() => {});
  };
  document.addEventListener("visibilitychange", stayAwake);
  stayAwake();

  document.addEventListener("bench-shown", () => {
    const bench = known();
    for (const form of document.querySelectorAll("#bench [data-weigh]")) {
      const position = Number(form.elements.position.value);
      units(form, bench && bench.lines.find((line) => line.position === position));
    }
    const timer = document.querySelector("[data-timer]");
    if (timer) {
      timer.hidden = false;
      document.querySelector("[data-timer-hint]").hidden = true;
    }
    tick();
  });
  setInterval(tick, 500);
})();
