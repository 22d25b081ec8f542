// The chosen stretch: its ends as text, and what it can be tagged as.

import { draw, drawPatterns, fillOf, put } from "./svg.js";
import * as units from "./units.js";

const by = (id) => document.getElementById(id);

export class Panel {
  constructor(page) {
    this.page = page;
    this.offered = page.ride.view.surfaces.filter((surface) => surface.chosen);
    this.#surfaces();
    this.#structures();
    this.#selects();
    for (const id of ["from", "to"]) by(id).addEventListener("change", () => this.#typed());
    by("place-save").addEventListener("click", () => this.page.files.savePlace(this.#place()));
    by("place").addEventListener("toggle", () => this.#suggest());
    this.showUnit();
  }

  showUnit() { by("unit-example").textContent = `1.25 ${units.unit}`; }

  /** Show the ends of the chosen stretch, and which labels it bears. */
  showChoice() {
    const { choice, first, work } = this.page;
    const typing = document.activeElement;
    const set = (id, text) => { if (by(id) !== typing || !this.typed) by(id).value = text; };
    set("from", choice ? units.bare(choice.start, 3) : first !== null ? units.bare(first, 3) : "");
    set("to", choice ? units.bare(choice.end, 3) : "");
    by("stretch-length").textContent = choice ? units.length(choice.end - choice.start) : "nothing chosen";
    by("field-problem").textContent = "";
    const here = (layer) => (choice ? work.tags[layer].find(([start, end]) =>
      start <= choice.start + 0.5 && end >= choice.end - 0.5)?.[2] : undefined);
    for (const button of document.querySelectorAll("[data-tag-layer]")) {
      const label = here(button.dataset.tagLayer);
      button.setAttribute("aria-pressed", String(Boolean(choice) && label !== undefined && button.dataset.tagLabel === label));
      button.disabled = !choice;
    }
    by("forget").disabled = !choice && first === null;
    by("place-save").disabled = !choice;
    if (by("place").open) this.#suggest();
  }

  #surfaces() {
    const { surfaces } = this.page.ride.view;
    this.offered.forEach((surface, index) => {
      const button = this.#button(by("surfaces"), "surface", surface.label, surface.words, index < 9 ? String(index + 1) : "");
      const swatch = draw(button, "svg", { width: 26, height: 18, "aria-hidden": "true" });
      button.prepend(swatch);
      const id = `swatch-${index}`;
      drawPatterns(swatch, surfaces, id);
      draw(swatch, "rect", { x: 0.5, y: 0.5, width: 25, height: 17, class: "outlined", fill: fillOf(surfaces, surface.label, id) });
    });
    this.#button(by("surfaces"), "surface", "", "no tag", "");
  }

  #structures() {
    for (const one of this.page.ride.view.structures) {
      this.#button(by("structures"), "structure", one.label, one.words, { bridge: "B", tunnel: "T" }[one.label] ?? "");
    }
    this.#button(by("structures"), "structure", "", "none", "");
  }

  #button(host, layer, label, words, key) {
    const button = put(host, "button", { type: "button", "data-tag-layer": layer, "data-tag-label": label });
    put(button, "span", {}, words);
    if (key) put(button, "kbd", { "aria-hidden": "true" }, key);
    button.addEventListener("click", () => this.page.tag(layer, label || null));
    return button;
  }

  #selects() {
    const fill = (id, choices) => {
      put(by(id), "option", { value: "" }, "none");
      for (const one of choices) put(by(id), "option", { value: one.label }, one.words);
    };
    fill("place-surface", this.offered);
    fill("place-structure", this.page.ride.view.structures);
  }

  /** Offer for a place what the middle of the stretch is tagged as. */
  #suggest() {
    const { choice, work } = this.page;
    if (!choice) return;
    const here = work.at_m((choice.start + choice.end) / 2);
    by("place-surface").value = this.offered.some((one) => one.label === here.surface) ? here.surface : "";
    by("place-structure").value = here.structure;
  }

  #place() {
    return {
      start_m: this.page.choice.start, end_m: this.page.choice.end, name: by("place-name").value,
      surface: by("place-surface").value, structure: by("place-structure").value,
    };
  }

  /** Take both ends as typed. */
  #typed() {
    const { ride } = this.page;
    const read = (id) => units.parsePlace(by(id).value, (seconds) => ride.metresAtTime(seconds));
    const [start, end] = [read("from"), read("to")];
    const complain = (text) => { by("field-problem").textContent = text; };
    if (!by("from").value.trim() || !by("to").value.trim()) return;
    if (Number.isNaN(start) || Number.isNaN(end)) complain(`Expected a distance (1.25 ${units.unit}) or a time (0:31:00).`);
    else if (Math.max(start, end) > ride.total + 1) complain(`The ride ends at ${units.distance(ride.total)}.`);
    else if (end - start < 1) complain("Expected an end that lies after the start.");
    else this.page.choose(start, Math.min(end, ride.total));
  }
}

