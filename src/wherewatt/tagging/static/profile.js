// The height profile with bars of the tags below it: drawing, pointer and keys.

import { Pinch } from "./pinch.js";
import { draw, drawPatterns, fillOf } from "./svg.js";
import * as units from "./units.js";

const LEFT = 62, RIGHT = 14, TOP = 12, GAP = 6, AXIS = 24;
const SNAP_PX = 8, SNAP_M = 120, CLICK_PX = 4, LEAST_WINDOW_M = 100;
const LETTER_PX = 6.4;
const BARS = [
  { layer: "surface", words: "surface", height: 28 },
  { layer: "structure", words: "structure", height: 22 },
  { layer: "places", words: "places", height: 22 },
];

export class Profile {
  /**
   * @param host element to draw into
   * @param page what the profile is told by and tells: ride, work, choice, and what to call
   */
  constructor(host, page) {
    this.host = host;
    this.page = page;
    this.window = { from: 0, to: page.ride.total };
    this.height = 180;
    this.drag = null;
    new ResizeObserver(() => this.draw()).observe(host);
    host.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    this.pinch = new Pinch(host, this);
  }

  get plotWidth() { return this.width - LEFT - RIGHT; }
  get perPixel() { return (this.window.to - this.window.from) / this.plotWidth; }
  x(metres) { return LEFT + (metres - this.window.from) / this.perPixel; }
  y(height) { return TOP + (this.top - height) / (this.top - this.bottom) * this.height; }

  /** Distance at a place on the screen. */
  metresAt(clientX) {
    const x = clientX - this.svg.getBoundingClientRect().left;
    return this.window.from + (x - LEFT) * this.perPixel;
  }

  /** Distance under a pointer, within the ride. */
  metres(event) {
    return Math.min(this.page.ride.total, Math.max(0, this.metresAt(event.clientX)));
  }

  /** A distance drawn to an edge close by, else rounded to the metre. */
  snapped(metres) {
    const edges = [0, this.page.ride.total, ...this.page.work.edges()];
    const near = edges.reduce((best, edge) => (Math.abs(edge - metres) < Math.abs(best - metres) ? edge : best));
    if (Math.abs(near - metres) <= Math.min(SNAP_M, SNAP_PX * this.perPixel)) return near;
    return Math.min(this.page.ride.total, Math.round(metres));
  }

  zoom(factor, around = (this.window.from + this.window.to) / 2) {
    const width = this.window.to - this.window.from;
    const wanted = Math.min(this.page.ride.total, Math.max(LEAST_WINDOW_M, width * factor));
    const share = (around - this.window.from) / width;
    this.show(around - share * wanted, around + (1 - share) * wanted);
  }

  shift(share) {
    const way = (this.window.to - this.window.from) * share;
    this.show(this.window.from + way, this.window.to + way);
  }

  /** Show a distance at a place on the screen, so many metres to a pixel. */
  fit(metres, clientX, perPixel) {
    const least = LEAST_WINDOW_M / this.plotWidth;
    const per = Math.min(this.page.ride.total / this.plotWidth, Math.max(least, perPixel));
    const from = metres - (clientX - this.svg.getBoundingClientRect().left - LEFT) * per;
    this.show(from, from + per * this.plotWidth);
  }

  /** Give up a drag that has begun, for a pinch; false if that may not be. */
  letGo() {
    if (this.heldHandle) return false;
    const moved = this.drag?.moved;
    this.drag = null;
    if (moved) this.page.forget(); // what was being chosen was none
    return true;
  }

  show(from, to) {
    const total = this.page.ride.total;
    const width = Math.min(total, to - from);
    const start = Math.min(Math.max(0, from), total - width);
    this.window = { from: start, to: start + width };
    this.page.windowChanged();
  }

