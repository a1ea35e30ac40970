// A tree of boxes over the triangles of a surface, for finding what a ray meets first.
// Built once (in a worker), then asked on the page; both ends share this file.

const LEAF = 8;

export function build(position, index) {
  const count = index.length / 3;
  const centre = new Float32Array(3 * count);
  const low = new Float32Array(3 * count), high = new Float32Array(3 * count);
  for (let t = 0; t < count; t++) {
    const a = 3 * index[3 * t], b = 3 * index[3 * t + 1], c = 3 * index[3 * t + 2];
    for (let k = 0; k < 3; k++) {
      const x = position[a + k], y = position[b + k], z = position[c + k];
      low[3 * t + k] = Math.min(x, y, z);
      high[3 * t + k] = Math.max(x, y, z);
      centre[3 * t + k] = 0.5 * (low[3 * t + k] + high[3 * t + k]);
    }
  }
  const order = new Uint32Array(count);
  for (let t = 0; t < count; t++) order[t] = t;
  const most = Math.max(2 * Math.ceil(count / 2), 1) + 1;
  const box = new Float32Array(6 * most);
  const link = new Uint32Array(2 * most); // leaf: first, how many + 2^31; else: left, right
  let used = 1;
  const todo = [[0, 0, count]];
  while (todo.length) {
    const [node, from, to] = todo.pop();
    const b = bounds(low, high, order, from, to, box, 6 * node);
    if (to - from <= LEAF) {
      link[2 * node] = from;
      link[2 * node + 1] = (to - from) | 0x80000000;
      continue;
    }
    const middle = split(centre, order, from, to, b);
    const left = used++, right = used++;
    link[2 * node] = left;
    link[2 * node + 1] = right;
    todo.push([left, from, middle], [right, middle, to]);
  }
  return { box: box.slice(0, 6 * used), link: link.slice(0, 2 * used), order };
}

function bounds(low, high, order, from, to, box, at) {
  let x0 = Infinity, y0 = Infinity, z0 = Infinity, x1 = -Infinity, y1 = -Infinity, z1 = -Infinity;
  for (let i = from; i < to; i++) {
    const t = 3 * order[i];
    if (low[t] < x0) x0 = low[t];
    if (low[t + 1] < y0) y0 = low[t + 1];
    if (low[t + 2] < z0) z0 = low[t + 2];
    if (high[t] > x1) x1 = high[t];
    if (high[t + 1] > y1) y1 = high[t + 1];
    if (high[t + 2] > z1) z1 = high[t + 2];
  }
  box[at] = x0; box[at + 1] = y0; box[at + 2] = z0;
  box[at + 3] = x1; box[at + 4] = y1; box[at + 5] = z1;
  return [x0, y0, z0, x1, y1, z1];
}

// Cut at the middle of the longest side; when all lie on one side of it, halve their number.
function split(centre, order, from, to, b) {
  let k = 0;
  if (b[4] - b[1] > b[3] - b[0]) k = 1;
  if (b[5] - b[2] > b[3 + k] - b[k]) k = 2;
  const cut = 0.5 * (b[k] + b[3 + k]);
  let i = from, j = to - 1;
  while (i <= j) {
    if (centre[3 * order[i] + k] < cut) i++;
    else {
      const held = order[i];
      order[i] = order[j];
      order[j--] = held;
    }
  }
  return i === from || i === to ? (from + to) >> 1 : i;
}

// What a ray meets first: triangle, distance and the weights of its corners; null when it meets nothing.
export function meet(tree, position, index, origin, along, keep) {
  const [ox, oy, oz] = origin, [dx, dy, dz] = along;
  const ix = 1 / dx, iy = 1 / dy, iz = 1 / dz;
  const { box, link, order } = tree;
  let best = Infinity, hit = null;
  const stack = [0];
  while (stack.length) {
    const node = stack.pop();
    const b = 6 * node;
    let near = (box[b] - ox) * ix, far = (box[b + 3] - ox) * ix, held;
    if (near > far) { held = near; near = far; far = held; }
    let lo = (box[b + 1] - oy) * iy, hi = (box[b + 4] - oy) * iy;
    if (lo > hi) { held = lo; lo = hi; hi = held; }
    if (lo > near) near = lo;
    if (hi < far) far = hi;
    lo = (box[b + 2] - oz) * iz; hi = (box[b + 5] - oz) * iz;
    if (lo > hi) { held = lo; lo = hi; hi = held; }
    if (lo > near) near = lo;
    if (hi < far) far = hi;
    if (far < near || near > best || far < 0) continue;
    const tail = link[2 * node + 1];
    if (!(tail & 0x80000000)) {
      stack.push(link[2 * node], tail);
      continue;
    }
    for (let i = link[2 * node], end = i + (tail & 0x7fffffff); i < end; i++) {
      const t = order[i];
      const found = triangle(position, index, t, ox, oy, oz, dx, dy, dz);
      if (found && found.distance < best && (!keep || keep(found.distance))) {
        best = found.distance;
        hit = found;
      }
    }
  }
  return hit;
}

function triangle(p, index, t, ox, oy, oz, dx, dy, dz) {
  const a = 3 * index[3 * t], b = 3 * index[3 * t + 1], c = 3 * index[3 * t + 2];
  const ax = p[a], ay = p[a + 1], az = p[a + 2];
  const ux = p[b] - ax, uy = p[b + 1] - ay, uz = p[b + 2] - az;
  const vx = p[c] - ax, vy = p[c + 1] - ay, vz = p[c + 2] - az;
  const px = dy * vz - dz * vy, py = dz * vx - dx * vz, pz = dx * vy - dy * vx;
  const det = ux * px + uy * py + uz * pz;
  if (Math.abs(det) < 1e-14) return null;
  const inv = 1 / det;
  const sx = ox - ax, sy = oy - ay, sz = oz - az;
  const u = (sx * px + sy * py + sz * pz) * inv;
  if (u < 0 || u > 1) return null;
  const qx = sy * uz - sz * uy, qy = sz * ux - sx * uz, qz = sx * uy - sy * ux;
  const v = (dx * qx + dy * qy + dz * qz) * inv;
  if (v < 0 || u + v > 1) return null;
  const distance = (vx * qx + vy * qy + vz * qz) * inv;
  return distance > 0 ? { triangle: t, distance, weights: [1 - u - v, u, v] } : null;
}
