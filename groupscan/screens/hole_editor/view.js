// Where the photo stands on the stage, and how the marks are drawn over it.
// screen = t + k * (p + 0.5): whole pixel coordinates are pixel centres.
// Marks are drawn in screen units, so a thumb finds them at every zoom.

const MAX_ZOOM = 24;
const BUTTONS = 60; // px on the right where the zoom buttons stand
const SVG = "http://www.w3.org/2000/svg";

class Camera {
  constructor() { Object.assign(this, { k: 1, tx: 0, ty: 0, w: 0, h: 0, width: 1, height: 1, fitted: false }); }

  toScreen(p) { return [this.tx + this.k * (p.x + 0.5), this.ty + this.k * (p.y + 0.5)]; }
  toPhoto(sx, sy) { return { x: (sx - this.tx) / this.k - 0.5, y: (sy - this.ty) / this.k - 0.5 }; }
  wholeZoom() { return Math.min(this.w / this.width, this.h / this.height); }

  inside(p) { return p.x >= -0.5 && p.y >= -0.5 && p.x <= this.width - 0.5 && p.y <= this.height - 0.5; }

  frame(x0, y0, x1, y1) {
    const free = this.w - BUTTONS;
    this.k = Math.min(MAX_ZOOM, free / (x1 - x0), this.h / (y1 - y0));
    this.tx = free / 2 - (this.k * (x0 + x1)) / 2;
    this.ty = this.h / 2 - (this.k * (y0 + y1)) / 2;
    this.fitted = true; // until zoomed or panned
    this.hold();
  }

  frameAll() { this.frame(0, 0, this.width, this.height); }

  frameHoles(points) { // a little room around the holes, never closer than a fifth of the photo
    if (!points.length) { this.frameAll(); return; }
    const xs = points.map((p) => p.x), ys = points.map((p) => p.y);
    const [x0, x1, y0, y1] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const halfW = Math.max(0.65 * (x1 - x0), this.width / 10), halfH = Math.max(0.65 * (y1 - y0), this.height / 10);
    const cx = (x0 + x1) / 2, cy = (y0 + y1) / 2;
    this.frame(cx - halfW, cy - halfH, cx + halfW, cy + halfH);
  }

  zoomAt(sx, sy, factor) {
    const k = Math.min(Math.max(this.k * factor, this.wholeZoom() * 0.9), MAX_ZOOM), f = k / this.k;
    this.tx = sx - f * (sx - this.tx);
    this.ty = sy - f * (sy - this.ty);
    this.k = k;
    this.fitted = false;
    this.hold();
  }

  pan(dx, dy) { this.tx += dx; this.ty += dy; this.fitted = false; this.hold(); }

  hold() { // the photo fills the stage or lies wholly on it; its right edge can leave the buttons
    const within = (t, free, size) => Math.min(Math.max(t, Math.min(0, free - size)), Math.max(0, free - size));
    this.tx = within(this.tx, this.w - BUTTONS, this.k * this.width);
    this.ty = within(this.ty, this.h, this.k * this.height);
  }
}