  draw() {
    const width = Math.round(this.host.clientWidth);
    if (width < 50) return;
    const focused = this.svg?.contains(document.activeElement) ? document.activeElement.dataset.focus : null;
    this.width = width;
    this.host.replaceChildren();
    const bars = BARS.reduce((sum, bar) => sum + bar.height + GAP, GAP);
    this.total = TOP + this.height + bars + AXIS;
    this.svg = draw(this.host, "svg", {
      viewBox: `0 0 ${width} ${this.total}`, width, height: this.total,
      role: "group", "aria-label": "Height over distance, with the tags below",
    });
    drawPatterns(this.svg, this.page.ride.view.surfaces, "profile");
    const clip = draw(draw(this.svg, "defs"), "clipPath", { id: "profile-clip" });
    draw(clip, "rect", { x: LEFT, y: 0, width: this.plotWidth, height: this.total });
    this.#scale();
    this.#axes();
    this.plot = draw(this.svg, "g", { "clip-path": "url(#profile-clip)" });
    this.#areas();
    this.#pad();
    this.#bars();
    this.overlay = draw(this.svg, "g");
    this.drawChoice();
    if (focused) this.svg.querySelector(`[data-focus="${focused}"]`)?.focus({ preventScroll: true });
  }

  #scale() {
    const at = this.page.ride.between(this.window.from, this.window.to);
    this.curve = at.map((metres) => [metres, this.page.ride.heightAt(metres)]);
    const heights = this.curve.map(([, height]) => height);
    const low = Math.min(...heights);
    const high = Math.max(...heights);
    const margin = Math.max(5, (high - low) * 0.08);
    [this.bottom, this.top] = [low - margin, high + margin];
  }

  #axes() {
    const base = TOP + this.height;
    const { metres: perHeight, name } = units.heightUnit();
    for (const value of units.ticks(this.bottom / perHeight, this.top / perHeight, 4).at) {
      const y = this.y(value * perHeight);
      draw(this.svg, "line", { x1: LEFT, x2: this.width - RIGHT, y1: y, y2: y, class: "grid" });
      draw(this.svg, "text", { x: LEFT - 6, y: y + 4, class: "right" }, `${value} ${name}`.replace("-", "−"));
    }
    const per = units.metresOf(units.unit);
    const { step, at } = units.ticks(this.window.from / per, this.window.to / per, this.plotWidth / 90);
    const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
    for (const value of at) {
      const x = this.x(value * per);
      draw(this.svg, "line", { x1: x, x2: x, y1: TOP, y2: this.total - AXIS, class: "grid" });
      draw(this.svg, "text", { x, y: this.total - 7, class: "middle" }, value.toFixed(decimals));
    }
    draw(this.svg, "text", { x: LEFT - 6, y: this.total - 7, class: "right" }, units.unit);
    draw(this.svg, "line", { x1: LEFT, x2: this.width - RIGHT, y1: base, y2: base, class: "base" });
  }

  #areas() {
    const base = TOP + this.height;
    const line = (points) => points.map(([metres, height]) => `${this.x(metres).toFixed(1)} ${this.y(height).toFixed(1)}`).join("L");
    const { ride, work } = this.page;
    const fromPlaces = work.places.stretches.filter((one) => one.surface).map((one) => [one.start_m, one.end_m, one.surface]);
    for (const [start, end, label] of [...fromPlaces, ...work.tags.surface]) {
      const from = Math.max(start, this.window.from);
      const to = Math.min(end, this.window.to);
      if (to <= from) continue;
      const points = ride.between(from, to).map((metres) => [metres, ride.heightAt(metres)]);
      const d = `M${this.x(from)} ${base}L${line(points)}L${this.x(to)} ${base}Z`;
      draw(this.plot, "path", { d, class: "paper" });
      draw(this.plot, "path", { d, fill: fillOf(ride.view.surfaces, label, "profile") });
    }
    draw(this.plot, "path", { d: `M${line(this.curve)}`, class: "curve" });
  }

  /** Where stretches are dragged: over the whole profile. */
  #pad() {
    const pad = draw(this.svg, "rect", {
      x: LEFT, y: 0, width: this.plotWidth, height: TOP + this.height, class: "pad",
      tabindex: 0, role: "slider", "data-focus": "pad", "aria-label": "Place along the ride",
      "aria-valuemin": 0, "aria-valuemax": Math.round(this.page.ride.total),
    });
    this.pad = pad;
    pad.addEventListener("pointerdown", (event) => this.#down(event));
    pad.addEventListener("pointermove", (event) => this.#move(event));
    pad.addEventListener("pointerup", (event) => this.#up(event));
    pad.addEventListener("pointercancel", () => { this.drag = null; this.drawChoice(); });
    pad.addEventListener("keydown", (event) => this.#key(event));
  }

  #down(event) {
    if (event.button !== 0) return;
    this.pad.setPointerCapture(event.pointerId);
    this.drag = { x: event.clientX, from: this.snapped(this.metres(event)), moved: false };
  }

  #move(event) {
    this.page.cursorTo(this.metres(event));
    if (!this.drag) return;
    this.drag.moved ||= Math.abs(event.clientX - this.drag.x) > CLICK_PX;
    if (this.drag.moved) this.page.choose(this.drag.from, this.snapped(this.metres(event)));
  }

  #up(event) {
    if (!this.drag) return;
    const { from, moved } = this.drag;
    this.drag = null;
    if (moved) this.page.choose(from, this.snapped(this.metres(event)));
    else this.page.mark(from);
  }

  #key(event) {
    const { page } = this;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? 100 : 10;
    const ways = { ArrowRight: step, ArrowUp: step, ArrowLeft: -step, ArrowDown: -step, PageUp: 1000, PageDown: -1000 };
    if (event.key in ways) page.cursorTo(Math.round(page.cursor / 10) * 10 + ways[event.key], true);
    else if (event.key === "Home") page.cursorTo(0, true);
    else if (event.key === "End") page.cursorTo(page.ride.total, true);
    else if (event.key === "Enter" || event.key === " ") page.mark(Math.min(page.ride.total, page.cursor));
    else return;
    event.preventDefault();
  }

  #wheel(event) {
    if (!event.ctrlKey) return; // a plain wheel scrolls the page
    event.preventDefault();
    this.zoom(event.deltaY > 0 ? 1.25 : 0.8, this.metres(event));
  }

  #bars() {
    let y = TOP + this.height + GAP;
    for (const bar of BARS) {
      draw(this.svg, "text", { x: LEFT - 6, y: y + bar.height / 2 + 4, class: "right" }, bar.words);
      draw(this.svg, "rect", { x: LEFT, y, width: this.plotWidth, height: bar.height, class: "bed" });
      for (const one of this.#onBar(bar.layer)) this.#tag(bar, y, one);
      y += bar.height + GAP;
    }
  }

  #onBar(layer) {
    const { work, ride } = this.page;
    if (layer !== "places") {
      return work.tags[layer].map(([start, end, label]) => ({ start, end, label, layer, words: ride.words(label) }));
    }
    return work.places.stretches.map((one) => ({
      start: one.start_m, end: one.end_m, label: one.surface, layer: null,
      words: [one.name, ...[one.surface, one.structure].filter(Boolean).map((label) => ride.words(label))].filter(Boolean).join(", "),
    }));
  }

  #tag(bar, y, one) {
    const from = Math.max(this.x(one.start), LEFT);
    const to = Math.min(this.x(one.end), this.width - RIGHT);
    if (to <= from) return;
    const group = draw(this.svg, "g", { class: "tag", "data-layer": bar.layer, "data-label": one.label });
    draw(group, "title", {}, `${one.words}, ${units.bare(one.start)} to ${units.distance(one.end)}`);
    const shape = { x: from, y, width: to - from, height: bar.height };
    draw(group, "rect", { ...shape, class: "paper" });
    const fill = bar.layer === "structure" ? undefined : fillOf(this.page.ride.view.surfaces, one.label, "profile");
    draw(group, "rect", fill ? { ...shape, fill, class: "outlined" } : { ...shape, class: "structure outlined" });
    const text = this.#fitting(one.words, to - from - 6);
    if (text) {
      const wide = text.length * LETTER_PX + 6;
      draw(group, "rect", { x: (from + to - wide) / 2, y: y + bar.height / 2 - 8, width: wide, height: 16, class: "label" });
      draw(group, "text", { x: (from + to) / 2, y: y + bar.height / 2 + 4, class: "middle" }, text);
    }
    group.addEventListener("click", () => this.page.choose(one.start, one.end, one.layer && one));
  }

  #fitting(words, room) {
    const most = Math.floor(room / LETTER_PX);
    if (words.length <= most) return words;
    return most >= 5 ? `${words.slice(0, most - 1)}…` : "";
  }

  /** What changes often: cursor, marked end, chosen stretch with its handles. */
  drawChoice() {
    if (!this.overlay) return;
    const { page } = this;
    const focused = this.overlay.contains(document.activeElement) ? document.activeElement.dataset.focus : null;
    const held = this.heldHandle;
    if (!held) this.overlay.replaceChildren();
    else [...this.overlay.children].forEach((child) => { if (child !== held) child.remove(); });
    const bottom = this.total - AXIS;
    const visible = (metres) => metres >= this.window.from - 1e-6 && metres <= this.window.to + 1e-6;
    if (page.choice) {
      const from = Math.max(LEFT, this.x(page.choice.start));
      const to = Math.min(this.width - RIGHT, this.x(page.choice.end));
      if (to > from) draw(this.overlay, "rect", { x: from, y: 0, width: to - from, height: bottom, class: "chosen" });
    }
    if (page.first !== null && visible(page.first)) {
      draw(this.overlay, "line", { x1: this.x(page.first), x2: this.x(page.first), y1: 0, y2: bottom, class: "first" });
    }
    if (visible(page.cursor)) {
      draw(this.overlay, "line", { x1: this.x(page.cursor), x2: this.x(page.cursor), y1: 0, y2: bottom, class: "cursor" });
      draw(this.overlay, "circle", { cx: this.x(page.cursor), cy: this.y(page.ride.heightAt(page.cursor)), r: 4, class: "dot" });
    }
    this.pad.setAttribute("aria-valuenow", Math.round(page.cursor));
    this.pad.setAttribute("aria-valuetext", page.wordsAt(page.cursor));
    if (page.choice && !this.drag) for (const end of ["start", "end"]) this.#handle(end, visible, bottom, held);
    if (focused) this.overlay.querySelector(`[data-focus="${focused}"]`)?.focus({ preventScroll: true });
  }

  #handle(end, visible, bottom, held) {
    const metres = this.page.choice[end];
    const name = `handle-${end}`;
    if (held?.dataset.focus === name) {
      this.#place(held, metres, bottom); // moved within the tree it would lose the pointer
      return;
    }
    if (!visible(metres)) return;
    const group = draw(this.overlay, "g", {
      class: "handle", tabindex: 0, role: "slider", "data-focus": name,
      "aria-label": end === "start" ? "Start of the stretch" : "End of the stretch",
      "aria-valuemin": 0, "aria-valuemax": Math.round(this.page.ride.total),
    });
    draw(group, "rect", { class: "grip-room" });
    draw(group, "rect", { class: "grip" });
    this.#place(group, metres, bottom);
    this.#handleEvents(group, end);
  }

  /** Set a handle at a distance, beside the profile so that it hides nothing of it. */
  #place(group, metres, bottom) {
    const x = this.x(metres);
    const top = TOP + this.height;
    const [room, grip] = group.children;
    const set = (element, values) => Object.entries(values).forEach(([key, value]) => element.setAttribute(key, value));
    set(room, { x: x - 11, y: top - 14, width: 22, height: bottom - top + 14 });
    set(grip, { x: x - 4, y: top - 8, width: 8, height: bottom - top + 8, rx: 3 });
    set(group, { "aria-valuenow": Math.round(metres), "aria-valuetext": this.page.wordsAt(metres) });
  }

  #handleEvents(group, end) {
    group.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      event.stopPropagation();
      group.setPointerCapture(event.pointerId);
      this.heldHandle = group;
      this.heldFrom = { ...this.page.choice };
    });
    group.addEventListener("pointermove", (event) => {
      if (this.heldHandle === group) this.page.previewEnd(end, this.snapped(this.metres(event)));
    });
    group.addEventListener("pointerup", (event) => {
      if (this.heldHandle !== group) return;
      this.heldHandle = null;
      this.page.moveEnd(end, this.snapped(this.metres(event)), this.heldFrom);
    });
    group.addEventListener("pointercancel", () => {
      this.heldHandle = null;
      this.page.previewEnd(end, this.heldFrom[end]);
    });
    group.addEventListener("keydown", (event) => {
      const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
      if (!way || event.ctrlKey || event.metaKey || event.altKey) return;
      event.preventDefault();
      const step = event.shiftKey ? 100 : 10;
      this.page.moveEnd(end, Math.round(this.page.choice[end] + way * step), { ...this.page.choice });
    });
  }
}
