// What is being worked on: tags, the steps that led to them, and what the files were when read.

import * as api from "./api.js";

const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);

export class Work {
  constructor(changed) {
    this.changed = changed;
    this.tags = { surface: [], structure: [] };
    this.saved = this.tags;
    this.steps = []; // { edits, before, after }
    this.at = 0; // steps before this one are done, the others undone
    this.savedAt = 0;
    this.version = "";
    this.file = "";
    this.places = { file: "", version: "", stretches: [], problems: [] };
  }

  get isDirty() { return !same(this.tags, this.saved); }
  get canUndo() { return this.at > 0; }
  get canRedo() { return this.at < this.steps.length; }

  /** Edits made since the file was read or saved; null if steps before that were undone. */
  get pending() {
    return this.at < this.savedAt ? null : this.steps.slice(this.savedAt, this.at).flatMap((step) => step.edits);
  }

  /** Start over from what the file holds. */
  take(state) {
    this.file = state.file;
    this.version = state.version;
    this.tags = this.saved = state.tags;
    this.steps = [];
    this.at = this.savedAt = 0;
    this.changed();
  }

  /** Do edits as one step; returns how many of them changed nothing. */
  async edit(edits) {
    const before = this.tags;
    const answer = await api.post("/api/edit", { tags: before, edits });
    if (this.tags !== before) return this.edit(edits); // another step was done meanwhile
    if (!same(before, answer.tags)) {
      this.steps.splice(this.at, Infinity, { edits, before, after: answer.tags });
      if (this.savedAt > this.at) this.savedAt = Infinity; // the saved step is gone
      this.at += 1;
      this.tags = answer.tags;
    }
    this.changed();
    return answer.idle;
  }

  undo() {
    if (!this.canUndo) return;
    this.at -= 1;
    this.tags = this.steps[this.at].before;
    this.changed();
  }

  redo() {
    if (!this.canRedo) return;
    this.tags = this.steps[this.at].after;
    this.at += 1;
    this.changed();
  }

  /** Save over the version that was read, or over another one if asked. */
  async save(version = this.version) {
    const sent = this.tags;
    const at = this.at;
    const state = await api.put("/api/tags", { tags: sent }, version);
    if (!state.tags) throw new api.Refusal(422, state.problems);
    this.version = state.version;
    this.saved = state.tags;
    this.savedAt = at;
    if (at > 0 && this.steps[at - 1]) this.steps[at - 1].after = state.tags;
    if (this.steps[at]) this.steps[at].before = state.tags;
    if (this.tags === sent) this.tags = state.tags; // as written, to the metre
    this.changed();
  }

  /** Take what the file holds now, and do the pending edits again on top of it. */
  async replay(state) {
    const edits = this.pending ?? [];
    this.take(state);
    return edits.length ? this.edit(edits) : 0;
  }

  /** Every edge there is, to snap to. */
  edges() {
    const own = [...this.tags.surface, ...this.tags.structure].flatMap(([start, end]) => [start, end]);
    return [...own, ...this.places.stretches.flatMap((one) => [one.start_m, one.end_m])];
  }

  /** What is tagged at a distance: own tags come before places. */
  at_m(metres) {
    const own = (layer) => this.tags[layer].find(([start, end]) => start <= metres && metres < end)?.[2];
    const place = (layer) => this.places.stretches.find(
      (one) => one[layer] && one.start_m <= metres && metres < one.end_m,
    )?.[layer];
    return { surface: own("surface") ?? place("surface") ?? "", structure: own("structure") ?? place("structure") ?? "" };
  }
}
