// The board: the drawing of the case, what is shown on it, what is marked and measured in it.
import { ask, element, Refused } from "./common.js";
import { Viewer, tell, unpack } from "./viewer.js";

const at = (id) => document.getElementById(id);
const shown = { drawn: "", scan: undefined, map: "" };
let page = null; // what the sheet does for the board: send a change, take one back, tell an error

export function tie(given) {
  page = given;
}

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

export async function drawing() {
  try {
    held = await ask("overlay");
    const key = JSON.stringify(held);
    if (key === shown.drawn) return;
    shown.drawn = key;
    if (!held.scan) {
      waiting("No scan is stated. Drop one here, or state calliper readings.");
      return;
    }
    if (held.scan !== shown.scan) {
      waiting("Reading the scan");
      packs.clear();
      const made = await pack("scan");
      viewer ??= make();
      viewer.overlay(held);
      viewer.show(made);
      shown.scan = held.scan;
      shown.map = "";
      waiting("");
    } else {
      for (const name of [...packs.keys()]) if (name !== "scan") packs.delete(name);
      viewer.overlay(held);
    }
    choices();
    if (shown.map) showMap(shown.map);
  } catch (error) {
    waiting(error.message);
    shown.drawn = "";
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
  const map = at("map"), before = shown.map || "";
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

export async function layer(name, on) {
  if (!viewer) return;
  try {
    viewer.layer(name, on ? await pack(name) : null, on);
    const box = at("layers").querySelector(`[data-layer="${CSS.escape(name)}"]`);
    if (box) box.checked = on;
  } catch (error) {
    page.tellError(error);
  }
}

at("map").addEventListener("change", () => showMap(at("map").value));

async function showMap(name) {
  shown.map = name;
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
    if (shown.map !== name) return;
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
    shown.map = at("map").value = "";
    page.tellError(error);
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
  shown.probe_ms = performance.now() - started;
  at("stage").dataset.probe = shown.probe_ms.toFixed(2);
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
  const done = await page.send([{ place: [...one.part, one.count], value }], `${one.words} on ${value.tooth}`);
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
  else if (key === "u") page.undo();
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

export function look(name) {
  const pin = held?.pins.find((one) => one.name === name);
  if (!pin) return;
  viewer.target.fromArray(pin.foot);
  viewer.span = 14;
  viewer.draw();
  at("canvas").focus({ preventScroll: true });
}

// The drawing follows the step that is read: its map and its surfaces are shown, others stay as they are.
export function follow(step) {
  if (!viewer || !held) return;
  const map = held.maps.find((one) => one.step === step);
  const wanted = map ? map.name : "";
  if (held.maps.some((one) => one.step === step) || held.layers.some((one) => one.step === step)) {
    if (wanted !== (shown.map || "")) showMap(wanted);
    for (const one of held.layers) {
      if (one.step === step ? one.first : viewer.layers.get(one.name)?.visible) layer(one.name, one.step === step);
    }
  }
}
