// What pages need beyond htmx. No page depends on it: forms work without a script.
"use strict";

(() => {
  // Menus close when something else is touched, or on Escape.
  document.addEventListener("click", (event) => {
    for (const menu of document.querySelectorAll("details.person[open], .more details[open]")) {
      if (!menu.contains(event.target)) menu.open = false;
    }
  });
  document.addEventListener("keydown", (event) => {
    const typing = event.target.closest("input, textarea, select");
    if (event.key === "Escape") {
      for (const menu of document.querySelectorAll("details.person[open], .more details[open]")) {
        menu.open = false;
        menu.querySelector("summary").focus();
      }
    } else if (event.key === "/" && !typing) {
      const find = document.getElementById("find");
      if (find) { event.preventDefault(); find.focus(); }
    }
  });

  // A form that is being sent is not sent again by a second touch.
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || event.defaultPrevented) return;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
  });
  window.addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
  });

  // Rows of a formset: a button [data-add-row="lines"] copies <template id="lines-row"> to the end
  // of [data-rows="lines"]; __prefix__ becomes the next number.
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-add-row]");
    if (!button) return;
    const prefix = button.dataset.addRow;
    const total = document.getElementById(`id_${prefix}-TOTAL_FORMS`);
    const template = document.getElementById(`${prefix}-row`);
    const rows = document.querySelector(`[data-rows="${prefix}"]`);
    if (!total || !template || !rows) return;
    const holder = document.createElement("template");
    holder.innerHTML = template.innerHTML.replaceAll("__prefix__", total.value);
    const made = holder.content.firstElementChild;
    rows.append(made);
    total.value = String(Number(total.value) + 1);
    if (window.htmx) window.htmx.process(made);
    const first = made.querySelector("input:not([type=hidden]), select, textarea");
    if (first) first.focus();
  });

  // The first field that is wrong is where work goes on.
  document.addEventListener("DOMContentLoaded", () => {
    const faulty = document.querySelector("main [aria-invalid=true]");
    if (faulty) faulty.focus();
    for (const button of document.querySelectorAll("[data-print]")) {
      button.addEventListener("click", () => window.print());
    }
  });
})();
