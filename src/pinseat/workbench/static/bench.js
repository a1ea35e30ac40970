// The bench sheet: shows what the server has made of the case, sends what a person states, never loses either.
import { drawing, follow, layer, look, tie } from "./board.js";
import { clock } from "./clock.js";
import { ask, dropbox, element, light, Refused } from "./common.js";

const at = (id) => document.getElementById(id);
const state = {
  revision: at("sheet").dataset.revision,
  hashes: new Map([...document.querySelectorAll(".part")].map((part) => [part.id, part.dataset.hash])),
  stamp: at("sheet").dataset.stamp, asked: 0,
  running: Boolean(document.getElementById("stop")), runState: undefined,
};
light();

// --- what the server shows

async function refresh() {
  const number = ++state.asked;
  const held = await ask("sheet");
  if (number !== state.asked) return;
  let all = true;
  state.stamp = held.stamp;
  const sheet = at("sheet");
  const names = new Set(held.parts.map((part) => part.name));
  for (const gone of [...sheet.querySelectorAll(":scope > .part")]) if (!names.has(gone.id)) gone.remove();
  let before = at("notices");
  for (const part of held.parts) {
    let box = at(part.name);
    if (!box) {
      box = element("div", undefined, { id: part.name, class: "part" });
      before.after(box);
    }
    if (box.parentElement === sheet) before = box;
    if (state.hashes.get(part.name) === part.hash) continue;
    if (busy(box)) {
      state.again = true; // someone is typing here: shown once that is done
      all = false;
      continue;
    }
    exchange(box, part.html);
    state.hashes.set(part.name, part.hash);
  }
  if (all) state.revision = held.revision; // what is sent names the state that the person saw
  ready();
}

// Whether a field of this part holds something typed and not yet sent.
function busy(box) {
  const one = document.activeElement;
  return box.contains(one) && one.dataset?.place && one.value !== one.dataset.was;
}

function exchange(box, html) {
  const one = document.activeElement;
  const stops = () => [...box.querySelectorAll("a, button, input, select, summary, [tabindex]")];
  const inside = box.contains(one), key = inside ? one.dataset?.place || one.id : "", nth = inside ? stops().indexOf(one) : -1;
  const named = (f) => `${f.form.ariaLabel} ${f.name}`;
  const typed = new Map([...box.querySelectorAll("form [name]")].map((f) => [named(f), f.value]));
  const open = new Set([...box.querySelectorAll("details[open] > summary")].map((s) => s.textContent));
  box.innerHTML = html;
  for (const f of box.querySelectorAll("form [name]")) if (typed.get(named(f))) f.value = typed.get(named(f));
  for (const s of box.querySelectorAll("details > summary")) {
    if (open.has(s.textContent)) s.parentElement.open = true;
  }
  if (!inside) return;
  const again = (key && ([...box.querySelectorAll("[data-place]")].find((f) => f.dataset.place === key) || at(key))) || stops()[nth];
  again?.focus({ preventScroll: true });
}

function ready() {
  document.body.dataset.ready = String(Date.now());
  spy();
  clock();
}

let source = null;

function listen() {
  source?.close();
  source = null;
  if (document.hidden) return; // a browser grants few connections: a page nobody sees lets go of its own
  source = new EventSource("events");
  source.onmessage = ({ data }) => {
    const said = JSON.parse(data);
    lost(false);
    const run = said.run;
    const running = run?.state === "running";
    state.runState ??= run?.state; // the page as it came shows this run already
    if (said.stamp !== state.stamp || running !== state.running || run?.state !== state.runState) {
      state.running = running;
      state.runState = run?.state;
      refresh().then(drawing).catch(tellError);
    } else if (running && at("progress")) {
      at("progress").value = Math.round(100 * run.fraction);
      at("doing").textContent = run.doing;
    }
  };
  source.onerror = () => lost(true);
}

function lost(on) {
  let note = at("lost");
  if (on && !note) {
    note = element("p", "The workbench does not answer. What was acknowledged is safe; it goes on when the workbench is back.", { id: "lost", class: "notice", role: "alert" });
    at("notices").prepend(note);
  } else if (!on && note) note.remove();
}

// --- what a person states

