// The bench sheet: shows what the server has made of the case, sends what a person states, never loses either.
import { ask, dropbox, element, light, Refused } from "./common.js";
import { Viewer, round, tell, unpack } from "./viewer.js";

const at = (id) => document.getElementById(id);
const state = {
  revision: at("sheet").dataset.revision,
  hashes: new Map([...document.querySelectorAll(".part")].map((part) => [part.id, part.dataset.hash])),
  stamp: at("sheet").dataset.stamp, asked: 0, drawn: "",
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
  if (data.pin && viewer) return void look(data.pin);
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

// --- the drawing

let viewer = null;
let held = null;
const packs = new Map();

async function pack(what) {
  if (!packs.has(what)) {
    packs.set(what, (async () => {
      const answer = await fetch(`array/${what}`);
      if (!answer.ok) throw new Refused(answer.status, (await answer.json()).refused);
      return unpack(await answer.arrayBuffer());
    })());
    packs.get(what).catch(() => packs.delete(what));
  }
  return packs.get(what);
}

function waiting(words) {
  at("waiting").textContent = words;
  at("waiting").hidden = !words;
}

async function drawing() {
  try {
    held = await ask("overlay");
    const key = JSON.stringify(held);
    if (key === state.drawn) return;
    state.drawn = key;
    if (!held.scan) {
      waiting("No scan is stated. Drop one here, or state calliper readings.");
      return;
    }
    if (held.scan !== state.scan) {
      waiting("Reading the scan");
      packs.clear();
      const made = await pack("scan");
      viewer ??= make();
      viewer.overlay(held);
      viewer.show(made);
      state.scan = held.scan;
      state.map = "";
      waiting("");
    } else {
      for (const name of [...packs.keys()]) if (name !== "scan") packs.delete(name);
      viewer.overlay(held);
    }
    choices();
    if (state.map) showMap(state.map);
  } catch (error) {
    waiting(error.message);
    state.drawn = "";
  }
}

function make() {
  const made = new Viewer(at("canvas"), at("stage"), at("tags"));
  made.hover = hover;
  made.click = clicked;
  window.pinseatViewer = made;
  return made;
}

function choices() {
  const map = at("map"), before = state.map || "";
  map.replaceChildren(element("option", "plaster", { value: "" }), ...held.maps.map((one) => element("option", one.title.toLowerCase(), { value: one.name })));
  map.value = [...map.options].some((o) => o.value === before) ? before : "";
  const layers = held.layers.map((one) => {
    const box = element("input", undefined, { type: "checkbox", "data-layer": one.name });
    box.checked = viewer.layers.get(one.name)?.visible || false;
    return element("label", [box, ` ${one.title}`]);
  });
  const pins = element("input", undefined, { type: "checkbox", id: "pins-on" });
  pins.checked = viewer.pinGroup.visible;
  at("layers").replaceChildren(element("label", [pins, " Pins and contacts"]), ...layers);
  const what = at("what");
  const said = what.value;
  what.replaceChildren(...held.marks.map((one, i) => element("option", one.words, { value: String(i) })));
  if (said) what.value = said;
  at("tooth").replaceChildren(...held.teeth.map((tooth) => element("option", String(tooth), { value: String(tooth) })));
}

at("layers").addEventListener("change", (event) => {
  if (event.target.id === "pins-on") {
    viewer.pinGroup.visible = at("tags").classList.toggle("off", !event.target.checked) ? false : true;
    viewer.draw();
  } else if (event.target.dataset.layer) layer(event.target.dataset.layer, event.target.checked);
});

async function layer(name, on) {
  if (!viewer) return;
  try {
    viewer.layer(name, on ? await pack(name) : null, on);
    const box = at("layers").querySelector(`[data-layer="${CSS.escape(name)}"]`);
    if (box) box.checked = on;
  } catch (error) {
    tellError(error);
  }
}

at("map").addEventListener("change", () => showMap(at("map").value));

async function showMap(name) {
  state.map = name;
  at("map").value = name;
  try {
    if (!name) {
      viewer.numbers(null);
      at("legend").hidden = true;
      viewer.relabel();
      viewer.draw();
      return;
    }
    waiting("Making the map");
    const made = await pack(name);
    waiting("");
    if (state.map !== name) return;
    if (made.arrays.paint) {
      viewer.numbers(null);
      viewer.paint(made);
      const title = held.maps.find((one) => one.name === name)?.title || name;
      const lines = Object.entries(made.said.extras).filter(([key]) => !["unit", "code", "reference", "case"].includes(key));
      at("legend").replaceChildren(element("p", title), ...lines.map(([key, value]) => element("p", `${key}: ${value}`, { class: "hint" })));
      at("legend").hidden = false;
    } else legend(viewer.numbers(made), made.arrays.ramp);
  } catch (error) {
    waiting("");
    state.map = at("map").value = "";
    tellError(error);
  }
}

function legend(said, ramp) {
  const strip = element("canvas", undefined, { width: "1", height: "256", "aria-hidden": "true" });
  const pen = strip.getContext("2d"), pixels = pen.createImageData(1, 256);
  for (let i = 0; i < 256; i++) {
    const from = 3 * (255 - i);
    pixels.data.set([ramp[from], ramp[from + 1], ramp[from + 2], 255], 4 * i);
  }
  pen.putImageData(pixels, 0, 0);
  const tick = (value, words, kind) => {
    const made = element("span", words, { class: `tick ${kind}` });
    made.style.bottom = `${100 * value / said.top}%`;
    return made;
  };
  const needle = element("span", "", { id: "needle" });
  needle.hidden = true;
  const body = element("div", [strip, tick(0, tell(0, said.unit), ""), tick(said.limit, `limit ${tell(said.limit, said.unit)}`, "limit"), tick(said.top, `${tell(said.top, said.unit)} or more`, ""), needle], { class: "scale" });
  const source = element("details", [element("summary", "source of the limit"), element("p", `${said.limit_source || "not stated"}. Lines every ${tell(said.apart, said.unit)}.`)], { class: "about-limit" });
  at("legend").replaceChildren(element("p", said.title), body, source);
  at("legend").hidden = false;
}

function hover(x, y) {
  const started = performance.now();
  const hit = viewer.probe(x, y), box = at("probe"), said = viewer.surface?.said;
  if (!hit) {
    box.textContent = "";
    if (at("needle")) at("needle").hidden = true;
    return;
  }
  const places = hit.point.toArray().map((v) => v.toFixed(2).replace("-", "−")).join("  ");
  box.textContent = said ? `${tell(hit.number, said.unit)}   at ${places} mm` : `${places} mm`;
  const needle = at("needle");
  if (needle && said) {
    needle.hidden = hit.number === null;
    needle.style.bottom = `${100 * Math.min(Math.max((hit.number ?? 0) / said.top, 0), 1)}%`;
  }
  state.probe_ms = performance.now() - started;
  at("stage").dataset.probe = state.probe_ms.toFixed(2);
}

// --- marking and measuring

let tool = "turn";
let picked = [];

function choose(name) {
  tool = name;
  picked = [];
  viewer?.sketch([]);
  for (const one of document.querySelectorAll("[data-tool]")) one.setAttribute("aria-pressed", String(one.dataset.tool === name));
  at("marking").hidden = name !== "mark";
  at("canvas").classList.toggle("aiming", name !== "turn");
  prompt_();
}

function current() {
  return held?.marks[Number(at("what").value) || 0];
}

function prompt_() {
  const words = at("prompt");
  if (tool === "measure") words.textContent = picked.length === 1 ? "Click the second place." : "Click two places.";
  else if (tool === "mark") {
    const mark = current();
    if (!mark) words.textContent = "";
    else if (mark.many) words.textContent = `Click along it (${picked.length} so far), then end it.`;
    else words.textContent = `Click ${mark.clicks[picked.length]}.`;
  } else words.textContent = "";
}

function nearestTooth(point) {
  let best = Infinity, tooth = null;
  for (const one of [...held.pins.map((p) => [p.tooth_here, p.foot]), ...held.contacts.map((c) => [c.tooth_here, c.point])]) {
    const apart = Math.hypot(...one[1].map((v, k) => v - point.getComponent(k)));
    if (apart < best) [best, tooth] = [apart, one[0]];
  }
  return tooth;
}

async function clicked(x, y) {
  if (tool === "turn" || !viewer) return;
  const hit = viewer.probe(x, y);
  if (!hit) return;
  if (tool === "measure" && picked.length === 2) picked = [];
  picked.push(hit.point);
  if (picked.length === 1 && tool === "mark") {
    const tooth = nearestTooth(hit.point);
    if (tooth !== null) at("tooth").value = String(tooth);
  }
  const apart = picked.length === 2 && tool === "measure" ? `${picked[0].distanceTo(picked[1]).toFixed(2)} mm` : "";
  viewer.sketch(picked, { joined: true, text: apart });
  if (apart) at("prompt").textContent = `${apart} between the two places as clicked. Click to measure again.`;
  else prompt_();
  if (tool === "mark" && !current().many && picked.length === current().clicks.length) await mark();
}

async function mark() {
  const one = current();
  if (!one || !picked.length) return;
  const places = picked.map((p) => p.toArray().map((v) => Math.round(v * 1000) / 1000));
  const value = { ...one.base, tooth: Number(at("tooth").value) };
  if (one.many) value[one.keys[0]] = places;
  else one.keys.forEach((key, k) => { value[key] = places[k]; });
  const done = await send([{ place: [...one.part, one.count], value }], `${one.words} on ${value.tooth}`);
  picked = [];
  if (done) {
    at("prompt").textContent = `${one.words} on ${value.tooth} is stated. Run to see what it changes.`;
    one.count += 1;
  } else prompt_();
  viewer.sketch([]);
}

for (const one of document.querySelectorAll("[data-tool]")) one.addEventListener("click", () => choose(one.dataset.tool));
for (const one of document.querySelectorAll("[data-view]")) one.addEventListener("click", () => viewer?.view(one.dataset.view));
at("what").addEventListener("change", () => choose("mark"));
at("finish").addEventListener("click", mark);

function cutting() {
  if (!viewer) return;
  const on = at("cut").checked;
  at("cutting").hidden = !on;
  viewer.cut = { on, along: at("cut-along").value, at: Number(at("cut-at").value) / 1000 };
  viewer.draw();
}
for (const id of ["cut", "cut-along", "cut-at"]) at(id).addEventListener("input", cutting);

async function savePicture() {
  if (!viewer) return;
  const words = `case ${document.title.replace(/^Case /, "")}${viewer.surface?.said ? `, ${viewer.surface.said.title.toLowerCase()}` : ""}`;
  const blob = await viewer.picture(words);
  const link = element("a", "", { href: URL.createObjectURL(blob), download: `${document.title.replace(/\W+/g, "-")}.png` });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 5000);
}
at("picture").addEventListener("click", savePicture);

