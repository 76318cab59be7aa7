// The stop on the round. What is typed is kept on the phone first, under ids made here, and sent after: the log takes a
// line of one id once, however often it is sent.
"use strict";

const ROUND = "brewwater.round", ORDER = "brewwater.order", DRAFT = "brewwater.draft.", ENTRY = "brewwater.entry.";
const WAIT_MS = 20000, AGAIN_MS = 10000, SHOWN_MS = 3000, MOST_PX = 1600;
const STATES = {overdue: "Overdue", due: "Due", soon: "Soon"};
let round = read(ROUND), sending = null, stopped = "", said = "", ordering = false, problem = "";

// -- what is kept on the phone

function read(key) {
  try { return JSON.parse(localStorage.getItem(key)); } catch { return null; }
}

function write(key, value) {
  localStorage.setItem(key, JSON.stringify(value));
}

function newId() {
  return Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, "0")).join("");
}

function entries() {
  const keys = Object.keys(localStorage).filter((key) => key.startsWith(ENTRY));
  return keys.map(read).filter(Boolean).sort((a, b) => a.at - b.at);
}

function draftOf(unit) {
  const kept = read(DRAFT + unit.ref);
  if (kept && !read(ENTRY + kept.id)) return kept;
  return {id: newId(), ids: {}, values: {}, changed: [], note: "", photo: null};
}

function photos(mode, work) {
  return new Promise((done, failed) => {
    const opening = indexedDB.open("brewwater", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("photos");
    opening.onerror = () => failed(opening.error);
    opening.onsuccess = () => {
      const deal = opening.result.transaction("photos", mode);
      const asked = work(deal.objectStore("photos"));
      deal.oncomplete = () => { opening.result.close(); done(asked.result); };
      deal.onerror = deal.onabort = () => { opening.result.close(); failed(deal.error); };
    };
  });
}

// -- sending

async function ask(path, options) {
  const stop = new AbortController();
  const bell = setTimeout(() => stop.abort(), WAIT_MS);
  try {
    const answer = await fetch(path, {...options, signal: stop.signal, redirect: "manual"});
    let body = {};
    try { body = await answer.json(); } catch { /* a refusal of the door is plain text */ }
    return {status: answer.type === "opaqueredirect" ? 403 : answer.status, body};
  } catch {
    return {status: 0, body: {}};
  } finally {
    clearTimeout(bell);
  }
}

function post(path, body, kind) {
  return ask(path, {method: "POST", body, headers: {"content-type": kind, "x-brewwater-stop": "1"}});
}

// true: it is in the log; false: it may not go now; text: it was refused, with why
async function sendOne(entry) {
  if (!entry.sent) {
    const {status, body} = await post("/stop/entry", JSON.stringify({unit: entry.unit, lines: entry.lines}), "application/json");
    if (refused(status)) return body.problem || "It was refused.";
    if (status !== 200) return held(status);
    entry.sent = true;
    write(ENTRY + entry.id, entry);
  }
  if (entry.photo) {
    const picture = await photos("readonly", (all) => all.get(entry.photo));
    if (picture) {
      const asked = new URLSearchParams({unit: entry.unit, line: entry.id, id: entry.photo});
      const {status, body} = await post("/stop/photo?" + asked, picture, "image/jpeg");
      if (refused(status)) return body.problem || "The photo was refused.";
      if (status !== 200) return held(status);
      await photos("readwrite", (all) => all.delete(entry.photo));
    }
  }
  localStorage.removeItem(ENTRY + entry.id);
  return true;
}

// an answer that would be the same again: whoever stands there has to look
function refused(status) {
  return status === 422 || status === 413 || status === 400;
}

function held(status) {
  stopped = status === 401 ? "Sign in again on the first page; what is kept here is sent then."
    : status === 403 || status === 421 ? "This phone is not let in. Pair it again; what is kept here is sent then." : "";
  return false;
}

async function sendAll() {
  const wish = read(ORDER);
  if (wish && round && wish.who === round.who) {
    const {status} = await post("/stop/order", JSON.stringify({order: wish.order}), "application/json");
    if (status !== 200 && !refused(status)) return void held(status);
    if (localStorage.getItem(ORDER) === JSON.stringify(wish)) localStorage.removeItem(ORDER);
  }
  for (const entry of entries()) {
    if (!round || entry.who !== round.who || entry.problem) continue;
    const answer = await sendOne(entry).catch(() => "The photo cannot be read from this phone.");
    if (answer === false) return;
    if (answer !== true) write(ENTRY + entry.id, {...entry, problem: answer});
    stopped = "";
    tell();
  }
}

// one at a time in all tabs; a second press joins the first
function send() {
  if (!sending) {
    const all = () => sendAll().catch(() => undefined);
    const locks = navigator.locks;
    sending = (locks ? locks.request("brewwater.send", all) : all()).finally(() => { sending = null; tell(); });
  }
  return sending;
}

async function renew() {
  const {status, body} = await ask("/stop/round", {});
  if (status === 200) {
    round = body;
    stopped = "";
    write(ROUND, round);
  } else if (status === 401) {
    round = null;  // whoever holds the phone now may be someone else
    localStorage.removeItem(ROUND);
    stopped = "Sign in on the first page.";
  } else {
    held(status);
  }
  return status;
}

// -- what is shown

function el(tag, about = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(about)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null) made.setAttribute(name, value);
  }
  made.append(...inside.filter((one) => one !== null && one !== ""));
  return made;
}

