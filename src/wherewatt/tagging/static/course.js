// The course in plan: north is up, one metre is as long either way.

import { draw, drawPatterns, fillOf } from "./svg.js";
import * as units from "./units.js";

const EDGE = 26;
const WIDE = 9;

export class Course {
  constructor(host, page) {
    this.host = host;
    this.page = page;
    new ResizeObserver(() => this.draw()).observe(host);
  }

  draw() {
    const width = Math.round(this.host.clientWidth);
    if (width < 50) return;
    this.width = width;
    this.height = Math.round(Math.min(460, Math.max(260, width * 0.75)));
    this.host.replaceChildren();
    this.svg = draw(this.host, "svg", {
      viewBox: `0 0 ${width} ${this.height}`, width, height: this.height, role: "img",
      "aria-label": "The course seen from above; the list of tags says the same in words",
    });
    drawPatterns(this.svg, this.page.ride.view.surfaces, "course");
    this.#fit();
    const { ride, work } = this.page;
    draw(this.svg, "path", { d: this.#path(0, ride.total), class: "road" });
    for (const one of work.places.stretches) {
      if (one.structure) this.#structure(one.start_m, one.end_m, one.structure);
    }
    for (const [start, end, label] of work.tags.structure) this.#structure(start, end, label);
    for (const one of work.places.stretches) if (one.surface) this.#surface(one.start_m, one.end_m, one.surface);
    for (const [start, end, label] of work.tags.surface) this.#surface(start, end, label);
    draw(this.svg, "path", { d: this.#path(0, ride.total), class: "middle-line" });
    this.#ends();
    this.#scaleBar();
    this.overlay = draw(this.svg, "g");
    this.svg.addEventListener("pointermove", (event) => this.page.cursorTo(this.#nearest(event)));
    this.svg.addEventListener("click", (event) => this.page.mark(this.page.snapped(this.#nearest(event))));
    this.drawChoice();
  }

  /** Fit the shown part of the ride into the picture. */
  #fit() {
    const { from, to } = this.page.window;
    const places = this.page.ride.between(from, to, 800).map((metres) => this.page.ride.placeAt(metres));
    const [east, north] = [0, 1].map((axis) => places.map((place) => place[axis]));
    const [west, most] = [Math.min(...east), Math.max(...east)];
    const [south, top] = [Math.min(...north), Math.max(...north)];
    const room = [this.width - 2 * EDGE, this.height - 2 * EDGE];
    this.scale = Math.min(room[0] / Math.max(40, most - west), room[1] / Math.max(40, top - south));
    this.centre = [(west + most) / 2, (south + top) / 2];
  }

  #at(metres) {
    const [east, north] = this.page.ride.placeAt(metres);
    return [
      this.width / 2 + (east - this.centre[0]) * this.scale,
      this.height / 2 - (north - this.centre[1]) * this.scale,
    ];
  }

  #path(from, to) {
    const points = this.page.ride.between(from, to, 1500).map((metres) => this.#at(metres));
    return `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}`;
  }

  #surface(from, to, label) {
    const d = this.#path(from, to);
    draw(this.svg, "path", { d, class: "casing", "stroke-width": WIDE + 2 });
    draw(this.svg, "path", { d, class: "paper-line", "stroke-width": WIDE });
    const stroke = fillOf(this.page.ride.view.surfaces, label, "course");
    draw(this.svg, "path", { d, class: "surface-line", "stroke-width": WIDE, stroke });
  }

  #structure(from, to, label) {
    draw(this.svg, "path", { d: this.#path(from, to), class: `structure-line ${label === "tunnel" ? "tunnel" : ""}` });
  }

  #ends() {
    const { ride } = this.page;
    const [first, last] = [this.#at(0), this.#at(ride.total)];
    const apart = Math.hypot(first[0] - last[0], first[1] - last[1]) > 40;
    const marks = apart ? [[first, "start"], [last, "end"]] : [[first, "start, end"]];
    for (const [[x, y], words] of marks) {
      draw(this.svg, "circle", { cx: x, cy: y, r: 5, class: "end" });
      const toLeft = x > this.width - 80;
      draw(this.svg, "text", { x: x + (toLeft ? -9 : 9), y: y - 8, class: toLeft ? "right halo" : "halo" }, words);
    }
  }

  #scaleBar() {
    const per = units.metresOf(units.unit);
    const { step } = units.ticks(0, this.width / this.scale / per, 5);
    const wide = step * per * this.scale;
    const y = this.height - 10;
    draw(this.svg, "path", { d: `M10 ${y - 5}V${y}H${10 + wide}V${y - 5}`, class: "scale" });
    draw(this.svg, "text", { x: 16 + wide, y, class: "halo" }, `${Number(step.toPrecision(2))} ${units.unit}`);
    const x = this.width - 14;
    draw(this.svg, "path", { d: `M${x} 34V14M${x - 4} 20L${x} 13L${x + 4} 20`, class: "scale" });
    draw(this.svg, "text", { x, y: 48, class: "middle halo" }, "N");
  }

  /** Distance along the ride of the place nearest to a pointer; of several, the one shown and nearest to the cursor. */
  #nearest(event) {
    const box = this.svg.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    const { from, to } = this.page.window;
    const near = this.page.ride.between(from, to, 4000).map((metres) => {
      const [px, py] = this.#at(metres);
      return { metres, off: Math.hypot(px - x, py - y) };
    });
    const least = Math.min(...near.map((one) => one.off));
    const good = near.filter((one) => one.off <= least + 3);
    const from_cursor = (one) => Math.abs(one.metres - this.page.cursor);
    return good.reduce((best, one) => (from_cursor(one) < from_cursor(best) ? one : best)).metres;
  }

  drawChoice() {
    if (!this.overlay) return;
    this.overlay.replaceChildren();
    const { choice, first, cursor } = this.page;
    if (choice && choice.end > choice.start) {
      draw(this.overlay, "path", { d: this.#path(choice.start, choice.end), class: "chosen-line" });
    }
    if (first !== null) {
      const [cx, cy] = this.#at(first);
      draw(this.overlay, "circle", { cx, cy, r: 8, class: "first" });
    }
    const [cx, cy] = this.#at(cursor);
    draw(this.overlay, "circle", { cx, cy, r: 5, class: "dot" });
  }
}