const VIEWS = { 0: "all", 1: "draw", 2: "cheek", 3: "tongue", 4: "right", 5: "left" };
at("canvas").addEventListener("keydown", (event) => {
  if (!viewer || event.ctrlKey || event.metaKey || event.altKey) return;
  const key = event.key, step = 0.12;
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  if (arrows[key]) {
    const [dx, dy] = arrows[key];
    if (event.shiftKey) viewer.shift(-dx * 30, -dy * 30);
    else viewer.spin(dx * step, dy * step);
  } else if (key === "+" || key === "=") viewer.closer(0.85);
  else if (key === "-") viewer.closer(1 / 0.85);
  else if (VIEWS[key]) viewer.view(VIEWS[key]);
  else if (key === "s") { at("cut").checked = !at("cut").checked; cutting(); }
  else if (key === "[" || key === "]") { at("cut-at").value = String(Number(at("cut-at").value) + (key === "]" ? 15 : -15)); cutting(); }
  else if (key === "m") choose(tool === "measure" ? "turn" : "measure");
  else if (key === "n") choose(tool === "mark" ? "turn" : "mark");
  else if (key === "p") savePicture();
  else if (key === "u") turn("undo");
  else if (key === "Escape") choose("turn");
  else if (key === "e") mark();
  else if (key === "Enter") clicked(viewer.wide / 2, viewer.high / 2);
  else return;
  if (tool !== "turn") aim();
  event.preventDefault();
});

