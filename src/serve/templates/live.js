// The local page: files dropped are sent and their fate is told, the page follows the folder, other gears are tried at once.
"use strict";
(() => {
  const own = document.currentScript.dataset;
  const pick = (id) => document.getElementById(id);
  const element = (tag, text) => { const e = document.createElement(tag); if (text !== undefined) e.textContent = text; return e; };

  // What is typed must not be lost to a page that makes itself new.
  let typed = false;
  for (const form of document.querySelectorAll("form[method=post]")) {
    form.addEventListener("input", () => { typed = true; });
    form.addEventListener("submit", () => { typed = false; });
  }
  window.addEventListener("beforeunload", (e) => { if (typed) e.preventDefault(); });

  let sending = 0;
  let held = false;
  const renew = async () => {
    if (sending) return;
    const text = await (await fetch(location.href, { cache: "no-store" })).text();
    const seen = /data-seen="([0-9a-f]*)"/.exec(text);
    if (!seen || seen[1] === own.seen) return;
    if (own.keep || typed || held) {
      const news = pick("news");
      news.textContent = "The folder has changed. ";
      const again = element("a", "Load this page again");
      again.href = location.href;
      news.append(again);
    } else {
      location.reload();
    }
  };

  // News of the folder: one question waits at the server while the page is looked at.
  let version = null;
  const follow = async () => {
    for (;;) {
      if (document.hidden) await new Promise((go) => document.addEventListener("visibilitychange", go, { once: true }));
      try {
        const answer = await fetch(`/changes${version === null ? "" : `?since=${version}`}`, { cache: "no-store" });
        if (!answer.ok) throw new Error(answer.statusText);
        const news = await answer.json();
        pick("news").textContent = news.busy ? (news.count ? `reading ${news.done} of ${news.count} logs …` : "reading …") : "";
        if (!news.busy && news.version !== version) {
          version = news.version;
          await renew();
        }
      } catch {
        pick("news").textContent = "runtrue has stopped: start it again to go on";
        await new Promise((go) => setTimeout(go, 2000));
      }
    }
  };

  // What became of a file; gives it back where it was saved.
  const tell = (file, fate, row = element("li")) => {
    const good = Boolean(fate?.saved);
    const mark = element("span", good ? "● " : "▲ ");
    mark.className = good ? "ok" : "act";
    mark.setAttribute("aria-hidden", "true");
    row.replaceChildren(mark, element("strong", file.name));
    const says = good ? [`saved as ${fate.saved}`, ...fate.say] : [fate?.message ?? "it did not arrive", ...(fate?.hint ? [`hint: ${fate.hint}`] : [])];
    for (const say of says) row.append(element("small", say));
    row.dataset.fate = good ? "saved" : "refused";
    pick("arrivals").append(row);
    return good ? fate : null;
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
    request.open("PUT", `/drop/${encodeURIComponent(file.name)}`);
    request.upload.addEventListener("progress", (e) => { if (e.lengthComputable) bar.value = e.loaded / e.total; });
    request.addEventListener("loadend", () => {
      let fate = null;
      try { fate = JSON.parse(request.responseText); } catch { /* no answer came */ }
      done(tell(file, fate, row));
    });
    request.send(file);
  });

  const take = async (files) => {
    if (!files.length) return;
    sending += 1;
    const most = Number(pick("choose").dataset.most);
    for (const file of files) {
      const fate = file.size > most ? tell(file, { message: `it has ${file.size} bytes; at most ${most} are taken` }) : await send(file);
      // What was guessed, renamed or refused stays to be read.
      if (!fate || fate.say.length > 1) held = true;
    }
    sending -= 1;
    if (sending) return;
    if (!held && !typed) return location.reload();
    const row = element("li");
    const again = element("a", "See the review");
    again.href = "/";
    row.append(again);
    pick("arrivals").append(row);
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
      for (const part of fresh.querySelectorAll("[role=alert]")) form.querySelector(".go").append(part);
      history.replaceState(null, "", `?${query}`);
    }, 250);
  });

  follow();
})();
