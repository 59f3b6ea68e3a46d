// The sheet of a count: once a find is kept, the next lot's field waits for typing.
"use strict";

(() => {
  let next = null;
  document.addEventListener("htmx:beforeSwap", (event) => {
    const row = event.detail.target.closest(".count-row");
    // Whoever went on to another field already is left there.
    const stays = row && row.contains(document.activeElement);
    next = stays && event.detail.xhr.status === 200 ? row.nextElementSibling : null;
  });
  document.addEventListener("htmx:afterSettle", () => {
    if (!next) return;
    const field = next.querySelector("form.count-find input[name=found]");
    next = null;
    if (field && field.checkVisibility()) field.focus();
  });
})();
