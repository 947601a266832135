// Navigation, dropped files, progress and the unit.

import * as api from "./api.js";
import { notify, notifyProblem } from "./dom.js";
import { PhotoView } from "./photo.js";
import { riderView } from "./rider.js";
import { shelfView } from "./shelf.js";
import { isDone, send, tray, welcome } from "./tray.js";
import * as units from "./units.js";

const POLL_MS = 300;
const main = document.getElementById("main");
const state = { photos: [], view: null, trayShown: "" };

const here = () => {
  const [part, id] = location.hash.replace(/^#/, "").split("/");
  return { part: part || "photos", id: id ? Number(id) : null };
};

async function show() {
  const { part } = here();
  for (const link of document.querySelectorAll(".top nav a")) {
    const current = link.getAttribute("href") === `#${part}`;
    current ? link.setAttribute("aria-current", "page") : link.removeAttribute("aria-current");
  }
  try {
    if (part === "rider") await leavePhotos(riderView);
    else if (part === "shelf") await leavePhotos(shelfView);
    else await showPhotos();
  } catch (problem) {
    notifyProblem(problem);
  }
}

async function leavePhotos(view) {
  state.view = null;
  state.trayShown = "";
  await view(main);
}

async function showPhotos() {
  state.photos = await api.photos();
  if (here().part !== "photos") return;
  if (!state.photos.length) {
    state.view = null;
    main.replaceChildren(welcome(added));
    return;
  }
  const current = state.photos.find((p) => p.id === here().id) ?? state.photos[0];
  showTray(current);
  const stale = state.view?.photo.id !== current.id || !state.view.element.isConnected;
  const progressed = !stale && state.view.photo.stage !== current.stage && !state.view.busy;
  if (stale) {
    const photo = await api.photo(current.id);
    if (here().part !== "photos") return;
    main.querySelector(".work")?.remove();
    state.view = new PhotoView(photo, {
      removed: () => { state.trayShown = ""; location.hash = "#photos"; show(); },
      changed: () => here().part === "photos" && show(),
      photos: () => state.photos,
      added,
    });
    main.append(state.view.element);
    scrollTrayTo(main.querySelector(".photo[aria-current]"));
  } else if (progressed) {
    const { view } = state;
    view.photo = await api.photo(current.id);
    if (state.view === view) view.show();
  }
}

/** Redraws the tray when what it shows has changed. */
function showTray(current) {
  const shown = JSON.stringify([current.id, state.photos.map((p) => [p.id, p.stage, p.name, p.kept, p.with, p.widths?.[0]?.mm]), units.unit()]);
  const old = main.querySelector(".tray");
  if (state.trayShown === shown && old) return;
  state.trayShown = shown;
  const next = tray(state.photos, current.id, added);
  const scrolled = old?.querySelector("ul").scrollLeft ?? 0;
  const focus = document.activeElement?.id;
  if (old) old.replaceWith(next);
  else main.replaceChildren(next);
  next.querySelector("ul").scrollLeft = scrolled;
  state.view?.offerOthers();
  if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
}

/** Scrolls the tray, not the page, to a photo. */
function scrollTrayTo(photo) {
  const list = photo?.closest("ul");
  if (list) list.scrollLeft = photo.parentElement.offsetLeft - (list.clientWidth - photo.offsetWidth) / 2;
}

/** Shows a new photo if it is the first one. */
async function added(id) {
  if (here().part !== "photos") return;
  if (!state.photos.length) location.hash = `#photos/${id}`;
  await show();
}

async function poll() {
  if (here().part === "photos" && state.photos.some((p) => !isDone(p))) await showPhotos().catch(() => {});
  setTimeout(poll, POLL_MS);
}

function acceptDrops() {
  const over = (on) => document.body.classList.toggle("dropping", on);
  document.addEventListener("dragover", (event) => { event.preventDefault(); over(true); });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) over(false); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    if (here().part !== "photos") location.hash = "#photos";
    send([...event.dataTransfer.files], added);
  });
}

function unitButton() {
  const button = document.getElementById("units");
  const label = () => {
    button.textContent = units.unit() === "mm" ? "mm first" : "in first";
    button.title = "Show millimetres or inches first";
  };
  button.addEventListener("click", () => { units.toggle(); label(); state.trayShown = ""; state.view?.show(); show(); });
  label();
}

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || !state.view || event.target.matches?.("input, select, textarea")) return;
  const key = event.key.toLowerCase();
  if (key === "z" && !event.shiftKey) state.view.step(-1);
  else if (key === "y" || (key === "z" && event.shiftKey)) state.view.step(1);
  else return;
  event.preventDefault();
});
addEventListener("hashchange", () => { notify(""); show(); });
acceptDrops();
unitButton();
await show();
poll();
