// Shows the page in metric or in US units: every quantity has its other reading beside it. What was chosen is kept for all pages.
"use strict";
(() => {
  const KEPT = "runtrue-units", LABELS = { metric: "Show metric units", us: "Show US units" };
  const root = document.documentElement, button = document.getElementById("units");
  const kept = () => { try { return localStorage.getItem(KEPT); } catch { return null; } };
  const keep = (units) => { try { localStorage.setItem(KEPT, units); } catch { /* a page without storage */ } };
  const others = { metric: "us", us: "metric" };
  // Of what is not yet shown in these units.
  const swap = (units) => {
    for (const quantity of document.querySelectorAll(`[data-${units}]`)) {
      const reading = quantity.dataset[units];
      delete quantity.dataset[units];
      quantity.dataset[others[units]] = quantity.textContent;
      quantity.textContent = reading;
    }
  };
  const show = (units) => {
    swap(units);
    root.dataset.units = units;
    button.textContent = LABELS[others[units]];
    document.dispatchEvent(new Event("units"));
  };
  const chosen = kept();
  if (chosen in others && chosen !== root.dataset.units) show(chosen);
  button.textContent = LABELS[others[root.dataset.units]];
  // A page without a quantity has nothing to switch.
  button.hidden = !document.querySelector("[data-metric], [data-us]");
  document.addEventListener("fresh-part", () => swap(root.dataset.units));
  button.addEventListener("click", () => {
    const units = others[root.dataset.units];
    keep(units);
    show(units);
  });
})();
