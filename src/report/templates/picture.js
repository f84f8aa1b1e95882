// A chart or the trace as a picture in a file, with a line that says what it shows. Nothing leaves the page.
"use strict";
const PICTURE_SCALE = 2;
const paper = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const fileName = (caption) => `${caption.toLowerCase().replace(/[^a-z0-9]+/g, "-").slice(0, 60).replace(/^-|-$/g, "")}.png`;
const saveCanvas = (canvas, caption) => canvas.toBlob((blob) => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = fileName(caption);
  link.click();
  // The browser reads the blob after the click.
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}, "image/png");
// The caption's words in lines that fit.
const wrapped = (pen, text, width) => {
  const lines = [""];
  for (const word of text.split(" ")) {
    const longer = `${lines[lines.length - 1]} ${word}`.trim();
    if (pen.measureText(longer).width > width && lines[lines.length - 1]) lines.push(word); else lines[lines.length - 1] = longer;
  }
  return lines;
};
// A sheet of paper with its caption on top and room for so much below; the pen and where the room begins.
const sheet = (caption, width, height, scale) => {
  const canvas = document.createElement("canvas"), margin = 12 * scale, line = 18 * scale;
  const font = `${13 * scale}px system-ui, sans-serif`;
  let pen = canvas.getContext("2d");
  pen.font = font;
  const lines = wrapped(pen, caption, width);
  canvas.width = width + 2 * margin;
  canvas.height = height + lines.length * line + 3 * margin;
  pen = canvas.getContext("2d");
  pen.fillStyle = paper("--paper");
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.fillStyle = paper("--ink");
  pen.font = font;
  pen.textBaseline = "top";
  lines.forEach((text, n) => pen.fillText(text, margin, margin + n * line));
  return { canvas, pen, left: margin, top: lines.length * line + 2 * margin };
};
// Canvases one below the other.
const saveStack = (caption, canvases) => {
  const width = Math.max(...canvases.map((c) => c.width)), height = canvases.reduce((sum, c) => sum + c.height, 0);
  const { canvas, pen, left, top } = sheet(caption, width, height, window.devicePixelRatio || 1);
  let y = top;
  for (const part of canvases) { pen.drawImage(part, left, y); y += part.height; }
  saveCanvas(canvas, caption);
};
// A chart of the page, in the colours that it has there.
const saveChart = (svg, caption) => {
  const copy = svg.cloneNode(true), [, , width, height] = svg.getAttribute("viewBox").split(/[ ,]+/).map(Number);
  const shown = [svg, ...svg.querySelectorAll("*")];
  [copy, ...copy.querySelectorAll("*")].forEach((part, n) => {
    const look = getComputedStyle(shown[n]);
    for (const name of ["fill", "stroke", "font-family"]) part.style.setProperty(name, look.getPropertyValue(name));
  });
  copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
  copy.setAttribute("width", width * PICTURE_SCALE);
  copy.setAttribute("height", height * PICTURE_SCALE);
  const image = new Image();
  image.addEventListener("load", () => {
    const { canvas, pen, left, top } = sheet(caption, width * PICTURE_SCALE, height * PICTURE_SCALE, PICTURE_SCALE);
    pen.drawImage(image, left, top);
    saveCanvas(canvas, caption);
  });
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(new XMLSerializer().serializeToString(copy))}`;
};
for (const figure of document.querySelectorAll("figure")) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "picture";
  button.textContent = "save as picture";
  const shows = figure.querySelector("[role=img]").getAttribute("aria-label");
  button.setAttribute("aria-label", `save as picture: ${shows}`);
  button.addEventListener("click", () => {
    const svg = [...figure.querySelectorAll("svg")].find((one) => one.getClientRects().length);
    saveChart(svg, `${document.title}: ${shows}`);
  });
  figure.append(button);
}
