// Reading and writing the files, and what to do if they changed on disk meanwhile.

import * as api from "./api.js";

const by = (id) => document.getElementById(id);

export class Files {
  constructor(page) {
    this.page = page;
    this.found = null; // what the file held when it was found changed
    by("save").addEventListener("click", () => this.save());
    by("report").addEventListener("click", () => this.report());
    by("done").addEventListener("click", () => this.done());
    by("conflict-replay").addEventListener("click", () => this.#replay());
    by("conflict-reload").addEventListener("click", () => { this.page.work.take(this.found); this.#settled("Read again."); });
    by("conflict-overwrite").addEventListener("click", () => this.#overwrite());
    window.addEventListener("focus", () => this.look());
    window.addEventListener("beforeunload", (event) => { if (this.page.work.isDirty) event.preventDefault(); });
  }

  async load() {
    const { work } = this.page;
    const state = await api.get("/api/tags");
    await this.loadPlaces();
    work.take({ ...state, tags: state.tags ?? { surface: [], structure: [] } });
    if (!state.tags) this.#conflict(state);
    else if (work.places.problems.length) this.page.say(work.places.problems.join(" "));
  }

  async loadPlaces() {
    this.page.work.places = await api.get("/api/places");
    by("place-file").textContent = this.page.work.places.file;
  }

  /** See whether files changed while the page was out of sight. */
  async look() {
    const { page } = this;
    await page.attempt(async () => {
      const places = await api.get("/api/places");
      if (places.version !== page.work.places.version) {
        page.work.places = places;
        page.draw();
      }
      const state = await api.get("/api/tags");
      if (state.version === page.work.version) return;
      if (state.tags && !page.work.isDirty) {
        page.work.take(state);
        this.#settled(`${state.file} was changed on disk; read again.`);
      } else {
        this.#conflict(state);
      }
    });
  }

  /** Save; returns whether that is done. */
  async save() {
    const { page } = this;
    let isSaved = false;
    await page.attempt(async () => {
      try {
        await page.work.save();
        isSaved = true;
        page.say(`Saved to ${page.work.file}.`);
      } catch (error) {
        if (error.status !== 412) throw error;
        this.#conflict(await api.get("/api/tags"));
      }
    });
    return isSaved;
  }

  async savePlace(place) {
    const { page } = this;
    await page.attempt(async () => {
      try {
        page.work.places = await api.post("/api/places", place, page.work.places.version);
        page.draw();
        page.say(`Added to ${page.work.places.file}: it serves every ride of this folder. Delete this ride's own tag there if the place shall decide.`);
      } catch (error) {
        if (error.status !== 412) throw error;
        await this.loadPlaces();
        page.draw();
        page.say(`${page.work.places.file} was changed on disk; it was read again and nothing was added. Add once more if you still want to.`);
      }
    });
  }

  async report() {
    const { page } = this;
    if (page.work.isDirty && !(await this.save())) return;
    by("report").disabled = true;
    page.say("Reporting …");
    await page.attempt(async () => {
      const made = await api.post("/api/report", {});
      const { mean, low90, high90 } = made.energy_wh;
      by("report-link").hidden = false;
      page.say(`Reported: ${mean.toFixed(0)} Wh, 90 % interval ${low90.toFixed(0)} to ${high90.toFixed(0)} Wh. Written to ${made.file}`);
    });
    by("report").disabled = false;
  }

  async done() {
    const { page } = this;
    if (page.work.isDirty && !window.confirm("Some tags are not saved. End without saving them?")) return;
    await page.attempt(async () => {
      await api.post("/api/done", {});
      page.work.saved = page.work.tags;
      document.body.replaceChildren();
      const text = document.createElement("p");
      text.className = "notice";
      text.textContent = "The server has ended. This window can be closed.";
      document.body.append(text);
    });
  }

  #conflict(state) {
    this.found = state;
    const isReadable = Boolean(state.tags);
    const canReplay = this.page.work.pending !== null;
    by("conflict-text").textContent = isReadable
      ? `${state.file} was changed on disk since this page read it. Nothing was written.`
        + (canReplay ? "" : " Steps from before the last save were undone, so your edits cannot be put on top.")
      : `${state.file} cannot be read as it is now. Mend it and come back to this window, or write yours over it.`;
    by("conflict-problems").replaceChildren(...state.problems.map((problem) => {
      const item = document.createElement("li");
      item.textContent = problem;
      return item;
    }));
    by("conflict-replay").hidden = !isReadable || !canReplay;
    by("conflict-reload").hidden = !isReadable;
    by("conflict").hidden = false;
    by("conflict").scrollIntoView({ block: "nearest" });
  }

  async #replay() {
    await this.page.attempt(async () => {
      const idle = await this.page.work.replay(this.found);
      const left = idle ? ` ${idle} of your edits had nothing to change there.` : "";
      this.#settled(`Read again, with your edits on top; not saved yet.${left}`);
    });
  }

  async #overwrite() {
    const { page } = this;
    await page.attempt(async () => {
      try {
        await page.work.save(this.found.version);
        this.#settled(`Saved over ${page.work.file}.`);
      } catch (error) {
        if (error.status !== 412) throw error;
        this.#conflict(await api.get("/api/tags")); // changed once more
      }
    });
  }

  #settled(text) {
    this.found = null;
    by("conflict").hidden = true;
    this.page.say(text);
  }
}

