// The page's own script: draws the charts, switches units, and moves one place along the ride
// through the charts. All lengths that the page carries are in metres.
"use strict";
(() => {
  const carried = JSON.parse(document.getElementById("carried").textContent);
  const { ride, charts, units, sections } = carried;
  const root = document.documentElement;
  const byId = (id) => document.getElementById(id);
  const last = ride.distance_m.length - 1;
  const total = ride.distance_m[last];

  const COLOURS = ["ink", "paper", "soft", "rule", "faint", "tint", "hatch", "blue"];
  const CONFIG = { displayModeBar: false, showTips: false, doubleClick: false };
  const NARROW_PX = 560; // below it, labels beside bars are short
  const PRINT_PX = 680; // what fits between the margins of a sheet of A4 or Letter
  const PRINT_MOST_PX = 860; // likewise in height, with a legend and a caption
  const PRINT_SHARE = 0.86; // of the height on a screen: two figures to a sheet
  const PRINT_MAP_SHARE = 0.74; // of the width
  const KEY_STEPS = 200; // arrow presses from the start to the end
  const LEAST_VIEW = 1 / 200; // of the ride

  const state = { unit: root.dataset.unit, from: 0, to: total, at: 0, pointed: false, printing: false };
  const drawn = {};
  const pen = document.createElement("canvas").getContext("2d");

  // Words

  function fixed(value, decimals) {
    const text = (Math.round(value * 10 ** decimals) / 10 ** decimals + 0).toFixed(decimals);
    return text.replace("-", "\u2212");
  }

  function words(at) {
    const unit = units[state.unit];
    const number = ride.section[at];
    const parts = [
      `${fixed(ride.distance_m[at] / unit.metres, 2)} ${unit.name}`,
      `section ${number + 1}, ${sections[number]}`,
      `${fixed(ride.height_m[at] / unit.height_metres, 0)} ${unit.height_name}`,
      `${fixed((ride.speed_m_s[at] * 3600) / unit.metres, 0)} ${unit.speed_name}`,
      `${fixed(ride.used_wh[at], 0)} Wh used`,
    ];
    if (ride.left_pct) {
      const [left, half] = [ride.left_pct[at], ride.left_half_pct[at]];
      const low = fixed(Math.max(0, left - half), 0);
      const high = fixed(Math.min(100, left + half), 0);
      parts.push(`${fixed(left, 0)} % left (${low} to ${high})`);
    }
    return parts;
  }

  // Axes

  function step(span, most) {
    const least = span / most;
    const power = 10 ** Math.floor(Math.log10(least));
    return [1, 2, 5, 10].find((factor) => factor * power >= least * (1 - 1e-9)) * power;
  }

  function ticks(low, high, size, most) {
    const by = step((high - low) / size, most);
    const decimals = Math.max(0, -Math.floor(Math.log10(by) + 1e-9));
    const values = [];
    const end = high / size / by + 1e-9;
    for (let at = Math.ceil(low / size / by - 1e-9); at <= end; at += 1) values.push(at * by);
    return {
      tickmode: "array",
      tickvals: values.map((value) => value * size),
      ticktext: values.map((value) => fixed(value, decimals)),
    };
  }

  const AXES = {
    distance: (axis, unit, width) => ({
      ...ticks(state.from, state.to, unit.metres, Math.max(3, width / 75)),
      range: [state.from, state.to],
      title: { ...axis.title, text: `Distance [${unit.name}]` },
    }),
    height: (axis, unit) => ({
      ...ticks(axis.range[0], axis.range[1], unit.height_metres, 6),
      title: { ...axis.title, text: `Height [${unit.height_name}]` },
    }),
  };

  // Drawing

  function palette() {
    const style = getComputedStyle(root);
    const colours = COLOURS.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]);
    return { ...Object.fromEntries(colours), shade: Number(style.getPropertyValue("--shade")) };
  }

  // Tokens such as "@ink" become colours of the theme; everything else stays as it is.
  function themed(value, colours) {
    if (typeof value === "string") {
      return value.startsWith("@") ? (colours[value.slice(1)] ?? value) : value;
    }
    if (Array.isArray(value)) return value.map((item) => themed(item, colours));
    if (value === null || typeof value !== "object") return value;
    const items = Object.entries(value).map(([key, item]) => [key, themed(item, colours)]);
    return Object.fromEntries(items);
  }

  function layoutOf(chart, width, colours) {
    const layout = themed(chart.layout, colours);
    layout.width = width;
    layout.height = chart.aspect ? Math.round(width / chart.aspect) : chart.height;
    if (state.printing && !chart.aspect) layout.height = Math.min(PRINT_MOST_PX, layout.height * PRINT_SHARE);
    for (const [name, quantity] of Object.entries(chart.quantities)) {
      Object.assign(layout[name], AXES[quantity](layout[name], units[state.unit], width));
    }
    const rows = layout.yaxis;
    if (rows.longtext) beside(layout, rows, width);
    if (layout.dragmode === undefined) {
      // A finger that drags wants to scroll the page.
      layout.dragmode = matchMedia("(pointer: coarse)").matches ? false : "zoom";
    }
    return layout;
  }

  // Labels of rows, and the room they need; plotly's own automatic margin would redraw twice.
  function beside(layout, rows, width) {
    if (width >= NARROW_PX) rows.ticktext = rows.longtext;
    delete rows.longtext;
    const plain = rows.ticktext.map((text) => text.replace(/<[^>]*>/g, ""));
    const widest = Math.max(...plain.map((text) => widthOf(text, layout.font)));
    layout.margin.l = Math.ceil(widest * 1.06) + 14;
  }

  function scale(layout, unit) {
    const [left, right] = layout.xaxis.range;
    const [low, high] = layout.yaxis.range;
    const length = step((right - left) / 8 / unit.metres, 1) * unit.metres;
    const x = left + (right - left) * 0.03;
    const y = low + (high - low) * 0.05;
    return {
      type: "scatter", mode: "lines+markers+text", hoverinfo: "skip", cliponaxis: false,
      x: [x, x + length / 2, x + length], y: [y, y, y],
      text: ["", `${Number((length / unit.metres).toPrecision(3))} ${unit.name}`, ""],
      textposition: "top center", textfont: { size: 13 },
      line: { color: "@ink", width: 2 },
      marker: { symbol: "line-ns-open", size: [8, 0, 8], color: "@ink", line: { width: 2 } },
    };
  }

  // Marks at round distances, by which the map is read against the profile.
  function milestones(width, unit) {
    const by = step(total / unit.metres, Math.min(16, width / 60)) * unit.metres;
    const marks = { x: [], y: [], text: [] };
    for (let metres = by; metres < total - 0.3 * by; metres += by) {
      const at = nearest(metres);
      marks.x.push(ride.east_m[at]);
      marks.y.push(ride.north_m[at]);
      marks.text.push(`${Number((metres / unit.metres).toPrecision(4))}`);
    }
    return {
      ...marks, type: "scatter", mode: "markers+text", hoverinfo: "skip",
      textposition: "middle right", textfont: { size: 13 },
      marker: { symbol: "circle", size: 6, color: "@paper", line: { color: "@ink", width: 1.5 } },
    };
  }

  function widthOf(text, font) {
    pen.font = `${font.size}px ${font.family}`;
    return pen.measureText(text).width;
  }

  // Words in boxes along the distance, where there is room for them.
  function fitting(trace, layout, width) {
    if (!trace.width) return trace;
    const font = { ...layout.font, size: trace.insidetextfont.size };
    const metres = (state.to - state.from) / (width - layout.margin.l - layout.margin.r);
    const fits = (text, at) => {
      const half = (widthOf(text, font) / 2 + 2) * metres;
      const inside = trace.x[at] - half >= state.from && trace.x[at] + half <= state.to;
      return inside && 2 * half <= trace.width[at];
    };
    return { ...trace, text: trace.text.map((text, at) => (fits(text, at) ? text : "")) };
  }

  function tracesOf(name, layout, width) {
    const traces = charts[name].data;
    if (name === "profile") return traces.map((trace) => fitting(trace, layout, width));
    if (name !== "course") return traces;
    const unit = units[state.unit];
    const by = document.querySelector("input[name=colouring]:checked").value;
    const shown = traces.filter((trace) => trace.meta === "always" || trace.meta === by);
    return [...shown.map((trace) => ({ ...trace, visible: true })), milestones(width, unit), scale(layout, unit)];
  }

  function draw(name) {
    const place = byId(`chart-${name}`);
    const printed = charts[name].aspect ? PRINT_MAP_SHARE * PRINT_PX : PRINT_PX;
    const width = state.printing ? printed : place.parentElement.clientWidth;
    const colours = palette();
    const layout = layoutOf(charts[name], width, colours);
    const traces = themed(tracesOf(name, layout, width), colours);
    drawn[name] = { width, layout: { ...layout, margin: { ...layout.margin } } };
    Plotly.react(place, traces, layout, CONFIG);
    if (name in LINKED) point(name);
  }

  const drawAll = () => Object.keys(charts).forEach(draw);

  // One place along the ride, in all charts that show it

  const alongX = (at) => ({ x: ride.distance_m[at] });
  const LINKED = {
    course: (at) => ({ x: ride.east_m[at], y: ride.north_m[at] }),
    profile: alongX,
    battery: alongX,
  };

  function toPixel(name, value, axis) {
    const { layout, width } = drawn[name];
    const { margin } = layout;
    const [low, high] = layout[axis].range;
    const share = (value - low) / (high - low);
    if (axis === "xaxis") return margin.l + share * (width - margin.l - margin.r);
    return margin.t + (1 - share) * (layout.height - margin.t - margin.b);
  }

  function point(name) {
    const mark = byId(`chart-${name}`).parentElement.querySelector(".mark");
    const place = LINKED[name](state.at);
    const x = toPixel(name, place.x, "xaxis");
    const { margin, height } = drawn[name].layout;
    const outside = place.y === undefined && (place.x < state.from || place.x > state.to);
    mark.hidden = outside || !state.pointed;
    const y = place.y === undefined ? margin.t : toPixel(name, place.y, "yaxis");
    Object.assign(mark.style, { left: `${x}px`, top: `${y}px` });
    if (place.y === undefined) mark.style.height = `${height - margin.t - margin.b}px`;
  }

  function moveTo(at) {
    state.at = Math.min(last, Math.max(0, at));
    state.pointed = true;
    tell();
  }

  function tell() {
    Object.keys(LINKED).forEach(point);
    const said = words(state.at);
    const parts = said.map((text, index) =>
      Object.assign(document.createElement(index ? "span" : "b"), { textContent: text }));
    byId("readout").replaceChildren(...parts);
    const slider = byId("place");
    slider.value = state.at;
    slider.setAttribute("aria-valuetext", said.join(", "));
  }

  // The last place at or before a distance.
  function nearest(metres) {
    let [low, high] = [0, last];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (ride.distance_m[middle] <= metres) low = middle;
      else high = middle;
    }
    return metres - ride.distance_m[low] < ride.distance_m[high] - metres ? low : high;
  }

  function under(name, event) {
    const box = byId(`chart-${name}`).getBoundingClientRect();
    const { layout, width } = drawn[name];
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    if (name !== "course") {
      const { l, r } = layout.margin;
      const share = (x - l) / (width - l - r);
      return nearest(state.from + share * (state.to - state.from));
    }
    let [best, least] = [state.at, Infinity];
    for (let at = 0; at <= last; at += 1) {
      const east = toPixel(name, ride.east_m[at], "xaxis");
      const off = Math.hypot(east - x, toPixel(name, ride.north_m[at], "yaxis") - y);
      if (off < least) [best, least] = [at, off];
    }
    return least < 60 ? best : state.at;
  }

  // Where a key leads: by small steps, by section, or to an end.
  function led(key) {
    const stride = Math.max(1, Math.round(last / KEY_STEPS));
    const number = ride.section[state.at];
    const begins = ride.section.indexOf(number);
    const before = ride.section.indexOf(Math.max(0, number - 1));
    const after = ride.section.indexOf(number + 1);
    return {
      ArrowRight: state.at + stride,
      ArrowUp: state.at + stride,
      ArrowLeft: state.at - stride,
      ArrowDown: state.at - stride,
      PageDown: after < 0 ? last : after,
      PageUp: state.at > begins ? begins : before,
      Home: 0,
      End: last,
    }[key];
  }

  function onKey(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const at = led(event.key);
    if (at !== undefined) moveTo(at);
    else if (event.key === "+" || event.key === "=") zoom(0.5);
    else if (event.key === "-") zoom(2);
    else if (event.key === "0") view(0, total);
    else return;
    event.preventDefault();
    // A slider says its own value; a chart has to be spoken for.
    if (event.currentTarget.id !== "place") speak(words(state.at).join(", "));
  }

  let speaking;
  function speak(text) {
    clearTimeout(speaking);
    speaking = setTimeout(() => { byId("spoken").textContent = text; }, 250);
  }

  // The stretch of the ride that is shown

  function view(from, to) {
    const least = LEAST_VIEW * total;
    const length = Math.min(total, Math.max(least, to - from));
    state.from = Math.min(Math.max(0, (from + to - length) / 2), total - length);
    state.to = state.from + length;
    byId("whole").hidden = length >= total;
    ["profile", "battery"].forEach(draw);
  }

  function zoom(factor) {
    const length = (state.to - state.from) * factor;
    const middle = ride.distance_m[state.at];
    view(middle - length / 2, middle + length / 2);
  }

  function onZoom(event) {
    const [from, to] = [event["xaxis.range[0]"], event["xaxis.range[1]"]];
    if (from !== undefined && (from !== state.from || to !== state.to)) view(from, to);
  }

  // Wiring

  function link(name) {
    const place = byId(`chart-${name}`);
    const frame = place.parentElement;
    const follow = (event) => moveTo(under(name, event));
    ["pointermove", "pointerdown"].forEach((kind) => frame.addEventListener(kind, follow));
    frame.addEventListener("keydown", onKey);
    if (name === "course") return;
    place.on("plotly_relayout", onZoom);
    place.on("plotly_doubleclick", () => view(0, total));
  }

  function setUnit(unit) {
    state.unit = unit;
    root.dataset.unit = unit;
    drawAll();
    tell();
  }

  function setColouring(by) {
    document.querySelectorAll("[data-colouring]").forEach((keys) => {
      keys.hidden = keys.dataset.colouring !== by;
    });
    draw("course");
  }

  function print(begins) {
    state.printing = begins;
    root.classList.toggle("printing", begins);
    drawAll();
  }

  function onChoice(name, act) {
    document.querySelectorAll(`input[name=${name}]`).forEach((input) =>
      input.addEventListener("change", () => act(input.value)));
  }

  root.classList.add("scripted");
  drawAll();
  Object.keys(LINKED).forEach(link);
  byId("place").max = last;
  byId("place").addEventListener("input", (event) => moveTo(Number(event.target.value)));
  byId("place").addEventListener("keydown", onKey);
  byId("whole").addEventListener("click", () => view(0, total));
  onChoice("unit", setUnit);
  onChoice("colouring", setColouring);
  tell();

  let width = root.clientWidth;
  addEventListener("resize", () => {
    if (state.printing || root.clientWidth === width) return;
    width = root.clientWidth;
    drawAll();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", drawAll);
  addEventListener("beforeprint", () => print(true));
  addEventListener("afterprint", () => print(false));
})();