// With a tool in hand the middle of the drawing is shown, so that it can be clicked from the keyboard.
function aim() {
  at("stage").classList.toggle("crosshair", document.activeElement === at("canvas") && tool !== "turn");
}

function look(name) {
  const pin = held?.pins.find((one) => one.name === name);
  if (!pin) return;
  viewer.target.fromArray(pin.foot);
  viewer.span = 14;
  viewer.draw();
  at("canvas").focus({ preventScroll: true });
}

// The drawing follows the step that is read: its map and its surfaces are shown, others stay as they are.
function follow(step) {
  if (!viewer || !held) return;
  const map = held.maps.find((one) => one.step === step);
  const wanted = map ? map.name : "";
  if (held.maps.some((one) => one.step === step) || held.layers.some((one) => one.step === step)) {
    if (wanted !== (state.map || "")) showMap(wanted);
    for (const one of held.layers) {
      if (one.step === step ? one.first : viewer.layers.get(one.name)?.visible) layer(one.name, one.step === step);
    }
  }
}

// --- clocks

let ticking;
function clock() {
  clearInterval(ticking);
  const box = at("plating-clock");
  if (!box) return;
  const last = Date.parse(box.dataset.last), running = box.dataset.running === "yes";
  const left = box.dataset.left.split(" ").filter(Boolean).map(Number);
  const words = (h) => `${Math.floor(h)} h ${String(Math.floor((h % 1) * 60)).padStart(2, "0")} min`;
  const wall = (h) => new Date(Date.now() + h * 3.6e6).toLocaleString([], { weekday: "short", hour: "2-digit", minute: "2-digit" });
  const tick = () => {
    const gone = running ? (Date.now() - last) / 3.6e6 : 0;
    let text = `On for ${words(Number(box.dataset.on) + gone)}${running ? "" : ", standing still"}.`;
    if (left.length) {
      const [least, most] = [left[0] - gone, left.at(-1) - gone];
      const until = running && least > 0 ? `, ${wall(least)} to ${wall(most)}` : "";
      text += least > 0 ? ` ${words(least)} to ${words(most)} to go${until}.` : most > 0 ? " It may be done: look at it now." : " Time is up: switch off, and log it.";
      box.classList.toggle("due", least <= 0);
      if (running && least <= 0 && state.rung !== box.dataset.last) { state.rung = box.dataset.last; ring(); }
    }
    if (box.textContent !== text) box.textContent = text;
  };
  tick();
  ticking = setInterval(tick, 1000);
}

function ring() {
  const sound = new AudioContext();
  for (let i = 0; i < 6; i++) {
    const tone = sound.createOscillator(), loud = sound.createGain();
    tone.frequency.value = i % 2 ? 660 : 880;
    tone.connect(loud).connect(sound.destination);
    loud.gain.value = 0.2;
    tone.start(sound.currentTime + i * 0.35);
    tone.stop(sound.currentTime + i * 0.35 + 0.25);
  }
}

at("ledger-toggle")?.addEventListener("click", () => {
  const open = at("ledger").classList.toggle("open");
  at("ledger-toggle").setAttribute("aria-expanded", String(open));
});

new ResizeObserver(([seen]) => {
  document.documentElement.style.setProperty("--top", `${Math.ceil(seen.target.offsetHeight)}px`);
}).observe(document.querySelector(".top"));

drawing();
ready();
document.addEventListener("visibilitychange", listen);
listen();
export { round };
