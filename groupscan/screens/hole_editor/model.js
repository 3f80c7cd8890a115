// The holes and what a person may do to them. No page here, so it can be read
// (and run) by itself. Array order is shooting order; removed holes stay in the
// list, because the record keeps what was found beside what was decided.

const MOVED_PX = 0.05; // less than this from the found place is not a correction

class HoleModel {
  constructor() {
    this.points = [];
    this.aim = null;
    this.ordered = false; // whether the array's order is known to be that of the shots
    this.past = [];
    this.future = [];
    this.nextId = 1;
  }

  take(points, aim, ordered, keepsPast) { // a step back is possible only onto points of the same names
    const past = keepsPast ? [...this.past, this.snapshot()] : [];
    this.points = points.map((p) => ({ ...p }));
    this.aim = aim ? { ...aim } : null;
    this.ordered = Boolean(ordered);
    this.past = past;
    this.future = [];
    for (const p of points) {
      const own = /^u(\d+)$/.exec(p.id);
      if (own) this.nextId = Math.max(this.nextId, Number(own[1]) + 1);
    }
  }

  snapshot() {
    return { points: this.points.map((p) => ({ ...p })), aim: this.aim && { ...this.aim }, ordered: this.ordered };
  }

  restore(state) {
    this.points = state.points.map((p) => ({ ...p }));
    this.aim = state.aim && { ...state.aim };
    this.ordered = state.ordered;
  }

  remember() {
    this.past.push(this.snapshot());
    if (this.past.length > 200) this.past.shift();
    this.future = [];
  }

  forget() { // a gesture that was broken off leaves no step behind
    if (this.past.length) this.restore(this.past.pop());
  }

  undo() {
    if (!this.past.length) return false;
    this.future.push(this.snapshot());
    this.restore(this.past.pop());
    return true;
  }

  redo() {
    if (!this.future.length) return false;
    this.past.push(this.snapshot());
    this.restore(this.future.pop());
    return true;
  }

  get(id) { return this.points.find((p) => p.id === id) || null; }
  live() { return this.points.filter((p) => !p.removed); }
  numberOf(id) { return this.live().findIndex((p) => p.id === id) + 1; }

  kind(p) {
    if (p.removed) return "removed";
    if (!p.auto) return "added";
    return Math.hypot(p.x - p.auto[0], p.y - p.auto[1]) > MOVED_PX ? "moved" : "found";
  }

  doubted(p) { return Boolean(p.doubt) && this.kind(p) === "found"; } // who touched it has looked

  add(x, y, labels = {}) {
    this.remember();
    const point = { id: `u${this.nextId++}`, x, y, auto: null, head: "", arrow: "", flyer: false, why: "", removed: false, ...labels };
    this.ordered = false; // nobody said when it was shot
    const firstRemoved = this.points.findIndex((p) => p.removed);
    this.points.splice(firstRemoved < 0 ? this.points.length : firstRemoved, 0, point);
    return point;
  }

  remove(id) {
    const p = this.get(id);
    if (!p) return;
    this.remember();
    this.points = this.points.filter((q) => q.id !== id);
    if (p.auto) this.points.push({ ...p, removed: true });
  }

  putBack(id) {
    const p = this.get(id);
    if (!p || !p.removed) return;
    this.remember();
    this.ordered = false;
    this.points = [...this.live(), { ...p, removed: false }, ...this.points.filter((q) => q.removed && q.id !== id)];
  }

  revert(id) {
    const p = this.get(id);
    if (!p || !p.auto) return;
    this.remember();
    [p.x, p.y] = p.auto;
  }

  label(id, labels) {
    const p = this.get(id);
    if (!p || Object.entries(labels).every(([key, value]) => p[key] === value)) return false;
    this.remember();
    Object.assign(p, labels);
    return true;
  }

  labelAll(labels) { // one step to undo, however many holes
    const some = this.live().filter((p) => Object.entries(labels).some(([key, value]) => p[key] !== value));
    if (!some.length) return false;
    this.remember();
    for (const p of some) Object.assign(p, labels);
    return true;
  }

  placeAs(id, number) { // the hole `id` becomes shot `number`; the others keep their order
    const p = this.get(id);
    if (!p || p.removed) return;
    this.remember();
    const rest = this.live().filter((q) => q.id !== id);
    rest.splice(number - 1, 0, p);
    this.points = [...rest, ...this.points.filter((q) => q.removed)];
    if (number === rest.length) this.ordered = true; // the last one was told
  }

  counts() {
    const out = { found: 0, moved: 0, added: 0, removed: 0, flyers: 0 };
    for (const p of this.points) {
      out[this.kind(p)] += 1;
      if (p.flyer && !p.removed) out.flyers += 1;
    }
    return out;
  }

  report() {
    return {
      points: this.points.map(({ id, x, y, head, arrow, flyer, why, removed }) => ({
        id, x: Number(x.toFixed(3)), y: Number(y.toFixed(3)), head, arrow, flyer: Boolean(flyer), why: why || "", removed,
      })),
      ordered: this.ordered,
      aim: this.aim && { x: Number(this.aim.x.toFixed(3)), y: Number(this.aim.y.toFixed(3)) },
    };
  }
}

// The arrows' own order where they are known; else "A7" is followed by "A8", "12" by "13"; a label
// without a number stays.
function nextLabel(text, known = []) {
  const place = known.indexOf(text);
  if (place >= 0 && place + 1 < known.length) return known[place + 1];
  const tail = /^(.*?)(\d+)$/.exec(text);
  if (!tail) return text;
  const next = String(Number(tail[2]) + 1);
  return tail[1] + next.padStart(tail[2].length, "0");
}