function day(text) {
  const [year, month, date] = text.split("-").map(Number);
  return new Date(year, month - 1, date).toLocaleDateString("en-US", {month: "short", day: "numeric", year: "numeric"});
}

function tell() {
  const waiting = entries().length;
  const words = waiting ? `${waiting} kept here, not sent yet` : "kept as you go";
  document.getElementById("state").textContent = stopped || words;
}

function unitAt() {
  const ref = new URLSearchParams(location.hash.slice(1)).get("unit");
  return round && ref ? round.units.find((one) => one.ref === ref) : null;
}

function show() {
  const unit = unitAt();
  document.getElementById("back").hidden = !unit;
  document.getElementById("where").textContent = unit ? unit.name : "Round";
  document.title = unit ? `${unit.name}: stop` : "Round";
  const main = document.getElementById("main");
  main.replaceChildren(...(unit ? stopOf(unit) : listOf()));
  tell();
}

function go(unit) {
  problem = "";
  const to = unit ? "#" + new URLSearchParams({unit: unit.ref}) : "#";
  if (location.hash === to || (!unit && !location.hash)) show();
  else location.hash = to;
  scrollTo(0, 0);
}

function standing(unit) {
  const waits = entries().find((one) => one.unit === unit.ref);
  if (waits) return el("span", {class: "mark soon"}, waits.problem ? "Look" : "Kept");
  if (unit.alarms.length) return el("span", {class: "mark alarm"}, "Alarm");
  const first = unit.due.find((one) => one.state === "overdue") || unit.due[0];
  return first ? el("span", {class: "mark " + first.state}, STATES[first.state]) : "";
}

function loads(unit) {
  const parts = unit.due.flatMap((one) => one.parts);
  return [unit.town, parts.length ? `load ${parts.join(", ")}` : "nothing due"].filter(Boolean).join(" · ");
}

