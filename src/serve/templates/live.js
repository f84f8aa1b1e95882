// The local page: dropped files are sent and what became of them is shown, the page follows the folder, other gears are tried at once.
"use strict";
(() => {
  const own = document.currentScript.dataset;
  const pick = (id) => document.getElementById(id);
  const element = (tag, text) => { const e = document.createElement(tag); if (text !== undefined) e.textContent = text; return e; };

  // A sentence with what stands in backticks set as code.
  const sentence = (tag, text) => {
    const e = element(tag);
    text.split("`").forEach((part, n, all) => {
      if (n % 2 === 0) e.append(part);
      else e.append(n + 1 < all.length ? element("code", part) : `\`${part}`);
    });
    return e;
  };

  // What is typed must not be lost to a page that makes itself new, or to a server that has stopped.
  const typed = new Set();
  let stopped = false;
  // A page that is on its way to another does not make itself new: that would end the way.
  let leaving = false;
  window.addEventListener("pageshow", () => { leaving = false; });
  const guard = (form) => {
    form.addEventListener("input", () => typed.add(form));
    form.addEventListener("submit", (e) => {
      const others = [...typed].filter((f) => f !== form);
      if (stopped) {
        e.preventDefault();
        pick("news").textContent = "runtrue has stopped. Start it again, then save: what you typed is still here.";
      } else if (others.length && !confirm("You have typed something in another form on this page. It will be lost if you save this one now. Save anyway?")) {
        e.preventDefault();
      } else {
        typed.clear();
        leaving = true;
      }
    });
  };
  document.querySelectorAll("form[method=post]").forEach(guard);
  window.addEventListener("beforeunload", (e) => { if (typed.size) e.preventDefault(); });

  let sending = 0;
  let held = false;
  const offer = () => {
    const again = element("a", "Reload this page");
    again.href = location.href;
    pick("news").replaceChildren("The folder has changed. ", again);
  };
  const renew = async (news) => {
    if (sending || leaving) return;
    if (own.keep) {
      const base = document.querySelector("input[name=base]");
      if (base && base.value !== news.sheet) offer();
      return;
    }
    const text = await (await fetch(location.href, { cache: "no-store" })).text();
    if (leaving) return;
    const seen = /data-seen="([0-9a-f]*)"/.exec(text);
    if (!seen || seen[1] === own.seen) return;
    // After a drop the link below the files leads there.
    if (held && !pick("see").hidden) return;
    if (typed.size || held) offer(); else again();
  };
  // What was opened or shut stays so on a page that makes itself new.
  const OPENED = `opened ${location.pathname}`;
  const folds = () => [...document.querySelectorAll("main details")].map((d) => [d.querySelector("summary").textContent, d]);
  const again = () => {
    try { sessionStorage.setItem(OPENED, JSON.stringify(Object.fromEntries(folds().map(([name, d]) => [name, d.open])))); } catch { /* a tab without storage */ }
    location.reload();
  };
  try {
    const opened = JSON.parse(sessionStorage.getItem(OPENED)) ?? {};
    sessionStorage.removeItem(OPENED);
    for (const [name, d] of folds()) if (name in opened) d.open = opened[name];
  } catch { /* nothing is remembered */ }

  // News of the folder: one question waits at the server while the page is looked at.
  let version = null;
  const follow = async () => {
    for (;;) {
      if (document.hidden) await new Promise((go) => document.addEventListener("visibilitychange", go, { once: true }));
      try {
        const answer = await fetch(`changes${version === null ? "" : `?since=${version}`}`, { cache: "no-store" });
        if (answer.status === 403) {
          pick("news").textContent = "runtrue was restarted. Open the new address that it printed. What you typed stays here until you leave this page.";
          return;
        }
        if (!answer.ok) throw new Error(answer.statusText);
        const news = await answer.json();
        if (stopped) pick("news").textContent = "";
        stopped = false;
        if (news.busy) {
          pick("news").textContent = news.count ? `reading ${news.done} of ${news.count} logs …` : "reading …";
        } else if (news.version !== version) {
          version = news.version;
          pick("news").textContent = "";
          await renew(news);
        }
      } catch {
        stopped = true;
        pick("news").textContent = `runtrue has stopped. Start it again with --port ${location.port} to go on with this page.`;
        await new Promise((go) => setTimeout(go, 2000));
      }
    }
  };

  const megabytes = (bytes) => Math.ceil(bytes / (1 << 20));

  // A button that takes a run off the sheet again.
  const undoRun = (run) => {
    const form = element("form");
    form.method = "post";
    form.action = "run-entry";
    const hidden = element("input");
    Object.assign(hidden, { type: "hidden", name: "run", value: run });
    const button = element("button", "Undo");
    Object.assign(button, { name: "then", value: "take-off" });
    form.append(hidden, button);
    guard(form);
    return form;
  };

  // Shows what became of a file; gives it back where it was saved.
  const tell = (file, fate, row = element("li")) => {
    const good = Boolean(fate?.saved);
    const mark = element("span", good ? "● " : "▲ ");
    mark.className = good ? "ok" : "act";
    mark.setAttribute("aria-hidden", "true");
    row.replaceChildren(mark, element("strong", file.name));
    const place = fate?.arrival === "already-here" ? "already here as" : "saved as";
    const lost = stopped ? "runtrue has stopped. Start it again." : "the file did not arrive";
    const says = good ? [`${place} ${fate.saved}`, ...fate.say] : [fate?.message ?? lost, ...(fate?.hint ? [`hint: ${fate.hint}`] : [])];
    for (const say of says) row.append(sentence("small", say));
    if (fate?.undo_run) row.append(undoRun(fate.undo_run));
    row.dataset.fate = good ? "saved" : "refused";
    pick("arrivals").append(row);
    return good ? fate : null;
  };

  // The page's question which run a lap list is of, for the page that it was dropped on.
  const askRun = async () => {
    const text = await (await fetch("./", { cache: "no-store" })).text();
    const fresh = new DOMParser().parseFromString(text, "text/html").querySelector("#lists");
    pick("lists")?.remove();
    if (!fresh) return;
    fresh.querySelectorAll("form").forEach(guard);
    pick("drop").after(fresh);
  };

  // Sends one file and shows how far it is.
  const send = (file) => new Promise((done) => {
    const row = element("li");
    const bar = element("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", `sending ${file.name}`);
    row.append(element("strong", file.name), " ", bar);
    pick("arrivals").append(row);
    const request = new XMLHttpRequest();
    request.open("PUT", `drop?name=${encodeURIComponent(file.name)}`);
    request.upload.addEventListener("progress", (e) => { if (e.lengthComputable) bar.value = e.loaded / e.total; });
    request.addEventListener("loadend", () => {
      let fate = null;
      try { fate = JSON.parse(request.responseText); } catch { /* no answer came */ }
      if (fate?.files) row.remove();
      done(fate?.files ? fate.files.map((inner) => tell({ name: `${file.name}: ${inner.name}` }, inner)) : [tell(file, fate, row)]);
    });
    request.send(file);
  });

  const take = async (files) => {
    if (!files.length) return;
    sending += 1;
    let saved = false;
    let only = null;
    const most = Number(pick("choose").dataset.most);
    for (const file of files) {
      const fates = file.size > most ? [tell(file, { message: `the file has ${megabytes(file.size)} MB; the limit is ${megabytes(most)} MB`, hint: "copy it into the weekend’s folder yourself" })] : await send(file);
      if (fates.some((fate) => fate)) saved = true;
      if (fates.some((fate) => fate?.ask_run)) await askRun();
      // What was guessed, renamed or refused stays to be read.
      if (fates.some((fate) => !fate || fate.say.length > (fate.undo_run ? 2 : 1))) held = true;
      only = files.length === 1 && fates.length === 1 ? fates[0] : null;
      if (fates.some((fate) => fate?.undo_run) && !only) held = true;
    }
    sending -= 1;
    if (sending) return;
    if (only?.outcome && !held && !typed.size) {
      leaving = true;
      return location.assign(`./?said=${only.outcome}#said`);
    }
    if (!held && !typed.size) return again();
    pick("see").hidden = !saved;
    pick("news").textContent = "";
  };

  if (pick("choose")) {
    pick("choose").addEventListener("change", (e) => take([...e.target.files]));
    const holds = (e) => [...(e.dataTransfer?.types ?? [])].includes("Files");
    window.addEventListener("dragover", (e) => { if (holds(e)) { e.preventDefault(); pick("drop").classList.add("over"); } });
    window.addEventListener("dragleave", (e) => { if (!e.relatedTarget) pick("drop").classList.remove("over"); });
    window.addEventListener("drop", (e) => {
      if (!holds(e)) return;
      e.preventDefault();
      pick("drop").classList.remove("over");
      take([...e.dataTransfer.files]);
    });
  }

  // A line of the sheet's text that something is wrong with.
  document.querySelectorAll("a[data-line]").forEach((link) => link.addEventListener("click", (e) => {
    e.preventDefault();
    const text = pick("text");
    const lines = text.value.split("\n");
    const start = lines.slice(0, Number(link.dataset.line) - 1).reduce((sum, line) => sum + line.length + 1, 0);
    text.focus();
    text.setSelectionRange(start, start + lines[Number(link.dataset.line) - 1].length);
    text.scrollTop = text.scrollHeight * Math.max(0, Number(link.dataset.line) - 4) / lines.length;
  }));

  // Other gears, as they are typed.
  let asked = 0;
  document.addEventListener("input", (e) => {
    const form = e.target.closest?.("#tried form");
    if (!form) return;
    clearTimeout(asked);
    asked = setTimeout(async () => {
      const query = new URLSearchParams(new FormData(form));
      const text = await (await fetch(`${location.pathname}?${query}`, { cache: "no-store" })).text();
      const fresh = new DOMParser().parseFromString(text, "text/html").querySelector("#tried");
      if (!fresh) return;
      for (const part of pick("tried").querySelectorAll(".scroll, [role=alert]")) part.remove();
      for (const part of fresh.querySelectorAll(".scroll")) pick("tried").append(part);
      // It comes in the sheet's units.
      document.dispatchEvent(new Event("fresh-part"));
      for (const part of fresh.querySelectorAll("[role=alert]")) form.querySelector(".go").append(part);
      history.replaceState(null, "", `?${query}`);
    }, 250);
  });

  follow();
})();
