// Keeps a page that is open up to date. Nothing is remembered here: every word comes from the desk,
// so that a reload, a second phone and a dead battery all show the same place.

import { StripChart } from "./strip_chart.js";

const QUIET_MS = 6000; // the desk speaks every second or so
const AGAIN_MS = 5000;
const COURSE_MS = 8000; // a picture of the whole way changes slowly

const stream = document.querySelector("[data-stream]");
const canvas = document.querySelector("[data-chart]");
const chart = canvas && new StripChart(canvas);
const live = document.querySelector("[data-live]");
const cardPlace = document.querySelector("[data-card]");
const course = document.querySelector("[data-course]");
const form = document.querySelector(".start form");

let source = null;
let lastId = "";
let lastHeard = Date.now();
let typing = false;
let pointerDown = false;
let fetching = false;

form?.addEventListener("input", () => (typing = true));
// A card that is swapped under a thumb would swallow the press.
cardPlace?.addEventListener("pointerdown", () => (pointerDown = true));
for (const end of ["pointerup", "pointercancel"]) {
  document.addEventListener(end, () => setTimeout(() => (pointerDown = false), 400));
}

function put(place, html) {
  if (!place || place.lastHtml === html) return;
  place.lastHtml = html;
  place.innerHTML = html;
}

function takeRows(rows) {
  const shown = [...document.querySelectorAll("[data-station]")];
  const same = shown.length === Object.keys(rows).length;
  if (!same || shown.some((row) => row.dataset.run !== String(rows[row.dataset.station]?.run ?? ""))) {
    location.reload();
    return;
  }
  for (const row of shown) put(row.querySelector("[data-row]"), rows[row.dataset.station].html);
}

// Rows of the wall that changed, and the order of all; a station that came or went makes the page anew.
function takeWall(wall) {
  const list = document.querySelector("[data-wall]");
  const shown = new Map([...list.children].map((row) => [row.dataset.station, row]));
  if (shown.size !== wall.order.length || wall.order.some((station) => !shown.has(station))) {
    location.reload();
    return;
  }
  for (const [station, { standing, html }] of Object.entries(wall.rows)) {
    put(shown.get(station), html);
    shown.get(station).className = standing;
  }
  wall.order.forEach((station, at) => {
    if (list.children[at] !== shown.get(station)) list.insertBefore(shown.get(station), list.children[at]);
  });
  const summary = document.querySelector("[data-summary]");
  if (summary.textContent !== wall.summary) summary.textContent = wall.summary;
}

async function takeCard(mark) {
  const shown = document.getElementById("card");
  if (shown.dataset.mark === (mark ?? "") || pointerDown || fetching) return;
  fetching = true;
  try {
    const answer = await fetch(cardPlace.dataset.card);
    if (!answer.ok) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("card");
    if ("over" in fresh.dataset) {
      location.reload();
      return;
    }
    if (pointerDown) return;
    const focused = document.activeElement?.classList.contains("thumb");
    const before = shown.querySelector(".instruction").textContent;
    shown.replaceWith(fresh);
    if (focused) fresh.querySelector(".thumb")?.focus();
    const now = fresh.querySelector(".instruction").textContent;
    if (now !== before) document.querySelector("[data-said]").textContent = now;
  } catch {
    // The desk is away for a moment; the next event asks again.
  } finally {
    fetching = false;
  }
}

async function takeCourse() {
  if (document.hidden) return;
  try {
    const answer = await fetch(course.dataset.course);
    if (answer.ok) put(course, await answer.text());
  } catch {
    // The desk is away for a moment; the next turn asks again.
  }
}

function take(message) {
  lastHeard = Date.now();
  if (message.lastEventId) lastId = message.lastEventId;
  sayCut();
  const data = JSON.parse(message.data);
  if (data.rows) {
    takeRows(data.rows);
    return;
  }
  if (data.wall) {
    takeWall(data.wall);
    return;
  }
  put(live, data.live);
  chart?.take(data);
  if (cardPlace) takeCard(data.run === Number(stream.dataset.run) ? data.card : null);
  else if (String(data.run ?? "") !== stream.dataset.run && !typing) location.reload();
}

function sayCut() {
  const words = document.querySelector("[data-cut]");
  const cut = Date.now() - lastHeard > QUIET_MS;
  words.hidden = !cut;
  if (cut) {
    const at = new Date(lastHeard).toLocaleTimeString();
    words.textContent = `No word from the desk since ${at}: what stands here is of then. Trying again.`;
  }
}

function open() {
  if (source || document.hidden) return;
  const after = lastId ? `?after=${encodeURIComponent(lastId)}` : "";
  source = new EventSource(stream.dataset.stream + after);
  source.onmessage = take;
  source.onerror = () => {
    if (source?.readyState !== EventSource.CLOSED) return; // the browser takes it up again itself
    close();
    setTimeout(open, AGAIN_MS);
  };
}

function close() {
  source?.close();
  source = null;
}

document.addEventListener("visibilitychange", () => {
  if (document.hidden) {
    close();
  } else {
    lastHeard = Date.now();
    open();
  }
});
window.addEventListener("pagehide", close);
window.addEventListener("pageshow", open);
setInterval(() => !document.hidden && sayCut(), 2000);
if (course) setInterval(takeCourse, COURSE_MS);
open();