function notice(words, choices = []) {
  const acts = choices.length ? choices : [element("button", "Done with it", { type: "button" })];
  const note = element("div", [element("p", words), element("div", acts, { class: "row" })], { class: "notice" });
  for (const act of acts) act.addEventListener("click", () => note.remove());
  at("notices").append(note);
  note.scrollIntoView({ block: "nearest" });
  return note;
}

function tellError(error) {
  if (error instanceof Refused && error.status === 0) lost(true);
  else notice(error.message);
}

function standing(document_, place) {
  return place.reduce((held, key) => (held === undefined || held === null ? undefined : held[key]), document_);
}

const written = (value) => (value === undefined || value === null || value === "?" ? "" : Array.isArray(value) ? value.map(written).join(" ") : typeof value === "number" ? String(Number(value.toPrecision(6))) : String(value));

async function send(changes, what, field) {
  try {
    const held = await ask("edit", { revision: state.revision, changes, what });
    state.revision = held.revision;
    if (field) {
      field.dataset.was = field.value;
      field.setAttribute("aria-invalid", "false");
      field.classList.add("sent");
      hint(field, "");
    }
    await refresh();
    return true;
  } catch (error) {
    if (error.status === 409) return decide(error.said, changes, what, field);
    if (field && error.status === 422) {
      field.setAttribute("aria-invalid", "true");
      hint(field, error.message);
    } else tellError(error);
    return false;
  }
}

// Somebody else has changed the case: what was changed elsewhere in it stands in nobody's way; what was
// changed at this very place is shown, and the person decides.
async function decide(said, changes, what, field) {
  state.revision = said.revision;
  const place = changes[0].place;
  if (!field) {
    const last = place.at(-1);
    if (typeof last === "number" && changes[0].value) {
      const list = standing(said.document, place.slice(0, -1)) || [];
      changes = [{ ...changes[0], place: [...place.slice(0, -1), list.length] }];
      return send(changes, what);
    }
    await refresh();
    notice("The case was changed in the meantime. Look at it, and do it once more if it is still wanted.");
    return false;
  }
  const now = written(standing(said.document, place));
  if (now === field.dataset.was || now === field.value) return send(changes, what, field);
  const mine = field.value, was = field.dataset.was;
  field.dataset.was = field.value;
  await refresh();
  const take = element("button", `Put ${mine || "nothing"} all the same`, { type: "button" });
  const leave = element("button", `Leave ${now || "nothing"}`, { type: "button" });
  take.addEventListener("click", () => send(changes, what));
  notice(`${field.getAttribute("aria-label")}: you saw ${was || "nothing"} and put ${mine || "nothing"}; meanwhile somebody else put ${now || "nothing"}, and that stands.`, [take, leave]);
  return false;
}

function hint(field, words) {
  const id = `hint-${field.dataset.place.replace(/\W+/g, "-")}`;
  let note = at(id);
  if (!words) {
    note?.remove();
    field.removeAttribute("aria-describedby");
    return;
  }
  if (!note) {
    note = element("p", "", { id, class: "wrong", role: "alert" });
    field.parentElement.append(note);
  }
  note.textContent = words;
  field.setAttribute("aria-describedby", id);
}

function commit(field) {
  if (field.value === field.dataset.was) {
    hint(field, "");
    field.setAttribute("aria-invalid", "false");
    return;
  }
  send([{ place: JSON.parse(field.dataset.place), text: field.value }], field.getAttribute("aria-label"), field);
}

document.addEventListener("change", (event) => {
  if (event.target.dataset?.place) commit(event.target);
});
document.addEventListener("focusout", (event) => {
  if (state.again && event.target.dataset?.place) {
    state.again = false;
    setTimeout(() => refresh().catch(tellError), 50);
  }
});
document.addEventListener("keydown", (event) => {
  if (event.target.dataset?.place && event.key === "Escape") {
    event.target.value = event.target.dataset.was;
    hint(event.target, "");
  }
});

