// The touch layer: live values, read-outs on charts, keys. Every page works without it.
"use strict";

(() => {
  const body = document.body;
  const page = body.dataset.page;

  // live: one stream a page, closed while the page is hidden

  let last = body.dataset.seen || "";
  let source = null;
  let waiting = false;
  let fetched = Date.now();

  const fragment = (text) => {
    const box = document.createElement("template");
    box.innerHTML = text; // drawn by our own server, which escapes every value
    return box.content;
  };

  const busy = (part) =>
    part.contains(document.activeElement) || part.querySelector("details[open]") !== null;

  const redraw = async () => {
    waiting = false;
    fetched = Date.now();
    const answer = await fetch(location.href, { headers: { accept: "text/html" } });
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of document.querySelectorAll("[data-swap], [data-units] .cell[id]")) {
      const other = fresh.getElementById(part.id);
      if (other && !busy(part)) part.replaceWith(other);
    }
    ready();
  };

  const redrawSoon = () => {
    if (waiting || "still" in body.dataset) return;
    waiting = true;
    const least = page === "alarms" ? 2000 : 15000;
    setTimeout(redraw, Math.max(0, fetched + least - Date.now()));
  };

  const taken = (event) => {
    last = event.lastEventId;
    const news = JSON.parse(event.data);
    if (news.strip) {
      const strip = document.getElementById("strip");
      if (strip && !strip.contains(document.activeElement)) {
        document.querySelector(".cutoff")?.remove();
        strip.replaceWith(fragment(news.strip));
      }
    }
    const ours = body.dataset.units; // cells come in the kept units; in others they are fetched
    if (ours && page === "room" && Object.keys(news.cells).length) redrawSoon();
    for (const [id, html] of ours ? [] : Object.entries(news.cells)) {
      const cell = page === "room" && document.getElementById(id);
      if (!cell) continue;
      const focused = cell === document.activeElement;
      cell.replaceWith(fragment(html));
      if (focused) document.getElementById(id)?.focus({ preventScroll: true });
    }
    if (news.news.length) {
      document.getElementById("loud").textContent = `New alarm: ${news.news.join("; ")}`;
    }
    if (page === "alarms" || (page === "tank" && `t-${body.dataset.tank}` in news.cells)) redrawSoon();
  };

  const open = () => {
    if (source || !window.EventSource) return;
    source = new EventSource(`/api/live?last=${encodeURIComponent(last)}`);
    source.addEventListener("room", taken);
    source.addEventListener("reload", () => {
      close();
      last = "";
      if (page === "room") location.reload();
      else { redrawSoon(); open(); }
    });
    source.onerror = () => { document.documentElement.classList.add("stale"); };
    source.onopen = () => { document.documentElement.classList.remove("stale"); sendRecords(); };
  };

  const close = () => { source?.close(); source = null; };

  document.addEventListener("visibilitychange", () => (document.hidden ? close() : open()));
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", (event) => { if (event.persisted) open(); });

  // charts: a finger, a mouse or the arrow keys read a value off the line

  const readings = (chart) => {
    const { from, to, low, high, plot } = chart.dataset;
    const across = (to - from) / 3000;
    const up = (high - low) / (plot * 10);
    const found = [];
    for (const line of chart.querySelectorAll("defs path")) {
      let x = 0;
      let y = 0;
      for (const [, how, a, b] of line.getAttribute("d").matchAll(/([Ml])(-?\d+) (-?\d+)/g)) {
        x = how === "M" ? +a : x + +a;
        y = how === "M" ? +b : y + +b;
        found.push([+from + x * across, high - y * up, x / 30, y / 10]);
      }
    }
    return found.sort((p, q) => p[0] - q[0]);
  };

  const words = (chart) => new Intl.DateTimeFormat("en-GB", {
    timeZone: chart.dataset.zone, weekday: "short", day: "numeric", hour: "2-digit", minute: "2-digit",
  });

  const readable = (chart) => {
    const points = readings(chart);
    if (!points.length) return;
    const out = document.createElement("output");
    out.className = "readout";
    out.textContent = "Touch the chart to read a value.";
    chart.after(out);
    const ns = "http://www.w3.org/2000/svg";
    const dot = document.createElementNS(ns, "circle");
    dot.setAttribute("class", "c-dot");
    dot.setAttribute("r", "5");
    dot.setAttribute("visibility", "hidden");
    chart.append(dot);
    chart.setAttribute("tabindex", "0");
    const time = words(chart);
    let at = points.length - 1;
    const show = (spoken) => {
      const [when, value, x, y] = points[at];
      dot.setAttribute("cx", `${x}%`);
      dot.setAttribute("cy", +chart.dataset.top + y);
      dot.setAttribute("visibility", "visible");
      out.textContent = `${time.format(when)}: ${value.toFixed(chart.dataset.digits)} ${chart.dataset.unit}`;
      if (spoken) document.getElementById("polite").textContent = out.textContent;
    };
    const near = (event) => {
      const box = chart.getBoundingClientRect();
      const when = +chart.dataset.from
        + ((event.clientX - box.left) / box.width) * (chart.dataset.to - chart.dataset.from);
      let low = 0;
      let high = points.length - 1;
      while (low < high) {
        const middle = (low + high) >> 1;
        if (points[middle][0] < when) low = middle + 1; else high = middle;
      }
      at = low > 0 && when - points[low - 1][0] < points[low][0] - when ? low - 1 : low;
      show(false);
    };
    chart.addEventListener("pointermove", near);
    chart.addEventListener("pointerdown", near);
    chart.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: -50, PageDown: 50 }[event.key];
      const end = { Home: 0, End: points.length - 1 }[event.key];
      if (step === undefined && end === undefined) return;
      event.preventDefault();
      at = end ?? Math.min(points.length - 1, Math.max(0, at + step));
      show(true);
    });
  };

  const ready = () => {
    // something is under way that this page waits for, such as a hand around a probe
    if (document.querySelector("[data-again]")) setTimeout(redraw, 3000);
    for (const chart of document.querySelectorAll(".chart:not([tabindex])")) readable(chart);
  };

  // keys: g then a letter for a place, / finds a tank, ? lists them; x turns them off

  const off = () => localStorage.getItem("keys") === "off";
  let going = 0;
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, textarea, select")) return;
    if (event.key === "?") {
      const list = document.getElementById("keys");
      list.hidden = !list.hidden;
      if (!list.hidden) list.focus();
      return;
    }
    if (off()) return;
    if (event.key === "/") {
      const find = document.getElementById("find");
      if (find) { event.preventDefault(); find.focus(); }
    } else if (event.key === "g") {
      going = Date.now();
    } else if (Date.now() - going < 1500) {
      going = 0;
      document.querySelector(`.places [data-key="${CSS.escape(event.key)}"]`)?.click();
    }
  });
  const toggle = document.getElementById("keys-off");
  if (toggle) {
    toggle.checked = !off();
    toggle.addEventListener("change", () => localStorage.setItem("keys", toggle.checked ? "on" : "off"));
  }

  // two taps within 0.4 s on one button count once
  let sent = -1000;
  document.addEventListener("submit", (event) => {
    if (event.timeStamp - sent < 400) {
      event.preventDefault();
      event.stopImmediatePropagation();
    } else sent = event.timeStamp;
  }, true);

  // records made without a connection wait here and are sent later, with the time they were made;
  // the store keeps one deed of one moment once, so sending it twice does no harm

  const waitingRecords = () => JSON.parse(localStorage.getItem("records") || "[]");
  const keepRecords = (list) => {
    localStorage.setItem("records", JSON.stringify(list));
    let told = document.getElementById("waiting");
    if (!told && list.length) {
      told = document.createElement("p");
      told.id = "waiting";
      told.className = "told";
      told.setAttribute("role", "status");
      document.getElementById("main").prepend(told);
    }
    if (told) {
      told.hidden = !list.length;
      told.textContent = `${list.length} waiting: no connection. Sent by itself, with the time it was made.`;
    }
  };

  let sending = false;
  const sendRecords = async () => {
    if (sending) return;
    sending = true;
    try {
      for (let list = waitingRecords(); list.length; list = waitingRecords()) {
        const { address = "/api/journal", ...record } = list[0];
        const answer = await fetch(address, {
          method: "POST",
          headers: { "content-type": "application/json" },
          body: JSON.stringify(record),
        });
        if (!answer.ok && ![400, 404].includes(answer.status)) break; // not allowed now: keep it
        keepRecords(list.slice(1));
      }
    } catch {
      // still no connection: the next chance is the browser's own word or the stream's
    } finally {
      sending = false;
    }
  };

  document.addEventListener("submit", async (event) => {
    const form = event.target.closest(".onetap form, form.queued");
    if (!form || event.defaultPrevented) return;
    event.preventDefault();
    const fields = new URLSearchParams(new FormData(form));
    try {
      const answer = await fetch(form.action, { method: "POST", body: fields, redirect: "manual" });
      if (answer.type === "opaqueredirect") location.reload();
      else form.submit(); // the refusal is a page of its own
    } catch {
      const record = { time: new Date().toISOString() };
      if (form.dataset.api) {
        // an id of its own, so that sending it twice keeps it once
        const bytes = crypto.getRandomValues(new Uint8Array(16));
        record.address = form.dataset.api;
        record.id = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
        for (const [name, text] of fields) if (text && !["token", "back"].includes(name)) record[name] = text;
      } else for (const name of ["tank", "deed", "detail"]) record[name] = fields.get(name) || "";
      keepRecords([...waitingRecords(), record]);
      form.reset();
    }
  });
  window.addEventListener("online", sendRecords);
  if (waitingRecords().length) { keepRecords(waitingRecords()); sendRecords(); }

  ready();
  if (page) open();
})();
