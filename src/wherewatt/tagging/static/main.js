// The page: joins the ride, the work on its tags, the two pictures and the buttons.

import * as api from "./api.js";
import { Course } from "./course.js";
import { Panel } from "./panel.js";
import { Profile } from "./profile.js";
import { Ride } from "./ride.js";
import { showList } from "./list.js";
import { Files } from "./saving.js";
import * as units from "./units.js";
import { Work } from "./work.js";

const by = (id) => document.getElementById(id);

class Page {
  constructor(view) {
    this.ride = new Ride(view);
    this.work = new Work(() => this.tagsChanged());
    this.choice = null; // { start, end, layer, label }: layer and label if it is a tag
    this.first = null; // an end that was marked and waits for the other one
    this.cursor = 0;
    this.profile = new Profile(by("profile"), this);
    this.course = new Course(by("course"), this);
    this.panel = new Panel(this);
    this.files = new Files(this);
    this.#buttons();
  }

  get window() { return this.profile.window; }
  snapped(metres) { return this.profile.snapped(metres); }

  say(text) { by("status").textContent = text; }

  /** Put what a task had to say against it where it can be read. */
  async attempt(task) {
    try {
      await task();
    } catch (error) {
      if (!(error instanceof api.Refusal)) throw error;
      this.say(error.problems.join(" "));
    }
  }

  wordsAt(metres) {
    const here = this.work.at_m(metres);
    const tagged = [here.surface, here.structure].filter(Boolean).map((label) => this.ride.words(label));
    return [
      units.distance(metres), units.elapsed(this.ride.timeAt(metres)),
      units.height(this.ride.heightAt(metres)), tagged.join(", ") || "not tagged",
    ].join(" · ");
  }

  /** Move the cursor; follow it with the window if it was moved by keys. */
  cursorTo(metres, follow = false) {
    this.cursor = Math.min(this.ride.total, Math.max(0, metres));
    const { from, to } = this.window;
    if (follow && (this.cursor < from || this.cursor > to)) {
      this.profile.show(this.cursor - (to - from) / 2, this.cursor + (to - from) / 2);
    }
    by("readout").textContent = this.wordsAt(this.cursor);
    this.#drawChoice();
  }

  /** Mark one end of a stretch, or the other if one is marked. */
  mark(metres) {
    if (this.first === null) {
      this.first = metres;
      this.choice = null;
      this.say(`Marked ${units.distance(metres)}. Now the other end.`);
      this.panel.showChoice();
      this.#drawChoice();
    } else if (Math.abs(metres - this.first) < 1) {
      this.forget();
    } else {
      this.choose(this.first, metres);
    }
  }

  /** Choose a stretch; a tag's own one with its layer and label. */
  choose(one, other, tag = null) {
    this.first = null;
    const [start, end] = [Math.min(one, other), Math.max(one, other)];
    this.choice = { start, end, layer: tag?.layer ?? null, label: tag?.label ?? null };
    this.panel.showChoice();
    this.#drawChoice();
  }

  forget() {
    this.first = null;
    this.choice = null;
    this.say("");
    this.panel.showChoice();
    this.#drawChoice();
  }

  previewEnd(end, metres) {
    this.choice = { ...this.choice, [end]: metres };
    this.panel.showChoice();
    this.#drawChoice();
  }

  /** Move an end of the chosen stretch; if that is a tag, the tag's end moves. */
  async moveEnd(end, metres, before) {
    const to = Math.min(this.ride.total, Math.max(0, metres));
    if (!before.layer) {
      const other = before[end === "start" ? "end" : "start"];
      this.choose(other, to);
      return;
    }
    this.choice = before;
    await this.attempt(async () => {
      await this.work.edit([{ do: "move", layer: before.layer, from_m: before[end], to_m: to }]);
      const kept = before[end === "start" ? "end" : "start"];
      const found = this.work.tags[before.layer].find(([start, stop, label]) =>
        label === before.label && Math.abs((end === "start" ? stop : start) - kept) < 0.5);
      if (found) this.choose(found[0], found[1], before);
      this.say("");
    });
  }

  /** Give the chosen stretch a label in a layer; null takes the layer's tags off it. */
  async tag(layer, label) {
    if (!this.choice || this.choice.end - this.choice.start < 1) {
      this.say("Choose a stretch first: drag over the profile, or type both ends.");
      return;
    }
    const { start, end } = this.choice;
    const edit = label === null
      ? { do: "erase", layer, start_m: start, end_m: end }
      : { do: "paint", layer, start_m: start, end_m: end, label };
    await this.attempt(async () => {
      await this.work.edit([edit]);
      const what = label === null ? `no ${layer}` : this.ride.words(label);
      this.say(`${units.bare(start)} to ${units.distance(end)}: ${what}.`);
      const made = this.work.tags[layer].find(([from, to, name]) => name === label && from <= start + 0.5 && to >= end - 0.5);
      if (made) this.choose(made[0], made[1], { layer, label });
    });
  }

