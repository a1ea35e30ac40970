// The chair card: space starts the clock and ticks the pins; nothing has to be touched.
import { element } from "./common.js";

const at = (id) => document.getElementById(id);
const held = JSON.parse(sessionStorage.getItem(`chair ${location.pathname}`) || '{"since": 0, "ticked": 0}');
const keep = () => sessionStorage.setItem(`chair ${location.pathname}`, JSON.stringify(held));
const pins = [...document.querySelectorAll("#tally button")];
const times = [...document.querySelectorAll("#times li")].map((one) => ({ one, at: Number(one.dataset.minutes) * 60, name: one.querySelector(".name").textContent }));
let sound = null;

function tone(high, count) {
  if (!sound) return;
  for (let i = 0; i < count; i++) {
    const made = sound.createOscillator(), loud = sound.createGain();
    made.frequency.value = high;
    made.connect(loud).connect(sound.destination);
    loud.gain.value = 0.25;
    made.start(sound.currentTime + 0.3 * i);
    made.stop(sound.currentTime + 0.3 * i + 0.18);
  }
}

const words = (seconds) => seconds >= 5400 ? `${Math.floor(seconds / 3600)} h ${Math.floor(seconds / 60) % 60} min` : `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;

function show() {
  const seconds = held.since ? (Date.now() - held.since) / 1000 : 0;
  at("clock").textContent = words(seconds);
  let next = null;
  for (const time of times) {
    const done = held.since && seconds >= time.at;
    time.one.classList.toggle("done", Boolean(done));
    if (held.since && !done && !next) next = time;
    if (done && !time.rung) {
      time.rung = true;
      if (seconds - time.at < 3) tone(880, 4);
    } else if (held.since && !done && time.at - seconds < 10 && !time.warned) {
      time.warned = true;
      tone(520, 1);
    }
  }
  at("soon").textContent = next ? `${words(next.at - seconds)} to: ${next.name}` : held.since ? "" : "Space starts the clock";
  pins.forEach((pin, i) => pin.setAttribute("aria-pressed", String(i < held.ticked)));
  at("count").textContent = `pins ${held.ticked} of ${pins.length}`;
  at("count").classList.toggle("all", pins.length > 0 && held.ticked === pins.length);
}

function forward() {
  sound ??= new AudioContext();
  if (!held.since) held.since = Date.now();
  else if (held.ticked < pins.length) {
    held.ticked += 1;
    tone(held.ticked === pins.length ? 880 : 660, held.ticked === pins.length ? 2 : 1);
  }
  keep();
  show();
}

document.addEventListener("keydown", (event) => {
  if (event.key === " " || event.key === "PageDown" || event.key === "Enter") {
    event.preventDefault();
    if (!event.repeat) forward();
  } else if (event.key === "Backspace" || event.key === "PageUp") {
    event.preventDefault();
    if (held.ticked > 0) held.ticked -= 1;
    else held.since = 0;
    for (const time of times) time.rung = time.warned = false;
    keep();
    show();
  } else if (event.key === "Escape") location.href = "./";
});
pins.forEach((pin, i) => pin.addEventListener("click", () => {
  held.ticked = held.ticked === i + 1 ? i : i + 1;
  keep();
  show();
}));

// Somebody else may run the case meanwhile: the card follows.
new EventSource("events").onmessage = async () => {
  const answer = await fetch("chair");
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const id of ["word", "number", "next"]) {
    const now = fresh.getElementById(id), here = at(id);
    if (now && here && now.outerHTML !== here.outerHTML) here.replaceWith(element(now.localName, now.textContent, { id, class: now.className }));
  }
};
show();
setInterval(show, 250);
