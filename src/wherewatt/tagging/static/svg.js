// Small helps to draw with. Text from files only ever becomes text nodes and attributes.

const SPACE = "http://www.w3.org/2000/svg";

/** A new SVG element with attributes, in a parent. */
export function draw(parent, name, attributes = {}, text = undefined) {
  const element = document.createElementNS(SPACE, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  if (text !== undefined) element.textContent = text;
  parent.append(element);
  return element;
}

/** A new HTML element with attributes and text, in a parent. */
export function put(parent, name, attributes = {}, text = undefined) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  if (text !== undefined) element.textContent = text;
  parent.append(element);
  return element;
}

const STROKES = {
  "|": ["vertical"], "-": ["horizontal"], "/": ["rising"], "\\": ["falling"],
  "+": ["vertical", "horizontal"], x: ["rising", "falling"],
};

/** Lines of one direction that meet those of the next tile. */
function hatchPath(direction, size) {
  switch (direction) {
    case "vertical": return `M${size / 2} 0V${size}`;
    case "horizontal": return `M0 ${size / 2}H${size}`;
    case "rising": return `M0 ${size}L${size} 0M-1 1L1 -1M${size - 1} ${size + 1}L${size + 1} ${size - 1}`;
    default: return `M0 0L${size} ${size}M-1 ${size - 1}L1 ${size + 1}M${size - 1} -1L${size + 1} 1`;
  }
}

/** Patterns for the fills of all surfaces: a colour, and a hatch as its second code. */
export function drawPatterns(svg, surfaces, prefix) {
  const defs = draw(svg, "defs");
  surfaces.forEach((surface, index) => {
    const signs = [...surface.hatch];
    const most = Math.max(0, ...signs.map((sign) => signs.filter((other) => other === sign).length));
    const size = most ? Math.max(5, Math.round(20 / most)) : 8;
    const pattern = draw(defs, "pattern", {
      id: `${prefix}-${index}`, width: size, height: size, patternUnits: "userSpaceOnUse",
    });
    draw(pattern, "rect", { width: size, height: size, class: "paper" });
    draw(pattern, "rect", { width: size, height: size, fill: surface.colour, "fill-opacity": 0.6 });
    const directions = new Set(signs.flatMap((sign) => STROKES[sign] ?? []));
    for (const direction of directions) draw(pattern, "path", { d: hatchPath(direction, size), class: "hatch" });
  });
}

/** Where a pattern of a surface is found. */
export function fillOf(surfaces, label, prefix) {
  const index = surfaces.findIndex((surface) => surface.label === label);
  return index < 0 ? "none" : `url(#${prefix}-${index})`;
}