  /** Take away the chosen tag, or all tags of the chosen stretch. */
  async remove() {
    if (!this.choice) return;
    const { start, end, layer } = this.choice;
    const layers = layer ? [layer] : ["surface", "structure"];
    await this.attempt(async () => {
      await this.work.edit(layers.map((name) => ({ do: "erase", layer: name, start_m: start, end_m: end })));
      this.say(`${units.bare(start)} to ${units.distance(end)}: tag taken away.`);
      this.choice = { start, end, layer: null, label: null };
      this.panel.showChoice();
    });
  }

  tagsChanged() {
    if (this.choice?.layer) {
      const { start, end, layer, label } = this.choice;
      const still = this.work.tags[layer].some(([from, to, name]) => from === start && to === end && name === label);
      if (!still) this.choice = { start, end, layer: null, label: null };
    }
    this.draw();
    by("undo").disabled = !this.work.canUndo;
    by("redo").disabled = !this.work.canRedo;
    by("save").disabled = !this.work.isDirty;
    by("report").textContent = this.work.isDirty ? "Save and report again" : "Report again";
    document.title = `${this.work.isDirty ? "* " : ""}Surface tags: ${this.ride.view.name}`;
  }

  windowChanged() {
    this.profile.draw();
    this.course.draw();
    const whole = this.window.to - this.window.from >= this.ride.total - 1;
    for (const id of ["zoom-out", "zoom-whole", "zoom-earlier", "zoom-later"]) by(id).disabled = whole;
  }

  draw() {
    this.windowChanged();
    this.panel.showChoice();
    showList(this);
  }

  #drawChoice() {
    this.profile.drawChoice();
    this.course.drawChoice();
  }

  #buttons() {
    const on = (id, task) => by(id).addEventListener("click", task);
    on("zoom-in", () => this.profile.zoom(0.5, this.#middle()));
    on("zoom-out", () => this.profile.zoom(2, this.#middle()));
    on("zoom-whole", () => this.profile.show(0, this.ride.total));
    on("zoom-earlier", () => this.profile.shift(-0.5));
    on("zoom-later", () => this.profile.shift(0.5));
    on("undo", () => this.work.undo());
    on("redo", () => this.work.redo());
    on("forget", () => this.forget());
    for (const input of document.querySelectorAll("input[name=unit]")) {
      input.checked = input.value === units.unit;
      input.addEventListener("change", () => { units.setUnit(input.value); this.panel.showUnit(); this.draw(); this.cursorTo(this.cursor); });
    }
    document.addEventListener("keydown", (event) => this.#key(event));
  }

  /** What zooming keeps in place: the chosen stretch if it is in sight. */
  #middle() {
    const { from, to } = this.window;
    const middle = this.choice ? (this.choice.start + this.choice.end) / 2 : this.first ?? (from + to) / 2;
    return middle >= from && middle <= to ? middle : (from + to) / 2;
  }

  #key(event) {
    const typing = event.target.closest("input[type=text], select, textarea");
    if ((event.ctrlKey || event.metaKey) && !event.altKey) {
      const key = event.key.toLowerCase();
      if (key === "s") by("save").click();
      else if (typing) return;
      else if (key === "z") (event.shiftKey ? by("redo") : by("undo")).click();
      else if (key === "y") by("redo").click();
      else return;
      event.preventDefault();
      return;
    }
    // Single keys count only where the focus is on the profile: elsewhere they may mean other things.
    if (event.altKey || event.ctrlKey || event.metaKey || !event.target.closest("#profile")) return;
    const keys = {
      Delete: () => this.remove(), Backspace: () => this.remove(), Escape: () => this.forget(),
      "+": () => by("zoom-in").click(), "=": () => by("zoom-in").click(), "-": () => by("zoom-out").click(),
      0: () => by("zoom-whole").click(), b: () => this.tag("structure", "bridge"), t: () => this.tag("structure", "tunnel"),
    };
    const surface = /^[1-9]$/.test(event.key) ? this.panel.offered[Number(event.key) - 1] : undefined;
    const task = surface ? () => this.tag("surface", surface.label) : keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!task) return;
    event.preventDefault();
    task();
  }
}

async function start() {
  const view = await api.get("/api/ride");
  units.setUnit(view.unit);
  document.getElementById("ride-name").textContent = view.name;
  const page = new Page(view);
  await page.files.load();
  page.cursorTo(0);
  document.body.dataset.ready = "yes";
}

start().catch((error) => {
  document.getElementById("status").textContent =
    error instanceof api.Refusal ? error.problems.join(" ") : `The page cannot be shown: ${error.message}`;
});
