/* The round page: what is typed goes into the phone's own store first and is sent when it can be.
   Each entry has an id made here; the server answers for each: kept, known, left out, asked, refused. */
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const island = (id) => JSON.parse($(id).textContent);
  const walk = island("walk"), words = island("words");
  const say = (key, names = {}) =>
    (words[key] || key).replace(/\{(\w+)\}/g, (all, n) => (n in names ? names[n] : all));
  const RESUME = 3 * 3600e3, FORGET = 14 * 86400e3, RETRY = 15e3, CHUNK = 100, AIR = "\u0000air";
  const SPENT = ["kept", "known", "left out"];
  let token = document.querySelector('meta[name="heapwright-token"]').content;
  let visit, typed = "", at = { heap: AIR, spot: "" }, sending = false, again = false, timer = 0;
  let entries = [];

  const newId = () => {
    if (crypto.randomUUID) return crypto.randomUUID();
    const b = crypto.getRandomValues(new Uint8Array(16));
    b[6] = (b[6] & 15) | 64; b[8] = (b[8] & 63) | 128;
    const h = [...b].map((x) => x.toString(16).padStart(2, "0")).join("");
    return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
  };

  // --- the phone's own store ----------------------------------------------------------------------
  let base = null;
  const openStore = () => new Promise((done, fail) => {
    const ask = indexedDB.open("heapwright-round", 1);
    ask.onupgradeneeded = () => {
      ask.result.createObjectStore("entries", { keyPath: "id" });
      ask.result.createObjectStore("state", { keyPath: "key" });
    };
    ask.onsuccess = () => done(ask.result);
    ask.onerror = () => fail(ask.error);
  });
  const inStore = (name, work) => base === null ? Promise.resolve([]) : new Promise((done, fail) => {
    const change = base.transaction(name, "readwrite", { durability: "strict" });
    const ask = work(change.objectStore(name));
    change.oncomplete = () => done(ask && ask.result);
    change.onerror = change.onabort = () => fail(change.error);
  });
  const keep = (entry) => inStore("entries", (s) => s.put(entry));
  const keepAll = (list) => inStore("entries", (s) => { for (const e of list) s.put(e); });
  const drop = (id) => inStore("entries", (s) => s.delete(id));
  const remember = (key, value) => inStore("state", (s) => s.put({ key, value }));
  const recall = async (key) => { const f = await inStore("state", (s) => s.get(key)); return f && f.value; };

  // --- entries ------------------------------------------------------------------------------------
  const mine = () => entries.filter((e) => e.visit === visit.id);
  const unsent = () => entries.filter((e) => e.trial === walk.trial && !SPENT.includes(e.state));
  const readAt = (heap, spot) => mine().some((e) => e.state !== "left out" && (heap === AIR
    ? e.kind === "air" : e.kind === "reading" && e.heap === heap && e.spot === spot));
  async function begin() {
    visit = { id: newId(), began: new Date().toISOString(), trial: walk.trial, skipped: [] };
    await remember("visit " + walk.trial, visit);
  }
  async function put(kind, more) {
    const first = !visit.used;  // the round begins with its first entry, also if that is taken back
    if (first) Object.assign(visit, { used: true, began: new Date().toISOString() });
    const entry = {
      id: newId(), kind, visit: visit.id, began: visit.began, time: new Date().toISOString(),
      trial: walk.trial, heap: "", spot: "", text: "", unit: $("unit").value, reader: $("reader").value,
      probe: $("probe").value, answers: {}, state: "waiting", tries: 0, rev: 0, ...more };
    entries.push(entry);
    paint();
    try { if (first) await remember("visit " + walk.trial, visit); await keep(entry); } catch (e) { $("open").textContent = say("no_store"); }
    paint(); send();
    return entry;
  }
  const shown = (e) => e.kind === "reading" ? say("taken", e)
    : e.kind === "air" ? say("taken_air", e) : `${e.heap} ${say(e.kind)} ${e.kind === "photo" || e.kind === "undo" ? "" : e.text}`;

  // --- going from spot to spot --------------------------------------------------------------------
  const places = () => [{ heap: AIR, spot: "" },
    ...walk.heaps.flatMap((heap) => walk.spots.map((s) => ({ heap, spot: s.name })))];
  const nameOf = (p) => `${p.heap}\u0000${p.spot}`;
  function goOn(from) {
    const all = places(), start = from ? all.findIndex((p) => nameOf(p) === nameOf(from)) + 1 : 0;
    const open = [...all.slice(start), ...all.slice(0, start)]
      .filter((p) => !readAt(p.heap, p.spot) && !visit.skipped.includes(nameOf(p)));
    at = open[0] || null; typed = "";
  }
  async function next() {
    if (!at) return;
    if (!/\d/.test(typed)) { $("said").textContent = say("no_number"); return; }
    const here = at, text = typed;
    const more = here.heap === AIR ? { text } : { heap: here.heap, spot: here.spot, text };
    const done = put(here.heap === AIR ? "air" : "reading", more);
    goOn(here); stopTimer();
    $("said").textContent = say(here.heap === AIR ? "taken_air" : "taken", { ...more, unit: $("unit").value });
    paint(); await done;
  }
  async function undo() {
    if (typed) { typed = ""; paint(); return; }
    const last = mine().filter((e) => e.kind !== "undo" && e.state !== "left out").pop();
    if (!last) { $("said").textContent = say("nothing_undo"); return; }
    if (last.kind === "reading") at = { heap: last.heap, spot: last.spot };
    if (last.kind === "air") at = { heap: AIR, spot: "" };
    $("said").textContent = say("undone", { what: shown(last) });
    await takeBack(last);
  }
  async function takeBack(entry) {
    entries = entries.filter((e) => e.id !== entry.id);
    if (entry.tries > 0 && entry.state !== "left out") await put("undo", { text: entry.id });
    await drop(entry.id); paint();
  }
  async function skip() {
    if (!at) return;
    visit.skipped.push(nameOf(at)); await remember("visit " + walk.trial, visit);
    goOn(at); paint();
  }

  // --- sending ------------------------------------------------------------------------------------
  const wire = ({ id, kind, visit: v, began, time, heap, spot, text, unit, reader, probe, photo, answers }) =>
    ({ id, kind, visit: v, began, time, heap, spot, text, unit, reader, probe, photo, answers });
  function post(trial, batch) {
    return fetch("/api/field", {
      method: "POST", headers: { "Content-Type": "application/json", "X-Heapwright-Token": token },
      body: JSON.stringify({ trial, entries: batch.map(wire) }) });
  }
  async function newToken() {
    const page = await fetch("/round");
    const found = /name="heapwright-token" content="([^"]*)"/.exec(await page.text());
    if (found) token = found[1];
  }
  async function send() {
    if (sending) { again = true; return; }
    sending = true;
    try {
      do { again = false; await sendAll(); } while (again);
    } catch (error) { $("network").textContent = say("offline"); } finally { sending = false; paint(); }
  }
  async function sendAll() {
    for (const trial of new Set(entries.map((e) => e.trial))) {
      const waiting = entries.filter((e) => e.trial === trial && e.state === "waiting");
      const visits = new Set(waiting.filter((e) => e.kind === "reading").map((e) => e.visit));
      const held = entries.filter((e) => e.trial === trial && e.state === "asked" && visits.has(e.visit));
      const all = [...held, ...waiting];
      for (let n = 0; n < all.length; n += CHUNK) await sendSome(trial, all.slice(n, n + CHUNK));
    }
  }
  async function sendSome(trial, batch) {
    const revs = new Map(batch.map((e) => [e.id, e.rev]));
    for (const e of batch) e.tries += 1;
    await keepAll(batch);
    batch = batch.filter((e) => entries.includes(e));
    let answer = await post(trial, batch);
    if (answer.status === 403) { await newToken(); answer = await post(trial, batch); }
    if (!answer.ok) {
      $("network").textContent = say(answer.status === 401 || answer.status === 403 ? "join" : "fault");
      return;
    }
    for (const a of (await answer.json()).answers) {
      const entry = entries.find((e) => e.id === a.id);
      if (!entry || entry.rev !== revs.get(a.id)) continue;
      Object.assign(entry, { state: a.state, questions: a.questions, message: a.message, wayOut: a.way_out });
      if (SPENT.includes(a.state)) delete entry.photo;
    }
    await keepAll(batch.filter((e) => entries.includes(e)));
    $("network").textContent = say("sent");
  }

  // --- questions ----------------------------------------------------------------------------------
  const change = (list, key, value) => Promise.all(list.map((e) => {
    e.answers = { ...e.answers, [key]: value }; e.state = "waiting"; e.rev += 1; e.questions = [];
    return keep(e);
  })).then(() => { paint(); send(); });
  const make = (name, text, work) => {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    if (work) { made.type = "button"; made.addEventListener("click", work); }
    return made;
  };
  function block(text, buttons) {
    const box = make("div"), row = make("div");
    box.className = "ask"; row.className = "row"; row.append(...buttons);
    box.append(make("p", text), row);
    return box;
  }
  function numberFor(list, key) {
    const input = make("input"); input.inputMode = "decimal"; input.maxLength = 12;
    const label = make("label", say("retype")); label.append(input);
    return [label, make("button", say("put"), () => /\d/.test(input.value) && change(list, key, input.value.trim()))];
  }
  let painted = "";
  function paintQuestions() {
    const held = entries.filter((e) => e.trial === walk.trial && (e.state === "asked" || e.state === "refused"));
    const mark = JSON.stringify(held.map((e) => [e.id, e.rev, e.state, e.questions, e.message]));
    if (mark === painted) return;  // a half-typed answer is not wiped away
    painted = mark;
    const groups = new Map(), out = [];
    for (const e of held) {
      if (e.state === "refused") {
        out.push(block(`${shown(e)}. ${say("refused", { what: `${e.message} ${e.wayOut || ""}` })}`,
          [make("button", say("drop"), () => takeBackRefused(e))]));
        continue;
      }
      for (const q of e.questions || []) {
        const whole = !q.key.includes(".") || q.key.startsWith("exchange.");
        const name = whole ? `${e.visit} ${q.key}` : `${e.id} ${q.key}`;
        if (!groups.has(name)) groups.set(name, { q, list: [] });
        groups.get(name).list.push(e);
      }
    }
    for (const { q, list } of groups.values()) {
      const buttons = q.choices.flatMap((c) => c === "a number" ? numberFor(list, q.key)
        : [make("button", words["choice_" + c] || c, () => change(list, q.key, c))]);
      out.push(block(q.text, buttons));
    }
    $("questions").replaceChildren(...out);
  }
  async function takeBackRefused(entry) {
    entries = entries.filter((e) => e.id !== entry.id);
    await drop(entry.id);
    goOn(null); paint();
  }

  // --- painting -----------------------------------------------------------------------------------
  function paintSketch() {
    const svg = $("sketch"), NS = svg.namespaceURI;
    const draw = (name, marks) => {
      const made = document.createElementNS(NS, name);
      for (const [k, v] of Object.entries(marks)) made.setAttribute(k, v);
      return made;
    };
    const parts = [draw("path", { d: "M4 104 Q160 -84 316 104 Z" })];
    walk.spots.forEach((s, n) => {
      const x = 320 * (n + 1) / (walk.spots.length + 1), t = (x - 4) / 312;
      const top = 104 - 188 * 2 * t * (1 - t), deep = Math.min(0.8, (s.depth_cm || 40) / 80);
      const lit = at && at.heap !== AIR && at.spot === s.name;
      const read = at && at.heap !== AIR && readAt(at.heap, s.name);
      parts.push(draw("line", { x1: x, x2: x, y1: top - 6, y2: top + (104 - top) * deep }));
      parts.push(draw("circle", { cx: x, cy: top + (104 - top) * deep, r: lit ? 9 : 6,
        class: lit ? "lit" : read ? "read" : "" }));
    });
    svg.replaceChildren(...parts);
  }
  function paintWhere() {
    const pick = (heap, spot) => () => { at = { heap, spot }; typed = ""; paint(); };
    const heaps = walk.heaps.map((h) => {
      const done = walk.spots.filter((s) => readAt(h, s.name)).length;
      const first = walk.spots.find((s) => !readAt(h, s.name)) || walk.spots[0];
      const made = make("button", `${h} ${done}/${walk.spots.length}`, pick(h, first.name));
      made.setAttribute("aria-pressed", String(Boolean(at && at.heap === h)));
      return made;
    });
    const air = make("button", say("air"), pick(AIR, ""));
    air.setAttribute("aria-pressed", String(Boolean(at && at.heap === AIR)));
    $("heaps").replaceChildren(air, ...heaps);
    const here = at && at.heap !== AIR ? at.heap : null;
    $("spots").replaceChildren(...(here ? walk.spots.map((s) => {
      const made = make("button", s.name, pick(here, s.name));
      made.setAttribute("aria-pressed", String(at.spot === s.name));
      return made;
    }) : []));
  }
  function lead() {
    if (!at) return say("done");
    if (at.heap === AIR) return say("next_air");
    const s = walk.spots.find((x) => x.name === at.spot) || {};
    return s.depth_cm ? say("next", { heap: at.heap, spot: at.spot, depth: s.depth_cm }) : say("next_plain", at);
  }
  function paint() {
    const open = unsent(), held = open.filter((e) => e.state === "asked" || e.state === "refused").length;
    $("unsent").textContent = say("unsent", { n: open.length }) + (held ? `, ${say("held", { n: held })}` : "");
    $("lead").textContent = lead();
    const last = at && at.heap !== AIR && (walk.last[at.heap] || {})[at.spot];
    $("before").textContent = !at || at.heap === AIR ? "" : last
      ? say("last", { temp: Math.round(last.temp_c), days: Math.round(last.days_ago) }) : say("never");
    $("typed").textContent = `${typed.replace("-", "\u2212") || "\u2013"} ${$("unit").value}`;
    paintSketch(); paintWhere(); paintQuestions();
    $("list").replaceChildren(...mine().slice(-6).reverse().map((e) => make("li", shown(e))));
  }

  // --- the probe's wait ---------------------------------------------------------------------------
  const seconds = () => Math.min(900, Math.max(5, Number($("seconds").value) || walk.wait_s));
  function stopTimer() { clearInterval(timer); timer = 0; $("wait").textContent = say("wait", { n: seconds() }); }
  function startTimer() {
    if (timer) { stopTimer(); return; }
    const ends = Date.now() + seconds() * 1000;
    const tick = () => {
      const left = Math.ceil((ends - Date.now()) / 1000);
      if (left > 0) { $("wait").textContent = say("waiting", { n: left }); return; }
      stopTimer(); $("said").textContent = say("settled");
      if (navigator.vibrate) navigator.vibrate([200, 100, 200]);
    };
    timer = setInterval(tick, 250); tick();
  }

  // --- photo, file --------------------------------------------------------------------------------
  async function photo(file) {
    try {
      const picture = await createImageBitmap(file), most = 1600;
      const scale = Math.min(1, most / Math.max(picture.width, picture.height));
      const canvas = document.createElement("canvas");
      canvas.width = Math.round(picture.width * scale); canvas.height = Math.round(picture.height * scale);
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      await remark("photo", "", { photo: canvas.toDataURL("image/jpeg", 0.8).split(",")[1] });
    } catch (error) { $("said").textContent = say("photo_big"); }
  }
  async function remark(kind, text, more = {}) {
    const heap = at && at.heap !== AIR ? at.heap : (mine().filter((e) => e.heap).pop() || {}).heap || walk.heaps[0];
    const entry = await put(kind, { heap, text, ...more });
    $("said").textContent = say("kept_note", { what: shown(entry) });
  }
  function save() {
    const text = JSON.stringify({ trial: walk.trial, entries: unsent().map(wire) }, null, 1);
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = "round.json"; link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  }

  // --- wiring -------------------------------------------------------------------------------------
  function settings() {
    const kept = JSON.parse(localStorage.getItem("heapwright-round") || "{}");
    const units = kept.units || {};
    for (const p of walk.probes) if (!(p.name in units)) units[p.name] = p.unit;
    $("probe").value = kept.probe || (walk.probes[0] || {}).name || "";
    $("reader").value = kept.reader || "";
    $("seconds").value = kept.seconds || walk.wait_s;
    $("unit").value = units[$("probe").value] || "C";
    const store = () => localStorage.setItem("heapwright-round", JSON.stringify(
      { probe: $("probe").value, reader: $("reader").value, seconds: seconds(), units }));
    $("probe").addEventListener("change", () => { $("unit").value = units[$("probe").value] || "C"; store(); paint(); });
    $("unit").addEventListener("change", () => { units[$("probe").value] = $("unit").value; store(); paint(); });
    for (const id of ["reader", "seconds"]) $(id).addEventListener("change", () => { store(); if (!timer) stopTimer(); });
  }
  function key(k) {
    if (k === "-") typed = typed.startsWith("-") ? typed.slice(1) : "-" + typed;
    else if (k === "." ? !typed.includes(".") : true) typed = (typed + k).slice(0, 7);
    $("said").textContent = ""; paint();
  }
  function wire_up() {
    $("keys").addEventListener("click", (e) => { const k = e.target.dataset.key; if (k) key(k); });
    $("next").addEventListener("click", next); $("undo").addEventListener("click", undo);
    $("skip").addEventListener("click", skip); $("wait").addEventListener("click", startTimer);
    $("back").addEventListener("click", () => { typed = typed.slice(0, -1); paint(); });
    $("send").addEventListener("click", send); $("save").addEventListener("click", save);
    $("fresh").addEventListener("click", async () => { await begin(); goOn(null); $("said").textContent = say("new_round"); paint(); });
    document.addEventListener("keydown", (e) => {
      if (/^(INPUT|SELECT|TEXTAREA)$/.test(e.target.tagName) || e.ctrlKey || e.metaKey || e.altKey) return;
      if (/^[0-9.-]$/.test(e.key)) key(e.key);
      else if (e.key === "," ) key(".");
      else if (e.key === "Enter" && !/^(BUTTON|A|SUMMARY)$/.test(e.target.tagName)) next();
      else if (e.key === "Backspace") { typed = typed.slice(0, -1); paint(); }
    });
    const form = (id, field, kind) => $(id).addEventListener("submit", async (e) => {
      e.preventDefault();
      const text = $(field).value.trim();
      if (!text) return;
      if (kind === "line") await put("line", { text }); else await remark(kind, text);
      $(field).value = "";
    });
    form("noteform", "note", "note"); form("lineform", "line", "line");
    for (const kind of ["squeeze", "smell"]) $(kind).addEventListener("change", async () => {
      if ($(kind).value) { await remark(kind, $(kind).value); $(kind).value = ""; }
    });
    $("photo").addEventListener("change", async () => { if ($("photo").files[0]) await photo($("photo").files[0]); $("photo").value = ""; });
    addEventListener("online", send);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
    setInterval(() => { if (unsent().some((e) => e.state === "waiting")) send(); }, RETRY);
  }
  async function start() {
    try { base = await openStore(); entries = (await inStore("entries", (s) => s.getAll())) || []; }
    catch (error) { base = null; $("open").textContent = say("no_store"); }
    const old = Date.now() - FORGET;
    for (const e of entries.filter((x) => SPENT.includes(x.state) && Date.parse(x.time) < old)) await drop(e.id);
    entries = entries.filter((e) => !SPENT.includes(e.state) || Date.parse(e.time) >= old)
      .sort((a, b) => (a.time < b.time ? -1 : a.time > b.time ? 1 : 0));
    visit = await recall("visit " + walk.trial);
    if (!visit || !visit.id || Date.now() - Date.parse(visit.began) > RESUME) await begin();
    settings(); stopTimer(); wire_up();
    const last = mine().filter((e) => e.kind === "reading" || e.kind === "air").pop();
    goOn(last ? (last.kind === "air" ? { heap: AIR, spot: "" } : last) : null);
    paint();
    if (base !== null) {
      if (window.isSecureContext && navigator.serviceWorker) {
        navigator.serviceWorker.register("/worker.js", { scope: "/round" }).then(() => navigator.serviceWorker.ready)
          .then(() => { $("open").textContent = say("worker"); }, () => { $("open").textContent = say("http"); });
      } else $("open").textContent = say("http");
    }
    document.body.dataset.ready = "yes";
    send();
  }
  start();
})();
