// The page follows the session: it asks once a second what has changed, and sends what is tapped until it is confirmed.
"use strict";

const POLL_MS = 1000;
const RETRY_MS = 2000;
const REGIONS = ["head", "card", "answers", "give", "notes", "bar"];

let version = document.body.dataset.version;
let ahead = 0; // Of the bench's clock before the phone's, in seconds.
let sound = null; // A browser lets a page sound only after a tap.
const over = new Set();
const seen = new Map();

function region(name) { return document.getElementById(name); }

function say(words) {
  const line = region("said");
  line.textContent = words;
  line.hidden = !words;
  if (words) line.scrollIntoView({ block: "nearest" });
}

function connected(yes) { region("link").hidden = yes; }

// What somebody is typing stays, whatever another phone does.
function put(name, html) {
  if (seen.get(name) === html) return;
  seen.set(name, html);
  const place = region(name);
  const typed = new Map();
  for (const field of place.querySelectorAll("input:not([type=hidden]):not([type=file]), textarea")) {
    if (field.id && field.value !== field.defaultValue) typed.set(field.id, field.value);
  }
  const focused = place.contains(document.activeElement) ? document.activeElement.id : "";
  const before = place.querySelector("article") ? place.querySelectorAll("article").length : 0;
  place.innerHTML = html;
  for (const [id, value] of typed) {
    const field = document.getElementById(id);
    if (field) field.value = value;
  }
  if (focused && document.getElementById(focused)) document.getElementById(focused).focus({ preventScroll: true });
  if (name === "card") window.scrollTo({ top: 0 });
  if (name === "answers" && place.querySelectorAll("article").length > before) signal();
}

function take(state) {
  ahead = state.now - Date.now() / 1000;
  if (state.regions) for (const name of REGIONS) put(name, state.regions[name]);
  version = state.version;
  tick();
}

async function look() {
  try {
    const answer = await fetch("state?have=" + version, { cache: "no-store", signal: AbortSignal.timeout(8000) });
    if (!answer.ok) throw new Error(await answer.text());
    take(await answer.json());
    connected(true);
  } catch {
    connected(false);
  }
}

async function follow() {
  for (;;) {
    if (!document.hidden) await look();
    await new Promise((go) => setTimeout(go, POLL_MS));
  }
}

// The same request goes out again until it is answered; its id makes sure that it counts once.
async function send(path, body) {
  for (;;) {
    let answer;
    try {
      answer = await fetch(path, { method: "POST", body });
    } catch {
      connected(false);
      await new Promise((go) => setTimeout(go, RETRY_MS));
      continue;
    }
    connected(true);
    if (answer.status === 503) {
      await new Promise((go) => setTimeout(go, RETRY_MS));
      continue;
    }
    if (!answer.ok) return (await answer.text()).trim();
    take(await answer.json());
    return "";
  }
}

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
}

async function submit(form) {
  if (form.classList.contains("busy")) return;
  form.classList.add("busy");
  let error;
  if (form.dataset.upload) {
    const body = new FormData();
    body.set("what", form.dataset.upload);
    body.set("id", newId());
    body.set("card", form.dataset.card);
    for (const file of form.querySelector("input[type=file]").files) body.append("file", file);
    error = await send("upload", body);
    form.reset();
  } else {
    const typed = new FormData(form);
    const body = new URLSearchParams({ do: form.dataset.do, id: newId() });
    for (const name of new Set(typed.keys())) body.set(name, typed.getAll(name).join(" "));
    error = await send("do", body);
    if (!error) {
      // The region may have been made anew meanwhile.
      for (const field of form.querySelectorAll("textarea")) document.getElementById(field.id).value = "";
    }
    if (!error && form.dataset.then) {
      const more = new FormData();
      more.set("what", form.dataset.then);
      more.set("id", newId());
      more.set("card", form.dataset.card);
      error = await send("upload", more);
    }
  }
  form.classList.remove("busy");
  say(error);
  const newest = document.querySelector("article.newest");
  if (!error && newest && (form.dataset.upload || form.dataset.then)) newest.scrollIntoView({ block: "start" });
}

function signal() {
  if (navigator.vibrate && navigator.userActivation && navigator.userActivation.hasBeenActive) navigator.vibrate([120, 80, 120]);
  if (!sound) return;
  const tone = sound.createOscillator();
  const loud = sound.createGain();
  loud.gain.value = 0.2;
  tone.frequency.value = 660;
  tone.connect(loud).connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + 0.35);
}

function tick() {
  const now = Date.now() / 1000 + ahead;
  for (const clock of document.querySelectorAll("[data-until]")) {
    const left = Math.ceil(Number(clock.dataset.until) - now);
    const text = left > 0 ? Math.floor(left / 60) + ":" + String(left % 60).padStart(2, "0") : clock.dataset.over;
    if (clock.textContent !== text) clock.textContent = text;
    if (left <= 0 && left > -5 && !over.has(clock.dataset.until)) {
      over.add(clock.dataset.until);
      signal();
    }
  }
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  submit(event.target);
});
document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.type === "file" && field.files.length) submit(field.form);
  if ("now" in field.dataset) submit(field.form);
});
// A finger's pointerdown gives a page no right to sound; its click does. After a pause of the phone it is asked for anew.
document.addEventListener("click", (event) => {
  if (!event.isTrusted) return;
  if (!sound && window.AudioContext) sound = new AudioContext();
  if (sound && sound.state !== "running") sound.resume();
});
document.addEventListener("dragover", (event) => event.preventDefault());
document.addEventListener("drop", (event) => {
  event.preventDefault();
  const field = document.getElementById("capture");
  if (!field || !event.dataTransfer.files.length) return;
  field.files = event.dataTransfer.files;
  submit(field.form);
});

setInterval(tick, 500);
tick();
follow();