function element(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function outline(kind, r) {
  if (kind === "moved") return `M0 ${-1.3 * r}L${1.3 * r} 0L0 ${1.3 * r}L${-1.3 * r} 0Z`;
  if (kind === "added") return `M${-r} ${-r}H${r}V${r}H${-r}Z`;
  if (kind === "removed") return `M-6 -6L6 6M6 -6L-6 6`;
  return `M${r} 0A${r} ${r} 0 1 1 ${-r} 0A${r} ${r} 0 1 1 ${r} 0`;
}

const PENNANT = "M0 0V-15L10 -11L0 -7"; // a flyer's: its pole stands on the hole's rim
const RETICLE = "M0 -19V-7M0 7V19M-19 0H-7M7 0H19";

function holeMark(camera, model, p, middle, selected) {
  const [x, y] = camera.toScreen(p), kind = model.kind(p);
  const r = Math.max(9, camera.k * (p.r || 0) + 2);
  const group = element("g", {
    transform: `translate(${x.toFixed(2)},${y.toFixed(2)})`,
    class: `pt ${kind}${selected ? " sel" : ""}${model.doubted(p) ? " doubt" : ""}`, "data-id": p.id,
  });
  if (kind === "moved") { // a thread back to where the scan found it
    const [ax, ay] = camera.toScreen({ x: p.auto[0], y: p.auto[1] });
    group.append(element("path", { class: "thread", d: `M${(ax - x).toFixed(1)} ${(ay - y).toFixed(1)}L0 0` }));
  }
  const d = outline(kind, r);
  group.append(element("path", { class: "halo", d }), element("path", { class: "line", d }));
  if (selected) group.append(element("circle", { class: "chosen", r: 1.3 * r + 5 }));
  if (p.flyer && kind !== "removed") {
    const at = `translate(0,${(-r).toFixed(1)})`;
    group.append(element("path", { class: "halo", d: PENNANT, transform: at }), element("path", { class: "pennant", d: PENNANT, transform: at }));
  }
  if (kind !== "removed") {
    group.append(element("circle", { class: "dot", r: 1.4 }));
    const away = Math.hypot(x - middle[0], y - middle[1]) || 1; // labels lean away from the group's middle
    const ux = (x - middle[0]) / away || 0.7, uy = (y - middle[1]) / away || -0.7;
    const label = String(model.numberOf(p.id)) + (p.arrow ? ` ${p.arrow}` : "");
    const anchor = ux > 0.35 ? "start" : ux < -0.35 ? "end" : "middle";
    group.append(element("text", {
      x: (ux * (r + 5)).toFixed(1), y: (uy * (r + 9) + 4.5).toFixed(1), "text-anchor": anchor,
    }, label));
  }
  return group;
}

function reticle(camera, p, cls) {
  const [x, y] = camera.toScreen(p);
  const group = element("g", { transform: `translate(${x.toFixed(2)},${y.toFixed(2)})`, class: cls });
  group.append(element("path", { class: "halo", d: RETICLE }), element("path", { class: "line", d: RETICLE }));
  return group;
}

// Where the sheet was seen: closed outlines in pixels of the photo.
function sheetOutline(camera, outlines) {
  const d = outlines.map((ring) => {
    const spots = ring.map(([x, y]) => camera.toScreen({ x, y }).map((v) => v.toFixed(1)).join(" "));
    return `M${spots.join("L")}Z`;
  }).join("");
  const group = element("g", { class: "sheet" });
  group.append(element("path", { class: "halo", d }), element("path", { class: "line", d }));
  return group;
}

function scaleMark(camera, p, name, selected) {
  const [x, y] = camera.toScreen(p), d = "M0 -16V-3M0 3V16M-16 0H-3M3 0H16";
  const group = element("g", {
    transform: `translate(${x.toFixed(2)},${y.toFixed(2)})`, class: `pt mark${selected ? " sel" : ""}`, "data-id": p.id,
  });
  group.append(element("path", { class: "halo", d }), element("path", { class: "line", d }));
  if (selected) group.append(element("circle", { class: "chosen", r: 18 }));
  group.append(element("text", { x: 10, y: -10 }, name));
  return group;
}

// A round window, away from the finger, onto what lies under it.
function drawLoupe(canvas, image, camera, p, { stroke, radius, side }) {
  canvas.hidden = false;
  canvas.style.left = side === "left" ? "8px" : "auto";
  canvas.style.right = side === "left" ? "auto" : "8px";
  const n = canvas.width, zoom = Math.max(6, 5 * camera.k), span = n / zoom;
  const s = (image.naturalWidth || 1) / camera.width, ctx = canvas.getContext("2d");
  ctx.imageSmoothingEnabled = true;
  ctx.fillStyle = "#777";
  ctx.fillRect(0, 0, n, n);
  ctx.drawImage(image, (p.x + 0.5 - span / 2) * s, (p.y + 0.5 - span / 2) * s, span * s, span * s, 0, 0, n, n);
  const cross = (style, width) => {
    ctx.strokeStyle = style;
    ctx.lineWidth = width;
    ctx.beginPath();
    for (const [a, b] of [[0, n / 2 - 8], [n / 2 + 8, n]]) {
      ctx.moveTo(n / 2, a); ctx.lineTo(n / 2, b);
      ctx.moveTo(a, n / 2); ctx.lineTo(b, n / 2);
    }
    ctx.stroke();
    if (radius) { ctx.beginPath(); ctx.arc(n / 2, n / 2, radius * zoom, 0, 7); ctx.stroke(); }
  };
  cross("rgba(0,0,0,.7)", 5);
  cross(stroke, 2);
}