async function turn(way) {
  try {
    const held = await ask(way, { revision: state.revision });
    state.revision = held.revision;
    await refresh();
  } catch (error) {
    if (error.status === 409) {
      state.revision = error.said.revision;
      await refresh();
      notice("The case was changed in the meantime. Look at it before taking anything back.");
    } else tellError(error);
  }
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const data = button.dataset;
  if (data.out) return void send([{ place: JSON.parse(data.out), value: null }], button.getAttribute("aria-label") || "taken out");
  if (data.add) return void send([{ place: JSON.parse(data.add), value: JSON.parse(data.item) }], button.textContent);
  if (data.until !== undefined) return void run(data.until);
  if (data.layer) return void layer(data.layer, true);
  if (data.pin) return void look(data.pin);
  if (button.id === "undo" || button.id === "redo") return void turn(button.id);
  if (button.id === "stop") return void ask("stop", {}).then(refresh).catch(tellError);
});

async function run(until) {
  try {
    await ask("run", { until });
    await refresh();
  } catch (error) {
    tellError(error);
  }
}

document.addEventListener("submit", async (event) => {
  if (!event.target.classList.contains("log-form")) return;
  event.preventDefault();
  const form = event.target, said = Object.fromEntries(new FormData(form));
  try {
    await ask("log", said);
    for (const one of form.elements) if (one.type === "text" && !["instrument", "calibrated", "lot", "who"].includes(one.name)) one.value = "";
    await refresh();
    [...document.querySelectorAll(".log-form")].find((one) => one.ariaLabel === form.ariaLabel)?.querySelector("input")?.focus();
  } catch (error) {
    tellError(error);
  }
});

async function takeScan(file) {
  const note = notice(`Taking in ${file.name} ...`);
  try {
    await ask(`scan?${new URLSearchParams({ name: file.name })}`, file, true);
    note.remove();
    await refresh();
    await drawing();
  } catch (error) {
    note.remove();
    tellError(error);
  }
}

async function takeReturns(file) {
  try {
    const told = await ask("returns", await file.text(), true);
    await refresh();
    notice(told.told.join(" "));
  } catch (error) {
    tellError(error);
  }
}

// The boxes are exchanged with their part, so the page listens for them all.
for (const [kind, on] of [["dragover", true], ["dragleave", false], ["drop", false]]) {
  document.addEventListener(kind, (event) => {
    const box = event.target.closest?.("#drop") || (at("stage").contains(event.target) ? at("stage") : null);
    if (!event.dataTransfer?.types.includes("Files")) return;
    event.preventDefault();
    (box || at("stage")).classList.toggle("over", on);
    if (kind === "drop" && event.dataTransfer.files.length) takeScan(event.dataTransfer.files[0]);
  });
}
document.addEventListener("change", (event) => {
  if (event.target.id === "scan-file" && event.target.files.length) takeScan(event.target.files[0]);
  if (event.target.id === "returns-file" && event.target.files.length) takeReturns(event.target.files[0]);
});

// --- the step that is being read

let spying;
function spy() {
  spying?.disconnect();
  const links = new Map([...at("strip").querySelectorAll("a")].map((a) => [a.getAttribute("href").slice(1), a]));
  spying = new IntersectionObserver((seen) => {
    for (const one of seen) one.target.dataset.seen = one.isIntersecting ? "1" : "";
    const first = [...at("sheet").querySelectorAll(":scope > .part")].find((part) => part.dataset.seen);
    for (const [id, a] of links) {
      if (id === first?.id) a.setAttribute("aria-current", "step");
      else a.removeAttribute("aria-current");
    }
    const step = first?.querySelector("[data-step]")?.dataset.step;
    if (step && step !== state.step) {
      state.step = step;
      follow(step);
    }
  }, { rootMargin: "-25% 0px -60% 0px" });
  for (const part of at("sheet").querySelectorAll(":scope > .part")) spying.observe(part);
}

at("ledger-toggle")?.addEventListener("click", () => {
  const open = at("ledger").classList.toggle("open");
  at("ledger-toggle").setAttribute("aria-expanded", String(open));
});

new ResizeObserver(([seen]) => {
  document.documentElement.style.setProperty("--top", `${Math.ceil(seen.target.offsetHeight)}px`);
}).observe(document.querySelector(".top"));

tie({ send, tellError, undo: () => turn("undo") });
drawing();
ready();
document.addEventListener("visibilitychange", listen);
listen();
