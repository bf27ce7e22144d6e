// Elements and text. Text from the data enters the page here and only as text nodes.

const SVG = "http://www.w3.org/2000/svg";

function byId(id) {
  return document.getElementById(id);
}

// element("p", "note", "text" or element, …)
function element(name, className, ...children) {
  const made = document.createElement(name);
  if (className) made.className = className;
  made.append(...children);
  return made;
}

// Text of unknown origin keeps its own writing direction to itself.
function foreign(text) {
  return element("bdi", "", text);
}

function svgElement(name, attributes, ...children) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}

// Size a canvas in page pixels, sharp on dense screens; gives its context.
function sizeCanvas(canvas, width, height) {
  const density = window.devicePixelRatio || 1;
  canvas.width = Math.round(width * density);
  canvas.height = Math.round(height * density);
  canvas.style.width = `${width}px`;
  canvas.style.height = `${height}px`;
  const context = canvas.getContext("2d");
  context.scale(density, density);
  return context;
}
