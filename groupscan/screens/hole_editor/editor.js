// Gestures, tools and the wire to Python. One editor object stands on each
// mounted root: Streamlit calls the default export again at every change of
// `data`, so it updates and never rebuilds; zoom and a drag under way survive.

const SLOP = 6; // px on screen; less is a tap
const REACH = { mouse: 15, pen: 20, touch: 28 };
const SNAP = 9; // px on screen within which the aim sits down on a printed aim
const AIM = "aim";

function createEditor(root) {
  const $ = (selector) => root.querySelector(selector);
  const stage = $(".stage"), image = $(".photo"), svg = $(".marks"), loupe = $(".loupe");
  const status = $(".status"), strip = $(".strip"), key = $(".key");
  const head = strip.elements.head, arrow = strip.elements.arrow, why = strip.elements.why;
  const abort = new AbortController();
  const on = (el, type, fn, options = {}) => el.addEventListener(type, fn, { signal: abort.signal, ...options });
  const model = new HoleModel(), camera = new Camera(), fingers = new Map();
  let data = null, emit = () => {}, seq = 0, rev = null, lineage = null, stamp = null;
  let mode = "move", chosen = null, next = 1, framed = false, touched = false, wide = false, gesture = null, lastType = "mouse", frame = 0, timer = 0;

  const marking = () => data && data.mode === "marks";
  const stroke = (name) => getComputedStyle(root).getPropertyValue(`--he-${name}`).trim();
  const local = (e) => { const box = stage.getBoundingClientRect(); return [e.clientX - box.left, e.clientY - box.top]; };

  // ---- drawing -------------------------------------------------------------
  function draw() { if (!frame) frame = requestAnimationFrame(() => { frame = 0; paint(); }); }

  function paint() {
    if (!data || !camera.w) return;
    const s = camera.width / (image.naturalWidth || camera.width);
    image.style.transform = `translate(${camera.tx}px,${camera.ty}px) scale(${camera.k * s})`;
    image.style.imageRendering = camera.k * s > 4 ? "pixelated" : "auto";
    svg.replaceChildren(...(marking() ? markLayer() : holeLayer()));
    tools();
  }

  function holeLayer() {
    const live = model.live().map((p) => camera.toScreen(p));
    const middle = [0, 1].map((i) => live.reduce((sum, q) => sum + q[i], 0) / (live.length || 1));
    const ghosts = (data.aims || []).map((p) => reticle(camera, p, "ghost"));
    const order = [...model.points].sort((a, b) => (a.id === chosen) - (b.id === chosen) || b.removed - a.removed);
    const aim = model.aim ? [reticle(camera, model.aim, chosen === AIM ? "aim sel" : "aim")] : [];
    const sheet = data.outlines && data.outlines.length ? [sheetOutline(camera, data.outlines)] : [];
    return [...sheet, ...ghosts, ...aim, ...order.map((p) => holeMark(camera, model, p, middle, p.id === chosen))];
  }

  function markLayer() {
    const names = data.marks.names, spots = model.points.map((p) => camera.toScreen(p).map((v) => v.toFixed(1)).join(" "));
    const closed = spots.length === names.length && names.length > 2 ? "Z" : "";
    const d = spots.length > 1 ? `M${spots.join("L")}${closed}` : "";
    return [
      element("path", { class: "halo", d }), element("path", { class: "span", d }),
      ...model.points.map((p, i) => scaleMark(camera, p, names[i], p.id === chosen)),
    ];
  }

  function tools() {
    const set = (act, property, value) => { const b = $(`[data-act="${act}"]`); b[property] = value; };
    for (const act of ["add", "number", "stamp", "flyer"]) $(`[data-act="${act}"]`).setAttribute("aria-pressed", String(mode === act));
    const p = model.get(chosen);
    set("undo", "disabled", !model.past.length);
    set("redo", "disabled", !model.future.length);
    set("clear", "disabled", !model.points.length);
    set("remove", "disabled", !p);
    $('[data-act="remove"] span').textContent = p && p.removed ? "Put back" : "Remove";
    set("revert", "hidden", !p || mode !== "move" || model.kind(p) !== "moved");
    set("all", "hidden", mode !== "stamp");
    head.hidden = arrow.hidden = mode === "flyer";
    why.hidden = mode !== "flyer" && !(p && p.flyer && mode !== "stamp");
    $(".doubt-key").hidden = !model.points.some((p) => model.doubted(p));
    $(".sheet-key").hidden = !(data.outlines && data.outlines.length);
    stage.classList.toggle("placing", mode === "add" || marking());
    strip.hidden = marking() || (mode !== "stamp" && mode !== "flyer" && (!p || p.removed));
    key.hidden = !strip.hidden;
    const said = sentence();
    if (status.textContent !== said) status.textContent = said;
  }

  function describe(p) {
    const words = { found: "found by the scan", moved: "moved by you", added: "added by you" }[model.kind(p)];
    if (!words) return "A hole that was taken out. Put back lets it count again.";
    const doubt = model.doubted(p) ? ", unsure: please check" : "";
    const flyer = p.flyer ? `, a flyer${p.why ? `: ${p.why}` : ""}` : "";
    return `Hole ${model.numberOf(p.id)}: ${words}${doubt}${p.note ? ` (${p.note})` : ""}${flyer}`;
  }

  function sentence() {
    if (marking()) {
      const left = data.marks.names[model.points.length];
      return left ? `Tap ${data.marks.prompts[model.points.length]} (mark ${left}).` : "All marks set. Drag one to make it exact.";
    }
    const n = model.live().length;
    if (mode === "add") return "Tap where an arrow went in. Press and hold to see it magnified.";
    if (mode === "number") return `Tap the hole of shot ${next} of ${n}.`;
    if (mode === "flyer") return "Say why, then tap each flyer. Tap it again and it is none.";
    if (mode === "stamp") return "Fill in, then tap each hole. A number at the end counts up.";
    if (model.get(chosen)) return describe(model.get(chosen));
    if (chosen === AIM) return "The aim. Drag it, or use the arrow keys.";
    if (!n) return "No holes yet. Choose Add and tap where the arrows went in.";
    const c = model.counts(), parts = [`${n} ${n === 1 ? "hole" : "holes"}`];
    for (const kind of ["moved", "added", "removed"]) if (c[kind]) parts.push(`${c[kind]} ${kind}`);
    if (c.flyers) parts.push(c.flyers === 1 ? "1 flyer" : `${c.flyers} flyers`);
    if (data.expected && data.expected !== n) parts.push(`${data.expected} arrows shot`);
    return parts.join(" · ");
  }

  // ---- the wire ------------------------------------------------------------
  function commit(delay = 0) { // one value for each finished gesture: one rerun
    clearTimeout(timer);
    if (delay) timer = setTimeout(send, delay); else send();
    draw();
  }
  function send() {
    timer = 0;
    emit("edit", { image_id: data.image_id, rev, seq: ++seq, ...model.report() });
  }
  const flush = () => { if (timer) { clearTimeout(timer); send(); } };

  function choose(id) {
    chosen = id;
    const p = model.get(id);
    if (p && mode !== "stamp") { head.value = p.head || ""; arrow.value = p.arrow || ""; }
    if (p && p.flyer && mode === "move") why.value = p.why || "";
    draw();
  }

  function setMode(name) {
    mode = mode === name ? "move" : name;
    if (mode === "number") next = 1;
    if (mode === "stamp") { // goes on where it stopped, or as the last end was labelled
      stamp ??= { head: data.defaults.head, arrow: data.defaults.arrows[0] || "" };
      head.value = stamp.head;
      arrow.value = stamp.arrow;
    }
    choose(mode === "move" ? chosen : null);
  }

  // ---- strokes -------------------------------------------------------------
  function place(p) {
    if (!camera.inside(p)) return;
    if (marking()) {
      if (model.points.length >= data.marks.names.length) return;
      choose(model.add(p.x, p.y).id);
    } else choose(model.add(p.x, p.y, { r: data.radius }).id);
    commit();
  }

  function tapHole(p) {
    if (mode === "number" && !p.removed) {
      model.placeAs(p.id, next);
      next += 1;
      if (next > model.live().length) mode = "move";
      choose(p.id);
      commit();
    } else if (mode === "stamp" && !p.removed) {
      const changed = model.label(p.id, { head: head.value.trim(), arrow: arrow.value.trim() });
      chosen = p.id;
      arrow.value = nextLabel(arrow.value.trim(), data.defaults.arrows);
      stamp = { head: head.value.trim(), arrow: arrow.value };
      if (changed) commit(); else draw();
    } else if (mode === "flyer" && !p.removed) {
      const said = why.value.trim(), same = p.flyer && (p.why || "") === said;
      model.label(p.id, same ? { flyer: false, why: "" } : { flyer: true, why: said });
      chosen = p.id;
      commit();
    } else choose(p.id);
  }

  function removeChosen() {
    const p = model.get(chosen);
    if (!p) return;
    if (p.removed) model.putBack(p.id); else { model.remove(p.id); chosen = null; }
    commit();
  }

  function step(back) {
    if (!(back ? model.undo() : model.redo())) return;
    if (chosen !== AIM && !model.get(chosen)) chosen = null;
    choose(chosen);
    commit();
  }

  const actions = {
    add: () => setMode("add"), number: () => setMode("number"), stamp: () => setMode("stamp"), flyer: () => setMode("flyer"),
    all: () => { stamp = { head: head.value.trim(), arrow: arrow.value.trim() }; if (model.labelAll({ head: stamp.head })) commit(); },
    remove: removeChosen, undo: () => step(true), redo: () => step(false),
    revert: () => { if (model.get(chosen)) { model.revert(chosen); commit(); } },
    clear: () => { model.remember(); model.points = []; chosen = null; commit(); },
    in: () => { touched = true; camera.zoomAt(camera.w / 2, camera.h / 2, 1.5); draw(); },
    out: () => { touched = true; camera.zoomAt(camera.w / 2, camera.h / 2, 1 / 1.5); draw(); },
    fit: () => { touched = true; wide = !wide; if (wide) camera.frameAll(); else camera.frameHoles(interest()); draw(); },
  };
  on(root, "click", (e) => { const b = e.target.closest("button[data-act]"); if (b) actions[b.dataset.act](); });
  on(strip, "submit", (e) => { e.preventDefault(); e.target.querySelector(":focus")?.blur(); });
  on(strip, "change", () => {
    if (mode === "stamp") { stamp = { head: head.value.trim(), arrow: arrow.value.trim() }; return; }
    const p = model.get(chosen), labels = { head: head.value.trim(), arrow: arrow.value.trim() };
    if (mode === "flyer" || !p) return;
    if (model.label(chosen, p.flyer ? { ...labels, why: why.value.trim() } : labels)) commit();
  });

  // ---- fingers, mouse and pen ------------------------------------------------
  function nearest(sx, sy, type) {
    let best = null, reach = REACH[type] || REACH.mouse;
    const candidates = model.points.map((p) => [p.id, p]);
    if (!marking() && model.aim) candidates.push([AIM, model.aim]);
    for (const [id, p] of candidates) {
      const [x, y] = camera.toScreen(p), d = Math.hypot(x - sx, y - sy) + (p.removed ? 6 : 0);
      if (d < reach) { best = { id, p }; reach = d; }
    }
    return best;
  }

  const spread = () => {
    const [a, b] = [...fingers.values()];
    return { d: Math.hypot(a.x - b.x, a.y - b.y), x: (a.x + b.x) / 2, y: (a.y + b.y) / 2 };
  };

  function magnify(p, touch, x) { // a scale mark is worth a closer look whatever points at it
    if (!p || !(touch || marking()) || !camera.inside(p)) { loupe.hidden = true; return; }
    const side = x > camera.w / 2 ? "left" : "right";
    drawLoupe(loupe, image, camera, p, { stroke: stroke("loupe"), radius: marking() || chosen === AIM ? 0 : data.radius, side });
  }

  function breakOff() {
    if (gesture && gesture.type === "drag" && gesture.moved) model.forget();
    clearTimeout(gesture && gesture.hold);
    gesture = null;
    loupe.hidden = true;
  }

  on(stage, "pointerdown", (e) => {
    if (e.target.closest(".zoom") || (e.pointerType === "mouse" && e.button > 1)) return;
    stage.focus({ preventScroll: true });
    touched = true;
    stage.setPointerCapture(e.pointerId);
    const [x, y] = local(e), touch = e.pointerType !== "mouse";
    lastType = e.pointerType;
    fingers.set(e.pointerId, { x, y });
    if (fingers.size > 1) {
      breakOff();
      if (fingers.size === 2) gesture = { type: "pinch", ...spread() };
      draw();
      return;
    }
    const hit = e.button === 1 ? null : nearest(x, y, e.pointerType);
    if (hit) {
      const [px, py] = camera.toScreen(hit.p);
      gesture = { type: "drag", id: hit.id, ox: px - x, oy: py - y, x, y, touch, moved: false };
      if (mode === "move" || mode === "add") choose(hit.id);
    } else if ((mode === "add" || marking()) && e.button === 0) {
      gesture = { type: "place", x, y, touch };
      gesture.hold = setTimeout(() => magnify(camera.toPhoto(gesture.x, gesture.y), touch, gesture.x), 160);
    } else gesture = { type: "pan", x, y, moved: false, page: touch && camera.fitted };
  });
  // A thumb that swipes up or down over a photo as Fit put it scrolls the page; what holds a hole,
  // sets one, or moves a photo that was zoomed or moved already, keeps the page still.
  on(stage, "touchstart", (e) => {
    const page = e.target.closest(".zoom") || (gesture && gesture.page && e.touches.length === 1);
    if (!page && e.cancelable) e.preventDefault();
  }, { passive: false });

  on(stage, "pointermove", (e) => {
    const before = fingers.get(e.pointerId);
    const [x, y] = local(e);
    if (!before) {
      if (marking() && e.pointerType === "mouse") magnify(e.target.closest(".zoom") ? null : camera.toPhoto(x, y), false, x);
      return;
    }
    fingers.set(e.pointerId, { x, y });
    if (!gesture) return;
    if (gesture.type === "pinch") {
      const s = spread();
      camera.pan(s.x - gesture.x, s.y - gesture.y);
      if (gesture.d > 0) camera.zoomAt(s.x, s.y, s.d / gesture.d);
      Object.assign(gesture, s);
    } else if (gesture.type === "place") {
      if (Math.hypot(x - gesture.x, y - gesture.y) > 1) magnify(camera.toPhoto(x, y), gesture.touch, x);
      Object.assign(gesture, { x, y });
    } else {
      if (!gesture.moved) {
        if (Math.hypot(x - gesture.x, y - gesture.y) < SLOP) return;
        gesture.moved = true;
        if (gesture.type === "drag") { chosen = gesture.id; model.remember(); }
      }
      if (gesture.type === "pan") camera.pan(x - before.x, gesture.page ? 0 : y - before.y);
      else dragTo(camera.toPhoto(x + gesture.ox, y + gesture.oy), gesture, x);
    }
    draw();
  });

  function dragTo(q, g, x) {
    if (!camera.inside(q)) return;
    if (g.id === AIM) {
      const [qx, qy] = camera.toScreen(q);
      const printed = (data.aims || []).find((a) => { const [ax, ay] = camera.toScreen(a); return Math.hypot(ax - qx, ay - qy) < SNAP; });
      model.aim = printed ? { x: printed.x, y: printed.y } : q;
    } else Object.assign(model.get(g.id), q);
    magnify(q, g.touch, x);
  }

  function lift(e) {
    if (!fingers.delete(e.pointerId) || !gesture) return;
    const g = gesture, [x, y] = local(e);
    if (g.type === "pinch") { // the finger that stays goes on panning
      gesture = fingers.size === 1 ? { type: "pan", moved: true } : null;
      return;
    }
    if (e.type === "pointercancel") { breakOff(); draw(); return; }
    clearTimeout(g.hold);
    gesture = null;
    loupe.hidden = true;
    if (g.type === "drag" && g.moved) commit();
    else if (g.type === "drag") { if (g.id === AIM) choose(AIM); else tapHole(model.get(g.id)); }
    else if (g.type === "place") place(camera.toPhoto(x, y));
    else if (!g.moved) choose(null);
  }
  on(stage, "pointerup", lift);
  on(stage, "pointercancel", lift);
  on(stage, "pointerleave", () => { if (!gesture) loupe.hidden = true; });
  on(stage, "blur", flush);
  on(stage, "dblclick", (e) => {
    const [x, y] = local(e);
    if (mode === "move" && lastType === "mouse" && !marking() && !e.target.closest(".zoom") && !nearest(x, y, "mouse")) place(camera.toPhoto(x, y));
  });
  on(stage, "wheel", (e) => {
    e.preventDefault();
    touched = true;
    camera.zoomAt(...local(e), Math.exp(-e.deltaY * (e.ctrlKey ? 0.01 : 0.0015)));
    draw();
  }, { passive: false });

  // ---- keys ----------------------------------------------------------------
  on(root, "keydown", (e) => { e.stopPropagation(); }); // else the app's own R and C shortcuts fire
  on(stage, "keydown", (e) => {
    const p = chosen === AIM ? model.aim : model.get(chosen), far = e.shiftKey ? 5 : 0.5;
    const move = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    const key = e.key.toLowerCase(), command = e.ctrlKey || e.metaKey;
    if (move && p && !p.removed) {
      const q = { x: p.x + far * move[0], y: p.y + far * move[1] };
      if (!camera.inside(q)) return;
      if (!timer) model.remember(); // a run of nudges is one step to undo
      Object.assign(chosen === AIM ? model.aim : model.get(chosen), q);
      commit(400);
    } else if (command && key === "z") step(!e.shiftKey);
    else if (command && key === "y") step(false);
    else if (command) return;
    else if (e.key === "Delete" || e.key === "Backspace") removeChosen();
    else if (key === "n" && model.live().length) {
      const live = model.live(), i = live.findIndex((q) => q.id === chosen), d = e.shiftKey ? -1 : 1;
      choose(live[(Math.max(i, e.shiftKey ? 0 : -1) + d + live.length) % live.length].id);
    } else if (key === "a" && !marking()) setMode("add");
    else if (key === "f" && !marking()) setMode("flyer");
    else if (key === "0") actions.fit();
    else if (key === "+" || key === "=") actions.in();
    else if (key === "-") actions.out();
    else if (e.key === "Escape") { mode = "move"; choose(null); } else return;
    e.preventDefault();
  });

  // ---- size and picture ------------------------------------------------------
  const interest = () => (marking() ? [] : [...model.live(), ...(model.aim ? [model.aim] : [])]);
  function settle() {
    if (!(framed && touched) && data && camera.w && image.naturalWidth) { framed = true; wide = false; camera.frameHoles(interest()); }
    draw();
  }
  on(image, "load", settle);
  const watch = new ResizeObserver(() => {
    const w = stage.clientWidth, h = stage.clientHeight;
    if (!w || !h) return;
    if (camera.w) { camera.tx += (w - camera.w) / 2; camera.ty += (h - camera.h) / 2; }
    camera.w = w;
    camera.h = h;
    camera.hold();
    settle();
  });
  watch.observe(stage);

  return {
    update(fresh, setStateValue) {
      emit = setStateValue;
      const newPhoto = !data || fresh.image_id !== data.image_id, newMode = data && fresh.mode !== data.mode;
      data = fresh;
      root.classList.toggle("marking", marking());
      stage.setAttribute("aria-label", data.label);
      if (newPhoto || newMode) { rev = lineage = stamp = null; mode = "move"; chosen = null; breakOff(); }
      if (newPhoto) { framed = touched = false; camera.width = data.width; camera.height = data.height; image.src = data.src; }
      if (data.rev !== rev) { // Python overrules the page only when it says so
        rev = data.rev;
        breakOff();
        model.take(data.points, data.aim, data.ordered, lineage === data.lineage);
        lineage = data.lineage;
        if (chosen !== AIM && !model.get(chosen)) chosen = null;
      }
      $("datalist").replaceChildren(...(data.heads || []).map((value) => Object.assign(document.createElement("option"), { value })));
      draw();
    },
    zoom: () => camera.k,
    photoWidth: () => camera.width,
    destroy() { flush(); cancelAnimationFrame(frame); watch.disconnect(); abort.abort(); },
  };
}

export default function ({ parentElement, data, setStateValue }) {
  const root = parentElement.querySelector(".he");
  root.editor ??= createEditor(root);
  root.editor.update(data, setStateValue);
  return () => { root.editor?.destroy(); delete root.editor; };
}
