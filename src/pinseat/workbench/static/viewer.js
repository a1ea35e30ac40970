// The drawing: a scan as raw arrays, numbers on it, pins, a cut, and a hand to turn it.
// Frames are drawn when something changed and at no other time; while it moves a coarse copy is shown.
import { THREE } from "/kit/three.js";
import { meet } from "./tree.js";

THREE.ColorManagement.enabled = false; // colours are those of the screen throughout
const NONE = -1e9;
const REST_MS = 140;
const FINE_MS = 260; // after this long at rest the picture is drawn once more, twice as fine

export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const kinds = { f4: Float32Array, u4: Uint32Array, i1: Int8Array, u1: Uint8Array };
  const arrays = {};
  for (const [name, { kind, at, count }] of Object.entries(head.arrays)) {
    arrays[name] = new kinds[kind](buffer, 4 + length + at, count);
  }
  return { arrays, said: head.said };
}

const VERTEX = `
attribute float number;
attribute vec3 paint;
varying vec3 vPaint;
varying vec3 vNormal, vPlace;
varying float vNumber;
void main() {
  vNormal = normalMatrix * normal;
  vPlace = position;
  vNumber = number;
  vPaint = paint;
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;

const FRAGMENT = `
uniform sampler2D ramp;
uniform vec3 plaster, nothing, inside;
uniform vec4 cut;
uniform float top, limit, apart;
uniform bool mapped, painted, cutting;
varying vec3 vPaint;
varying vec3 vNormal, vPlace;
varying float vNumber;
void main() {
  if (cutting && dot(vPlace, cut.xyz) > cut.w) discard;
  if (!gl_FrontFacing && cutting) {
    float line = step(0.5, fract((gl_FragCoord.x + gl_FragCoord.y) / 7.0));
    gl_FragColor = vec4(inside * (0.9 + 0.1 * line), 1.0);
    return;
  }
  vec3 n = normalize(vNormal);
  if (!gl_FrontFacing) n = -n;
  float key = max(dot(n, normalize(vec3(-0.45, 0.65, 0.62))), 0.0);
  float fill = 0.5 + 0.5 * dot(n, normalize(vec3(0.6, 0.2, 0.5)));
  float light = 0.30 + 0.52 * key + 0.24 * fill;
  vec3 paint = painted ? vPaint : plaster;
  if (mapped) {
    paint = vNumber < -1e8 ? nothing : texture2D(ramp, vec2(clamp(vNumber / top, 0.0, 1.0), 0.5)).rgb;
    if (vNumber > -1e8 && apart > 0.0) {
      float wide = max(fwidth(vNumber), 1e-7);
      float at = vNumber / apart;
      float line = abs(fract(at - 0.5) - 0.5) * apart / wide;
      float here = step(0.5, at) * (1.0 - smoothstep(0.4, 1.1, line)) * (1.0 - smoothstep(0.25, 0.5, wide / apart));
      float edge = 1.0 - smoothstep(0.8, 1.8, abs(vNumber - limit) / wide);
      paint = mix(paint, paint * 0.62, 0.75 * here);
      paint = mix(paint, vec3(0.05, 0.06, 0.1), edge);
    }
  }
  gl_FragColor = vec4(paint * pow(vec3(light), vec3(0.92, 1.0, 1.10)), 1.0);
}`;

const COPPER = 0x9c4a22;

export class Viewer {
  constructor(canvas, stage, tags) {
    this.canvas = canvas;
    this.stage = stage;
    this.tags = tags;
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: false, alpha: false });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace; // the shader's colours are those of the screen
    this.scene = new THREE.Scene();
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0xb8a890, 2.2));
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.6);
    this.scene.add(this.lamp);
    this.camera = new THREE.OrthographicCamera(-1, 1, 1, -1, -1000, 1000);
    this.up = new THREE.Vector3(0, 0, 1);
    this.top = new THREE.Vector3(0, 1, 0); // of a page, looking along the draw
    this.front = new THREE.Vector3(0, 1, 0);
    this.target = new THREE.Vector3();
    this.turn = new THREE.Quaternion();
    this.span = 60;
    this.radius = 40;
    this.surface = null;
    this.layers = new Map();
    this.marks = new THREE.Group();
    this.pinGroup = new THREE.Group();
    this.scene.add(this.marks, this.pinGroup);
    this.labels = [];
    this.cut = { on: false, along: "z", at: 0.5 };
    this.frames = [];
    this.moving = 0;
    this.plainRatio = Math.min(Math.max(devicePixelRatio, 1), 2);
    this.fineRatio = Math.max(this.plainRatio, 2);
    this.movingRatio = 1;
    this.fine = false;
    this.listen();
    this.paper();
    document.addEventListener("light", () => this.paper());
    new ResizeObserver(() => this.resize()).observe(stage);
    this.resize();
  }

  // The ground of the drawing is that of the page.
  paper() {
    this.renderer.setClearColor(getComputedStyle(this.stage).getPropertyValue("--stage").trim(), 1);
    this.draw();
  }

  // --- what is shown

  material() {
    const shared = this.uniforms ??= {
      ramp: { value: null }, plaster: { value: new THREE.Vector3(0.957, 0.914, 0.843) },
      nothing: { value: new THREE.Vector3(0.59, 0.59, 0.59) }, inside: { value: new THREE.Vector3(0.66, 0.34, 0.22) },
      cut: { value: new THREE.Vector4(0, 0, 1, 0) }, top: { value: 1 }, limit: { value: 1 }, apart: { value: 0 },
      mapped: { value: false }, painted: { value: false }, cutting: { value: false },
    };
    return new THREE.ShaderMaterial({ uniforms: shared, vertexShader: VERTEX, fragmentShader: FRAGMENT, side: THREE.DoubleSide });
  }

  geometry(position, normal, index) {
    const made = new THREE.BufferGeometry();
    made.setAttribute("position", new THREE.BufferAttribute(position, 3));
    made.setAttribute("normal", new THREE.BufferAttribute(normal, 4, true));
    made.setIndex(new THREE.BufferAttribute(index, 1));
    return made;
  }

  show(packed) {
    const a = packed.arrays;
    const material = this.material();
    const full = new THREE.Mesh(this.geometry(a.position, a.normal, a.index), material);
    const coarse = new THREE.Mesh(this.geometry(a.coarse_position, a.coarse_normal, a.coarse_index), material);
    full.frustumCulled = coarse.frustumCulled = false;
    coarse.visible = false;
    if (this.surface) {
      for (const one of [this.surface.full, this.surface.coarse]) {
        this.scene.remove(one);
        one.geometry.dispose();
      }
    }
    this.surface = { full, coarse, arrays: a, numbers: null, said: null };
    this.scene.add(full, coarse);
    this.measureBox(a.coarse_position);
    this.tree = null;
    this.plantTree(a);
    this.fit();
  }

  measureBox(position) {
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let i = 0; i < position.length; i++) {
      const k = i % 3;
      if (position[i] < low[k]) low[k] = position[i];
      if (position[i] > high[k]) high[k] = position[i];
    }
    this.middle = new THREE.Vector3(...low.map((x, k) => 0.5 * (x + high[k])));
    this.radius = 0.5 * Math.hypot(...low.map((x, k) => high[k] - x));
  }

  plantTree(a) {
    const worker = new Worker("/static/treework.js", { type: "module" });
    worker.onmessage = ({ data }) => {
      if (this.surface?.arrays === a) this.tree = data;
      worker.terminate();
      this.stage.dataset.tree = "ready";
    };
    worker.postMessage({ position: a.position, index: a.index });
  }

  numbers(packed) {
    const { full, coarse, arrays } = this.surface;
    this.unpaint();
    if (!packed) {
      this.surface.numbers = this.surface.said = null;
      this.uniforms.mapped.value = false;
      this.draw();
      return null;
    }
    const values = packed.arrays.value;
    const shown = new Float32Array(values.length);
    let most = -Infinity, least = Infinity, where = 0, whereLeast = 0;
    for (let i = 0; i < values.length; i++) {
      const x = values[i];
      if (Number.isNaN(x)) shown[i] = NONE;
      else {
        shown[i] = x;
        if (x > most) { most = x; where = i; }
        if (x < least) { least = x; whereLeast = i; }
      }
    }
    const few = new Float32Array(arrays.coarse_from.length);
    for (let i = 0; i < few.length; i++) few[i] = shown[arrays.coarse_from[i]];
    full.geometry.setAttribute("number", new THREE.BufferAttribute(shown, 1));
    coarse.geometry.setAttribute("number", new THREE.BufferAttribute(few, 1));
    const texture = new Uint8Array(4 * 256);
    for (let i = 0; i < 256; i++) {
      texture.set(packed.arrays.ramp.subarray(3 * i, 3 * i + 3), 4 * i);
      texture[4 * i + 3] = 255;
    }
    const made = new THREE.DataTexture(texture, 256, 1);
    made.minFilter = made.magFilter = THREE.NearestFilter;
    made.needsUpdate = true;
    this.uniforms.ramp.value = made;
    this.uniforms.top.value = packed.said.top;
    this.uniforms.limit.value = packed.said.limit;
    this.uniforms.apart.value = round(packed.said.limit / 4);
    this.uniforms.mapped.value = true;
    const none = packed.said.none;
    this.uniforms.nothing.value.set(none[0] / 255, none[1] / 255, none[2] / 255);
    const worst = packed.said.worst === "least" ? whereLeast : where;
    this.surface.numbers = shown;
    this.surface.said = { ...packed.said, apart: this.uniforms.apart.value, most, least };
    this.worst = { at: this.vertex(worst), text: `${packed.said.worst} ${tell(shown[worst], packed.said.unit)}` };
    this.relabel();
    this.draw();
    return this.surface.said;
  }

  // A surface in the colours that a step has given it, shown in place of the scan.
  paint(packed) {
    this.unpaint();
    if (packed) {
      const a = packed.arrays, material = this.material();
      material.uniforms = { ...this.uniforms, painted: { value: true }, mapped: { value: false } };
      const mesh = (prefix) => {
        const shape = this.geometry(a[`${prefix}position`], a[`${prefix}normal`], a[`${prefix}index`]);
        shape.setAttribute("paint", new THREE.BufferAttribute(a[`${prefix}paint`], 3, true));
        const made = new THREE.Mesh(shape, material);
        made.frustumCulled = false;
        this.scene.add(made);
        return made;
      };
      this.painted = { full: mesh(""), coarse: mesh("coarse_") };
    }
    this.relabel();
    this.draw();
  }

  unpaint() {
    for (const one of Object.values(this.painted || {})) {
      this.scene.remove(one);
      one.geometry.dispose();
    }
    this.painted = null;
  }

  vertex(i) {
    return new THREE.Vector3().fromArray(this.surface.arrays.position, 3 * i);
  }

  layer(name, packed, on) {
    let mesh = this.layers.get(name);
    if (packed && !mesh) {
      const a = packed.arrays;
      const paint = new THREE.MeshLambertMaterial({ color: 0x6f93b5, transparent: true, opacity: 0.42, side: THREE.DoubleSide, depthWrite: false });
      mesh = new THREE.Mesh(this.geometry(a.position, a.normal, a.index), paint);
      mesh.frustumCulled = false;
      this.layers.set(name, mesh);
      this.scene.add(mesh);
    }
    if (mesh) mesh.visible = on;
    this.draw();
  }

  overlay(held) {
    this.held = held;
    for (const one of [...this.pinGroup.children]) this.pinGroup.remove(one);
    if (held.draw) this.up.fromArray(held.draw).normalize();
    this.top.fromArray(held.up || [0, 1, 0]);
    this.top.addScaledVector(this.up, -this.top.dot(this.up));
    if (this.top.length() < 0.2) this.top.set(1, 0, 0).addScaledVector(this.up, -this.up.x);
    this.top.normalize();
    this.front.copy(this.top).multiplyScalar(held.arch === "lower" ? -1 : 1);
    const copper = new THREE.MeshLambertMaterial({ color: COPPER });
    for (const pin of held.pins) {
      const axis = new THREE.Vector3().fromArray(pin.axis), foot = new THREE.Vector3().fromArray(pin.foot);
      const long = pin.protrusion_mm + 0.04;
      const shaft = new THREE.Mesh(new THREE.CylinderGeometry(0.5 * pin.diameter_mm + 0.02, 0.5 * pin.diameter_mm + 0.02, long, 12), copper);
      shaft.quaternion.setFromUnitVectors(new THREE.Vector3(0, 1, 0), axis);
      shaft.position.copy(foot).addScaledVector(axis, 0.5 * long);
      const line = new THREE.BufferGeometry().setFromPoints([foot.clone().addScaledVector(axis, -1.5), foot.clone().addScaledVector(axis, long + 2.5)]);
      this.pinGroup.add(shaft, new THREE.Line(line, new THREE.LineBasicMaterial({ color: COPPER })));
    }
    const shapes = { margin: new THREE.SphereGeometry(0.22, 6, 4), ledge: new THREE.BoxGeometry(0.4, 0.4, 0.4), wall: new THREE.TetrahedronGeometry(0.32), groove: new THREE.OctahedronGeometry(0.3) };
    const ink = new THREE.MeshLambertMaterial({ color: 0x2f5d8a });
    for (const face of held.contacts) {
      const mark = new THREE.Mesh(shapes[face.kind] || shapes.margin, ink);
      mark.position.fromArray(face.point);
      this.pinGroup.add(mark);
    }
    this.relabel();
    this.draw();
  }

  relabel() {
    this.labels = (this.held?.pins || []).map((pin) => ({
      at: new THREE.Vector3().fromArray(pin.foot).addScaledVector(new THREE.Vector3().fromArray(pin.axis), pin.protrusion_mm + 2.6),
      text: pin.name, kind: "pin-tag",
    }));
    if (this.surface?.numbers && this.worst) this.labels.push({ ...this.worst, kind: "worst" });
    for (const one of this.marks.userData.labels || []) this.labels.push(one);
    this.tags.replaceChildren(...this.labels.map((one) => {
      const made = document.createElement("span");
      made.textContent = one.text;
      made.className = one.kind;
      return made;
    }));
  }

  // Points and lines that a person is setting: places in mm, joined when asked.
  sketch(points, { joined = false, text = "", closed = false } = {}) {
    for (const one of [...this.marks.children]) this.marks.remove(one);
    const ink = new THREE.MeshBasicMaterial({ color: 0xc0391b, depthTest: false, transparent: true });
    for (const at of points) {
      const dot = new THREE.Mesh(new THREE.SphereGeometry(0.16 * this.span / 25, 12, 8), ink);
      dot.renderOrder = 5;
      dot.position.copy(at);
      this.marks.add(dot);
    }
    if (joined && points.length > 1) {
      const line = new THREE.BufferGeometry().setFromPoints(closed ? [...points, points[0]] : points);
      const drawn = new THREE.Line(line, new THREE.LineBasicMaterial({ color: 0xc0391b, depthTest: false, transparent: true }));
      drawn.renderOrder = 5;
      this.marks.add(drawn);
    }
    this.marks.userData.labels = text && points.length ? [{ at: points.at(-1), text, kind: "measure" }] : [];
    this.relabel();
    this.draw();
  }

  // --- where the eye is

  fit() {
    this.target.copy(this.middle);
    this.span = 2.1 * this.radius;
    if (this.held?.pins.length) {
      const at = this.held.pins.map((pin) => new THREE.Vector3().fromArray(pin.foot));
      this.target.copy(at.reduce((sum, one) => sum.add(one), new THREE.Vector3()).divideScalar(at.length));
      this.span = Math.max(...at.map((one) => one.distanceTo(this.target))) * 2.5 + 10;
    }
    this.view("three");
  }

  view(name) {
    if (name === "all") {
      this.target.copy(this.middle);
      this.span = 2.1 * this.radius;
      this.draw();
      return;
    }
    const right = new THREE.Vector3().crossVectors(this.up, this.top).normalize();
    const behind = this.front.clone().negate();
    const to = { draw: this.up, cheek: this.front, tongue: behind, right, left: right.clone().negate() }[name]
      || this.up.clone().addScaledVector(behind, 0.8).addScaledVector(right, 0.25).normalize();
    const top = name === "draw" ? this.top : this.up;
    const frame = new THREE.Matrix4().lookAt(to, new THREE.Vector3(), top);
    this.turn.setFromRotationMatrix(frame);
    this.draw();
  }

  spin(dx, dy) {
    const about = new THREE.Quaternion().setFromAxisAngle(this.up, -dx);
    const right = new THREE.Vector3(1, 0, 0).applyQuaternion(this.turn);
    const tilt = new THREE.Quaternion().setFromAxisAngle(right, -dy);
    this.turn.premultiply(tilt).premultiply(about).normalize();
    this.move();
  }

  shift(dx, dy) {
    const scale = this.span / this.high;
    const right = new THREE.Vector3(1, 0, 0).applyQuaternion(this.turn), upward = new THREE.Vector3(0, 1, 0).applyQuaternion(this.turn);
    this.target.addScaledVector(right, -dx * scale).addScaledVector(upward, dy * scale);
    this.move();
  }

  closer(factor, x, y) {
    const before = this.place(x, y);
    this.span = Math.min(Math.max(this.span * factor, 1), 6 * this.radius + 10);
    if (x !== undefined) {
      const after = this.place(x, y);
      this.target.add(before).sub(after);
    }
    this.move();
  }

  // The point of the plane through the target under a pixel.
  place(x, y) {
    const rect = { w: this.wide, h: this.high }, scale = this.span / this.high;
    const right = new THREE.Vector3(1, 0, 0).applyQuaternion(this.turn), upward = new THREE.Vector3(0, 1, 0).applyQuaternion(this.turn);
    return this.target.clone().addScaledVector(right, ((x ?? rect.w / 2) - rect.w / 2) * scale).addScaledVector(upward, (rect.h / 2 - (y ?? rect.h / 2)) * scale);
  }

  // --- frames

  resize() {
    this.wide = Math.max(this.stage.clientWidth, 10);
    this.high = Math.max(this.stage.clientHeight, 10);
    this.ratio = 0;
    this.draw();
  }

  draw() {
    this.fine = false;
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      this.frame();
    });
  }

  move() {
    this.moving = performance.now();
    clearTimeout(this.resting);
    this.resting = setTimeout(() => { this.moving = 0; this.draw(); }, REST_MS);
    this.draw();
  }

  frame() {
    const moving = this.moving > 0;
    const ratio = moving ? this.movingRatio : this.fine ? this.fineRatio : this.plainRatio;
    if (ratio !== this.ratio) {
      this.ratio = ratio;
      this.renderer.setPixelRatio(ratio);
      this.renderer.setSize(this.wide, this.high, false);
    }
    if (this.surface) {
      const shown = this.painted || this.surface;
      for (const one of [this.surface, this.painted]) {
        if (!one) continue;
        one.coarse.visible = moving && one === shown;
        one.full.visible = !moving && one === shown;
      }
    }
    const half = this.span / 2, aspect = this.wide / this.high, camera = this.camera;
    camera.left = -half * aspect; camera.right = half * aspect; camera.top = half; camera.bottom = -half;
    camera.near = -3 * this.radius - 50; camera.far = 3 * this.radius + 50;
    camera.quaternion.copy(this.turn);
    camera.position.copy(this.target);
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
    this.lamp.position.set(-0.45, 0.65, 0.62).applyQuaternion(this.turn).add(this.target);
    this.lamp.target.position.copy(this.target);
    this.lamp.target.updateMatrixWorld();
    this.setCut();
    this.renderer.render(this.scene, camera);
    this.tags.hidden = moving; // names come back at rest: moving them costs more than all the rest
    if (!moving) this.placeTags();
    this.paced(moving);
    clearTimeout(this.refining);
    if (!moving && !this.fine && this.surface) {
      this.refining = setTimeout(() => {
        this.fine = true;
        this.frame();
      }, FINE_MS);
    }
    if (!moving && this.surface && !this.stage.dataset.drawn) {
      this.renderer.getContext().finish();
      this.stage.dataset.drawn = String(Math.round(performance.now()));
      this.stage.dispatchEvent(new Event("drawn"));
    }
  }

  // How long frames take while moving; a slow machine gets fewer pixels until it is quick enough.
  paced(moving) {
    const now = performance.now();
    if (moving && this.lastFrame && now - this.lastFrame < 400) this.frames.push(now - this.lastFrame);
    this.lastFrame = moving ? now : 0;
    if (this.frames.length > 400) this.frames.splice(0, 200);
    const few = this.frames.slice(-6);
    if (moving && few.length === 6 && Math.min(...few) > 34 && this.movingRatio > 0.5) {
      this.movingRatio = Math.max(this.movingRatio * 0.8, 0.5);
      this.frames.length = 0;
    }
  }

  placeTags() {
    const at = new THREE.Vector3();
    const shown = this.labels.map((one, i) => {
      at.copy(one.at).project(this.camera);
      return { i, x: (at.x + 1) * 0.5 * this.wide, y: (1 - at.y) * 0.5 * this.high };
    });
    shown.sort((a, b) => a.y - b.y);
    for (let pass = 0; pass < 3; pass++) { // names that would lie on each other move apart
      for (let i = 0; i < shown.length; i++) {
        for (let j = i + 1; j < shown.length; j++) {
          const a = shown[i], b = shown[j];
          if (Math.abs(a.x - b.x) < 44 && Math.abs(a.y - b.y) < 22) {
            if (Math.abs(a.x - b.x) > 14) {
              const push = (44 - Math.abs(a.x - b.x)) / 2 * Math.sign(b.x - a.x || 1);
              a.x -= push; b.x += push;
            } else b.y = a.y + 22;
          }
        }
      }
    }
    this.tagPlaces = shown;
    for (const { i, x, y } of shown) {
      const tag = this.tags.children[i];
      if (!tag) continue;
      tag.half ||= tag.offsetWidth / 2;
      const within = Math.min(Math.max(x, tag.half), this.wide - tag.half); // whole words, even at the edge
      tag.style.transform = `translate(${within.toFixed(1)}px, ${y.toFixed(1)}px) translate(-50%, -50%)`;
      tag.style.visibility = x < 0 || y < 0 || x > this.wide || y > this.high ? "hidden" : "visible";
    }
  }

  setCut() {
    if (!this.uniforms) return;
    this.uniforms.cutting.value = this.cut.on;
    if (!this.cut.on || !this.middle) return;
    const side = new THREE.Vector3().crossVectors(this.up, this.top);
    const along = { z: this.up, y: this.front, x: side }[this.cut.along];
    const half = this.radius, offset = along.dot(this.middle) + (2 * this.cut.at - 1) * half;
    this.uniforms.cut.value.set(along.x, along.y, along.z, offset);
    this.cutPlane = { along: along.clone(), offset };
  }

  // --- the hand

  probe(x, y) {
    if (!this.tree || !this.surface) return null;
    const back = new THREE.Vector3(0, 0, 1).applyQuaternion(this.turn);
    const from = this.place(x, y).addScaledVector(back, 3 * this.radius + 50), along = back.clone().negate();
    const a = this.surface.arrays;
    const cut = this.cut.on ? this.cutPlane : null;
    const keep = cut ? (t) => from.dot(cut.along) + t * along.dot(cut.along) <= cut.offset : null;
    const hit = meet(this.tree, a.position, a.index, from.toArray(), along.toArray(), keep);
    if (!hit) return null;
    const point = from.clone().addScaledVector(along, hit.distance);
    let number = null;
    if (this.surface.numbers) {
      number = 0;
      for (let k = 0; k < 3; k++) {
        const v = this.surface.numbers[a.index[3 * hit.triangle + k]];
        number = v === NONE || number === null ? null : number + hit.weights[k] * v;
      }
    }
    return { point, number };
  }

  listen() {
    const c = this.canvas, pointers = new Map();
    let pinch = 0, travelled = 0;
    c.addEventListener("pointerdown", (event) => {
      c.setPointerCapture(event.pointerId);
      pointers.set(event.pointerId, event);
      travelled = 0;
    });
    c.addEventListener("pointermove", (event) => {
      const before = pointers.get(event.pointerId);
      if (!before) {
        this.hover?.(event.offsetX, event.offsetY);
        return;
      }
      const dx = event.clientX - before.clientX, dy = event.clientY - before.clientY;
      travelled += Math.abs(dx) + Math.abs(dy);
      pointers.set(event.pointerId, event);
      if (pointers.size === 2) {
        const [a, b] = [...pointers.values()];
        const apart = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
        if (pinch) this.closer(pinch / Math.max(apart, 1));
        pinch = apart;
        this.shift(dx / 2, dy / 2);
      } else if (event.shiftKey || event.buttons & 6) this.shift(dx, dy);
      else if (travelled > 3) this.spin(dx * 0.008, dy * 0.008);
    });
    const end = (event) => {
      pointers.delete(event.pointerId);
      pinch = 0;
      if (event.type === "pointerup" && travelled <= 3 && event.button === 0) this.click?.(event.offsetX, event.offsetY);
    };
    c.addEventListener("pointerup", end);
    c.addEventListener("pointercancel", end);
    c.addEventListener("contextmenu", (event) => event.preventDefault());
    c.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.closer(Math.exp(Math.sign(event.deltaY) * Math.min(Math.abs(event.deltaY), 120) * 0.0016), event.offsetX, event.offsetY);
    }, { passive: false });
  }

  // A picture as it is seen, with names, legend and scale, on paper.
  async picture(words) {
    this.moving = 0;
    this.fine = true;
    this.frame();
    const scale = this.fineRatio, sheet = document.createElement("canvas");
    const foot = 46 * scale;
    sheet.width = this.wide * scale;
    sheet.height = this.high * scale + foot;
    const pen = sheet.getContext("2d");
    pen.fillStyle = "#ece6da";
    pen.fillRect(0, 0, sheet.width, sheet.height);
    pen.drawImage(this.canvas, 0, 0, this.wide * scale, this.high * scale);
    pen.font = `${13 * scale}px Roboto, sans-serif`;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    for (const { i, x, y } of this.tagPlaces || []) {
      const text = this.labels[i].text, wide = pen.measureText(text).width + 10 * scale;
      pen.fillStyle = "#ffffff";
      pen.fillRect(x * scale - wide / 2, (y - 10) * scale, wide, 20 * scale);
      pen.fillStyle = "#23272b";
      pen.fillText(text, x * scale, y * scale);
    }
    const bar = round(this.span / 5), long = bar / this.span * this.high * scale;
    pen.textAlign = "left";
    pen.fillStyle = "#23272b";
    pen.fillRect(12 * scale, sheet.height - 14 * scale, long, 3 * scale);
    pen.fillText(`${bar} mm`, 12 * scale, sheet.height - 28 * scale);
    pen.textAlign = "right";
    pen.fillText(words, sheet.width - 12 * scale, sheet.height - 22 * scale);
    return new Promise((done) => sheet.toBlob(done, "image/png"));
  }
}

// The round value nearest below: 1, 2 or 5 times a power of ten.
export function round(value) {
  const power = 10 ** Math.floor(Math.log10(value));
  const head = value / power;
  return (head >= 5 ? 5 : head >= 2 ? 2 : 1) * power;
}

export function tell(value, unit) {
  if (value === null || value === undefined || value === NONE) return "not measured";
  const marks = { um: "µm", deg: "°", mm: "mm" };
  const digits = Math.abs(value) >= 100 ? 0 : Math.abs(value) >= 10 ? 1 : 2;
  return `${value.toFixed(digits).replace("-", "−")} ${marks[unit] ?? unit}`;
}
