// Distances and times as people write and read them; metres and seconds inside.

const METRES = { km: 1000, mi: 1609.344, m: 1 };
const HEIGHT = { km: { metres: 1, name: "m" }, mi: { metres: 0.3048, name: "ft" } };

export let unit = "km";

export function setUnit(name) {
  unit = name === "mi" ? "mi" : "km";
}

export const metresOf = (name) => METRES[name];

/** A distance with its unit: "3.42 km". */
export const distance = (metres, decimals = 2) => `${bare(metres, decimals)} ${unit}`;

/** A distance without its unit. */
export const bare = (metres, decimals = 2) => (metres / METRES[unit]).toFixed(decimals);

/** A length, in metres or feet where it is short. */
export function length(metres) {
  if (metres >= METRES[unit]) return distance(metres);
  return unit === "km" ? `${Math.round(metres)} m` : `${Math.round(metres / 0.3048)} ft`;
}

export const height = (metres) =>
  `${Math.round(metres / HEIGHT[unit].metres)} ${HEIGHT[unit].name}`.replace("-", "−");

export const heightUnit = () => HEIGHT[unit];

/** Time since the start: "0:31:05". */
export function elapsed(seconds) {
  const whole = Math.round(seconds);
  const two = (value) => String(value).padStart(2, "0");
  return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
}

/** What a person typed, in metres from the start; NaN if it is no place. */
export function parsePlace(text, metresAtTime) {
  const plain = text.trim().replace(",", ".").toLowerCase();
  const time = /^(\d{1,3}):([0-5]\d):([0-5]\d)$/.exec(plain);
  if (time) return metresAtTime(Number(time[1]) * 3600 + Number(time[2]) * 60 + Number(time[3]));
  const match = /^(\d{1,9}(?:\.\d*)?|\.\d+)\s*(km|mi|m)?$/.exec(plain);
  return match ? Number(match[1]) * METRES[match[2] ?? unit] : NaN;
}

/** Round numbers for an axis from low to high, about so many. */
export function ticks(low, high, count) {
  const rough = (high - low) / Math.max(1, count);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((size) => size >= rough);
  const found = [];
  for (let n = Math.ceil(low / step - 1e-9); n * step <= high + step * 1e-9; n += 1) found.push(n * step);
  return { step, at: found };
}