function listOf() {
  const head = el("h1", {}, "What is due, stop by stop?");
  if (!round) return [head, el("p", {}, stopped || "No round is on this phone yet, and there is no connection.")];
  const spoken = said ? [el("p", {class: "done-line", role: "status"}, said)] : [];
  const refused = entries().filter((one) => one.problem).map(lookAt);
  const moved = round.units.map((unit, at) => ordering
    ? el("li", {class: "order"}, el("span", {class: "grip", "aria-hidden": "true", onpointerdown: (event) => drag(event, at)}, "\u2261"),
      el("span", {class: "name"}, `${at + 1} ${unit.name}`),
      el("button", {"aria-label": `${unit.name} earlier`, disabled: at === 0, onclick: () => move(at, at - 1)}, "\u2191"),
      el("button", {"aria-label": `${unit.name} later`, disabled: at + 1 === round.units.length, onclick: () => move(at, at + 1)}, "\u2193"))
    : el("li", {}, el("a", {href: "#" + new URLSearchParams({unit: unit.ref})},
      el("span", {class: "name"}, unit.name, el("span", {class: "note"}, loads(unit))), standing(unit))));
  return [
    head,
    el("p", {class: "note"}, `As of ${day(round.day)}. ${round.chosen ? "In your order." : "By what is due first."}`),
    ...spoken, ...refused, ...round.left_out.map((line) => el("p", {class: "problem"}, line)),
    el("div", {class: "actions"},
      el("button", {id: "order", "aria-pressed": String(ordering), onclick: () => { ordering = !ordering; show(); }},
        ordering ? "Done with the order" : "Change the order"),
      el("button", {id: "renew", onclick: async () => { await send(); await renew(); show(); }}, "Send and renew")),
    round.units.length ? el("ol", {id: "units"}, ...moved) : el("p", {}, "No unit with a plan is saved yet."),
  ];
}

function lookAt(entry) {
  const drop = async () => {
    if (!confirm(`Throw away what was typed at ${entry.name}?`)) return;
    if (entry.photo) await photos("readwrite", (all) => all.delete(entry.photo));
    localStorage.removeItem(ENTRY + entry.id);
    show();
  };
  const again = async () => { write(ENTRY + entry.id, {...entry, problem: ""}); await send(); show(); };
  const plain = async () => {
    await photos("readwrite", (all) => all.delete(entry.photo));
    localStorage.removeItem(ENTRY + entry.id);
    show();
  };
  return el("div", {class: "problem"}, el("p", {}, `${entry.name}: ${entry.problem}`), el("div", {class: "actions"},
    entry.sent ? el("button", {onclick: plain}, "Leave the photo out") : el("button", {onclick: () => correct(entry)}, "Correct"),
    el("button", {onclick: again}, "Send again"), entry.sent ? null : el("button", {onclick: drop}, "Throw away")));
}

// nothing of a refused entry is in the log: it becomes the draft that it came from
function correct(entry) {
  write(DRAFT + entry.unit, entry.draft);
  localStorage.removeItem(ENTRY + entry.id);
  problem = entry.problem;
  const unit = round.units.find((one) => one.ref === entry.unit);
  const told = problem;
  go(unit);
  problem = told;
  show();
}

function drag(event, from) {
  const grip = event.currentTarget, rows = [...document.querySelectorAll("li.order")], start = event.clientY;
  const middles = rows.map((row) => row.getBoundingClientRect()).map((box) => box.top + box.height / 2);
  const end = (to) => {
    grip.onpointermove = grip.onpointerup = grip.onpointercancel = null;
    rows[from].style.transform = "";
    if (to !== from) move(from, to);
  };
  event.preventDefault();
  grip.setPointerCapture(event.pointerId);
  grip.onpointermove = (now) => { rows[from].style.transform = `translateY(${now.clientY - start}px)`; };
  grip.onpointerup = (now) => {
    const at = middles[from] + now.clientY - start;
    end(middles.filter((middle, row) => row !== from && middle < at).length);
  };
  grip.onpointercancel = () => end(from);
}

async function move(from, to) {
  round.units.splice(to, 0, ...round.units.splice(from, 1));
  round.chosen = true;
  write(ROUND, round);
  write(ORDER, {who: round.who, order: round.units.map((unit) => unit.ref)});
  show();
  await send();
  if (read(ORDER)) await send();  // moved again meanwhile: the last one counts
}

function following(unit) {
  const at = round.units.indexOf(unit), after = [...round.units.slice(at + 1), ...round.units.slice(0, at)];
  const waits = new Set(entries().map((one) => one.unit));
  return after.find((one) => (one.due.length || one.alarms.length) && !one.visited && !waits.has(one.ref)) || null;
}

