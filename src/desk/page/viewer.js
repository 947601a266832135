// The photo with everything drawn on it: zooming, moving, and pointing. It reports points; the program computes.

import * as api from "./api.js";
import { h, notify, svg } from "./dom.js";

const MOST_ZOOM = 16;
const PREVIEW_SIDE = 1600;
const NEAR_PX = 40;
const STEP_PX = 60;

/** Lines and marks grow with the text, as on a very large screen. */
const textScale = () => parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
const path = (points, closed) =>
  points.length ? `M${points.map(([x, y]) => `${x} ${y}`).join("L")}${closed ? "Z" : ""}` : "";
const line = (points, of, closed) => svg("path", { d: path(points, closed), class: `halo ${of}` });

export class Viewer {
  /** `on` has endsMoved(ends, done), edgeShown(hint), stretchHidden(stretch) and toolLeft(). */
  constructor(photo, on) {
    this.on = on;
    this.tool = "look";
    this.part = "seat";
    this.pointers = new Map();
    this.fitted = true;
    this.image = h("img", { alt: `Photo ${photo.file}`, draggable: "false" });
    this.drawn = svg("g", {});
    this.marks = svg("g", {});
    this.cross = svg("g", { class: "cross", visibility: "hidden" },
      svg("path", { d: "M-1000000 0H1000000M0 -1000000V1000000" }));
    this.sheet = svg("svg", { class: "lines", "aria-hidden": "false", role: "group", "aria-label": "Lines found in the photo" },
      this.drawn, this.marks, this.cross);
    this.canvas = h("div", { class: "canvas" }, this.image, this.sheet);
    this.view = h("div", {
      class: "view", tabindex: "0", role: "application",
      "aria-label": "The photo. Arrow keys move it, plus and minus zoom, 0 shows all of it. With a tool chosen the arrow keys move a cross and Enter places it.",
    }, this.canvas);
    this.scaleLabel = h("output", { class: "scale" });
    this.element = h("div", { class: "viewer" }, this.view, this.zoomButtons());
    this.listen();
    this.show(photo);
    new ResizeObserver(() => (this.fitted ? this.fit() : this.place())).observe(this.view);
  }

  zoomButtons() {
    const button = (label, name, act) => h("button", { type: "button", "aria-label": name, title: name, onclick: act }, label);
    return h("div", { class: "zoom", role: "group", "aria-label": "Zoom" },
      button("−", "Zoom out", () => this.zoom(1 / 1.4)), this.scaleLabel, button("+", "Zoom in", () => this.zoom(1.4)),
      button("All", "All of the photo", () => this.fit()), button("1:1", "1:1, one pixel per pixel", () => this.zoomTo(1)));
  }

  show(photo) {
    const fresh = this.photo?.id !== photo.id;
    this.photo = photo;
    if (!photo.size_px) return;
    const [w, hgt] = photo.size_px;
    if (fresh || !this.size) {
      this.size = [w, hgt];
      this.image.removeAttribute("src");
      this.fullSize = false;
      this.load(PREVIEW_SIDE);
      this.canvas.style.width = `${w}px`;
      this.canvas.style.height = `${hgt}px`;
      // The centre of the top-left pixel is the origin.
      this.sheet.setAttribute("viewBox", `-0.5 -0.5 ${w} ${hgt}`);
      this.fit();
    }
    this.draw();
  }

  draw() {
    const { drawing, edits } = this.photo;
    this.refocus ??= document.activeElement?.closest?.("[data-end]")?.dataset.end;
    this.drawn.replaceChildren();
    this.marks.replaceChildren();
    const midline = this.ends();
    if (drawing) this.drawFound(drawing, midline);
    else if (midline) this.drawn.append(line(midline, "midline"));
    for (const hint of edits.hints) this.marks.append(this.mark(hint.px, "hint", 6));
    if (this.first) this.marks.append(this.mark(this.first.px, "first", 6));
    (midline ?? []).forEach((end, i) => this.marks.append(this.handle(end, i)));
    this.restoreFocus();
    this.resize();
  }

  /** Both ends of the midline: as dragged, as found, or as set by the user of a refused photo. */
  ends() {
    return this.dragged?.ends ?? this.photo.drawing?.midline ?? this.photo.edits.ends;
  }

  drawFound(drawing, midline) {
    for (const card of drawing.cards) {
      this.drawn.append(line(card.outline, "card", true), ...card.tags.map((t) => line(t, "tag", true)));
    }
    for (const station of drawing.stations) this.drawn.append(line(station.ends, "station"));
    if (midline) this.drawn.append(line(midline, "midline"));
    for (const doubt of drawing.doubts) this.drawn.append(line(doubt, "doubt"));
    for (const edge of drawing.edges) {
      this.drawn.append(svg("path", { d: path(edge.points), class: `under` }), line(edge.points, `edge ${edge.part}`));
    }
    for (const named of drawing.named) this.drawn.append(line(named.ends, "named"));
  }

