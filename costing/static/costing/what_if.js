// The slider and its number say the same; the number alone is sent.
"use strict";
(() => {
  const reach = JSON.parse(document.getElementById("reach").textContent);
  const numberOf = (slider) => document.getElementById(slider.dataset.slides);
  const kindOf = (slider) =>
    slider.closest("fieldset").querySelector("select").value.split(":")[0];
  document.addEventListener("input", (event) => {
    const it = event.target;
    if (it.matches("input[data-slides]")) {
      numberOf(it).value = `${it.value} %`;
    } else if (it.matches("fieldset.change input[type=text]")) {
      const slider = it.closest("fieldset").querySelector("input[data-slides]");
      const share = Number.parseFloat(it.value);
      if (Number.isFinite(share)) slider.value = String(share);
    }
  });
  document.addEventListener("change", (event) => {
    const it = event.target;
    if (!it.matches("fieldset.change select")) return;
    const slider = it.closest("fieldset").querySelector("input[data-slides]");
    const [least, most, start] = reach[kindOf(slider)] ?? reach.material;
    slider.min = least;
    slider.max = most;
    slider.value = start;
    numberOf(slider).value = it.value ? `${start} %` : "";
  });
})();