function stopOf(unit) {
  const draft = draftOf(unit), fields = round.fields[unit.metric ? "metric" : "us"];
  const keep = () => write(DRAFT + unit.ref, draft);
  const box = (field) => el("label", {}, field.unit && field.unit !== "1" ? `${field.label}, ${field.unit.split(" as ")[0]}` : field.label,
    el("input", {type: "text", inputmode: "decimal", autocomplete: "off", name: field.kind, value: draft.values[field.kind] || "",
      oninput: (event) => { draft.values[field.kind] = event.target.value; keep(); }}));
  const due = Object.fromEntries(unit.due.map((one) => [one.cartridge, one]));
  const tick = ([number, name]) => el("label", {class: "tick"},
    el("input", {type: "checkbox", name: "changed", value: name, checked: draft.changed.includes(name), onchange: (event) => {
      draft.changed = event.target.checked ? [...draft.changed, name] : draft.changed.filter((one) => one !== name);
      keep();
    }}),
    el("span", {class: "what"}, `${number} ${name}`, due[name] ? el("span", {class: "note"}, `due ${day(due[name].due)} · ${due[name].parts.join(", ")}`) : ""),
    due[name] ? el("span", {class: "mark " + due[name].state}, STATES[due[name].state]) : "");
  const listed = [...unit.cartridges].sort((a, b) => (a[1] in due ? 0 : 1) - (b[1] in due ? 0 : 1) || a[0] - b[0]);
  const plain = fields.filter((field) => field.method !== "strip"), strips = fields.filter((field) => field.method === "strip");
  const next = following(unit);
  const press = el("button", {class: "main", id: "done", disabled: !unit.may_edit, onclick: () => finish(unit, draft, press)}, "Done: log this stop");
  return [
    el("h1", {}, unit.name),
    unit.town ? el("p", {class: "note"}, unit.town) : "",
    said ? el("p", {class: "done-line", role: "status"}, said) : "",
    ...unit.alarms.map((text) => el("p", {class: "alarm-line", role: "alert"}, text)),
    el("h2", {}, "Read and type"),
    el("div", {class: "row"}, ...plain.map(box)),
    el("h2", {}, "Strip, in the water after the filters"),
    el("div", {class: "row four"}, ...strips.map(box)),
    el("p", {class: "note"}, "Hardness and alkalinity as CaCO3, chlorine as Cl2. Strips for free chlorine read zero on chloramine."),
    el("h2", {}, "What was changed"),
    el("p", {class: "care"}, round.caution),
    ...listed.map(tick),
    el("h2", {}, "Note and photo"),
    el("textarea", {name: "note", rows: 2, maxlength: 2000, "aria-label": "Note", oninput: (event) => { draft.note = event.target.value; keep(); }}, draft.note),
    photoOf(draft, keep),
    problem ? el("p", {class: "problem", role: "alert", id: "problem"}, problem) : "",
    unit.may_edit ? "" : el("p", {class: "problem"}, "This unit is shared with you for reading only."),
    press,
    el("div", {class: "actions"}, next
      ? el("a", {class: "button", id: "next", href: "#" + new URLSearchParams({unit: next.ref})}, `Next: ${next.name}`)
      : el("a", {class: "button", id: "next", href: "#"}, "To the round"),
    el("a", {class: "button", href: "/service?" + new URLSearchParams({unit: unit.ref})}, "Steps of a change")),
  ].filter((one) => one !== "");
}

function photoOf(draft, keep) {
  const place = el("div", {class: "photo"});
  const draw = async () => {
    const picture = draft.photo ? await photos("readonly", (all) => all.get(draft.photo)).catch(() => null) : null;
    const input = el("input", {type: "file", accept: "image/*", capture: "environment", id: "photo", onchange: async (event) => {
      const file = event.target.files[0];
      if (!file) return;
      const id = newId(), bytes = await (await smaller(file)).arrayBuffer();
      await photos("readwrite", (all) => all.put(bytes, id));
      if (draft.photo) await photos("readwrite", (all) => all.delete(draft.photo));
      draft.photo = id;
      keep();
      draw();
    }});
    const inside = [input, el("label", {class: "button", for: "photo"}, picture ? "Another photo" : "Add a photo")];
    if (picture) {
      const shown = URL.createObjectURL(new Blob([picture], {type: "image/jpeg"}));
      inside.push(el("img", {src: shown, alt: "The photo of this stop", onload: () => URL.revokeObjectURL(shown)}),
        el("button", {onclick: async () => {
          await photos("readwrite", (all) => all.delete(draft.photo));
          draft.photo = null;
          keep();
          draw();
        }}, "Leave out"));
    }
    place.replaceChildren(...inside);
  };
  draw();
  return place;
}

