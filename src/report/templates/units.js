// Shows the page in metric or in US units: every quantity has its other reading beside it. What was chosen is kept for all pages.
"use strict";
(() => {
  const KEPT = "runtrue-units", LABELS = { metric: "Show metric units", us: "Show US units" };
  const root = document.documentElement, button = document.getElementById("units");
  const kept = () => { try { return localStorage.getItem(KEPT); } catch { return null; } };
  const keep = (units) => { try { localStorage.setItem(KEPT, units); } catch { /* a page without storage */ } };
  const others = { metric: "us", us: "metric" };
  const show = (units) => {
    const now = root.dataset.units;
    for (const quantity of document.querySelectorAll(`[data-${units}]`)) {
      const reading = quantity.dataset[units];
      delete quantity.dataset[units];
      quantity.dataset[now] = quantity.textContent;
      quantity.textContent = reading;
    }
    root.dataset.units = units;
    button.textContent = LABELS[others[units]];
    document.dispatchEvent(new Event("units"));
  };
  const chosen = kept();
  if (chosen in others && chosen !== root.dataset.units) show(chosen);
  button.textContent = LABELS[others[root.dataset.units]];
  button.hidden = false;
  button.addEventListener("click", () => {
    const units = others[root.dataset.units];
    keep(units);
    show(units);
  });
})();
