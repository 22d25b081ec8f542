// The ride as the server gave it: curves over distance.

/** Index of the last number in a rising list that is not above a value. */
function below(list, value) {
  let low = 0;
  let high = list.length - 1;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (list[middle] <= value) low = middle;
    else high = middle - 1;
  }
  return low;
}

function interpolate(x, y, value) {
  const index = Math.min(below(x, value), x.length - 2);
  const width = x[index + 1] - x[index];
  const share = width > 0 ? Math.min(1, Math.max(0, (value - x[index]) / width)) : 0;
  return y[index] + share * (y[index + 1] - y[index]);
}

export class Ride {
  constructor(view) {
    this.view = view;
    this.total = view.total_m;
    this.points = view.points;
  }

  heightAt(metres) { return interpolate(this.points.distance_m, this.points.height_m, metres); }
  timeAt(metres) { return interpolate(this.points.distance_m, this.points.time_s, metres); }
  metresAtTime(seconds) { return interpolate(this.points.time_s, this.points.distance_m, seconds); }

  placeAt(metres) {
    return [
      interpolate(this.points.distance_m, this.points.east_m, metres),
      interpolate(this.points.distance_m, this.points.north_m, metres),
    ];
  }

  /** Distances to draw a stretch with: its ends and points between, at most about so many. */
  between(from, to, most = 1200) {
    const all = this.points.distance_m;
    const first = below(all, from) + 1;
    const last = below(all, to);
    const step = Math.max(1, Math.floor((last - first) / most));
    const found = [from];
    for (let index = first; index <= last; index += step) if (all[index] < to) found.push(all[index]);
    found.push(to);
    return found;
  }

  /** Words of a surface or structure. */
  words(label) {
    const known = [...this.view.surfaces, ...this.view.structures];
    return known.find((one) => one.label === label)?.words ?? label;
  }
}
