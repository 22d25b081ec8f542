// The tags as a table: the same as the pictures, in words.

import { put } from "./svg.js";
import * as units from "./units.js";

const by = (id) => document.getElementById(id);

/** Show all tags of the ride, with places after its own. */
export function showList(page) {
  const { ride, work } = page;
  const own = ["surface", "structure"].flatMap((layer) =>
    work.tags[layer].map(([start, end, label]) => ({ start, end, words: ride.words(label), layer, label })));
  own.sort((one, other) => one.start - other.start || one.end - other.end);
  const places = work.places.stretches.map((one) => ({
    start: one.start_m, end: one.end_m, layer: null,
    words: `${[one.surface, one.structure].filter(Boolean).map((label) => ride.words(label)).join(", ")} (${one.name || "a place"} in ${work.places.file})`,
  }));
  const untagged = ride.total - work.tags.surface.reduce((sum, [start, end]) => sum + end - start, 0);
  by("list-caption").textContent = `${own.length} in ${work.file}, distances in ${units.unit}. `
    + (untagged > 60 ? `${units.length(untagged)} of ${units.length(ride.total)} without a surface there.` : "The whole ride has a surface.");
  const focused = document.activeElement?.dataset?.row;
  by("list").replaceChildren();
  for (const one of [...own, ...places]) row(page, one);
  if (focused) by("list").querySelector(`[data-row="${CSS.escape(focused)}"]`)?.focus();
}

function row(page, one) {
  const line = put(by("list"), "tr");
  put(line, "td", { class: "n" }, units.bare(one.start));
  put(line, "td", { class: "n" }, units.bare(one.end));
  put(line, "td", {}, one.words);
  const cell = put(line, "td", { class: "w" });
  const where = `${one.words} from ${units.bare(one.start)} to ${units.distance(one.end)}`;
  const button = (words, task) => {
    const made = put(cell, "button", {
      type: "button", class: "small", "aria-label": `${words}: ${where}`,
      "data-row": `${words} ${one.layer} ${one.start}`,
    }, words);
    made.addEventListener("click", task);
  };
  const choose = () => page.choose(one.start, one.end, one.layer ? one : null);
  button("Choose", () => { choose(); page.profile.pad.focus({ preventScroll: true }); by("profile-section").scrollIntoView({ block: "nearest" }); });
  if (one.layer) button("Delete", () => { choose(); page.remove(); });
}
