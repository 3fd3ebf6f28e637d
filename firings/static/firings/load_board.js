// Moves ware on the load page. Every form works without this; with it the page is not reloaded,
// a piece can be dragged, and the arrow keys move the piece that has the focus. The server checks
// each move and answers with the whole page, of which the board and the messages are taken.
const TAP_PX = 6;
const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const board = () => document.querySelector("[data-load-board]");
const piecesLink = (piece) => board().querySelector(`a[data-piece="${piece}"]`);

let drag = null;
let isBusy = false;
const waiting = { piece: null, x: 0, y: 0 };

function show(html, url) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  const next = fresh.querySelector("[data-load-board]");
  if (!next) {
    window.location.assign(url);
    return;
  }
  const open = [...board().querySelectorAll("details[open] > summary")].map((one) => one.textContent);
  board().replaceWith(document.adoptNode(next));
  for (const summary of board().querySelectorAll("details > summary")) {
    if (open.includes(summary.textContent)) summary.parentElement.open = true;
  }
  const messages = fresh.querySelector(".messages");
  if (messages) document.querySelector(".messages").innerHTML = messages.innerHTML;
  window.history.replaceState(null, "", url);
  window.htmx?.process(board());
}

async function send(url, fields) {
  if (isBusy) return false;
  isBusy = true;
  board().setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(url, fields ? { method: "POST", body: fields } : {});
    show(await answer.text(), answer.url);
  } catch {
    window.location.reload();
  } finally {
    isBusy = false;
    board()?.removeAttribute("aria-busy");
  }
  return true;
}

function withToken(entries) {
  const fields = new FormData();
  fields.set("csrfmiddlewaretoken", document.querySelector("[name=csrfmiddlewaretoken]").value);
  for (const [name, value] of Object.entries(entries)) fields.set(name, value);
  return fields;
}

async function moveTo(link, layer, x, y) {
  const { piece, move } = link.dataset;
  const hadFocus = document.activeElement === link;
  await send(move, withToken({ layer, x_mm: x.toFixed(1), y_mm: y.toFixed(1) }));
  if (hadFocus) piecesLink(piece)?.focus({ preventScroll: true });
}

// ---- by pointer: nothing is sent before the release; Escape lets go
function pointIn(svg, event) {
  return new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
}

function letGo() {
  if (!drag) return;
  drag.link.removeAttribute("transform");
  drag.link.classList.remove("is-dragged");
  drag = null;
}

document.addEventListener("pointerdown", (event) => {
  const link = event.target.closest?.("a[data-piece]");
  if (!link || event.button !== 0 || "quarters" in link.dataset || isBusy) return;
  if (event.pointerType !== "mouse" && !link.classList.contains("is-picked")) return;
  const svg = link.ownerSVGElement;
  drag = { link, svg, id: event.pointerId, from: pointIn(svg, event), px: [event.clientX, event.clientY], moved: false };
});

document.addEventListener("pointermove", (event) => {
  if (!drag || event.pointerId !== drag.id) return;
  const far = Math.hypot(event.clientX - drag.px[0], event.clientY - drag.px[1]);
  if (!drag.moved && far < TAP_PX) return;
  drag.moved = true;
  const at = pointIn(drag.svg, event);
  drag.link.classList.add("is-dragged");
  drag.link.setAttribute("transform", `translate(${at.x - drag.from.x} ${at.y - drag.from.y})`);
});

document.addEventListener("pointerup", (event) => {
  if (!drag || event.pointerId !== drag.id) return;
  const { link, svg, from, moved } = drag;
  const under = document.elementsFromPoint(event.clientX, event.clientY);
  letGo();
  if (!moved) return;
  const target = under.map((one) => one.closest("svg[data-layer]")).find(Boolean) ?? svg;
  const grip = { x: Number(link.dataset.x) - from.x, y: Number(link.dataset.y) - from.y };
  const at = pointIn(target, event);
  link.dataset.wasDragged = "yes";
  moveTo(link, target.dataset.layer, at.x + grip.x, -(at.y + grip.y));
});
document.addEventListener("pointercancel", letGo);
document.addEventListener("dragstart", (event) => {
  if (event.target.closest?.("a[data-piece]")) event.preventDefault();
});

// ---- by keyboard: presses that come while one is checked are added up
document.addEventListener("keydown", async (event) => {
  if (event.key === "Escape") {
    letGo();
    return;
  }
  const link = event.target.closest?.("a[data-piece]");
  const way = KEYS[event.key];
  if (!link || !way || "quarters" in link.dataset) return;
  event.preventDefault();
  const step = event.shiftKey ? 10 : event.altKey ? 1 : 5;
  const { piece } = link.dataset;
  if (waiting.piece !== piece) Object.assign(waiting, { piece, x: 0, y: 0 });
  waiting.x += way[0] * step;
  waiting.y += way[1] * step;
  while (!isBusy && (waiting.x || waiting.y)) {
    const now = piecesLink(piece);
    if (!now) break;
    const [x, y] = [waiting.x, waiting.y];
    Object.assign(waiting, { x: 0, y: 0 });
    const layer = now.ownerSVGElement.dataset.layer;
    await moveTo(now, layer, Number(now.dataset.x) + x, -Number(now.dataset.y) + y);
    piecesLink(piece)?.focus({ preventScroll: true });
  }
});

// ---- forms and picking without a reload
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.closest("[data-load-board]") || form.method !== "post" || event.defaultPrevented) return;
  event.preventDefault();
  const { submitter } = event;
  const fields = new FormData(form, submitter);
  const name = submitter?.textContent;
  await send(form.action, fields);
  [...board().querySelectorAll("button")].find((one) => one.textContent === name)?.focus({ preventScroll: true });
});

document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[data-piece]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  if (link.dataset.wasDragged) return;
  const { piece } = link.dataset;
  await send(link.href.baseVal ?? link.href);
  piecesLink(piece)?.focus({ preventScroll: true });
});

// A better plan was written while the page was open.
document.addEventListener("load-changed", () => send(window.location.href));