// drawn anew and small: what the camera wrote beside the picture does not leave the phone
async function smaller(file) {
  try {
    const found = await createImageBitmap(file), share = Math.min(1, MOST_PX / Math.max(found.width, found.height));
    const sheet = el("canvas", {width: Math.round(found.width * share), height: Math.round(found.height * share)});
    sheet.getContext("2d").drawImage(found, 0, 0, sheet.width, sheet.height);
    return await new Promise((done, failed) => sheet.toBlob((blob) => blob ? done(blob) : failed(new Error("no picture")), "image/jpeg", 0.82));
  } catch {
    return file;  // the server looks at it
  }
}

function linesOf(unit, draft) {
  const now = new Date(), two = (n) => String(n).padStart(2, "0");
  const date = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  const id = (what) => (draft.ids[what] = draft.ids[what] || newId());
  const fields = round.fields[unit.metric ? "metric" : "us"].filter((field) => (draft.values[field.kind] || "").trim());
  draft.date = draft.date || date;
  return [
    {id: draft.id, date: draft.date, kind: "visited", value: "", unit: "", note: draft.note.trim()},
    ...fields.map((field) => ({id: id(field.kind), date: draft.date, kind: field.kind, value: draft.values[field.kind].trim(),
      unit: field.unit, where: field.where, method: field.method})),
    ...draft.changed.map((name) => ({id: id("changed " + name), date: draft.date, kind: "changed_cartridge", value: "", unit: "", where: name})),
  ];
}

async function finish(unit, draft, press) {
  press.disabled = true;
  press.textContent = "Sending";
  problem = "";
  const lines = linesOf(unit, draft);
  const entry = {id: draft.id, who: round.who, unit: unit.ref, name: unit.name, at: Date.now(), lines, photo: draft.photo, draft};
  try {
    write(ENTRY + entry.id, entry);
  } catch {
    problem = "The phone has no room left to keep this. Renew the round with a connection first, then press again.";
    show();
    return;
  }
  localStorage.removeItem(DRAFT + unit.ref);
  const next = following(unit);
  const sent = sendAlso(entry).then(() => read(ENTRY + entry.id));
  const soon = await Promise.race([sent, new Promise((done) => setTimeout(() => done("late"), SHOWN_MS))]);
  if (soon && soon !== "late" && soon.problem && !soon.sent) {
    correct(soon);
    return;
  }
  unit.visited = true;
  unit.due = unit.due.filter((one) => !draft.changed.includes(one.cartridge));
  write(ROUND, round);
  said = soon === null ? `${unit.name}: in the log.` : `${unit.name}: kept on this phone, sent when the connection is back.`;
  go(next);
}

// what was pressed while another sending is under way goes with the next one
async function sendAlso(entry) {
  await send();
  const left = read(ENTRY + entry.id);
  if (left && !left.problem && navigator.onLine) await send();
}

// -- the beginning

addEventListener("hashchange", () => { problem = ""; show(); });
addEventListener("online", async () => { await send(); if (!unitAt()) show(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
setInterval(() => { if (read(ORDER) || entries().some((one) => !one.problem)) send(); }, AGAIN_MS);
addEventListener("DOMContentLoaded", async () => {
  show();
  if (navigator.serviceWorker) {
    navigator.serviceWorker.register("/stop/worker.js", {scope: "/stop"})
      .then(() => navigator.serviceWorker.ready).then((ready) => ready.active.postMessage("keep")).catch(() => undefined);
  }
  await send();  // before the list: what is sent changes it
  if (await renew() === 200) await send();
  if (!unitAt() || !round) show();
});