  mark([x, y], of, r) {
    return svg("circle", { cx: x, cy: y, class: of, "data-r": r });
  }

  handle([x, y], index) {
    const name = index === 0 ? "Front end of the midline" : "Rear end of the midline";
    const label = svg("text", { x, y, "data-dy": -18, "text-anchor": "middle" }, index === 0 ? "front" : "rear");
    const dot = this.mark([x, y], "end", 11);
    const group = svg("g", {
      class: "handle", tabindex: "0", role: "button", "data-end": index, "aria-label": `${name}: arrow keys move it`,
      onkeydown: (event) => this.nudge(event, index),
    }, dot, label);
    return group;
  }

  /** Marks keep their size on the screen whatever the zoom. */
  resize() {
    if (!this.scale) return;
    const unit = textScale() / this.scale;
    for (const dot of this.sheet.querySelectorAll("[data-r]")) dot.setAttribute("r", dot.dataset.r * unit);
    for (const text of this.sheet.querySelectorAll("[data-dy]")) {
      text.setAttribute("dy", text.dataset.dy * unit);
      text.setAttribute("font-size", 13 * unit);
    }
  }

  nudge(event, index) {
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!by) return;
    event.preventDefault();
    event.stopPropagation();
    const step = event.shiftKey ? 10 : 1;
    const ends = this.ends().map((end) => [...end]);
    ends[index] = [ends[index][0] + by[0] * step, ends[index][1] + by[1] * step];
    this.refocus = index;
    this.on.endsMoved(ends, true);
  }

  /** Gives the focus back to the handle that was moved, after redrawing. */
  restoreFocus() {
    if (this.refocus === undefined) return;
    this.sheet.querySelector(`[data-end="${this.refocus}"]`)?.focus();
    this.refocus = undefined;
  }

  setTool(tool) {
    this.tool = tool;
    this.first = null;
    this.view.dataset.tool = tool;
    this.cross.setAttribute("visibility", "hidden");
    this.crossAt = null;
    this.draw();
  }

  // Zoom and position.

  fit() {
    if (!this.size) return;
    const [w, hgt] = this.size;
    const box = this.view.getBoundingClientRect();
    if (!box.width) return;
    this.scale = Math.min(box.width / w, box.height / hgt);
    this.x = (box.width - w * this.scale) / 2;
    this.y = (box.height - hgt * this.scale) / 2;
    this.fitted = true;
    this.place();
  }

  place() {
    if (!this.scale) return;
    this.canvas.style.setProperty("--thick", textScale() / this.scale);
    this.canvas.style.transform = `translate(${this.x}px, ${this.y}px) scale(${this.scale})`;
    this.scaleLabel.textContent = `${Math.round(this.scale * 100)} %`;
    this.canvas.classList.toggle("pixels", this.scale >= 2);
    const shownSide = PREVIEW_SIDE / Math.max(...this.size);
    if (!this.fullSize && this.scale * devicePixelRatio > shownSide * 1.2) {
      this.fullSize = true;
      this.load();
    }
    this.resize();
  }

  /** Loads the picture at full size or reduced; a late answer replaces neither another photo nor the full size. */
  async load(side) {
    const { id } = this.photo;
    try {
      const image = new Image();
      image.src = await api.picture(id, side);
      await image.decode();
      if (this.photo.id === id && (!side || !this.fullSize || !this.image.src)) this.image.src = image.src;
    } catch {
      if (this.photo.id === id && !side) this.fullSize = false;
    }
  }

  zoom(by, at) {
    const box = this.view.getBoundingClientRect();
    this.zoomTo(this.scale * by, at ?? [box.width / 2, box.height / 2]);
  }

  zoomTo(scale, at) {
    const box = this.view.getBoundingClientRect();
    const [px, py] = at ?? [box.width / 2, box.height / 2];
    const least = Math.min(box.width / this.size[0], box.height / this.size[1]) * 0.5;
    const next = Math.min(MOST_ZOOM, Math.max(least, scale));
    this.x = px - ((px - this.x) * next) / this.scale;
    this.y = py - ((py - this.y) * next) / this.scale;
    this.scale = next;
    this.fitted = false;
    this.place();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.fitted = false;
    this.place();
  }

  toPhoto(clientX, clientY) {
    const box = this.view.getBoundingClientRect();
    return [(clientX - box.left - this.x) / this.scale - 0.5, (clientY - box.top - this.y) / this.scale - 0.5];
  }

  // Input.

  listen() {
    this.view.addEventListener("wheel", (event) => {
      event.preventDefault();
      const box = this.view.getBoundingClientRect();
      this.zoom(Math.exp(-event.deltaY * 0.0016), [event.clientX - box.left, event.clientY - box.top]);
    }, { passive: false });
    this.view.addEventListener("pointerdown", (event) => this.down(event));
    this.view.addEventListener("pointermove", (event) => this.move(event));
    for (const kind of ["pointerup", "pointercancel"]) this.view.addEventListener(kind, (event) => this.up(event));
    this.view.addEventListener("keydown", (event) => this.key(event));
  }

  down(event) {
    if (!this.scale || event.button > 0) return;
    this.view.setPointerCapture(event.pointerId);
    // The ends are handles for the first tool only.
    const handle = this.tool === "look" && event.target.closest?.(".handle");
    this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.pointers.size > 1) {
      this.dragged = null;
    } else {
      this.dragged = { at: [event.clientX, event.clientY], moved: false, end: handle ? Number(handle.dataset.end) : null };
      if (handle) this.dragged.ends = this.ends().map((end) => [...end]);
    }
  }

  move(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const now = [event.clientX, event.clientY];
    if (this.pointers.size === 2) return this.pinch(event.pointerId, now);
    this.pointers.set(event.pointerId, now);
    if (!this.dragged) return;
    if (Math.hypot(now[0] - this.dragged.at[0], now[1] - this.dragged.at[1]) > 4) this.dragged.moved = true;
    if (!this.dragged.moved) return;
    if (this.dragged.end !== null) {
      this.dragged.ends[this.dragged.end] = this.toPhoto(...now);
      this.draw();
      this.on.endsMoved(this.dragged.ends, false);
    } else {
      this.pan(now[0] - before[0], now[1] - before[1]);
    }
  }

  pinch(id, now) {
    const [other] = [...this.pointers].filter(([key]) => key !== id).map(([, at]) => at);
    const before = this.pointers.get(id);
    this.pointers.set(id, now);
    const apart = (a) => Math.max(10, Math.hypot(a[0] - other[0], a[1] - other[1]));
    const box = this.view.getBoundingClientRect();
    const middle = [(now[0] + other[0]) / 2 - box.left, (now[1] + other[1]) / 2 - box.top];
    this.pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
    this.zoom(apart(now) / apart(before), middle);
  }

  up(event) {
    this.pointers.delete(event.pointerId);
    const dragged = this.dragged;
    this.dragged = null;
    if (!dragged || event.type === "pointercancel") return;
    if (dragged.end !== null && dragged.moved) this.on.endsMoved(dragged.ends, true);
    else if (!dragged.moved && dragged.end === null) this.point(this.toPhoto(event.clientX, event.clientY));
  }

  key(event) {
    const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (by && this.tool !== "look") this.moveCross(by, event.shiftKey ? 40 : 4);
    else if (by) this.pan(-by[0] * STEP_PX, -by[1] * STEP_PX);
    else if (event.key === "+" || event.key === "=") this.zoom(1.4);
    else if (event.key === "-") this.zoom(1 / 1.4);
    else if (event.key === "0") this.fit();
    else if (event.key === "Enter" && this.crossAt) this.point(this.crossAt);
    else if (event.key === "Escape") this.on.toolLeft();
    else return;
    event.preventDefault();
  }

  moveCross([dx, dy], step) {
    const box = this.view.getBoundingClientRect();
    const [x, y] = this.crossAt ?? this.toPhoto(box.left + box.width / 2, box.top + box.height / 2);
    this.crossAt = [x + (dx * step) / this.scale, y + (dy * step) / this.scale];
    this.cross.setAttribute("transform", `translate(${this.crossAt[0]} ${this.crossAt[1]})`);
    this.cross.setAttribute("visibility", "visible");
  }

  point(px) {
    if (this.tool === "edge") this.on.edgeShown({ part: this.part, px });
    else if (this.tool === "hide") this.hideStretch(px);
    else if (this.tool === "ends") this.showEnd(px);
  }

  /** The front end, then the rear end. */
  showEnd(px) {
    if (!this.first) {
      this.first = { px };
      this.draw();
      return notify("Now click the rear end (cantle).");
    }
    const ends = [this.first.px, px];
    this.first = null;
    this.on.endsMoved(ends, true);
    this.on.toolLeft();
  }

  /** Two points on one edge delimit a stretch. */
  hideStretch(px) {
    const same = this.first;
    const found = this.nearest(px, same);
    if (!found) return notify("Click on a traced edge: first where the hidden stretch begins, then where it ends.");
    if (!same) {
      this.first = found;
      this.draw();
      return notify("Now click the other end of the hidden stretch.");
    }
    this.first = null;
    const [from, to] = [same.at, found.at].sort((a, b) => a - b);
    if (to > from) this.on.stretchHidden({ part: same.part, side: same.side, from, to });
  }

  nearest([x, y], same) {
    let best = null;
    let apart = NEAR_PX / this.scale;
    for (const edge of this.photo.drawing?.traced ?? []) {
      if (same && (edge.part !== same.part || edge.side !== same.side)) continue;
      for (const [ex, ey, at] of edge.points) {
        const d = Math.hypot(ex - x, ey - y);
        if (d < apart) {
          apart = d;
          best = { part: edge.part, side: edge.side, at, px: [ex, ey] };
        }
      }
    }
    return best;
  }
}
