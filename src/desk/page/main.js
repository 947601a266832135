// The page's front door: which part is shown, dropping photos, progress, the unit.

import * as api from "./api.js";
import { say } from "./dom.js";
import { riderView } from "./rider.js";
import { shelfView } from "./shelf.js";
import { Table } from "./table.js";
import { isDone, send, tray, welcome } from "./tray.js";
import * as units from "./units.js";

const ASK_EVERY_MS = 300;
const main = document.getElementById("main");
const state = { photos: [], table: null, tray: null, shown: "" };

const here = () => {
  const [part, id] = location.hash.replace(/^#/, "").split("/");
  return { part: part || "table", id: id ? Number(id) : null };
};

async function show() {
  const { part } = here();
  for (const link of document.querySelectorAll(".top nav a")) {
    const current = link.getAttribute("href") === `#${part}`;
    current ? link.setAttribute("aria-current", "page") : link.removeAttribute("aria-current");
  }
  try {
    if (part === "rider") await leaveTable(riderView);
    else if (part === "shelf") await leaveTable(shelfView);
    else await showTable();
  } catch (trouble) {
    say(`${trouble.text ?? trouble}. ${trouble.hint ?? ""}`);
  }
}

async function leaveTable(view) {
  state.table = null;
  state.shown = "";
  await view(main);
}

async function showTable() {
  state.photos = await api.photos();
  if (here().part !== "table") return;
  if (!state.photos.length) {
    state.table = null;
    main.replaceChildren(welcome(added));
    return;
  }
  const current = state.photos.find((p) => p.id === here().id) ?? state.photos[0];
  const summary = JSON.stringify([current.id, state.photos.map((p) => [p.id, p.stage, p.name, p.kept, p.with, p.widths?.[0]?.mm]), units.unit()]);
  if (state.shown !== summary || !main.querySelector(".tray")) {
    state.shown = summary;
    const next = tray(state.photos, current.id, added);
    const old = main.querySelector(".tray");
    const scrolled = old?.querySelector("ul").scrollLeft ?? 0;
    const focus = document.activeElement?.id;
    if (old) old.replaceWith(next);
    else main.replaceChildren(next);
    next.querySelector("ul").scrollLeft = scrolled;
    state.table?.offer();
    if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
  }
  const stale = state.table?.photo.id !== current.id || !state.table.element.isConnected;
  const moved = !stale && state.table.photo.stage !== current.stage && !state.table.busy;
  if (stale) {
    const photo = await api.photo(current.id);
    if (here().part !== "table") return;
    main.querySelector(".table")?.remove();
    state.table = new Table(photo, {
      gone: () => { state.shown = ""; location.hash = "#table"; show(); },
      changed: () => here().part === "table" && show(),
      photos: () => state.photos,
      added,
    });
    main.append(state.table.element);
    inSight(main.querySelector(".photo[aria-current]"));
  } else if (moved) {
    const { table } = state;
    table.photo = await api.photo(current.id);
    if (state.table === table) table.show();
  }
}

/** Scrolls the tray, and nothing else, to a photo. */
function inSight(photo) {
  const place = photo?.closest("ul");
  if (place) place.scrollLeft = photo.parentElement.offsetLeft - (place.clientWidth - photo.offsetWidth) / 2;
}

/** A photo was laid on the desk: the first is shown, further ones wait in the tray. Whoever has gone elsewhere stays there. */
async function added(id) {
  if (here().part !== "table") return;
  if (!state.photos.length) location.hash = `#table/${id}`;
  await show();
}

async function ask() {
  if (here().part === "table" && state.photos.some((p) => !isDone(p))) await showTable().catch(() => {});
  setTimeout(ask, ASK_EVERY_MS);
}

function dropping() {
  const over = (on) => document.body.classList.toggle("dropping", on);
  document.addEventListener("dragover", (event) => { event.preventDefault(); over(true); });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) over(false); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    if (here().part !== "table") location.hash = "#table";
    send([...event.dataTransfer.files], added);
  });
}

function unitButton() {
  const button = document.getElementById("units");
  const write = () => {
    button.textContent = units.unit() === "mm" ? "mm first" : "in first";
    button.title = "Which unit comes first: millimetres or inches";
  };
  button.addEventListener("click", () => { units.toggle(); write(); state.shown = ""; state.table?.show(); show(); });
  write();
}

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || !state.table || event.target.matches?.("input, select, textarea")) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) state.table.step(-1);
  else if (key === "y" || (key === "z" && event.shiftKey)) state.table.step(1);
  else return;
  event.preventDefault();
});
addEventListener("hashchange", () => { say(""); show(); });
dropping();
unitButton();
await show();
ask();
